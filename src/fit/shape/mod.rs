//! One estimate of a bottle's shape from whatever was measured.
//!
//! What bottles look like is a prior over some thirty numbers; every measurement is a likelihood with its error; the two
//! together leave an ensemble of bottles, all as likely. One of them that has their median pitch stands for all; how far the
//! others lie from it is the ±, at every fill, and what they have in common says what would be worth measuring next.
//!
//! | measured | how far it is off (one standard deviation) |
//! |---|---|
//! | inner diameters, lengths, capacity, walls | half of `measured_to` |
//! | where a neck ends, where a shoulder begins | 0.9 and 1.1 mm besides: a guess |
//! | a level over a scale | half of `measured_to` and a third of a gram |
//! | an outline | half of `measured_to`: radii, slowly along it, and all of them together |
//! | a blown pitch | 15 cents, and what the player adds to the mouth |
//!
//! ```
//! use ullage::fit::shape::estimated;
//! use ullage::physics::bottle::{Description, Known, MeasuredTo};
//! use ullage::physics::dimensions::Dimensions;
//! use ullage::units::{Length, Volume};
//! let mm = |value| Some(Length::from_mm(value));
//! let described = |shoulder_length| Description {
//!     known: Known::Dimensions,
//!     dimensions: Dimensions {
//!         capacity: Some(Volume::from_ml(500.0)),
//!         mouth_bore: Length::from_mm(18.0),
//!         neck_length: mm(60.0),
//!         body_diameter: mm(66.0),
//!         shoulder_length,
//!         ..Dimensions::default()
//!     },
//!     lip_wall: None,
//!     measured_to: MeasuredTo::default(),
//! };
//! let (ruled, better) = (estimated(described(None))?, estimated(described(mm(30.0)))?);
//! assert!((ruled.bore().capacity().ml() - 500.0).abs() < 0.01);
//! let sure = |bottle: &ullage::physics::bottle::Bottle| bottle.doubts().plus_minus(Volume::default());
//! assert!(sure(&better) < sure(&ruled));
//! # Ok::<(), ullage::fit::shape::ShapeError>(())
//! ```

mod base;
mod dice;
mod ensemble;
mod family;
mod given;
mod heard;
mod nodes;
mod remembered;
mod seen;
mod solve;

pub use given::ShapeError;
pub use heard::{
    CalibrateError, Calibrated, Fit, Heard, MOST_VOLUME_SHARE, OUTLIER_REPEATS, REPEAT_CENTS,
    calibrated,
};

use crate::physics::bottle::{Bottle, Description};
use ensemble::Ensemble;
use family::UNKNOWNS;
use given::Given;
use remembered::Remembered;

static KNOWN: Remembered<Bottle> = Remembered::new();

/// The bottle that stands for all that a description leaves possible; the same description gives the same bottle.
///
/// # Errors
/// A dimension out of range, nothing that says how large it is, or measurements that no bottle explains together.
pub fn estimated(described: Description) -> Result<Bottle, ShapeError> {
    let key = format!("{described:?}");
    if let Some(bottle) = KNOWN.get(&key) {
        return Ok(bottle);
    }
    let given = Given::new(&described)?;
    let zero = [0.0; UNKNOWNS];
    let (x, slopes) = given.problem.likeliest(&zero, &zero, &[true; UNKNOWNS]);
    if let Some(error) = given.contradiction(&given.problem.off(&x)) {
        return Err(error);
    }
    let bottle = Ensemble::drawn(&given.problem, &x, &slopes).bottle(&described)?;
    KNOWN.keep(key, &bottle);
    Ok(bottle)
}
