//! The blown voice, measured on the samples it makes.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::measure;
use num_complex::Complex64;
use ullage::synth::{Attack, Bank, Event, EventKind, PassiveMode, VoiceSpec};
use ullage::units::{Frequency, Interval, SampleRate};

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
const NOTES_HZ: [f64; 6] = [55.0, 110.0, 196.0, 440.0, 783.99, 1100.0];

fn spec(hz: f64, q: f64) -> VoiceSpec {
    VoiceSpec::new(Frequency::from_hz(hz), q).unwrap()
}

fn bank(specs: &[VoiceSpec], rate_hz: f64) -> Bank {
    Bank::new(specs, SampleRate::from_hz(rate_hz), 7).unwrap()
}

fn ask(bank: &mut Bank, at_frames: u64, bottle: usize, kind: EventKind) {
    bank.push(Event {
        at_frames,
        bottle,
        kind,
    })
    .unwrap();
}

fn blow(bank: &mut Bank, at_frames: u64, bottle: usize, g: f64) {
    ask(
        bank,
        at_frames,
        bottle,
        EventKind::Blow {
            g,
            attack: Attack::Natural,
        },
    );
}

fn tongue(bank: &mut Bank, at_frames: u64, bottle: usize, g: f64) {
    ask(
        bank,
        at_frames,
        bottle,
        EventKind::Blow {
            g,
            attack: Attack::Tongued { strength: 1.0 },
        },
    );
}

/// The left side; in the middle it is 0.707 of the voice.
fn left(bank: &mut Bank, frames: usize) -> Vec<f32> {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    bank.add_block(&mut left, &mut right);
    left
}

fn seconds(rate_hz: f64, s: f64) -> usize {
    (rate_hz * s) as usize
}

#[test]
fn a_steady_tone_is_within_a_cent_of_the_bottle() {
    let mut worst = 0.0f64;
    for rate_hz in RATES_HZ {
        for hz in NOTES_HZ {
            let mut bank = bank(&[spec(hz, 32.0)], rate_hz);
            tongue(&mut bank, 0, 0, 3.0);
            let sound = left(&mut bank, seconds(rate_hz, 9.0));
            let measured = measure::pitch_hz(&sound[seconds(rate_hz, 1.0)..], rate_hz, hz);
            let off_cents = measure::cents(measured, hz);
            println!("steady pitch: {rate_hz} Hz, {hz} Hz, Q 32: {off_cents:+.3} cents");
            worst = worst.max(off_cents.abs());
        }
    }
    println!("steady pitch, worst: {worst:.3} cents");
    // voice.md section 3 asks for 1 cent; the breath noise alone makes it wander by some tenths.
    assert!(worst < 1.0, "{worst} cents");
}

#[test]
fn a_released_bottle_rings_down_with_its_own_quality_and_pitch() {
    let mut worst = (0.0f64, 0.0f64);
    for rate_hz in RATES_HZ {
        // A low quality at a high pitch is gone before the breath is: its width is measured instead, below.
        for (hz, q) in [
            (55.0, 32.0),
            (110.0, 60.0),
            (196.0, 32.0),
            (220.0, 8.0),
            (440.0, 16.0),
            (1100.0, 100.0),
            (3000.0, 100.0),
        ] {
            // Overtones die two to four times as fast and would bend the slope: left out.
            let mut bank = bank(&[spec(hz, q).with_overtone_gain(0.0).unwrap()], rate_hz);
            tongue(&mut bank, 0, 0, 4.0);
            let stop = seconds(rate_hz, 1.5);
            ask(&mut bank, stop as u64, 0, EventKind::Release);
            let sound = left(&mut bank, stop + seconds(rate_hz, 20.0 * q / hz));
            let free = &sound[stop + seconds(rate_hz, 0.021)..];
            let quality = measure::ring_down_q(free, rate_hz, hz, 1.0, 50.0);
            let off = quality / q - 1.0;
            println!(
                "ring-down: {rate_hz} Hz, {hz} Hz, Q {q}: measured {quality:.3} ({:+.2} %)",
                100.0 * off
            );
            // Three windows of sixteen periods must fit into the ring, so only from Q 16 up.
            let periods = (1.2 * q).max(48.0);
            let first = &free[..seconds(rate_hz, periods / hz)];
            let off_cents = if q < 16.0 {
                0.0
            } else {
                measure::cents(measure::pitch_hz(first, rate_hz, hz), hz)
            };
            println!("ring-down pitch: {off_cents:+.4} cents");
            worst = (worst.0.max(off.abs()), worst.1.max(off_cents.abs()));
        }
    }
    println!(
        "ring-down, worst: {:.2} %, {:.3} cents",
        100.0 * worst.0,
        worst.1
    );
    assert!(worst.0 < 0.02, "voice.md section 3: 2 %; {}", worst.0);
    assert!(worst.1 < 1.0, "{} cents", worst.1);
}

