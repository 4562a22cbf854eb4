//! The engine that is played live: what hands and controllers do to it, and that blocks are inaudible.

use std::f64::consts::TAU;

use ullage::index::BottleIndex;
use ullage::synth::{
    BlownVoice, Command, Engine, EngineSpec, PlayedBottle, RingingMode, StruckVoice,
};
use ullage::units::{Frequency, Interval, Level, SampleRate};

use crate::common::dice::Dice;
use crate::common::measure::rms;
use crate::common::voices::{heard, midi};

const RATE: SampleRate = SampleRate::from_hz(48_000.0);

fn spec() -> EngineSpec {
    let player = |hz: f64, key: u8| PlayedBottle {
        bend_down: Interval::from_cents(100.0),
        bend_up: Interval::from_cents(25.0),
        ..PlayedBottle::new(BlownVoice::new(Frequency::from_hz(hz), 30.0).unwrap(), key)
    };
    let players = vec![player(196.0, 55), player(220.0, 57), player(261.6, 60)];
    EngineSpec {
        room: None,
        steady: true,
        ..EngineSpec::new(players)
    }
}

fn engine(spec: &EngineSpec) -> Engine {
    Engine::new(spec, RATE).unwrap()
}

/// How far a steady tone is from `hz`, cents: the slope of its phase beside a tone of `hz`, by least squares.
fn off_cents(samples: &[f32], hz: f64) -> f64 {
    let box_frames = 2400;
    let mut phases: Vec<f64> = Vec::new();
    for (index, part) in samples.chunks_exact(box_frames).enumerate() {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, sample) in part.iter().enumerate() {
            let turn = TAU * hz * (index * box_frames + i) as f64 / RATE.hz();
            re += f64::from(*sample) * turn.cos();
            im -= f64::from(*sample) * turn.sin();
        }
        let phase = im.atan2(re);
        let last = phases.last().copied().unwrap_or(phase);
        phases.push(phase + TAU * ((last - phase) / TAU).round());
    }
    let middle = (phases.len() - 1) as f64 / 2.0;
    let mean = phases.iter().sum::<f64>() / phases.len() as f64;
    let (mut up, mut down) = (0.0, 0.0);
    for (i, phase) in phases.iter().enumerate() {
        up += (i as f64 - middle) * (phase - mean);
        down += (i as f64 - middle).powi(2);
    }
    let off_hz = up / down * RATE.hz() / (TAU * box_frames as f64);
    1200.0 * ((hz + off_hz) / hz).log2()
}

fn storm(count: u64) -> Vec<(f64, Command)> {
    let mut dice = Dice(7);
    let mut below = |limit| dice.below(limit);
    (0..count)
        .map(|i| {
            let command = match below(12) {
                0 => Command::Blow {
                    bottle: BottleIndex::new(below(4) as usize),
                    breath: below(100) as f32 / 99.0,
                },
                1 => Command::Release {
                    bottle: BottleIndex::new(below(4) as usize),
                },
                2 => Command::Tune {
                    bottle: BottleIndex::new(below(3) as usize),
                    frequency: Frequency::from_hz(150.0 + below(300) as f64),
                    q: 25.0,
                },
                3 => Command::Level(Level::from_db(-(below(24) as f64))),
                4 => Command::Wet(below(100) as f32 / 99.0),
                5 => Command::Tone {
                    frequency: (below(2) == 0).then(|| Frequency::from_hz(440.0)),
                },
                _ => midi([
                    0x80 + below(0x70) as u8,
                    [55, 57, 60, 1, 2, 7, 11, 64, 121, 120][below(10) as usize],
                    below(128) as u8,
                ]),
            };
            (i as f64 * 0.004, command)
        })
        .collect()
}

#[test]
fn blocks_of_any_length_give_the_same_samples() {
    let with_room = EngineSpec {
        room: Some(ullage::synth::RoomSpec::default()),
        steady: false,
        ..spec()
    };
    let (mut whole, mut pieces) = (engine(&with_room), engine(&with_room));
    let commands = storm(400);
    let at_once = heard(&mut whole, &commands, 2.0);
    let mut in_pieces = heard(&mut pieces, &commands, 0.0);
    for frames in [1usize, 7, 64, 441, 511, 170, 341, 1365, 94_081]
        .into_iter()
        .cycle()
    {
        let count = frames.min(at_once.len() - in_pieces.len());
        let (mut left, mut right) = (vec![0.0; count], vec![0.0; count]);
        pieces.process(&mut left, &mut right);
        in_pieces.extend(left);
        if in_pieces.len() == at_once.len() {
            break;
        }
    }
    assert!(rms(&at_once) > 1e-3);
    assert!(at_once == in_pieces);
    whole.reset();
    let again = heard(&mut whole, &commands, 2.0);
    let first = (0..again.len()).find(|&f| again[f] != at_once[f]);
    assert_eq!(first, None, "reset is not new");
}

