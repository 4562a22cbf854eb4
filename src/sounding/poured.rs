//! How much goes into one bottle for one note, and what comes of it.

use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, FillError, Prediction, PredictionError};
use crate::units::{Frequency, Interval, Mass, Volume};

/// A bottle poured for a note.
#[derive(Clone, Debug, PartialEq)]
pub struct Poured {
    /// The pitch aimed at.
    pub target: Frequency,
    /// What it gives.
    pub prediction: Prediction,
    /// Mass of the liquid.
    pub mass: Mass,
}

impl Poured {
    /// `bottle` with the fill that gives `target`.
    ///
    /// # Errors
    /// Out of reach of this bottle, or conditions out of range.
    pub fn solved(
        bottle: &Bottle,
        target: Frequency,
        conditions: &Conditions,
    ) -> Result<Self, FillError> {
        let fill = Blown::new(bottle, conditions)?.fill_for(target)?;
        Ok(Self::with_fill(bottle, target, fill, conditions)?)
    }

    /// `bottle` with a given fill, whatever pitch it gives.
    ///
    /// # Errors
    /// A fill that does not go into the bottle, or conditions out of range.
    pub fn with_fill(
        bottle: &Bottle,
        target: Frequency,
        fill: Volume,
        conditions: &Conditions,
    ) -> Result<Self, PredictionError> {
        let prediction = Prediction::new(bottle, fill, conditions)?;
        // Liquids are poured at the room's temperature; where a liquid has no density there, water's serves.
        let density = conditions
            .liquid
            .density_kg_m3(conditions.temperature())
            .unwrap_or(998.2);
        Ok(Self {
            target,
            prediction,
            mass: Mass::from_kg(fill.m3() * density),
        })
    }

    /// `bottle` with the fill that was planned, or with the one that gives `target` where none was.
    ///
    /// # Errors
    /// As [`Self::with_fill`] and [`Self::solved`].
    pub fn planned_or_solved(
        bottle: &Bottle,
        target: Frequency,
        fill: Option<Volume>,
        conditions: &Conditions,
    ) -> Result<Self, FillError> {
        match fill {
            Some(fill) => Ok(Self::with_fill(bottle, target, fill, conditions)?),
            None => Self::solved(bottle, target, conditions),
        }
    }

    /// How far the pitch is above the one aimed at.
    #[must_use]
    pub fn error(&self) -> Interval {
        self.prediction.note().frequency.interval_above(self.target)
    }
}
