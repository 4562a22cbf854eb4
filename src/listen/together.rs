//! Several blows of one bottle as one pitch.
//!
//! ```
//! use std::f64::consts::TAU;
//! use ullage::listen::{Listener, together::together};
//! use ullage::units::SampleRate;
//! // Two blows of one bottle, two cents apart, and between them a neighbour who plays a fifth above.
//! let mut listener = Listener::new(SampleRate::from_hz(48_000.0), &[])?;
//! for (hz, loud) in [(196.0, 0.3), (294.17, 0.1), (196.22, 0.3)] {
//!     let blow = (0..48_000).map(|n| (loud * (TAU * hz * f64::from(n) / 48_000.0).sin()) as f32);
//!     listener.push(&blow.chain([0.0; 24_000]).collect::<Vec<f32>>());
//! }
//! listener.finish();
//! let bottle = together(&listener.heard()).ok_or("nothing was heard")?;
//! assert_eq!((bottle.notes.len(), bottle.others.len()), (2, 1));
//! // The bottle lies in the middle of its blows, 3:2 below the neighbour; 0.1 cents is how well each of them is heard.
//! let fifth = bottle.others[0].frequency.interval_above(bottle.frequency);
//! assert!((fifth.cents() - 1200.0 * 1.5_f64.log2()).abs() < 0.1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::HeardNote;
use crate::units::{Frequency, Interval};

/// Blows within this of the main one are of the same bottle, cents.
const SAME_CENTS: f64 = 60.0;
/// Breaths of one bottle differ by so much (rms), as published repeats do by 6 to 10 cents; it counts as so many breaths more.
const USUAL_BETWEEN_CENTS: f64 = 7.5;
const USUAL_DEGREES: f64 = 10.0;
/// A pitch within this of what is expected is the one that is meant, cents, if it has not less than so much of the energy of
/// the loudest: 12 dB.
const EXPECTED_CENTS: f64 = 300.0;
const LIKELIER: f64 = 16.0;

/// One pitch of one or more blows.
#[derive(Clone, Debug, PartialEq)]
pub struct Blows {
    /// The pitch.
    pub frequency: Frequency,
    /// Half the width of its 95 % interval as the pitch of the bottle: no two breaths sound alike, so that one blow says less of
    /// the bottle than of itself.
    pub plus_minus: Interval,
    /// It was chosen, or its octave was, because it is expected: by the sound alone it would be another one.
    pub by_expectation: bool,
    /// The blows, in the order of the recording.
    pub notes: Vec<HeardNote>,
    /// What was heard beside them.
    pub others: Vec<HeardNote>,
}

/// The main pitch of `notes`: that of the loudest and longest, with all blows that are near it; `None` without notes.
#[must_use]
pub fn together(notes: &[HeardNote]) -> Option<Blows> {
    together_near(notes, &[])
}

/// The same where some pitches are `expected`: a note that is near one of them counts for more than a louder one that is not.
#[must_use]
pub fn together_near(notes: &[HeardNote], expected: &[Frequency]) -> Option<Blows> {
    let energy = |n: &HeardNote| n.level.gain().powi(2) * n.length().s();
    let is_near = |n: &HeardNote| {
        let off = expected
            .iter()
            .map(|e| n.frequency.interval_above(*e).cents().abs());
        off.fold(f64::INFINITY, f64::min) <= EXPECTED_CENTS
    };
    let weight = |n: &HeardNote| {
        if is_near(n) {
            LIKELIER * energy(n)
        } else {
            energy(n)
        }
    };
    let main = notes
        .iter()
        .max_by(|a, b| weight(a).total_cmp(&weight(b)))?;
    let loudest = notes
        .iter()
        .max_by(|a, b| energy(a).total_cmp(&energy(b)))?;
    let by_expectation = main.by_expectation
        || loudest
            .frequency
            .interval_above(main.frequency)
            .cents()
            .abs()
            > SAME_CENTS;
    let near =
        |n: &&HeardNote| n.frequency.interval_above(main.frequency).cents().abs() <= SAME_CENTS;
    let (same, others): (Vec<HeardNote>, Vec<HeardNote>) = notes.iter().partition(near);
    let off = |n: &HeardNote| n.frequency.interval_above(main.frequency).cents();
    let trust = |n: &HeardNote| n.plus_minus.cents().max(0.1).powi(-2);
    let sum: f64 = same.iter().map(trust).sum();
    let mean_cents = same.iter().map(|n| trust(n) * off(n)).sum::<f64>() / sum;
    let square: f64 = same.iter().map(|n| (off(n) - mean_cents).powi(2)).sum();
    Some(Blows {
        frequency: main.frequency.raised_by(Interval::from_cents(mean_cents)),
        plus_minus: of_the_bottle(same.len(), square, sum.sqrt().recip()),
        by_expectation,
        notes: same,
        others,
    })
}

/// What one breath says of the pitch of its bottle, ± (95 %).
pub(crate) fn of_one(note: &HeardNote) -> Interval {
    of_the_bottle(1, 0.0, note.plus_minus.cents())
}

/// ± (95 %) of the mean of `count` breaths whose squares of what they are off it sum up to `square`, each by itself heard so well that
/// their mean is within `heard_cents`. Few that happen to agree say little of the next one.
fn of_the_bottle(count: usize, square: f64, heard_cents: f64) -> Interval {
    let degrees = USUAL_DEGREES + count as f64 - 1.0;
    let usual = USUAL_DEGREES * USUAL_BETWEEN_CENTS * USUAL_BETWEEN_CENTS;
    let deviation = ((usual + square) / degrees / count as f64).sqrt();
    let between_cents = super::phase::student(degrees as usize) * deviation;
    Interval::from_cents(between_cents.hypot(heard_cents))
}
