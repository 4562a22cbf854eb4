//! Slides and joined pairs on their rails: where they stand, how they move, and that the glide has no steps.

use std::f64::consts::TAU;

use ullage::index::BottleIndex;
use ullage::synth::{
    Attack, BlownVoice, BottleVoice, Command, Engine, EngineSpec, Event, EventKind, OnRail,
    PlayedBottle, Rail, RailCurve, Row, VoiceError,
};
use ullage::units::{Frequency, Level, SampleRate};

use crate::common::measure;
use crate::common::voices::{heard, midi};

const RATE: SampleRate = SampleRate::from_hz(48_000.0);

fn hz(value: f64) -> Frequency {
    Frequency::from_hz(value)
}

/// A slide as the schoolbook has it: the air shortens evenly, so that the pitch goes as one over its root.
fn rising(position: f64) -> Frequency {
    hz(200.0 / (1.0 - 0.75 * position).sqrt())
}

/// The other of a pair: its air grows.
fn falling(position: f64) -> Frequency {
    hz(300.0 / (1.0 + position).sqrt())
}

fn curve(at: fn(f64) -> Frequency) -> RailCurve {
    RailCurve::traced(|p| Ok::<_, VoiceError>((at(p), 30.0 - 5.0 * p))).unwrap()
}

/// A pure tone: nothing but the oscillation is measured.
fn voice() -> BlownVoice {
    let spec = BlownVoice::new(hz(440.0), 30.0).unwrap();
    spec.with_overtone_gain(0.0)
        .unwrap()
        .with_breath_gain(0.0)
        .unwrap()
}

/// A pair on rail 0: marks 60 and 67 on the first, 48 on the second.
fn pair(portamento_s: f64) -> EngineSpec {
    let on = |at: fn(f64) -> Frequency, marks: &[(u8, f64)]| {
        Some(OnRail {
            rail: 0,
            curve: curve(at),
            marks: marks.to_vec(),
        })
    };
    let players = vec![
        PlayedBottle {
            rail: on(rising, &[(60, 0.2), (67, 0.9)]),
            ..PlayedBottle::new(voice(), 127)
        },
        PlayedBottle {
            rail: on(falling, &[(48, 0.6)]),
            ..PlayedBottle::new(voice(), 126)
        },
    ];
    let rails = vec![Rail {
        portamento_s,
        start: 0.5,
    }];
    EngineSpec {
        room: None,
        rails,
        level: Level::from_db(-6.0),
        steady: true,
        ..EngineSpec::new(players)
    }
}

fn engine(spec: &EngineSpec) -> Engine {
    Engine::new(spec, RATE).unwrap()
}

fn cents_off(sound: &[f32], frequency: Frequency) -> f64 {
    measure::cents(
        measure::pitch_hz(sound, RATE.hz(), frequency.hz()),
        frequency.hz(),
    )
}

#[test]
fn a_traced_curve_is_right_between_its_places_and_finds_its_way_back() {
    for (at, curve) in [
        (rising as fn(f64) -> Frequency, curve(rising)),
        (falling, curve(falling)),
    ] {
        for i in 0..=1000 {
            let position = f64::from(i) / 1000.0;
            let (found, q) = curve.at(position);
            let off = found.interval_above(at(position)).cents();
            assert!(off.abs() < 0.3, "{off} cents at {position}");
            assert!((q - (30.0 - 5.0 * position)).abs() < 0.05, "{q}");
            let back = curve.position_of(found).unwrap();
            assert!((back - position).abs() < 1e-9, "{back} for {position}");
        }
        assert_eq!(curve.position_of(hz(1000.0)), None);
    }
    assert!(RailCurve::new(&[(hz(200.0), 30.0)]).is_err());
    assert!(RailCurve::new(&[(hz(200.0), 30.0), (hz(5.0), 30.0)]).is_err());
}

#[test]
fn each_mark_is_hit_within_a_cent() {
    for (key, expected) in [(60, rising(0.2)), (67, rising(0.9)), (48, falling(0.6))] {
        for portamento_s in [0.0, 0.15] {
            let mut engine = engine(&pair(portamento_s));
            let sound = heard(&mut engine, &[(0.0, midi([0x90, key, 100]))], 3.0);
            let off = cents_off(&sound[24_000..], expected);
            println!("key {key}: {off:+.3} cents");
            assert!(off.abs() < 1.0, "key {key}: {off} cents");
            assert_eq!(engine.meters().refused, 0);
        }
    }
}

