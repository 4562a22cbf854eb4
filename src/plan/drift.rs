//! What a change of the room does to a poured set, and what must be added or taken out to put it right.

use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, FillError, PredictionError};
use crate::units::{Frequency, Interval, Volume};

/// Warmer and cooler by this, K.
pub const DRIFT_KELVIN: [f64; 5] = [-10.0, -5.0, 0.0, 5.0, 10.0];

/// How far the pitch of a fill rises when everything warms by each of `kelvin`; `None` where the room
/// would be out of range.
///
/// # Errors
/// A bottle that does not sound as it is.
pub fn drift(
    bottle: &Bottle,
    fill: Volume,
    conditions: &Conditions,
    kelvin: &[f64],
) -> Result<Vec<Option<Interval>>, PredictionError> {
    let now = Blown::new(bottle, conditions)?.fundamental(fill)?.frequency;
    let moved = |&kelvin: &f64| {
        let warmed = conditions.warmed_by_k(kelvin);
        let blown = Blown::new(bottle, &warmed).ok()?;
        Some(blown.fundamental(fill).ok()?.frequency.interval_above(now))
    };
    Ok(kelvin.iter().map(moved).collect())
}

/// The volume that a fill has in other conditions: the same mass of the same liquid, the same volume of another.
#[must_use]
pub fn swollen(fill: Volume, poured: &Conditions, now: &Conditions) -> Volume {
    if poured.liquid != now.liquid {
        return fill;
    }
    let density = |c: &Conditions| c.liquid.density_kg_m3(c.temperature());
    match (density(poured), density(now)) {
        (Ok(then), Ok(now)) => fill * (then / now),
        // Ice, or beyond the table: the volume is kept rather than nothing said.
        _ => fill,
    }
}

/// A bottle brought to another pitch or into another room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Retuned {
    /// The fill before.
    pub before: Volume,
    /// The fill that is needed.
    pub after: Volume,
    /// How far off the bottle is until then.
    pub off: Interval,
}

impl Retuned {
    /// `bottle` with `before` in it, brought to `target` under `conditions`.
    ///
    /// # Errors
    /// Out of reach, or conditions out of range.
    pub fn new(
        bottle: &Bottle,
        before: Volume,
        target: Frequency,
        conditions: &Conditions,
    ) -> Result<Self, FillError> {
        let blown = Blown::new(bottle, conditions)?;
        let off = blown.fundamental(before)?.frequency.interval_above(target);
        Ok(Self {
            before,
            after: blown.fill_for(target)?,
            off,
        })
    }

    /// What to add, ml; below 0 what to take out.
    #[must_use]
    pub fn add_ml(&self) -> f64 {
        self.after.ml() - self.before.ml()
    }
}
