//! A row of blown and struck bottles: one number each, and nobody hears that there are two banks.

use ullage::synth::{BottleVoice, Event, EventKind, RingingMode, Row, StruckVoice};
use ullage::units::{Frequency, Interval, SampleRate};

fn mode(hz: f64, q: f64, level: f64) -> RingingMode {
    RingingMode {
        frequency: Frequency::from_hz(hz),
        q,
        level,
    }
}

fn glass() -> StruckVoice {
    let modes = vec![
        mode(2730.0, 800.0, 0.6),
        mode(3599.0, 700.0, -0.3),
        mode(4431.0, 600.0, 0.2),
        mode(5887.0, 500.0, 0.15),
    ];
    StruckVoice::new(modes)
        .unwrap()
        .with_air_mode(mode(190.0, 25.0, 0.02))
        .unwrap()
}

fn ask(row: &mut Row, at_frames: u64, bottle: usize, kind: EventKind) {
    row.push(Event {
        at_frames,
        bottle,
        kind,
    })
    .unwrap();
}

fn whole(row: &mut Row, frames: usize) -> (Vec<f32>, Vec<f32>) {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    row.add_block(&mut left, &mut right);
    (left, right)
}

#[test]
fn a_bottle_is_the_same_in_any_company_and_taps_hold_each_alone() {
    let blown = || ullage::synth::VoiceSpec::new(Frequency::from_hz(200.0), 20.0).unwrap();
    let voices = [BottleVoice::from(blown()), glass().into(), blown().into()];
    let mut together = Row::new(&voices, SampleRate::from_hz(48_000.0), 7).unwrap();
    let blow = EventKind::Blow {
        g: 2.0,
        attack: ullage::synth::Attack::Natural,
    };
    ask(&mut together, 0, 0, blow);
    ask(&mut together, 50, 1, EventKind::Strike { speed: 1.0 });
    // What is not theirs passes them by.
    ask(&mut together, 60, 1, blow);
    ask(&mut together, 60, 1, EventKind::Release);
    ask(&mut together, 60, 2, EventKind::Strike { speed: 1.0 });
    let mut taps = vec![vec![0.0f32; 9_000]; 3];
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    together.add_block_with_taps(&mut vec![0.0; 9_000], &mut vec![0.0; 9_000], &mut slices);
    assert_eq!((together.sounding_count(), together.bottle_count()), (2, 3));
    let mut swings = [9.0; 3];
    together.swings(&mut swings);
    assert!(
        swings[0] > 0.1 && swings[1] > 0.01 && swings[2] == 0.0,
        "{swings:?}"
    );
    let left = BottleVoice::from(glass().with_pan(-1.0).unwrap());
    let mut alone = Row::new(&[left], SampleRate::from_hz(48_000.0), 7).unwrap();
    ask(&mut alone, 50, 0, EventKind::Strike { speed: 1.0 });
    assert!(taps[1] == whole(&mut alone, 9_000).0);
    assert!(taps[2].iter().all(|s| *s == 0.0) && taps[0].iter().any(|s| *s != 0.0));
}

#[test]
fn a_row_of_blown_bottles_is_the_bank_bit_for_bit() {
    let specs: Vec<_> = (0..20)
        .map(|i| crate::common::spec(110.0 * f64::from(i + 1), 20.0))
        .collect();
    let mut bank = crate::common::bank(&specs, 48_000.0);
    let voices: Vec<BottleVoice> = specs.into_iter().map(BottleVoice::from).collect();
    let mut row = Row::new(&voices, SampleRate::from_hz(48_000.0), 7).unwrap();
    for bottle in 0..20 {
        for (at_frames, kind) in [
            (
                100 * bottle as u64,
                EventKind::Blow {
                    g: 2.5,
                    attack: ullage::synth::Attack::Tongued { strength: 0.7 },
                },
            ),
            (
                4_000,
                EventKind::Bend {
                    interval: Interval::from_cents(50.0),
                },
            ),
            (6_000, EventKind::Release),
        ] {
            bank.push(Event {
                at_frames,
                bottle,
                kind,
            })
            .unwrap();
            row.push(Event {
                at_frames,
                bottle,
                kind,
            })
            .unwrap();
        }
    }
    let (mut l, mut r) = (vec![0.0; 20_000], vec![0.0; 20_000]);
    bank.add_block(&mut l, &mut r);
    assert!((l, r) == whole(&mut row, 20_000));
}