#[test]
fn the_pair_moves_together() {
    // The second sounds where it stands; a mark of the first, then a pointer, move the rail under it.
    for (command, expected) in [
        (midi([0x90, 67, 1]), falling(0.9)),
        (
            Command::Slide {
                rail: 0,
                position: 0.25,
            },
            falling(0.25),
        ),
        (midi([0xb0, 16, 127]), falling(1.0)),
    ] {
        let mut engine = engine(&pair(0.15));
        heard(
            &mut engine,
            &[(
                0.0,
                Command::Blow {
                    bottle: BottleIndex::new(1),
                    breath: 0.8,
                },
            )],
            0.5,
        );
        let sound = heard(
            &mut engine,
            &[(0.1, command), (0.5, midi([0x80, 67, 0]))],
            4.0,
        );
        let off = cents_off(&sound[2 * 48_000..], expected);
        println!("{command:?}: {off:+.3} cents");
        assert!(off.abs() < 1.0, "{command:?}: {off} cents");
    }
}

#[test]
fn a_rail_begins_where_it_was_said_to_and_reset_brings_it_back() {
    let mut engine = engine(&pair(0.15));
    let blow = Command::Blow {
        bottle: BottleIndex::new(0),
        breath: 0.8,
    };
    let first = heard(&mut engine, &[(0.0, blow)], 2.0);
    assert!(cents_off(&first[24_000..], rising(0.5)).abs() < 1.0);
    heard(
        &mut engine,
        &[(0.0, midi([0x90, 67, 100])), (0.5, midi([0xe0, 0, 20]))],
        1.0,
    );
    engine.reset();
    assert!(first == heard(&mut engine, &[(0.0, blow)], 2.0));
}

#[test]
fn the_wheel_goes_the_whole_way_that_is_left_on_either_side() {
    for (wheel, position) in [
        ([0xe0, 0, 0], 0.0),
        ([0xe0, 0, 0x20], 0.1),
        ([0xe0, 0x7f, 0x7f], 1.0),
        ([0xe0, 0, 0x40], 0.2),
    ] {
        let mut engine = engine(&pair(0.15));
        let sound = heard(
            &mut engine,
            &[(0.0, midi([0x90, 60, 100])), (0.5, midi(wheel))],
            3.0,
        );
        let off = cents_off(&sound[48_000..], rising(position));
        assert!(
            off.abs() < 1.0,
            "{wheel:?}: {off} cents beside position {position}"
        );
    }
}

#[test]
fn a_tuned_bottle_takes_its_whole_curve_along() {
    let mut engine = engine(&pair(0.0));
    let tune = Command::Tune {
        bottle: BottleIndex::new(0),
        frequency: hz(rising(0.5).hz() * 1.03),
        q: 25.0,
    };
    let sound = heard(
        &mut engine,
        &[(0.0, tune), (0.1, midi([0x90, 67, 100]))],
        3.0,
    );
    let off = cents_off(&sound[24_000..], hz(rising(0.9).hz() * 1.03));
    assert!(off.abs() < 1.0, "{off} cents");
}

#[test]
fn what_is_no_rail_or_no_place_is_counted() {
    let mut engine = engine(&pair(0.15));
    for (rail, position) in [(1, 0.5), (0, 1.5), (0, f32::NAN)] {
        heard(
            &mut engine,
            &[(0.0, Command::Slide { rail, position })],
            0.01,
        );
    }
    assert_eq!(engine.meters().refused, 3);
    let bad = Rail {
        portamento_s: f64::NAN,
        start: 0.5,
    };
    assert!(
        Engine::new(
            &EngineSpec {
                rails: vec![bad],
                ..pair(0.1)
            },
            RATE
        )
        .is_err()
    );
    let mut spec = pair(0.1);
    spec.players[0].rail.as_mut().unwrap().marks[0].1 = 1.5;
    assert!(Engine::new(&spec, RATE).is_err());
}

/// Instantaneous pitch, cents above `reference_hz`, every half window.
fn course(sound: &[f32], reference_hz: f64, window_s: f64) -> (Vec<f64>, Vec<f64>) {
    let tone = measure::demodulate(sound, RATE.hz(), reference_hz, window_s);
    let step_s = tone.time_s[1] - tone.time_s[0];
    let turn = |a: (f64, f64), b: (f64, f64)| (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1);
    let pitch = |w: &[(f64, f64)]| {
        measure::cents(
            reference_hz + turn(w[0], w[1]) / (TAU * step_s),
            reference_hz,
        )
    };
    (
        tone.time_s[1..].to_vec(),
        tone.value.windows(2).map(pitch).collect(),
    )
}

/// When the sound crosses zero upwards, s.
fn crossings(sound: &[f32]) -> Vec<f64> {
    let crossing = |(i, w): (usize, &[f32])| {
        let (a, b) = (f64::from(w[0]), f64::from(w[1]));
        (a < 0.0 && b >= 0.0).then(|| (i as f64 + a / (a - b)) / RATE.hz())
    };
    sound.windows(2).enumerate().filter_map(crossing).collect()
}

