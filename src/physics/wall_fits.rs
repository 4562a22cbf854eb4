//! What hearing a bottle's wall has taught, beyond its dimensions.

use super::pressed::PressedFit;
use super::shell::wall::Trim;
use crate::units::Interval;

/// What taps half a bottle apart leave to doubt (95 %), cents. From bottles tapped at a dozen fills: where one tap leaves 27
/// to 88 rms, a second at half fill leaves 12 to 16.
pub const BOTH_TAPPED_CENTS: f64 = 70.0;

/// What a fit to tapped pitches found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tapped {
    /// Factors on the description.
    pub trim: Trim,
    /// How sure pitches are then (95 %).
    pub plus_minus: Interval,
    /// How far the fit is from what was heard, root mean square.
    pub residual: Interval,
    /// How many pitches.
    pub heard: usize,
    /// They are half a bottle apart, so that the fill curve is held at both ends.
    pub both_ends: bool,
}

/// What is known of a wall beyond its dimensions.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WallFits {
    /// From pitches tapped at fills.
    pub tapped: Option<Tapped>,
    /// From pitches tapped at pressures.
    pub pressed: Option<PressedFit>,
}