#[test]
fn a_soft_breath_hums_with_the_narrowed_width() {
    let rate_hz = 48_000.0;
    for (hz, q, g) in [
        (440.0, 16.0, 0.5),
        (440.0, 16.0, 0.8),
        (880.0, 8.0, 0.5),
        (220.0, 32.0, 0.5),
    ] {
        let spec = spec(hz, q).with_breath_gain(0.0).unwrap();
        let mut bank = bank(&[spec], rate_hz);
        blow(&mut bank, 0, 0, g);
        let sound = left(&mut bank, seconds(rate_hz, 300.0));
        let power = measure::spectrum(&sound[seconds(rate_hz, 1.0)..], 1 << 17);
        let expected_hz = hz / q * (1.0 - g);
        let reach_hz = 4.0 * expected_hz;
        let width_hz = measure::resonance_width_hz(&power, rate_hz, hz - reach_hz, hz + reach_hz);
        let off = width_hz / expected_hz - 1.0;
        println!(
            "width: {hz} Hz, Q {q}, g {g}: {width_hz:.3} Hz, expected {expected_hz:.3} ({:+.1} %)",
            100.0 * off
        );
        assert!(off.abs() < 0.10, "voice.md section 3: 10 %; {off}");
    }
}

#[test]
fn two_bottles_beat_at_the_difference_of_their_pitches() {
    let rate_hz = 48_000.0;
    for (hz, apart_cents) in [(440.0, 5.0), (196.0, 12.0), (880.0, 8.0)] {
        let other_hz = hz * 2f64.powf(apart_cents / 1200.0);
        let mut bank = bank(&[spec(hz, 32.0), spec(other_hz, 32.0)], rate_hz);
        tongue(&mut bank, 0, 0, 3.0);
        tongue(&mut bank, 0, 1, 3.0);
        let sound = left(&mut bank, seconds(rate_hz, 25.0));
        let expected_hz = other_hz - hz;
        let steady = &sound[seconds(rate_hz, 1.0)..];
        let beats_hz = measure::beats_hz(
            steady,
            rate_hz,
            (hz + other_hz) / 2.0,
            0.5 * expected_hz,
            1.5 * expected_hz,
        );
        let off = beats_hz / expected_hz - 1.0;
        println!(
            "beats: {hz} Hz, {apart_cents} cents: {beats_hz:.4} Hz, expected {expected_hz:.4} ({:+.2} %)",
            100.0 * off
        );
        assert!(off.abs() < 0.02, "voice.md section 3: 2 %; {off}");
    }
}

#[test]
fn the_steady_swing_is_that_of_the_normal_form() {
    for g in [1.5, 2.5, 4.0] {
        let mut bank = bank(
            &[spec(196.0, 32.0).with_overtone_gain(0.0).unwrap()],
            48_000.0,
        );
        tongue(&mut bank, 0, 0, g);
        let sound = left(&mut bank, 240_000);
        let tone = measure::demodulate(&sound[96_000..], 48_000.0, 196.0, 0.1);
        let swing =
            tone.value.iter().map(|(re, im)| re.hypot(*im)).sum::<f64>() / tone.value.len() as f64;
        let expected = ((g - 1.0) / g).sqrt() * 0.5f64.sqrt();
        // 3 %: the noise makes it breathe by 1 to 3 % (voice.md's own table).
        assert!(
            (swing / expected - 1.0).abs() < 0.03,
            "g {g}: {swing} for {expected}"
        );
    }
}

