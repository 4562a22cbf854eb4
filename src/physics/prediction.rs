//! What one bottle does at one filling: its pitch and Q, and how fast they move.
//!
//! ```
//! use ullage::physics::prediction::{Blown, Prediction};
//! use ullage::units::Frequency;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let kind = set.kinds.iter().find(|kind| kind.name == "tide bottle").ok_or("no tide bottle")?;
//! let blown = Blown::new(&kind.bottle, &set.conditions)?;
//! let body = kind.bottle.bore().volume_below(kind.bottle.neck_foot());
//! let (low, high) = (blown.fill_for(Frequency::from_hz(130.0))?, blown.fill_for(Frequency::from_hz(195.0))?);
//! // Air is a spring: a fifth higher, 3:2, takes 9/4 of the stiffness, and so 4/9 of the air.
//! let air_left = (body - high) / (body - low);
//! assert!((air_left * 9.0 / 4.0 - 1.0).abs() < 0.02); // where the body's air ends and the neck's begins is not sharp
//! // A kelvin more in a room of 19 °C: half its share of the absolute temperature, 3 cents, and a little for damper air.
//! let per_kelvin = Prediction::new(&kind.bottle, high, &set.conditions)?.per_kelvin;
//! assert!((per_kelvin.cents() - 600.0 * (293.15_f64 / 292.15).log2()).abs() < 0.3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::{PI, TAU};

use super::bottle::Bottle;
use super::conditions::{Conditions, ConditionsError};
use super::gas::Gas;
use super::mouth::{Mouth, MouthError};
use super::resonance::{AirColumn, Gases, Resonance, ResonanceError};
use super::uncertainty::Uncertainty;
use crate::units::{Frequency, Interval, Length, Volume};

/// Resonances given: the note and the first modes that colour its breath. A voice asks for more, [`Blown::resonances`].
pub const RESONANCES: usize = 4;
/// Air left above the highest fill that is searched or drawn, as a share of the capacity.
pub const LEAST_AIR: f64 = 0.02;
/// Lowest Q at which a bottle still gives a note: common practice, no source.
pub const LEAST_QUALITY: f64 = 8.0;
/// Width of a solved fill, m³: a microlitre.
const FILL_WIDTH_M3: f64 = 1e-9;

/// Why nothing can be predicted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PredictionError {
    /// The fill is negative, not a number, or more than the bottle holds.
    #[error("a fill of {fill_ml} ml is outside 0 to {capacity_ml:.1} ml, what the bottle holds")]
    Fill {
        /// As asked.
        fill_ml: f64,
        /// What it holds.
        capacity_ml: f64,
    },
    /// The air or gas is out of range.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// The mouth is out of range.
    #[error(transparent)]
    Mouth(#[from] MouthError),
    /// It does not sound.
    #[error(transparent)]
    Resonance(#[from] ResonanceError),
}

/// Why no fill gives a note.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FillError {
    /// Lower than the empty bottle.
    #[error(
        "{target_hz:.1} Hz is below the {lowest_hz:.1} Hz that the empty bottle gives ({cents:.0} cents too low); \
         about {litres:.2} l with the same neck would do"
    )]
    TooLow {
        /// The note.
        target_hz: f64,
        /// The empty bottle's.
        lowest_hz: f64,
        /// How far it is below.
        cents: f64,
        /// Capacity of a bottle with this neck that would reach it.
        litres: f64,
    },
    /// Higher than the fullest bottle that still sounds.
    #[error(
        "{target_hz:.1} Hz is above the {highest_hz:.1} Hz that the bottle reaches with {fill_ml:.0} ml in it \
         ({cents:.0} cents too high); take a smaller bottle or a wider mouth"
    )]
    TooHigh {
        /// The note.
        target_hz: f64,
        /// The fullest bottle's.
        highest_hz: f64,
        /// How far it is above.
        cents: f64,
        /// The fill of the fullest bottle.
        fill_ml: f64,
    },
    /// Nothing can be predicted at all.
    #[error(transparent)]
    Prediction(#[from] PredictionError),
}

