//! The bank's laws: blocks, resets, seeds, silence, and numbers that make no sense.

use ullage::index::BottleIndex;
use ullage::synth::{Attack, BlownBank, BlownVoice, Event, EventKind, PassiveMode};
use ullage::units::{Frequency, Interval, SampleRate};

use crate::common::measure;
use crate::common::voices::{ask, blow, in_blocks, left, living, spec, tongue};

/// Several bottles at work, with everything they can do.
fn busy(rate_hz: f64, seed: u64) -> BlownBank {
    let mode = PassiveMode {
        frequency: Frequency::from_hz(1300.0),
        q: 30.0,
        gain: 0.01,
    };
    let specs: Vec<BlownVoice> = (0..40)
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
    let mut bank = BlownBank::new(&specs, SampleRate::from_hz(rate_hz), seed).unwrap();
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
        let mut bank = living(&[spec(300.0, 20.0)], 48_000.0);
        tongue(&mut bank, 1000, 0, 2.0);
        left(&mut bank, 4000)
    };
    let mut bank = living(&[spec(300.0, 20.0)], 48_000.0);
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
    let mut together = living(&specs, 48_000.0);
    (0..3).for_each(|bottle| tongue(&mut together, 10 * bottle as u64, bottle, 2.5));
    let mut taps = vec![vec![0.0f32; 5000]; 3];
    let (mut l, mut r) = (vec![0.0; 5000], vec![0.0; 5000]);
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    together.add_block_with_taps(&mut l, &mut r, &mut slices);
    let mut alone = living(&specs, 48_000.0);
    tongue(&mut alone, 20, 2, 2.5);
    let mut tap = vec![vec![0.0f32; 5000]; 3];
    let mut slices: Vec<&mut [f32]> = tap.iter_mut().map(Vec::as_mut_slice).collect();
    alone.add_block_with_taps(&mut l, &mut r, &mut slices);
    assert_eq!(taps[2], tap[2]);
    assert!(tap[0].iter().all(|s| *s == 0.0) && tap[2].iter().any(|s| s.abs() > 0.1));
}

#[test]
fn notes_of_a_living_bottle_are_strangers_and_differ_in_level() {
    const NOTES: usize = 6;
    const APART: usize = 96_000;
    let mut bank = living(&[spec(196.0, 32.0)], 48_000.0);
    for note in 0..NOTES {
        let at_frames = (APART * note) as u64;
        tongue(&mut bank, at_frames, 0, 2.5);
        ask(&mut bank, at_frames + 40_000, 0, EventKind::Release);
    }
    let sound = left(&mut bank, APART * NOTES);
    let notes: Vec<&[f32]> = sound.chunks(APART).map(|n| &n[..40_000]).collect();
    let pairs = (0..NOTES).flat_map(|a| (0..a).map(move |b| (a, b)));
    let alike: Vec<f64> = pairs
        .map(|(a, b)| measure::correlation(notes[a], notes[b]).abs())
        .collect();
    // Two may be alike by chance. Tones of one pitch and any phase have 2/π = 0.64 in the mean; other pitches have less.
    let mean = alike.iter().sum::<f64>() / alike.len() as f64;
    println!("every two notes, correlation {mean:.3}");
    assert!(mean < 0.6, "{mean}");
    let levels: Vec<f64> = notes.iter().map(|n| measure::rms(&n[24_000..])).collect();
    let (least, most) = levels
        .iter()
        .fold((f64::MAX, 0.0f64), |(l, m), x| (l.min(*x), m.max(*x)));
    assert!(
        most > 1.01 * least && most < 1.5 * least,
        "{least} to {most}"
    );
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
    let mut bank = living(&[spec(200.0, 20.0)], 48_000.0);
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
    let mut bank = living(&specs, rate_hz);
    (0..16).for_each(|bottle| blow(&mut bank, 0, bottle, 0.5));
    let frames = 1 << 18;
    let mut taps = vec![vec![0.0f32; frames]; 16];
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    bank.add_block_with_taps(&mut vec![0.0; frames], &mut vec![0.0; frames], &mut slices);
    // The noise falls from 300 Hz on: of its samples (1 − k²)/(1 + k²) are independent, with k what is left of it one later;
    // a 26th. Five deviations.
    let floor = 5.0 / (frames as f64 / 26.0).sqrt();
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
        gain: 5.0,
    };
    let specs: Vec<BlownVoice> = extremes
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
            voice.with_breath_pull(Interval::from_cents(100.0)).unwrap()
        })
        .collect();
    for rate_hz in [8_000.0, 44_100.0, 192_000.0, 768_000.0] {
        let mut bank = living(&specs, rate_hz);
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
    let mut bank = living(&[spec(200.0, 20.0)], 48_000.0);
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
                bottle: BottleIndex::new(0),
                kind
            })
            .is_err()
        );
    }
    assert!(
        bank.push(Event {
            at_frames: 0,
            bottle: BottleIndex::new(1),
            kind: EventKind::Release
        })
        .is_err()
    );
    assert!(BlownBank::new(&[spec(4000.0, 8.0)], SampleRate::from_hz(8_000.0), 1).is_err());
}