/// The time until the envelope first reaches `part` of what it settles on, s.
fn reach_s(sound: &[f32], rate_hz: f64, hz: f64, part: f64) -> f64 {
    let tone = measure::demodulate(sound, rate_hz, hz, 4.0 / hz);
    let level: Vec<f64> = tone.value.iter().map(|(re, im)| re.hypot(*im)).collect();
    let tail = &level[level.len() * 3 / 4..];
    let settled = tail.iter().sum::<f64>() / tail.len() as f64;
    tone.time_s[level.iter().position(|l| *l >= part * settled).unwrap()]
}

#[test]
fn a_tongued_bottle_speaks_several_times_sooner_than_breath_alone() {
    let sound = |attack| {
        let mut bank = bank(&[spec(196.0, 32.0)], 48_000.0);
        ask(&mut bank, 0, 0, EventKind::Blow { g: 2.5, attack });
        left(&mut bank, 96_000)
    };
    let natural_s = reach_s(&sound(Attack::Natural), 48_000.0, 196.0, 0.9);
    let tongued_s = reach_s(
        &sound(Attack::Tongued { strength: 1.0 }),
        48_000.0,
        196.0,
        0.9,
    );
    println!("attack to 90 %: natural {natural_s:.3} s, tongued {tongued_s:.3} s");
    assert!(
        natural_s > 0.1 && tongued_s < natural_s / 3.0,
        "{natural_s} s, {tongued_s} s"
    );
}

#[test]
fn overtones_are_whole_multiples_with_the_documented_share() {
    let (hz, g) = (440.0, 4.0);
    let mut bank = bank(&[spec(hz, 32.0).with_breath_gain(0.0).unwrap()], 48_000.0);
    tongue(&mut bank, 0, 0, g);
    let sound = left(&mut bank, 240_000);
    // Each overtone's phase is a whole multiple of the fundamental's: multiplied by the fundamental's power,
    // turned back, the noise averages out and the share is left.
    let part =
        |n: i32| measure::demodulate(&sound[48_000..], 48_000.0, f64::from(n) * hz, 0.05).value;
    let first: Vec<_> = part(1)
        .iter()
        .map(|(re, im)| Complex64::new(*re, *im) * 2f64.sqrt())
        .collect();
    for (n, share) in (2..).zip(ullage::synth::overtones(Frequency::from_hz(hz), g)) {
        let (mut along, mut power) = (0.0, 0.0);
        for (overtone, z) in part(n).iter().zip(&first) {
            along += (Complex64::new(overtone.0, overtone.1) * 2f64.sqrt() * z.powi(n).conj()).re;
            power += z.powi(n).norm_sqr();
        }
        let measured = along / power;
        println!("overtone {n}: {measured:.5}, documented {share:.5}");
        // 3 %: what is left of the noise in four seconds, at the fourth.
        assert!(
            (measured / share - 1.0).abs() < 0.03,
            "overtone {n}: {measured} for {share}"
        );
    }
}

#[test]
fn hard_blowing_pulls_the_pitch_as_far_as_asked_and_by_default_not_at_all() {
    for (pull_cents, expected_cents) in [(0.0, 0.0), (20.0, 20.0)] {
        let spec = spec(440.0, 32.0)
            .with_blow_pull(Interval::from_cents(pull_cents))
            .unwrap();
        let mut bank = bank(&[spec], 48_000.0);
        blow(&mut bank, 0, 0, 6.0);
        let sound = left(&mut bank, 240_000);
        let off_cents = measure::cents(measure::pitch_hz(&sound[48_000..], 48_000.0, 440.0), 440.0);
        assert!(
            (off_cents - expected_cents).abs() < 1.0,
            "{off_cents} cents for {expected_cents}"
        );
    }
}

