//! Milk and vinegar, as they come from the kitchen: kinds of thing, not one thing each.
//!
//! Temperatures in °C, results in SI.

use super::water::{water_density_kg_m3, water_viscosity_pa_s};
use crate::units::ZERO_CELSIUS_K;

/// Fat of milk that is neither skimmed nor rich, percent by mass.
const FAT_PERCENT: f64 = 3.0;

/// Milk, kg/m³: 1030 at 20 °C, the FAO/INFOODS density database's whole milk (2012); 0.38 less a degree between 18 and 44 °C.
///
/// Skimmed milk is up to 0.5 % heavier (Bakshi and Smith, J. Dairy Sci. 67, 1984, found 990 to 1035 from cream to skimmed).
pub(super) fn milk_density_kg_m3(celsius: f64) -> f64 {
    1030.0 - 0.38 * (celsius - 20.0)
}

/// Viscosity of milk, Pa s: ln µ(mPa s) = −8.9 + 0.1 F + 2721.5/T, F the fat in percent (Bakshi and Smith 1984, 0 to 30 °C);
/// skimmed milk is a quarter thinner.
pub(super) fn milk_viscosity_pa_s(celsius: f64) -> f64 {
    1e-3 * (-8.9 + 0.1 * FAT_PERCENT + 2721.5 / (celsius + ZERO_CELSIUS_K)).exp()
}

/// Vinegar, kg/m³: water and 10 kg/m³.
///
/// Acetic acid alone adds 7.0 at 5 % and 13.9 at 10 % by mass (CRC Handbook, 20 °C); what else is in wine or malt vinegar
/// adds a few more (from memory).
pub(super) fn vinegar_density_kg_m3(celsius: f64) -> f64 {
    water_density_kg_m3(celsius) + 10.0
}

/// Viscosity of vinegar, Pa s: a ninth above water's, as 5 % of acetic acid makes it (from memory).
pub(super) fn vinegar_viscosity_pa_s(celsius: f64) -> f64 {
    1.11 * water_viscosity_pa_s(celsius)
}