/// A bottle under conditions, ready for any filling: the gases are worked out once.
#[derive(Clone, Debug)]
pub struct Blown<'a> {
    bottle: &'a Bottle,
    gases: Gases,
    mouth: Mouth,
}

impl<'a> Blown<'a> {
    /// `bottle` blown under `conditions`.
    ///
    /// # Errors
    /// Conditions or lips out of range.
    pub fn new(bottle: &'a Bottle, conditions: &Conditions) -> Result<Self, PredictionError> {
        Self::with_gases(bottle, conditions.gases()?, conditions.lip_open)
    }

    /// `bottle` with gases that were worked out before, `lip_open` of its mouth left open by the lips.
    ///
    /// # Errors
    /// Lips out of range.
    pub fn with_gases(
        bottle: &'a Bottle,
        gases: Gases,
        lip_open: f64,
    ) -> Result<Self, PredictionError> {
        Ok(Self {
            bottle,
            gases,
            mouth: bottle.mouth(lip_open)?,
        })
    }

    /// The air above a fill.
    ///
    /// # Errors
    /// A fill that is no fill, or leaves no air.
    pub fn column(&self, fill: Volume) -> Result<AirColumn, PredictionError> {
        let capacity = self.bottle.bore().capacity();
        if !(0.0..=capacity.m3()).contains(&fill.m3()) {
            return Err(PredictionError::Fill {
                fill_ml: fill.ml(),
                capacity_ml: capacity.ml(),
            });
        }
        let level = self.bottle.bore().level_of(fill);
        Ok(AirColumn::new(
            self.bottle.bore(),
            level,
            self.bottle.neck_foot(),
            self.gases,
            self.mouth,
        )?)
    }

    /// The note at a fill.
    ///
    /// # Errors
    /// As [`Self::column`], or a bottle that does not ring.
    pub fn fundamental(&self, fill: Volume) -> Result<Resonance, PredictionError> {
        Ok(self.column(fill)?.fundamental()?)
    }

    /// The fill that gives `target`, to a microlitre.
    ///
    /// # Errors
    /// [`FillError::TooLow`] or [`FillError::TooHigh`] with what the bottle reaches.
    pub fn fill_for(&self, target: Frequency) -> Result<Volume, FillError> {
        let empty = self.fundamental(Volume::default())?;
        if target.hz() < empty.frequency.hz() {
            return Err(self.too_low(target, empty.frequency));
        }
        let (full, highest) = self.fullest()?;
        let high_cents = highest.frequency.interval_above(target).cents();
        if high_cents < 0.0 {
            return Err(FillError::TooHigh {
                target_hz: target.hz(),
                highest_hz: highest.frequency.hz(),
                cents: -high_cents,
                fill_ml: full.ml(),
            });
        }
        // The air is a spring: the square of the period falls nearly in a straight line with the fill.
        let too_long = |found: Frequency| (target / found).powi(2) - 1.0;
        let (mut low_m3, mut at_low) = (0.0, too_long(empty.frequency));
        let (mut high_m3, mut at_high) = (full.m3(), too_long(highest.frequency));
        // Regula falsi (Illinois), with a halving now and then, should the line be a bad one.
        let mut last_was_low = None;
        for round in 0..100 {
            if high_m3 - low_m3 < FILL_WIDTH_M3 {
                break;
            }
            let share = if round % 6 == 5 || at_high >= at_low {
                0.5
            } else {
                (at_low / (at_low - at_high)).clamp(0.001, 0.999)
            };
            let middle_m3 = low_m3 + (high_m3 - low_m3) * share;
            let found = self.fundamental(Volume::from_m3(middle_m3))?.frequency;
            let cents = found.interval_above(target).cents();
            if cents.abs() < 1e-4 {
                return Ok(Volume::from_m3(middle_m3));
            }
            let is_low = cents < 0.0;
            let again = last_was_low == Some(is_low);
            if is_low {
                (low_m3, at_low) = (middle_m3, too_long(found));
                at_high *= if again { 0.5 } else { 1.0 };
            } else {
                (high_m3, at_high) = (middle_m3, too_long(found));
                at_low *= if again { 0.5 } else { 1.0 };
            }
            last_was_low = Some(is_low);
        }
        Ok(Volume::from_m3(0.5 * (low_m3 + high_m3)))
    }