#[test]
fn a_bend_and_a_new_tuning_arrive_where_they_were_sent() {
    let bend = EventKind::Bend {
        interval: Interval::from_cents(-50.0),
    };
    let tune = EventKind::Tune {
        frequency: Frequency::from_hz(523.25),
        q: 20.0,
    };
    for (kind, hz) in [(bend, 440.0 * 2f64.powf(-50.0 / 1200.0)), (tune, 523.25)] {
        let mut bank = bank(&[spec(440.0, 32.0)], 48_000.0);
        tongue(&mut bank, 0, 0, 3.0);
        ask(&mut bank, 20_001, 0, kind);
        let sound = left(&mut bank, 300_000);
        let off_cents = measure::cents(measure::pitch_hz(&sound[48_000..], 48_000.0, hz), hz);
        assert!(off_cents.abs() < 1.0, "{off_cents} cents from {hz} Hz");
    }
}

#[test]
fn a_passive_mode_rings_down_with_its_own_quality() {
    let mode = PassiveMode {
        frequency: Frequency::from_hz(900.0),
        q: 150.0,
        gain: 30.0,
    };
    let mut bank = bank(
        &[spec(200.0, 5.0).with_modes(vec![mode]).unwrap()],
        48_000.0,
    );
    blow(&mut bank, 0, 0, 0.5);
    ask(&mut bank, 96_000, 0, EventKind::Release);
    let sound = left(&mut bank, 144_000);
    // 0.12 s after the breath has gone the main resonance is 65 dB down, the mode 20 dB.
    let free = &sound[96_000 + 5_760..];
    let quality = measure::ring_down_q(free, 48_000.0, 900.0, 1.0, 35.0);
    // 2 %, as for the main resonance.
    assert!((quality / 150.0 - 1.0).abs() < 0.02, "{quality}");
}

/// Several bottles at work, with everything they can do.
fn busy(rate_hz: f64, seed: u64) -> Bank {
    let mode = PassiveMode {
        frequency: Frequency::from_hz(1300.0),
        q: 30.0,
        gain: 1.0,
    };
    let specs: Vec<VoiceSpec> = (0..40)
        .map(|i| {
            let bottle = spec(110.0 * 2f64.powf(f64::from(i) / 12.0), 8.0 + f64::from(i));
            let bottle = bottle.with_pan(f64::from(i) / 20.0 - 1.0).unwrap();
            if i % 3 == 0 {
                bottle.with_modes(vec![mode]).unwrap()
            } else {
                bottle
            }
        })
        .collect();
    let mut bank = Bank::new(&specs, SampleRate::from_hz(rate_hz), seed).unwrap();
    for i in 0..40u64 {
        let bottle = i as usize;
        tongue(&mut bank, 37 * i, bottle, 0.3 + 0.1 * i as f64);
        ask(
            &mut bank,
            1000 + 113 * i,
            bottle,
            EventKind::Bend {
                interval: Interval::from_cents(30.0),
            },
        );
        ask(&mut bank, 4000 + 71 * i, bottle, EventKind::Release);
        if i % 4 == 1 {
            blow(&mut bank, 30_001 + 5 * i, bottle, 2.0);
        }
    }
    bank
}

fn in_blocks(bank: &mut Bank, frames: usize, blocks: &[usize]) -> (Vec<f32>, Vec<f32>) {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    let (mut start, mut sizes) = (0, blocks.iter().cycle());
    while start < frames {
        let end = (start + sizes.next().unwrap()).min(frames);
        bank.add_block(&mut left[start..end], &mut right[start..end]);
        start = end;
    }
    (left, right)
}

#[test]
fn block_size_is_inaudible() {
    let whole = in_blocks(&mut busy(48_000.0, 7), 1024 * 60, &[1024]);
    let parts = in_blocks(&mut busy(48_000.0, 7), 1024 * 60, &[1, 7, 64, 441, 511]);
    assert!(whole.0.iter().any(|s| s.abs() > 0.1));
    assert_eq!(whole, parts);
}

