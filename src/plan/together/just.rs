//! Just intervals by their ratios.

use crate::units::{CENTS_PER_OCTAVE, Interval};
use serde::{Serialize, Serializer};
use std::fmt;

/// Just intervals within an octave, to the limit of 5: the usual twelve, with both sizes of the tritone
/// and of the minor seventh.
const RATIOS: [(u64, u64); 14] = [
    (1, 1),
    (16, 15),
    (9, 8),
    (6, 5),
    (5, 4),
    (4, 3),
    (45, 32),
    (64, 45),
    (3, 2),
    (8, 5),
    (5, 3),
    (16, 9),
    (9, 5),
    (15, 8),
];

/// Octaves that a ratio may hold on top: ten are the range of hearing.
const MOST_OCTAVES: f64 = 16.0;

/// A ratio of whole numbers, the higher note first: a fifth is 3:2, a tenth 5:2.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct JustRatio {
    /// The higher note's part.
    pub upper: u64,
    /// The lower note's part.
    pub lower: u64,
}

impl JustRatio {
    /// The just interval nearest to `interval`, octaves and all. An interval downward is taken for a
    /// unison, and so is one that is not a number.
    #[must_use]
    pub fn nearest(interval: Interval) -> Self {
        let cents = interval.cents().clamp(0.0, MOST_OCTAVES * CENTS_PER_OCTAVE);
        // Not a number becomes 0 in the cast.
        let octaves = (cents / CENTS_PER_OCTAVE).floor() as u32;
        let here = RATIOS.map(|(upper, lower)| Self::with_octaves(upper, lower, octaves));
        let next_octave = Self::with_octaves(1, 1, octaves + 1);
        here.into_iter()
            .chain([next_octave])
            .min_by(|a, b| {
                let off = |ratio: &Self| (ratio.interval().cents() - cents).abs();
                off(a).total_cmp(&off(b))
            })
            .expect("there are ratios")
    }

    /// A ratio and some octaves, in lowest terms.
    fn with_octaves(upper: u64, lower: u64, octaves: u32) -> Self {
        let cancelled = lower.trailing_zeros().min(octaves);
        Self {
            upper: upper << (octaves - cancelled),
            lower: lower >> cancelled,
        }
    }

    /// Its size.
    #[must_use]
    pub fn interval(self) -> Interval {
        Interval::from_ratio(self.upper as f64 / self.lower as f64)
    }
}

impl fmt::Display for JustRatio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.upper, self.lower)
    }
}

impl Serialize for JustRatio {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
