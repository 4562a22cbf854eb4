//! The few dimensions that somebody with a ruler and a kitchen scale can give, and the ranges that they may have.
//!
//! ```
//! use ullage::physics::dimensions::{Dimensions, DimensionsError};
//! use ullage::units::Length;
//! // Metres taken for millimetres: no bottle is that high.
//! let typo = Dimensions { height: Some(Length::from_m(305.0)), ..Dimensions::default() };
//! assert!(matches!(typo.check(), Err(DimensionsError::Range { what: "height_mm", .. })));
//! ```

pub use super::material::Material;
use crate::units::{Length, Mass, Volume};

/// The dimensions of a bottle; outer ones where an owner would measure outside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dimensions {
    /// Brimful capacity.
    pub capacity: Option<Volume>,
    /// Inner diameter of the mouth.
    pub mouth_bore: Length,
    /// Inner diameter at the very rim, where that flares out over the mouth.
    pub lip_bore: Option<Length>,
    /// Narrowest inner diameter of the neck, where a bead or a step makes it narrower than the mouth.
    pub narrowest_bore: Option<Length>,
    /// Inner diameter at the foot of the neck.
    pub neck_bore: Option<Length>,
    /// From the end of the shoulder to the mouth.
    pub neck_length: Option<Length>,
    /// Outer diameter of the body; across the flats of a square one.
    pub body_diameter: Option<Length>,
    /// From the table to where the shoulder begins.
    pub body_length: Option<Length>,
    /// From where the shoulder begins to where the neck begins.
    pub shoulder_length: Option<Length>,
    /// From the table to the mouth.
    pub height: Option<Length>,
    /// Wall of the body.
    pub wall: Option<Length>,
    /// Mass of the empty bottle.
    pub mass: Option<Mass>,
    /// The body is square.
    pub square: bool,
    /// What it is made of.
    pub material: Material,
}

/// Why a dimension is none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DimensionsError {
    /// A dimension is zero, negative, not a number, or absurd.
    #[error("{what} = {value} is outside {low} to {high}")]
    Range {
        /// Name as in a file, with its unit.
        what: &'static str,
        /// As written.
        value: f64,
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
    },
}

impl Dimensions {
    /// Refuses a mouth that is missing or absurd.
    ///
    /// # Errors
    /// A bore outside 2 to 200 mm.
    pub fn check_mouth(&self) -> Result<(), DimensionsError> {
        within("mouth_bore_mm", Some(self.mouth_bore.mm()), 2.0, 200.0)
    }

    /// Refuses whatever else was given and is zero, negative, not a number, or absurd.
    ///
    /// # Errors
    /// The first dimension that is out of range.
    pub fn check(&self) -> Result<(), DimensionsError> {
        let length = |what, value: Option<Length>, low: f64, high: f64| {
            within(what, value.map(Length::mm), low, high)
        };
        within("capacity_ml", self.capacity.map(Volume::ml), 5.0, 100_000.0)?;
        length("lip_bore_mm", self.lip_bore, 2.0, 300.0)?;
        length("narrowest_bore_mm", self.narrowest_bore, 2.0, 200.0)?;
        length("neck_bore_mm", self.neck_bore, 2.0, 400.0)?;
        length("neck_length_mm", self.neck_length, 0.0, 1000.0)?;
        length("body_diameter_mm", self.body_diameter, 5.0, 1000.0)?;
        length("body_length_mm", self.body_length, 1.0, 2000.0)?;
        length("shoulder_length_mm", self.shoulder_length, 0.0, 1000.0)?;
        length("height_mm", self.height, 10.0, 2000.0)?;
        length("wall_mm", self.wall, 0.05, 30.0)?;
        within("mass_g", self.mass.map(Mass::g), 1.0, 50_000.0)
    }
}

pub(crate) fn within(
    what: &'static str,
    value: Option<f64>,
    low: f64,
    high: f64,
) -> Result<(), DimensionsError> {
    match value {
        Some(value) if !(low..=high).contains(&value) => Err(DimensionsError::Range {
            what,
            value,
            low,
            high,
        }),
        _ => Ok(()),
    }
}