#[test]
fn a_key_sounds_at_its_bottles_pitch_and_rings_down_to_nothing() {
    let mut engine = engine(&spec());
    let sound = heard(&mut engine, &[(0.0, midi([0x90, 57, 100]))], 1.0);
    let off = off_cents(&sound[24_000..], 220.0);
    // Breath makes the phase wander: 0.3 cents mean error in voice.md's table; half a second here.
    assert!(off.abs() < 2.0, "{off} cents");
    assert_eq!(engine.meters().sounding, 1);
    heard(&mut engine, &[(0.0, midi([0x80, 57, 0]))], 2.0);
    let silence = heard(&mut engine, &[], 0.1);
    assert!(silence.iter().all(|s| *s == 0.0));
    assert_eq!(engine.meters().sounding, 0);
}

#[test]
fn a_note_on_without_velocity_is_a_note_off() {
    let mut engine = engine(&spec());
    heard(&mut engine, &[(0.0, midi([0x90, 57, 100]))], 0.5);
    heard(&mut engine, &[(0.0, midi([0x90, 57, 0]))], 2.0);
    assert_eq!(engine.meters().sounding, 0);
}

#[test]
fn a_key_without_a_bottle_is_silent_and_told_or_goes_to_the_nearest() {
    let mut strict = engine(&spec());
    let sound = heard(&mut strict, &[(0.0, midi([0x90, 71, 100]))], 0.2);
    let meters = strict.meters();
    assert!(sound.iter().all(|s| *s == 0.0));
    assert_eq!((meters.missing_key, meters.missing_count), (Some(71), 1));
    let mut kind = engine(&EngineSpec {
        nearest: true,
        ..spec()
    });
    let sound = heard(&mut kind, &[(0.0, midi([0x90, 71, 100]))], 1.0);
    assert!(off_cents(&sound[24_000..], 261.6).abs() < 2.0);
}

#[test]
fn only_listened_channels_are_heard() {
    let mut engine = engine(&EngineSpec {
        channels: 0b10,
        ..spec()
    });
    heard(&mut engine, &[(0.0, midi([0x90, 57, 100]))], 0.1);
    assert_eq!(engine.meters().sounding, 0);
    heard(&mut engine, &[(0.0, midi([0x91, 57, 100]))], 0.1);
    assert_eq!(engine.meters().sounding, 1);
}

#[test]
fn the_wheel_bends_as_far_as_the_lips_can() {
    for (wheel, expected) in [
        ([0xe0, 0, 0], -100.0),
        ([0xe0, 0x7f, 0x7f], 25.0),
        ([0xe0, 0, 0x40], 0.0),
    ] {
        let mut engine = engine(&spec());
        let commands = [(0.0, midi(wheel)), (0.01, midi([0x90, 57, 120]))];
        let sound = heard(&mut engine, &commands, 1.2);
        let asked_hz = 220.0 * 2f64.powf(expected / 1200.0);
        let bent = expected + off_cents(&sound[30_000..], asked_hz);
        assert!((bent - expected).abs() < 2.0, "{bent} for {expected}");
    }
}

#[test]
fn the_pedal_holds_and_lets_go() {
    let mut engine = engine(&spec());
    let held = [
        (0.0, midi([0xb0, 64, 127])),
        (0.0, midi([0x90, 57, 100])),
        (0.2, midi([0x80, 57, 0])),
    ];
    heard(&mut engine, &held, 3.0);
    assert_eq!(engine.meters().sounding, 1);
    heard(&mut engine, &[(0.0, midi([0xb0, 64, 0]))], 2.0);
    assert_eq!(engine.meters().sounding, 0);
}

