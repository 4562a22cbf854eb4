//! What stands for `trace` in a build that reads no photographs: the same names, and nothing that could be seen.

use crate::units::Length;

/// Points of an outline that a hand can move.
pub const GRIPS: usize = 16;

/// The sides of a bottle as a photograph shows them: none here.
#[derive(Clone, Debug)]
pub enum Followed {}

/// What a hand has put elsewhere than it was seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hand {
    /// The upper end of the axis.
    pub mouth: Option<[f64; 2]>,
    /// The lower end.
    pub base: Option<[f64; 2]>,
    /// How much further out the glass is, grip by grip.
    pub out_px: [f64; GRIPS],
}

impl Hand {
    /// Whether everything is as it was seen.
    #[must_use]
    pub fn rests(&self) -> bool {
        *self == Self::default()
    }
}

/// A point of an outline that a hand can move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grip {
    /// Above the table.
    pub height: Length,
    /// Outer radius there.
    pub radius: Length,
    /// Its error, one standard deviation.
    pub error: Length,
    /// Whether a hand has moved it.
    pub by_hand: bool,
    /// Where it is seen to the left and to the right of the axis.
    pub places: [[f64; 2]; 2],
    /// Outwards on the left.
    pub outwards: [f64; 2],
    /// Pixels further out for a millimetre of radius.
    pub px_per_mm: f64,
}
