//! A bottle that nobody has measured but for its capacity and its mouth: what its pitch, blown empty, says of the rest.
//!
//! Of all bottles that hold so much, have such a mouth and sound so, shaped as bottles are: what they have in common is what the
//! pitch says, and how far they lie apart is the ±.
//!
//! ```
//! use ullage::listen::unknown::{Unknown, inferred};
//! use ullage::physics::conditions::Conditions;
//! use ullage::units::{Frequency, Interval, Length, Volume};
//! // A long-necked bottle whose bore is known: 172.71 Hz in dry air at 20 °C by finite elements.
//! let mut dry = Conditions::default();
//! dry.room.humidity = 0.0;
//! let unknown = Unknown {
//!     capacity: Volume::from_ml(346.06),
//!     mouth_bore: Length::from_mm(17.0),
//!     heard: Frequency::from_hz(172.71),
//!     plus_minus: Interval::from_cents(0.5),
//! };
//! let neck = inferred(&unknown, &dry)?.neck_length;
//! // Its neck is 78 mm long: within the ± of what capacity, mouth and pitch alone say, which is less than half of it.
//! assert!((neck.value.mm() - 78.0).abs() < neck.plus_minus.mm());
//! assert!(neck.plus_minus.mm() < 39.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::fit::air::{CalibrateError, Heard, calibrated};
use crate::fit::shape::{ShapeError, estimated};
use crate::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::dimensions::Dimensions;
use crate::units::{Frequency, Interval, Length, Volume};

/// Why nothing can be inferred.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UnknownError {
    /// The room is out of range.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// A capacity or a mouth out of range.
    #[error("{what} {value} is outside {low} to {high}")]
    Range {
        /// Name with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
    },
    /// No likely bottle sounds so.
    #[error(transparent)]
    Pitch(#[from] CalibrateError),
    /// No bottle has such a mouth.
    #[error(transparent)]
    Shape(#[from] ShapeError),
}

/// A dimension with half the width of its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likely {
    /// The likeliest.
    pub value: Length,
    /// Half the width of its 95 % interval.
    pub plus_minus: Length,
}

/// What is known of the bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknown {
    /// Brimful, 5 ml to 100 l.
    pub capacity: Volume,
    /// Inner diameter of the mouth, 2 to 200 mm.
    pub mouth_bore: Length,
    /// Its pitch, blown empty.
    pub heard: Frequency,
    /// Half the width of the pitch's 95 % interval; another blow may differ by half a semitone, which counts as well.
    pub plus_minus: Interval,
}

/// What the pitch says of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inferred {
    /// Length of the neck: what the pitch fixes.
    pub neck_length: Likely,
    /// Bore at its foot: as likely as before.
    pub neck_bore: Likely,
    /// Outer diameter of the body: as likely as before.
    pub body_diameter: Likely,
    /// Height: likewise.
    pub height: Likely,
}

/// The likeliest bottle that sounds as heard in the room and with the lips of `now`.
///
/// # Errors
/// Numbers out of range, or a pitch that no likely bottle has.
pub fn inferred(unknown: &Unknown, now: &Conditions) -> Result<Inferred, UnknownError> {
    in_range("a capacity in ml of", unknown.capacity.ml(), 5.0, 100_000.0)?;
    in_range("a mouth in mm of", unknown.mouth_bore.mm(), 2.0, 200.0)?;
    let described = estimated(Description {
        known: Known::Dimensions,
        dimensions: Dimensions {
            capacity: Some(unknown.capacity),
            mouth_bore: unknown.mouth_bore,
            ..Dimensions::default()
        },
        lip_wall: None,
        measured_to: MeasuredTo::default(),
    })?;
    let heard = Heard {
        fill: Volume::default(),
        frequency: unknown.heard,
        temperature: Some(now.temperature()),
    };
    let bottle = calibrated(&described, &[heard], now)?.bottle;
    Ok(Inferred {
        neck_length: likely(&bottle, "neck_length_mm"),
        neck_bore: likely(&bottle, "neck_bore_mm"),
        body_diameter: likely(&bottle, "body_diameter_mm"),
        height: likely(&bottle, "height_mm"),
    })
}

fn likely(bottle: &Bottle, key: &str) -> Likely {
    let (mean_m, sigma_m) = bottle.doubts().likely(key).unwrap_or_default();
    Likely {
        value: Length::from_m(mean_m),
        plus_minus: Length::from_m(2.0 * sigma_m),
    }
}

fn in_range(what: &'static str, value: f64, low: f64, high: f64) -> Result<(), UnknownError> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    Err(UnknownError::Range {
        what,
        value,
        low,
        high,
    })
}