#[test]
fn breath_expression_and_pressure_make_it_softer_and_louder() {
    let level = |commands: &[(f64, Command)]| {
        let mut engine = engine(&spec());
        let mut all = vec![(0.0, midi([0x90, 57, 60]))];
        all.extend_from_slice(commands);
        rms(&heard(&mut engine, &all, 1.5)[48_000..])
    };
    let plain = level(&[]);
    assert!(level(&[(0.1, midi([0xb0, 11, 60]))]) < 0.9 * plain);
    assert!(level(&[(0.1, midi([0xb0, 2, 40]))]) < 0.9 * plain);
    assert!(level(&[(0.1, midi([0xd0, 127, 0]))]) > 1.05 * plain);
    assert!(level(&[(0.1, midi([0xa0, 57, 127]))]) > 1.05 * plain);
    // 40 log10(64/127) dB: the level 1 sound developers' guide.
    let half_db = 20.0 * (level(&[(0.1, midi([0xb0, 7, 64]))]) / plain).log10();
    assert!(
        (half_db - 40.0 * (64.0f64 / 127.0).log10()).abs() < 0.1,
        "{half_db}"
    );
    // Programs and banks change nothing.
    let programs = [
        (0.0, midi([0xc0, 76, 0])),
        (0.0, midi([0xb0, 0, 3])),
        (0.0, midi([0xb0, 32, 1])),
    ];
    assert_eq!(level(&programs), plain);
}

#[test]
fn a_shake_moves_the_loudness_five_times_a_second() {
    let mut engine = engine(&spec());
    let commands = [(0.0, midi([0xb0, 1, 127])), (0.0, midi([0x90, 57, 20]))];
    let sound = heard(&mut engine, &commands, 3.0);
    let envelope: Vec<f64> = sound[48_000..].chunks(480).map(rms).collect();
    let mean = envelope.iter().sum::<f64>() / envelope.len() as f64;
    let at_hz = |hz: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, level) in envelope.iter().enumerate() {
            let turn = std::f64::consts::TAU * hz * i as f64 * 0.01;
            re += (level - mean) * turn.cos();
            im += (level - mean) * turn.sin();
        }
        2.0 * re.hypot(im) / envelope.len() as f64 / mean
    };
    assert!(at_hz(5.0) > 0.05, "{}", at_hz(5.0));
    assert!(at_hz(5.0) > 4.0 * at_hz(3.0) && at_hz(5.0) > 4.0 * at_hz(8.0));
}

#[test]
fn all_off_rings_down_and_silence_is_silent_at_once() {
    let mut engine = engine(&EngineSpec {
        room: Some(ullage::synth::RoomSpec::default()),
        ..spec()
    });
    let chord = [55, 57, 60].map(|key| (0.0, midi([0x90, key, 100])));
    heard(&mut engine, &chord, 0.5);
    heard(&mut engine, &[(0.0, midi([0xb0, 123, 0]))], 2.0);
    assert_eq!(engine.meters().sounding, 0);
    heard(&mut engine, &chord, 0.5);
    let after = heard(&mut engine, &[(0.0, Command::Silence)], 0.2);
    let fade = 240 + engine.delay_frames();
    assert!(after[fade + 1..].iter().all(|s| s.abs() < 1e-9));
    // The steps of a tone of 262 Hz at this level stay below 0.05; a click would pass them.
    let step = after
        .windows(2)
        .map(|w| (w[1] - w[0]).abs())
        .fold(0.0, f32::max);
    assert!(step < 0.05, "{step}");
    // It plays on afterwards.
    let again = heard(&mut engine, &[(0.0, midi([0x90, 57, 100]))], 0.5);
    assert!(rms(&again[12_000..]) > 0.01);
}

#[test]
fn a_tone_is_exactly_what_was_asked() {
    let mut engine = engine(&spec());
    let a = Command::Tone {
        frequency: Some(Frequency::from_hz(442.0)),
    };
    let sound = heard(&mut engine, &[(0.0, a)], 1.0);
    assert!(off_cents(&sound[4800..], 442.0).abs() < 0.01);
    heard(
        &mut engine,
        &[(0.0, Command::Tone { frequency: None })],
        0.1,
    );
    assert!(heard(&mut engine, &[], 0.1).iter().all(|s| *s == 0.0));
}