    /// The highest fill at which the bottle still gives a note, and that note.
    ///
    /// # Errors
    /// If it does not sound even when empty.
    pub fn fullest(&self) -> Result<(Volume, Resonance), PredictionError> {
        let bore = self.bottle.bore();
        // Liquid in the neck leaves a stub of a pipe: the body is what tunes.
        let foot_m3 = bore.volume_below(self.bottle.neck_foot()).m3();
        let most_m3 = if foot_m3 > 0.0 {
            foot_m3
        } else {
            bore.capacity().m3()
        };
        let mut fill_m3 = most_m3.min(bore.capacity().m3() * (1.0 - LEAST_AIR));
        for _ in 0..200 {
            match self.fundamental(Volume::from_m3(fill_m3)) {
                Ok(found) if found.quality >= LEAST_QUALITY => {
                    return Ok((Volume::from_m3(fill_m3), found));
                }
                _ => fill_m3 *= 0.98,
            }
        }
        Ok((Volume::default(), self.fundamental(Volume::default())?))
    }

    fn too_low(&self, target: Frequency, lowest: Frequency) -> FillError {
        let cents = lowest.interval_above(target).cents();
        // A spring of air is softer in proportion to its volume: f² V is nearly constant.
        let litres = self.bottle.bore().capacity().l() * (lowest / target).powi(2);
        FillError::TooLow {
            target_hz: target.hz(),
            lowest_hz: lowest.hz(),
            cents,
            litres,
        }
    }

    /// The schoolbook pitch, shown beside the line model's: a plug of air on a spring of air.
    ///
    /// f = c/2π · √(S / (V L′)), L′ the neck with one end correction of 0.85 and one of 0.61 radii. It
    /// does not know shoulders or walls, and is off by 134 cents rms over common bottles.
    ///
    /// Kinsler et al., *Fundamentals of Acoustics*, ch. 10.
    ///
    /// # Errors
    /// A fill that is no fill.
    pub fn schoolbook(&self, fill: Volume) -> Result<Frequency, PredictionError> {
        self.column(fill)?;
        let bore = self.bottle.bore();
        let radius = bore.mouth_radius();
        let neck = bore.height() - self.bottle.neck_foot();
        let air_m3 = bore.volume_below(self.bottle.neck_foot()).m3() - fill.m3();
        let effective = neck + radius * (0.85 + 0.61);
        Ok(schoolbook_pitch(
            self.gases.body,
            radius,
            effective,
            Volume::from_m3(air_m3.max(1e-9)),
        ))
    }
}

/// The schoolbook formula itself: c/2π · √(π a² / (V L′)).
#[must_use]
pub fn schoolbook_pitch(
    gas: Gas,
    radius: Length,
    effective_neck: Length,
    air: Volume,
) -> Frequency {
    let area_m2 = PI * radius.m().powi(2);
    Frequency::from_hz(
        gas.sound_speed_m_s() / TAU * (area_m2 / (air.m3() * effective_neck.m())).sqrt(),
    )
}

/// Everything about one bottle at one filling.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// Liquid in it.
    pub fill: Volume,
    /// Air above the liquid, to the brim.
    pub air: Volume,
    /// Level above the table.
    pub level: Length,
    /// The note first, then the modes above it.
    pub resonances: Vec<Resonance>,
    /// How far the pitch rises for a millilitre more.
    pub per_ml: Interval,
    /// How far it rises for a kelvin, everything warming alike.
    pub per_kelvin: Interval,
    /// How far it rises for a millimetre more of bore in mouth and neck.
    pub per_mm_bore: Interval,
    /// How sure the pitch is.
    pub uncertainty: Uncertainty,
    /// What the schoolbook formula says.
    pub schoolbook: Frequency,
}