#[test]
fn a_slide_goes_one_way_without_steps() {
    let mut engine = engine(&pair(0.15));
    // A loud, pure tone on its mark, held by a breath controller; then the other mark, without the tongue.
    let breath = (0.0, midi([0xb0, 2, 127]));
    heard(&mut engine, &[breath, (0.0, midi([0x90, 60, 127]))], 2.0);
    let sound = heard(&mut engine, &[(0.0511, midi([0x90, 67, 1]))], 0.5);
    // The ceiling looks ahead and makes everything late.
    let late_s = engine.delay_frames() as f64 / RATE.hz();
    let asked_hz = |t_s: f64| {
        let t = ((t_s - late_s - 0.0511) / 0.15).clamp(0.0, 1.0);
        rising(0.2 + 0.7 * t * t * (3.0 - 2.0 * t)).hz()
    };
    // Period by period: the turns that the course makes in it are one.
    let mut worst = (0.0f64, 0.0f64);
    let mut last_hz = 0.0;
    for w in crossings(&sound).windows(2) {
        let long_s = w[1] - w[0];
        let mean_hz = (0..50)
            .map(|i| asked_hz(w[0] + long_s * (f64::from(i) + 0.5) / 50.0))
            .sum::<f64>()
            / 50.0;
        let off = measure::cents(1.0 / long_s, mean_hz);
        worst.0 = worst.0.max(off.abs());
        if last_hz > 0.0 {
            worst.1 = worst.1.max(measure::cents(last_hz, 1.0 / long_s));
        }
        last_hz = 1.0 / long_s;
    }
    let whole = measure::cents(rising(0.9).hz(), rising(0.2).hz());
    println!(
        "a slide of {whole:.0} cents: at most {:.2} cents beside its course, {:.2} back",
        worst.0, worst.1
    );
    // The breath shakes a single period by some cents, as it does a steady tone; a step of one control period (0.7 ms) at the
    // steepest would be 6.
    assert!(worst.0 < 10.0, "{} cents", worst.0);
    assert!(worst.1 < 10.0, "it goes back by {} cents", worst.1);
}

#[test]
fn a_slow_glide_moves_no_faster_than_asked() {
    // 100 cents in a second, offline: 0.1 cents a millisecond; a step that is heard would be far above 1.
    let row = Row::new(&[BottleVoice::from(voice())], RATE, 7).unwrap();
    let mut row = row.steady();
    let glide = EventKind::Glide {
        frequency: hz(440.0 * 2f64.powf(1.0 / 12.0)),
        q: 30.0,
        over_s: 1.0,
    };
    let blow = EventKind::Blow {
        g: 6.0,
        attack: Attack::Tongued { strength: 1.0 },
    };
    for (at_frames, kind) in [(0, blow), (96_000, glide)] {
        row.push(Event {
            at_frames,
            bottle: BottleIndex::new(0),
            kind,
        })
        .unwrap();
    }
    let (mut left, mut right) = (vec![0.0; 192_000], vec![0.0; 192_000]);
    row.add_block(&mut left, &mut right);
    let (times_s, pitches) = course(&left, 453.0, 0.02);
    let mut worst = (0.0f64, 0.0f64);
    for (t, p) in times_s.windows(2).zip(pitches.windows(2)) {
        let in_glide = t[0] > 2.02 && t[1] < 2.98;
        if in_glide {
            let asked = measure::cents(440.0, 453.0) + 100.0 * (t[1] - 0.005 - 2.0);
            worst.0 = worst.0.max((p[1] - asked).abs());
            worst.1 = worst.1.max((p[1] - p[0]).abs() / (1000.0 * (t[1] - t[0])));
        }
    }
    println!(
        "at most {:.2} cents beside the line, {:.3} cents a ms",
        worst.0, worst.1
    );
    assert!(worst.0 < 4.0, "{} cents", worst.0);
    assert!(worst.1 < 1.0, "{} cents a ms", worst.1);
    // It ends where it should.
    let end = cents_off(&left[150_000..], hz(440.0 * 2f64.powf(1.0 / 12.0)));
    assert!(end.abs() < 1.0, "{end} cents");
}

#[test]
fn a_glide_goes_on_through_blocks_of_any_length() {
    let commands = [
        (0.0, midi([0x90, 60, 100])),
        (0.1003, midi([0x90, 67, 90])),
        (0.17, midi([0x90, 48, 90])),
        (
            0.2,
            Command::Slide {
                rail: 0,
                position: 0.1,
            },
        ),
        (0.21, midi([0xe0, 5, 90])),
        (0.25, midi([0xb0, 16, 90])),
    ];
    let at_once = heard(&mut engine(&pair(0.15)), &commands, 0.5);
    let mut other = engine(&pair(0.15));
    let mut in_pieces = heard(&mut other, &commands, 0.0);
    for frames in [1usize, 7, 64, 441, 511, 240].into_iter().cycle() {
        let count = frames.min(at_once.len() - in_pieces.len());
        let (mut left, mut right) = (vec![0.0; count], vec![0.0; count]);
        other.process(&mut left, &mut right);
        in_pieces.extend(left);
        if in_pieces.len() == at_once.len() {
            break;
        }
    }
    assert!(at_once.iter().any(|s| s.abs() > 0.1) && at_once == in_pieces);
}