#[test]
fn no_sample_passes_the_ceiling_and_the_full_queue_is_counted() {
    let mut engine = engine(&EngineSpec {
        level: Level::from_db(12.0),
        ..spec()
    });
    let ceiling = Level::from_db(-6.0).gain() as f32;
    for round in 0..40 {
        for (_, command) in storm(200 + round) {
            let _ = engine.push(engine.now_frames(), command);
        }
        let _ = engine.push(engine.now_frames(), Command::Level(Level::from_db(12.0)));
        let sound = heard(&mut engine, &[], 0.1);
        assert!(sound.iter().all(|s| s.is_finite() && s.abs() <= ceiling));
    }
    let waiting = engine.now_frames() + 1_000_000;
    let refused_before = engine.meters().refused;
    let refused = (0..5000)
        .filter(|_| engine.push(waiting, Command::AllOff).is_err())
        .count();
    assert_eq!(refused, 5000 - 4096);
    assert_eq!(engine.meters().refused - refused_before, 904);
}

/// A struck bottle on key 72; with `damped` a hand stops it when its key is let go.
fn struck(damped: bool) -> EngineSpec {
    let mode = |hz: f64, level| RingingMode {
        frequency: Frequency::from_hz(hz),
        q: 900.0,
        level,
    };
    let voice = StruckVoice::new(vec![mode(2000.0, 1.0), mode(2900.0, 0.4)]).unwrap();
    let mut spec = spec();
    let voice = voice.with_split(0.0).unwrap().with_damp_on_release(damped);
    spec.players.push(PlayedBottle {
        bend_down: Interval::from_cents(30.0),
        ..PlayedBottle::new(voice, 72)
    });
    spec
}

#[test]
fn a_struck_bottle_answers_velocity_and_rings_on_when_let_go() {
    let level = |velocity| {
        let mut engine = engine(&struck(false));
        let keys = [
            (0.0, midi([0x90, 72, velocity])),
            (0.02, midi([0x80, 72, 0])),
        ];
        let sound = heard(&mut engine, &keys, 0.3);
        assert_eq!(engine.meters().sounding, 1);
        rms(&sound[9_600..])
    };
    let (soft, hard) = (level(30), level(120));
    assert!(soft > 1e-3 && hard > 4.0 * soft, "{soft} and {hard}");
    let mut engine = engine(&struck(false));
    let sound = heard(
        &mut engine,
        &[(0.0, midi([0xe0, 0, 0])), (0.0, midi([0x90, 72, 90]))],
        0.5,
    );
    let bent_hz = 2000.0 * 2f64.powf(-30.0 / 1200.0);
    assert!(off_cents(&sound[4_800..], bent_hz).abs() < 0.5);
    // 120: all sound off.
    heard(&mut engine, &[(0.0, midi([0xb0, 120, 0]))], 0.1);
    assert!(heard(&mut engine, &[], 0.1).iter().all(|s| *s == 0.0));
}

#[test]
fn a_damped_bottle_stops_when_its_key_and_the_pedal_let_go() {
    let after = |commands: &[(f64, Command)]| {
        let mut all = vec![(0.0, midi([0x90, 72, 100])), (0.1, midi([0x80, 72, 0]))];
        all.extend_from_slice(commands);
        let mut engine = engine(&struck(true));
        rms(&heard(&mut engine, &all, 0.5)[19_200..])
    };
    let (stopped, held) = (after(&[]), after(&[(0.05, midi([0xb0, 64, 127]))]));
    assert!(held > 1e-3 && stopped < 1e-3 * held, "{stopped} and {held}");
    // The next stroke rings: the hand is lifted for it.
    assert!(after(&[(0.3, midi([0x90, 72, 100]))]) > held);
}

#[test]
fn pressure_and_breath_do_nothing_to_a_struck_bottle() {
    let with = |commands: &[(f64, Command)]| {
        let mut all = vec![(0.0, midi([0x90, 72, 100]))];
        all.extend_from_slice(commands);
        heard(&mut engine(&struck(false)), &all, 0.3)
    };
    let controllers = [
        (0.05, midi([0xd0, 100, 0])),
        (0.06, midi([0xa0, 72, 100])),
        (0.07, midi([0xb0, 2, 90])),
        (0.08, midi([0xb0, 1, 90])),
    ];
    assert!(with(&[]) == with(&controllers));
}

