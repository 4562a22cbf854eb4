//! Several blows of one bottle as one pitch.

use super::HeardNote;
use crate::units::{Frequency, Interval};

/// Blows within this of the main one are of the same bottle, cents.
const SAME_CENTS: f64 = 60.0;

/// One pitch of one or more blows.
#[derive(Clone, Debug, PartialEq)]
pub struct Blows {
    /// The pitch.
    pub frequency: Frequency,
    /// Half the width of its 95 % interval; of several blows, at least what they differ by.
    pub plus_minus: Interval,
    /// The blows, in the order of the recording.
    pub notes: Vec<HeardNote>,
    /// What was heard beside them.
    pub others: Vec<HeardNote>,
}

/// The main pitch of `notes`: that of the loudest and longest, with all blows that are near it; `None` without notes.
#[must_use]
pub fn together(notes: &[HeardNote]) -> Option<Blows> {
    let weight = |n: &HeardNote| n.level.gain().powi(2) * n.length().s();
    let main = notes
        .iter()
        .max_by(|a, b| weight(a).total_cmp(&weight(b)))?;
    let near =
        |n: &&HeardNote| n.frequency.interval_above(main.frequency).cents().abs() <= SAME_CENTS;
    let (same, others): (Vec<HeardNote>, Vec<HeardNote>) = notes.iter().partition(near);
    let off = |n: &HeardNote| n.frequency.interval_above(main.frequency).cents();
    let trust = |n: &HeardNote| n.plus_minus.cents().max(0.1).powi(-2);
    let sum: f64 = same.iter().map(trust).sum();
    let mean_cents = same.iter().map(|n| trust(n) * off(n)).sum::<f64>() / sum;
    let count = same.len() as f64;
    let square: f64 = same.iter().map(|n| (off(n) - mean_cents).powi(2)).sum();
    let between_cents = if same.len() > 1 {
        // Of the mean of blows that differ as these do.
        super::phase::student(same.len() - 1) * (square / (count - 1.0) / count).sqrt()
    } else {
        0.0
    };
    Some(Blows {
        frequency: main.frequency.raised_by(Interval::from_cents(mean_cents)),
        plus_minus: Interval::from_cents(between_cents.max(sum.sqrt().recip())),
        notes: same,
        others,
    })
}