#[test]
fn an_event_pushed_late_in_small_blocks_sounds_like_one_pushed_early() {
    let early = {
        let mut bank = bank(&[spec(300.0, 20.0)], 48_000.0);
        tongue(&mut bank, 1000, 0, 2.0);
        left(&mut bank, 4000)
    };
    let mut bank = bank(&[spec(300.0, 20.0)], 48_000.0);
    let mut late = left(&mut bank, 1000);
    tongue(&mut bank, 1000, 0, 2.0);
    late.extend(left(&mut bank, 3000));
    assert_eq!(early, late);
}

#[test]
fn reset_leaves_the_bank_as_new_did() {
    let fresh = in_blocks(&mut busy(48_000.0, 7), 50_000, &[512]);
    let mut used = busy(48_000.0, 7);
    in_blocks(&mut used, 7_777, &[100]);
    used.reset();
    assert!(used.is_silent() && used.now_frames() == 0);
    // The events again: reset forgets what was waiting.
    let again = {
        for i in 0..40u64 {
            let bottle = i as usize;
            tongue(&mut used, 37 * i, bottle, 0.3 + 0.1 * i as f64);
            ask(
                &mut used,
                1000 + 113 * i,
                bottle,
                EventKind::Bend {
                    interval: Interval::from_cents(30.0),
                },
            );
            ask(&mut used, 4000 + 71 * i, bottle, EventKind::Release);
            if i % 4 == 1 {
                blow(&mut used, 30_001 + 5 * i, bottle, 2.0);
            }
        }
        in_blocks(&mut used, 50_000, &[512])
    };
    assert_eq!(fresh, again);
}

#[test]
fn one_seed_gives_one_sound_and_another_seed_another() {
    let sound = |seed| in_blocks(&mut busy(48_000.0, seed), 20_000, &[512]);
    assert_eq!(sound(7), sound(7));
    assert_ne!(sound(7), sound(8));
}

#[test]
fn taps_hold_each_bottle_alone_and_a_bottle_is_the_same_in_any_company() {
    let specs = [spec(200.0, 20.0), spec(300.0, 20.0), spec(450.0, 20.0)];
    let mut together = bank(&specs, 48_000.0);
    (0..3).for_each(|bottle| tongue(&mut together, 10 * bottle as u64, bottle, 2.5));
    let mut taps = vec![vec![0.0f32; 5000]; 3];
    let (mut l, mut r) = (vec![0.0; 5000], vec![0.0; 5000]);
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    together.add_block_with_taps(&mut l, &mut r, &mut slices);
    let mut alone = bank(&specs, 48_000.0);
    tongue(&mut alone, 20, 2, 2.5);
    let mut tap = vec![vec![0.0f32; 5000]; 3];
    let mut slices: Vec<&mut [f32]> = tap.iter_mut().map(Vec::as_mut_slice).collect();
    alone.add_block_with_taps(&mut l, &mut r, &mut slices);
    assert_eq!(taps[2], tap[2]);
    assert!(tap[0].iter().all(|s| *s == 0.0) && tap[2].iter().any(|s| s.abs() > 0.1));
}

#[test]
fn after_the_ring_down_there_is_exactly_nothing() {
    let mut bank = busy(48_000.0, 7);
    (0..40).for_each(|bottle| {
        ask(
            &mut bank,
            60_000 + bottle as u64,
            bottle,
            EventKind::Release,
        )
    });
    in_blocks(&mut bank, 200_000, &[512]);
    assert!(bank.is_silent() && bank.sounding_count() == 0);
    let after = in_blocks(&mut bank, 48_000, &[512]);
    assert!(after.0.iter().chain(&after.1).all(|s| *s == 0.0));
}

#[test]
fn a_bank_that_nobody_blows_says_nothing() {
    let mut bank = bank(&[spec(200.0, 20.0)], 48_000.0);
    ask(&mut bank, 5, 0, EventKind::Release);
    blow(&mut bank, 10, 0, 0.0);
    assert!(left(&mut bank, 10_000).iter().all(|s| *s == 0.0));
    assert_eq!(bank.sounding_count(), 0);
}

