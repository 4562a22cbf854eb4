//! A liquid that is known by its weight alone.

use std::str::FromStr;

use super::water::water_density_kg_m3;
use super::{LABEL_TEMPERATURE_C, LiquidError};

/// How much thicker than water an unknown liquid is taken for: a guess, the middle in proportion of water and five times that.
pub(super) const WATERY: f64 = 2.0;
/// Lightest and heaviest that is believed, kg/l: from light petroleum to the heavy solutions that minerals are sorted in.
const KG_PER_L: std::ops::RangeInclusive<f64> = 0.6..=3.2;
/// How a density is written, and how many kg/l one of it is.
const UNITS: [(&str, f64); 7] = [
    ("kg/l", 1.0),
    ("g/ml", 1.0),
    ("g/cm3", 1.0),
    ("g/cm³", 1.0),
    ("g/l", 1e-3),
    ("kg/m3", 1e-3),
    ("kg/m³", 1e-3),
];

/// What a litre of a liquid weighs at 20 °C, 0.6 to 3.2 kg; it grows and shrinks as water does.
///
/// ```
/// use ullage::physics::liquid::Weighed;
///
/// let wine: Weighed = "992 g/l".parse()?;
/// assert_eq!(wine.kg_per_l(), 0.992);
/// # Ok::<(), ullage::physics::liquid::LiquidError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed(f64);

impl Weighed {
    /// kg/l at 20 °C.
    #[must_use]
    pub const fn kg_per_l(self) -> f64 {
        self.0
    }

    /// At another temperature, kg/m³.
    pub(super) fn density_kg_m3(self, celsius: f64) -> f64 {
        let growth = water_density_kg_m3(celsius) / water_density_kg_m3(LABEL_TEMPERATURE_C);
        1e3 * self.0 * growth
    }
}

impl FromStr for Weighed {
    type Err = LiquidError;

    fn from_str(text: &str) -> Result<Self, LiquidError> {
        let no_density = || LiquidError::Density {
            text: text.trim().to_owned(),
        };
        let unit_start = text
            .find(|c: char| c.is_alphabetic())
            .ok_or_else(no_density)?;
        let (number, unit) = text.split_at(unit_start);
        let unit: String = unit.split_whitespace().collect();
        let (_, factor) = UNITS
            .iter()
            .find(|(written, _)| unit.eq_ignore_ascii_case(written))
            .ok_or_else(no_density)?;
        let number: f64 = number.trim().parse().map_err(|_| no_density())?;
        // To a milligram, so that grams are written back as they were read.
        let kg_per_l = (1e6 * factor * number).round() / 1e6;
        if !KG_PER_L.contains(&kg_per_l) {
            return Err(LiquidError::DensityOutside {
                kg_per_l,
                min_kg_per_l: *KG_PER_L.start(),
                max_kg_per_l: *KG_PER_L.end(),
            });
        }
        Ok(Self(kg_per_l))
    }
}
