//! A row of blown and struck bottles: one number each, and nobody hears that there are two banks.

use ullage::synth::{BottleVoice, EventKind, Row};
use ullage::units::{Frequency, Interval, SampleRate};

use crate::common::voices::{ask, glass, living, spec, whole};

#[test]
fn a_bottle_is_the_same_in_any_company_and_taps_hold_each_alone() {
    let blown = || ullage::synth::BlownVoice::new(Frequency::from_hz(200.0), 20.0).unwrap();
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
    // At its place in the row, which its strokes hang on.
    let silent = BottleVoice::from(blown());
    let mut alone = Row::new(&[silent, left], SampleRate::from_hz(48_000.0), 7).unwrap();
    ask(&mut alone, 50, 1, EventKind::Strike { speed: 1.0 });
    assert!(taps[1] == whole(&mut alone, 9_000).0);
    assert!(taps[2].iter().all(|s| *s == 0.0) && taps[0].iter().any(|s| *s != 0.0));
}

#[test]
fn a_row_of_blown_bottles_is_the_bank_bit_for_bit() {
    let specs: Vec<_> = (0..20)
        .map(|i| spec(110.0 * f64::from(i + 1), 20.0))
        .collect();
    let mut bank = living(&specs, 48_000.0);
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
            ask(&mut bank, at_frames, bottle, kind);
            ask(&mut row, at_frames, bottle, kind);
        }
    }
    assert!(whole(&mut bank, 20_000) == whole(&mut row, 20_000));
}