#[test]
fn the_noises_of_neighbours_are_strangers() {
    let rate_hz = 48_000.0;
    // All alike, and too soft to sound: what is left is breath. With a low quality it is nearly white.
    let specs = vec![spec(2000.0, 1.0).with_breath_gain(10.0).unwrap(); 16];
    let mut bank = bank(&specs, rate_hz);
    (0..16).for_each(|bottle| blow(&mut bank, 0, bottle, 0.5));
    let frames = 1 << 18;
    let mut taps = vec![vec![0.0f32; frames]; 16];
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    bank.add_block_with_taps(&mut vec![0.0; frames], &mut vec![0.0; frames], &mut slices);
    // The noise is coloured by a 3 kHz corner: about an eighth of the samples are independent. Five deviations.
    let floor = 5.0 / (frames as f64 / 8.0).sqrt();
    for (a, b) in (0..16).flat_map(|a| (0..a).map(move |b| (a, b))) {
        for lag in 0..3 {
            let r = measure::correlation(&taps[a][lag..], &taps[b][..frames - lag]);
            assert!(
                r.abs() < floor,
                "bottles {a} and {b}, lag {lag}: {r}, floor {floor}"
            );
        }
    }
}

#[test]
fn no_extreme_gives_a_number_that_is_none() {
    let extremes = [(20.0, 1.0), (20.0, 2000.0), (3500.0, 1.0), (3500.0, 2000.0)];
    let mode = |hz| PassiveMode {
        frequency: Frequency::from_hz(hz),
        q: 1.0,
        gain: 100.0,
    };
    let specs: Vec<VoiceSpec> = extremes
        .iter()
        .map(|(hz, q)| {
            let voice = spec(*hz, *q)
                .with_modes(vec![mode(20.0), mode(3500.0), mode(20_000.0)])
                .unwrap();
            let voice = voice
                .with_overtone_gain(4.0)
                .unwrap()
                .with_breath_gain(1.0)
                .unwrap();
            voice.with_blow_pull(Interval::from_cents(100.0)).unwrap()
        })
        .collect();
    for rate_hz in [8_000.0, 44_100.0, 192_000.0, 768_000.0] {
        let mut bank = bank(&specs, rate_hz);
        for bottle in 0..4 {
            tongue(&mut bank, 0, bottle, 1e9);
            ask(
                &mut bank,
                9_000,
                bottle,
                EventKind::Bend {
                    interval: Interval::from_cents(2400.0),
                },
            );
            tongue(&mut bank, 12_345, bottle, 6.0);
            ask(&mut bank, 30_000, bottle, EventKind::Release);
        }
        let sound = left(&mut bank, 60_000);
        let most = sound.iter().fold(0.0f32, |most, s| {
            if s.is_finite() {
                most.max(s.abs())
            } else {
                f32::NAN
            }
        });
        assert!(most > 0.1 && most < 1000.0, "{rate_hz} Hz: {most}");
    }
}

#[test]
fn numbers_that_make_no_sense_are_handed_back() {
    let mut bank = bank(&[spec(200.0, 20.0)], 48_000.0);
    for kind in [
        EventKind::Blow {
            g: f64::NAN,
            attack: Attack::Natural,
        },
        EventKind::Blow {
            g: -1.0,
            attack: Attack::Natural,
        },
        EventKind::Blow {
            g: 1.0,
            attack: Attack::Tongued { strength: 2.0 },
        },
        EventKind::Bend {
            interval: Interval::from_cents(f64::INFINITY),
        },
        EventKind::Tune {
            frequency: Frequency::from_hz(0.0),
            q: 3.0,
        },
    ] {
        assert!(
            bank.push(Event {
                at_frames: 0,
                bottle: 0,
                kind
            })
            .is_err()
        );
    }
    assert!(
        bank.push(Event {
            at_frames: 0,
            bottle: 1,
            kind: EventKind::Release
        })
        .is_err()
    );
    assert!(Bank::new(&[spec(4000.0, 8.0)], SampleRate::from_hz(8_000.0), 1).is_err());
}
