//! What a change of the room does to a set as it was poured.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::sounding::drift::{drift, swollen};
//! use ullage::sounding::{Setting, Source};
//! use ullage::units::Volume;
//! let quay = ullage::set::open("presets/quay/set.toml")?;
//! let mut dry = Conditions::default(); // 20 °C
//! dry.room.humidity = 0.0;
//! let tide_bottle = Source::blown(&quay.kind_of(&quay.pours[2]).bottle, &dry);
//! let warmed = |fill| drift(&tide_bottle, Setting::Fill(fill), &[10.0]);
//! // An empty bottle follows its air, whose sound is faster as √T; thicker layers of friction at the wall cost
//! // half a cent of these 29.
//! let empty = warmed(Volume::default())?[0].ok_or("too warm")?;
//! assert!((empty.cents() - 1200.0 * (303.15_f64 / 293.15).sqrt().log2()).abs() < 0.8);
//! // Water swells besides and leaves less air: by 0.60 % from 20 to 40 °C (0.9982 and 0.9922 g/ml in every table).
//! let poured = Volume::from_ml(483.44);
//! let swelling = swollen(poured, &dry, &dry.warmed_by_k(20.0)) / poured;
//! assert!((swelling - 0.9982 / 0.9922).abs() < 1e-4);
//! assert!(warmed(poured)?[0] > Some(empty));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

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
