//! What a change of the room does to a set as it was poured.

use super::sounded::Setting;
use super::source::{SoundedError, Source};
use crate::physics::conditions::Conditions;
use crate::units::{Interval, Volume};

/// Warmer and cooler by this, K.
pub const DRIFT_KELVIN: [f64; 5] = [-10.0, -5.0, 0.0, 5.0, 10.0];

/// How far the pitch of a source set to `setting` rises when everything warms by each of `kelvin`, what was poured swelling
/// with it; `None` where the room would be out of range.
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
        let there = source.heard_in(&warmed);
        let setting = setting.moved(source.conditions, &warmed);
        Some(there.at(setting).ok()?.frequency.interval_above(now))
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

impl Setting {
    /// What a setting made under `poured` is under `now`: a fill swells and shrinks with its warmth.
    #[must_use]
    pub fn moved(self, poured: &Conditions, now: &Conditions) -> Self {
        match self {
            Self::Fill(fill) => Self::Fill(swollen(fill, poured, now)),
            Self::Gauge(_) | Self::Travel(_) | Self::Lift(_) => self,
        }
    }
}