#[test]
fn a_pointer_strikes_once_until_it_is_lifted() {
    let bottle = BottleIndex::new(3);
    let strike = |breath| Command::Blow { bottle, breath };
    let once = heard(&mut engine(&struck(false)), &[(0.0, strike(0.6))], 0.3);
    let drawn = [(0.0, strike(0.6)), (0.1, strike(0.9)), (0.15, strike(0.5))];
    assert!(rms(&once) > 1e-3 && once == heard(&mut engine(&struck(false)), &drawn, 0.3));
    let again = [
        (0.0, strike(0.6)),
        (0.1, Command::Release { bottle }),
        (0.15, strike(0.6)),
    ];
    let twice = heard(&mut engine(&struck(false)), &again, 0.3);
    assert!(once[..7_000] == twice[..7_000] && once != twice);
}

#[test]
fn a_click_comes_on_its_frame_and_leaves_nothing_behind() {
    let spec = EngineSpec {
        level: Level::from_db(0.0),
        ..spec()
    };
    let render = |commands: &[(f64, Command)]| heard(&mut engine(&spec), commands, 0.5);
    let clicks = |firsts: &[(f64, bool)]| {
        let click = |&(at_s, first)| (at_s, Command::Click { first });
        render(&firsts.iter().map(click).collect::<Vec<_>>())
    };
    let delay = engine(&spec).delay_frames();
    let two = clicks(&[(0.1, true), (0.3, false)]);
    let begins = |from: usize| from + two[from..].iter().position(|s| *s != 0.0).unwrap();
    // The first sample of a sine is 0.
    assert_eq!(begins(0), 4_800 + 1 + delay);
    assert_eq!(begins(10_000), 14_400 + 1 + delay);
    assert!(two[7_000..14_400].iter().all(|s| *s == 0.0));
    let peak = |part: &[f32]| part.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(peak(&two) > 0.15 && peak(&two) < 0.25, "{}", peak(&two));
    assert!(two[..10_000] != two[9_600..19_600], "they sound alike");
    // Four at a time, and no more: the fifth is refused and counted.
    let mut full = engine(&spec);
    heard(&mut full, &[(0.0, Command::Click { first: true }); 5], 0.1);
    assert_eq!(full.meters().refused, 1);
    heard(&mut full, &[(0.0, Command::Click { first: true }); 4], 0.1);
    assert_eq!(full.meters().refused, 1);
}

#[test]
fn what_is_taken_back_is_not_done_and_what_came_before_it_is() {
    let blow = |bottle| Command::Blow {
        bottle: BottleIndex::new(bottle),
        breath: 0.7,
    };
    let mut engine = engine(&spec());
    let mut push = |at, command| engine.push(at, command).unwrap();
    push(1_000, blow(0));
    push(2_000, blow(1));
    push(2_000, Command::Click { first: true });
    push(2_500, midi([0x90, 60, 90]));
    push(2_000, Command::Forget);
    let bottle = BottleIndex::new(0);
    push(2_000, Command::Release { bottle });
    let (mut left, mut right) = (vec![0.0; 48_000], vec![0.0; 48_000]);
    engine.process(&mut left[..1_900], &mut right[..1_900]);
    assert_eq!(engine.meters().sounding, 1, "before the frame");
    engine.process(&mut left, &mut right);
    let mut swings = [0.0; 3];
    engine.swings(&mut swings);
    assert!(swings[0] < 0.01, "let go after it: {swings:?}");
    assert_eq!(swings[1], 0.0, "taken back");
    assert!(swings[2] > 0.1, "a key stays: {swings:?}");
}

#[test]
fn a_hand_is_the_inverse_of_what_the_engine_makes_of_it() {
    use ullage::synth::{hand_blowing, hand_striking};
    for g in [1.0, 2.5, 4.5] {
        assert!((4.5 * f64::from(hand_blowing(g)) - g).abs() < 1e-6);
    }
    assert_eq!((hand_blowing(9.0), hand_blowing(-1.0)), (1.0, 0.0));
    for speed in [0.1f64, 0.4, 1.0, 2.0] {
        let made = 0.1 * 20f64.powf(f64::from(hand_striking(speed)));
        assert!((made / speed - 1.0).abs() < 1e-5, "{speed} gives {made}");
    }
    assert!(hand_striking(0.0) > 0.0 && hand_striking(9.0) == 1.0);
}
