//! A bottle fitted to pitches that were already heard from it.
//!
//! Pitches are measurements like others: the bottle is estimated again with them. One says most of what the mouth and the
//! neck leave open, and how this player's lips lie on it; a second one, with liquid in the bottle, says what the body does.
//!
//! ```
//! use ullage::fit::air::{Heard, REPEAT_CENTS, calibrated};
//! use ullage::physics::conditions::Conditions;
//! use ullage::physics::prediction::Blown;
//! use ullage::units::{Frequency, Volume};
//! // A half-litre bottle whose pitches were published with the air left in it (HyperPhysics, Georgia State University), but
//! // neither its neck nor the temperature: both are guessed, and two of the pitches mend the guess.
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"half litre\"\ncapacity_ml = 520\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 62",
//! )?;
//! let room = Conditions::default();
//! let heard = |(ml, hz)| Heard { fill: Volume::from_ml(500.0 - ml), frequency: Frequency::from_hz(hz), temperature: None };
//! let fitted = calibrated(&shelf.kinds[0].bottle, &[(500.0, 146.0), (200.0, 239.0)].map(heard), &room)?.bottle;
//! // The other fills follow, as near as the same player would come to them again.
//! for other in [(450.0, 156.0), (350.0, 178.0), (250.0, 212.0), (150.0, 280.0)].map(heard) {
//!     let found = Blown::new(&fitted, &room)?.fundamental(other.fill)?.frequency;
//!     assert!(found.interval_above(other.frequency).cents().abs() < REPEAT_CENTS);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub use super::shape::{
    CalibrateError, Calibrated, Fit, Heard, MOST_VOLUME_SHARE, OUTLIER_REPEATS, REPEAT_CENTS,
    calibrated,
};
