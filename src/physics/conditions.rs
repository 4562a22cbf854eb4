//! Under what conditions a bottle is blown: the room, what is in the bottle, and the player's lips.
//!
//! Every bottle falls alike in a colder room, as the speed of sound does: by the square root of the absolute temperature.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::physics::prediction::Blown;
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let mild = Conditions::default(); // 20 °C
//! let frosty = mild.warmed_by_k(-20.0);
//! let fall_cents = 600.0 * (293.15_f64 / 273.15).log2(); // 61
//! for kind in &set.kinds {
//!     let note = |room| Blown::new(&kind.bottle, room)?.fundamental(Volume::default());
//!     let fall = note(&mild)?.frequency.interval_above(note(&frosty)?.frequency);
//!     assert!((fall.cents() - fall_cents).abs() < 3.0); // damp and the drag of the walls add one or two
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::air::{Breath, Room};
use super::gas::GasError;
use super::liquid::Liquid;
use super::recipe::GasRecipe;
use super::resonance::Gases;
use super::vapour::Headspace;
use crate::units::{Pressure, Temperature};

/// Room temperatures that people work in, °C.
const ROOM_RANGE_C: (f64, f64) = (-10.0, 60.0);
/// Air pressures on the ground, kPa: from a high plateau to a deep mine.
const ROOM_RANGE_KPA: (f64, f64) = (50.0, 120.0);

/// Why conditions cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ConditionsError {
    /// The room is too cold or too warm.
    #[error("a room of {celsius} °C is outside {} to {} °C", ROOM_RANGE_C.0, ROOM_RANGE_C.1)]
    Temperature {
        /// As given.
        celsius: f64,
    },
    /// The air is too thin or too thick.
    #[error("an air pressure of {kpa} kPa is outside {} to {} kPa", ROOM_RANGE_KPA.0, ROOM_RANGE_KPA.1)]
    Pressure {
        /// As given.
        kpa: f64,
    },
    /// The humidity is no percentage.
    #[error("a humidity of {percent} % is outside 0 to 100 %")]
    Humidity {
        /// As given.
        percent: f64,
    },
    /// The share of warm breath in the neck is no share.
    #[error("a share of {share} of breath in the neck is outside 0 to 1")]
    Breath {
        /// As given.
        share: f64,
    },
    /// The gas model does not reach there.
    #[error(transparent)]
    Gas(#[from] GasError),
}

/// The room, the filling and the lips.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions {
    /// The air outside the bottle, whose temperature the bottle has taken.
    pub room: Room,
    /// Gas above the liquid.
    pub gas: GasRecipe,
    /// Gas in the neck, if another.
    pub neck_gas: Option<GasRecipe>,
    /// What is poured.
    pub liquid: Liquid,
    /// How far its vapour fills the gas above it.
    pub headspace: Headspace,
    /// Share of the mouth that the lips leave open, 0.05 to 1.
    pub lip_open: f64,
    /// Share of warm breath in the neck while playing, 0 to 1.
    pub neck_breath: f64,
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            room: Room::default(),
            gas: GasRecipe::default(),
            neck_gas: None,
            liquid: Liquid::Water,
            headspace: Headspace::Room,
            lip_open: 1.0,
            neck_breath: 0.0,
        }
    }
}

impl Conditions {
    /// The gases that the air column meets.
    ///
    /// Breath in the neck is warm breath mixed into the room's air; it takes the place of other neck gas.
    ///
    /// # Errors
    /// A room outside -10 to 60 °C, 50 to 120 kPa or 0 to 100 % of humidity; a gas the model does not reach.
    pub fn gases(&self) -> Result<Gases, ConditionsError> {
        self.check()?;
        let room = &self.room;
        let above = |gas: &GasRecipe| -> Result<_, GasError> {
            let mixture = gas.mixture(room)?;
            self.headspace
                .above(self.liquid, &mixture, room.temperature, room.pressure)?
                .at(room.temperature, room.pressure)
        };
        let body = above(&self.gas)?;
        let neck = if self.neck_breath > 0.0 {
            Breath::default().mixed_into(room, self.neck_breath)?
        } else if let Some(gas) = &self.neck_gas {
            gas.gas(room)?
        } else {
            body
        };
        Ok(Gases {
            body,
            neck,
            outside: room.gas()?,
        })
    }

    /// The same, with everything warmer by `kelvin` at the same relative humidity.
    #[must_use]
    pub fn warmed_by_k(&self, kelvin: f64) -> Self {
        let room = Room {
            temperature: self.room.temperature.warmed_by_k(kelvin),
            ..self.room
        };
        Self {
            room,
            ..self.clone()
        }
    }

    /// The same, with warm breath filling the neck.
    #[must_use]
    pub fn with_breath_in_neck(&self, share: f64) -> Self {
        Self {
            neck_breath: share,
            ..self.clone()
        }
    }

    /// Temperature of the room.
    #[must_use]
    pub fn temperature(&self) -> Temperature {
        self.room.temperature
    }

    fn check(&self) -> Result<(), ConditionsError> {
        let (celsius, kpa) = (self.room.temperature.c(), Pressure::kpa(self.room.pressure));
        let slack = 1e-9;
        if !(ROOM_RANGE_C.0 - slack..=ROOM_RANGE_C.1 + slack).contains(&celsius) {
            return Err(ConditionsError::Temperature { celsius });
        }
        if !(ROOM_RANGE_KPA.0 - slack..=ROOM_RANGE_KPA.1 + slack).contains(&kpa) {
            return Err(ConditionsError::Pressure { kpa });
        }
        if !(0.0..=1.0).contains(&self.room.humidity) {
            return Err(ConditionsError::Humidity {
                percent: 100.0 * self.room.humidity,
            });
        }
        if !(0.0..=1.0).contains(&self.neck_breath) {
            return Err(ConditionsError::Breath {
                share: self.neck_breath,
            });
        }
        Ok(())
    }
}
