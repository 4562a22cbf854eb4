//! What a change of the room does to a poured set, and what must be added or taken out to put it right.

use super::sounded::{Setting, SoundedError, Source};
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, FillError};
use crate::units::{Frequency, Interval, Volume};

/// Warmer and cooler by this, K.
pub const DRIFT_KELVIN: [f64; 5] = [-10.0, -5.0, 0.0, 5.0, 10.0];

/// How far the pitch of a source set to `setting` rises when everything warms by each of `kelvin`; `None` where the
/// room would be out of range.
///
/// # Errors
/// A bottle that does not sound as it is.
pub fn drift(
    source: &Source<'_>,
    setting: Setting,
    kelvin: &[f64],
) -> Result<Vec<Option<Interval>>, SoundedError> {
    let now = source.at(setting)?.frequency;
    let moved = |&kelvin: &f64| {
        let warmed = source.conditions.warmed_by_k(kelvin);
        let other = Source {
            conditions: &warmed,
            ..*source
        };
        Some(other.at(setting).ok()?.frequency.interval_above(now))
    };
    Ok(kelvin.iter().map(moved).collect())
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