impl Prediction {
    /// What `bottle` does with `fill` in it under `conditions`.
    ///
    /// # Errors
    /// Anything out of range, or a bottle that does not ring.
    pub fn new(
        bottle: &Bottle,
        fill: Volume,
        conditions: &Conditions,
    ) -> Result<Self, PredictionError> {
        let blown = Blown::new(bottle, conditions)?;
        let resonances = blown.column(fill)?.resonances(RESONANCES);
        let note = blown.fundamental(fill)?.frequency;
        let per_kelvin = per_kelvin(bottle, fill, conditions, note)?;
        let pitch = |other: &Bottle| {
            let fill = fill.min(other.bore().capacity());
            Some(
                Blown::with_gases(other, blown.gases, conditions.lip_open)
                    .ok()?
                    .fundamental(fill)
                    .ok()?
                    .frequency,
            )
        };
        Ok(Self {
            fill,
            air: bottle.bore().capacity() - fill,
            level: bottle.level_outside(fill),
            per_ml: blown.per_ml(fill)?,
            per_kelvin,
            per_mm_bore: per_mm_bore(bottle, note, &pitch),
            uncertainty: Uncertainty::of(bottle, fill, per_kelvin),
            schoolbook: blown.schoolbook(fill)?,
            resonances,
        })
    }

    /// The note.
    #[must_use]
    pub fn note(&self) -> Resonance {
        self.resonances[0]
    }
}

impl Blown<'_> {
    /// The note and the modes above it, `count` in all or as many as ring.
    ///
    /// # Errors
    /// As [`Self::column`].
    pub fn resonances(
        &self,
        fill: Volume,
        count: usize,
    ) -> Result<Vec<Resonance>, PredictionError> {
        Ok(self.column(fill)?.resonances(count))
    }

    /// How far the pitch rises for a millilitre more.
    ///
    /// # Errors
    /// As [`Self::fundamental`].
    pub fn per_ml(&self, fill: Volume) -> Result<Interval, PredictionError> {
        let step = self.bottle.bore().capacity() * 1e-4;
        let low = (fill - step).max(Volume::default());
        let high = (fill + step)
            .min(self.bottle.bore().capacity() * (1.0 - 1e-6))
            .max(low + step * 1e-3);
        let rise = self
            .fundamental(high)?
            .frequency
            .interval_above(self.fundamental(low)?.frequency);
        Ok(Interval::from_cents(rise.cents() / (high - low).ml()))
    }
}

/// Rise for a kelvin more, or the fall for a kelvin less in the warmest room that there is.
fn per_kelvin(
    bottle: &Bottle,
    fill: Volume,
    conditions: &Conditions,
    note: Frequency,
) -> Result<Interval, PredictionError> {
    let rise = |kelvin: f64| -> Result<f64, PredictionError> {
        let other = Blown::new(bottle, &conditions.warmed_by_k(kelvin))?;
        Ok(other
            .fundamental(fill)?
            .frequency
            .interval_above(note)
            .cents()
            / kelvin)
    };
    Ok(Interval::from_cents(rise(1.0).or_else(|_| rise(-1.0))?))
}

/// Rise for a millimetre more of bore, by a tenth of one.
fn per_mm_bore(
    bottle: &Bottle,
    note: Frequency,
    pitch: &impl Fn(&Bottle) -> Option<Frequency>,
) -> Interval {
    const STEP_MM: f64 = 0.1;
    let wider = bottle.with_wider_neck(Length::from_mm(STEP_MM));
    let rise = wider
        .and_then(|wider| pitch(&wider))
        .map_or(0.0, |f| f.interval_above(note).cents());
    Interval::from_cents(rise / STEP_MM)
}
