//! What hearing a bottle's wall has taught, beyond its dimensions.
//!
//! ```
//! use ullage::physics::shell::wall::{Mouth, Wall};
//! use ullage::sounding::Setting;
//! use ullage::units::{Frequency, Volume};
//! let set = ullage::set::open("presets/struck/set.toml")?;
//! let cellar = &set.kinds[0]; // 505 g; tapped when empty and with 370 ml in it
//! let tapped = cellar.fits.tapped.ok_or("nobody tapped it")?;
//! // The wall that rings as it was heard still weighs what the scales said, which are trusted to 2 %, ...
//! let wall = Wall::of(&cellar.bottle, &tapped.trim, Mouth::Open)?;
//! assert!((wall.mass.g() / 505.0 - 1.0).abs() < 0.02);
//! // ... and gives both pitches again to 5 cents, half of what a tap is trusted to.
//! let source = set.source(&set.pours[0]);
//! for (ml, hz) in [(0.0, 2607.0), (370.0, 1970.0)] {
//!     let found = source.at(Setting::Fill(Volume::from_ml(ml)))?.frequency;
//!     assert!(found.interval_above(Frequency::from_hz(hz)).cents().abs() < 5.0);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::pressed::PressedFit;
use super::shell::wall::Trim;
use super::struck::HeardPartials;
use crate::units::Interval;

/// What taps half a bottle apart leave to doubt (95 %), cents. From bottles tapped at a dozen fills: where one tap leaves 27
/// to 88 rms, a second at half fill leaves 12 to 16.
pub const BOTH_TAPPED_CENTS: f64 = 70.0;

/// What a fit to tapped pitches found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tapped {
    /// Factors on the description.
    pub trim: Trim,
    /// Which partials were heard.
    pub partials: HeardPartials,
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
