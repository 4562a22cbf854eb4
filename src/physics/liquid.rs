//! What is poured into a bottle: which liquids are known, how heavy and how thick they are.
//!
//! A new liquid is a variant of [`Liquid`], its names, its temperature range, its two formulas and how wrong they are.

mod alcohol;
mod error;
mod kitchen;
mod names;
mod spirit;
mod thick;
mod water;
mod weighed;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Temperature;

use alcohol::{ethanol_density_kg_m3, isopropanol_density_kg_m3, mass_fraction};
pub use error::LiquidError;
pub(super) use thick::sugar_mole_fraction;
pub use water::{WATER_KG_M3, WATER_PA_S};
pub(super) use water::{salt_molality, water_density_kg_m3};
pub use weighed::Weighed;

/// Where the percentage on an alcohol's label holds, °C.
const LABEL_TEMPERATURE_C: f64 = 20.0;

/// A liquid.
///
/// ```
/// use ullage::physics::liquid::Liquid;
/// use ullage::units::Temperature;
///
/// let spirit: Liquid = "ethanol 40%".parse()?;
/// let density = spirit.density_kg_m3(Temperature::from_c(20.0))?;
/// assert!((density - 948.0).abs() < 0.5);
/// let syrup: Liquid = "sugar 60%".parse()?;
/// let water_pa_s = Liquid::Water.viscosity_pa_s(Temperature::from_c(20.0))?;
/// assert!(syrup.viscosity_pa_s(Temperature::from_c(20.0))? > 50.0 * water_pa_s);
/// # Ok::<(), ullage::physics::liquid::LiquidError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[non_exhaustive]
pub enum Liquid {
    /// Water.
    #[default]
    Water,
    /// Table salt in water, as much as dissolves.
    Brine,
    /// Table salt in water.
    Salt(Dissolved),
    /// Water of the open ocean.
    SeaWater,
    /// Ethanol in water.
    Ethanol(Strength),
    /// 2-propanol in water: rubbing alcohol.
    Isopropanol(Strength),
    /// Glycerol in water.
    Glycerol(Dissolved),
    /// Sugar (sucrose) in water.
    Sugar(Dissolved),
    /// Cooking oil of any plant; approximate.
    VegetableOil,
    /// Hand dish soap as it comes from the bottle; approximate.
    DishSoap,
    /// Milk, from skimmed to whole; approximate.
    Milk,
    /// Vinegar of 4 to 10 % acid; approximate.
    Vinegar,
    /// Any other liquid, by what a litre of it weighs.
    Weighed(Weighed),
}

/// Percent by volume at 20 °C, 0 to 100, as on the label.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strength(f64);

impl Strength {
    /// A strength of `percent` by volume.
    ///
    /// # Errors
    /// A percentage outside 0 to 100.
    pub fn from_percent(percent: f64) -> Result<Self, LiquidError> {
        if (0.0..=100.0).contains(&percent) {
            Ok(Self(percent))
        } else {
            Err(LiquidError::Percentage { percent })
        }
    }

    /// Percent by volume.
    #[must_use]
    pub const fn percent(self) -> f64 {
        self.0
    }
}

/// Percent by mass of what is dissolved in water, as weighed on a scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dissolved(f64);

impl Dissolved {
    /// Percent by mass.
    #[must_use]
    pub const fn percent(self) -> f64 {
        self.0
    }

    const fn share(self) -> f64 {
        self.0 / 100.0
    }
}

/// How far from the truth a formula may be (95 %), percent of the value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    /// Of the density.
    pub density_percent: f64,
    /// Of the viscosity.
    pub viscosity_percent: f64,
}

impl Liquid {
    /// The forms in which liquids are written, for help and messages.
    pub const KNOWN: &str = "water, brine, salt N%, sea water, ethanol N%, isopropanol N%, glycerol N%, sugar N%, \
                             vegetable oil, dish soap, milk, vinegar, or what a litre weighs: 1.05 kg/l";

    /// Density at one atmosphere, kg/m³; how good it is, in [`Self::errors`].
    ///
    /// # Errors
    /// A temperature outside the formula's range.
    pub fn density_kg_m3(self, temperature: Temperature) -> Result<f64, LiquidError> {
        let celsius = self.checked_c(temperature)?;
        Ok(match self {
            Self::Water => water::water_density_kg_m3(celsius),
            Self::Brine => water::salt_density_kg_m3(water::salt_at_saturation(celsius), celsius),
            Self::Salt(salt) => water::salt_density_kg_m3(salt.share(), celsius),
            Self::SeaWater => water::sea_density_kg_m3(celsius),
            Self::Ethanol(_) => ethanol_density_kg_m3(self.alcohol_mass_fraction(), celsius),
            Self::Isopropanol(_) => {
                isopropanol_density_kg_m3(self.alcohol_mass_fraction(), celsius)
            }
            Self::Glycerol(glycerol) => thick::glycerol_density_kg_m3(glycerol.share(), celsius),
            Self::Sugar(sugar) => thick::sugar_density_kg_m3(sugar.share(), celsius),
            Self::VegetableOil => thick::oil_density_kg_m3(celsius),
            Self::DishSoap => thick::SOAP_KG_M3,
            Self::Milk => kitchen::milk_density_kg_m3(celsius),
            Self::Vinegar => kitchen::vinegar_density_kg_m3(celsius),
            Self::Weighed(weighed) => weighed.density_kg_m3(celsius),
        })
    }

    /// Dynamic viscosity at one atmosphere, Pa s; how good it is, in [`Self::errors`].
    ///
    /// # Errors
    /// A temperature outside the formula's range.
    pub fn viscosity_pa_s(self, temperature: Temperature) -> Result<f64, LiquidError> {
        let celsius = self.checked_c(temperature)?;
        let alcohol = self.alcohol_mass_fraction();
        Ok(match self {
            Self::Water => water::water_viscosity_pa_s(celsius),
            Self::Brine => water::salt_viscosity_pa_s(water::salt_at_saturation(celsius), celsius),
            Self::Salt(salt) => water::salt_viscosity_pa_s(salt.share(), celsius),
            Self::SeaWater => water::sea_viscosity_pa_s(celsius),
            // The viscosity was fitted from 0 °C up, and strong spirits stay liquid below.
            Self::Ethanol(_) => spirit::ethanol_viscosity_pa_s(alcohol, celsius.max(0.0)),
            Self::Isopropanol(_) => spirit::isopropanol_viscosity_pa_s(alcohol, celsius),
            Self::Glycerol(glycerol) => thick::glycerol_viscosity_pa_s(glycerol.share(), celsius),
            Self::Sugar(sugar) => thick::sugar_viscosity_pa_s(sugar.share(), celsius),
            Self::VegetableOil => thick::oil_viscosity_pa_s(celsius),
            Self::DishSoap => thick::SOAP_PA_S,
            Self::Milk => kitchen::milk_viscosity_pa_s(celsius),
            Self::Vinegar => kitchen::vinegar_viscosity_pa_s(celsius),
            Self::Weighed(_) => weighed::WATERY * water::water_viscosity_pa_s(celsius),
        })
    }

    /// What density and viscosity are good for within [`Self::temperature_range_c`], as compared with tables.
    #[must_use]
    pub const fn errors(self) -> Errors {
        let (density_percent, viscosity_percent) = match self {
            Self::Water => (0.001, 0.1),
            Self::Brine | Self::Salt(_) => (0.06, 2.0),
            Self::SeaWater => (0.01, 1.5),
            Self::Ethanol(_) => (0.03, 7.0),
            Self::Isopropanol(_) => (0.2, 25.0),
            Self::Glycerol(_) => (0.1, 20.0),
            Self::Sugar(_) => (0.15, 15.0),
            Self::VegetableOil => (0.5, 40.0),
            // A factor of five either way.
            Self::DishSoap => (2.5, 400.0),
            Self::Milk => (0.5, 35.0),
            Self::Vinegar => (0.8, 25.0),
            // The weighing; from water to a light oil.
            Self::Weighed(_) => (0.5, 400.0),
        };
        Errors {
            density_percent,
            viscosity_percent,
        }
    }

    /// Whether its figures are those of a kind of thing rather than of one thing.
    #[must_use]
    pub const fn is_approximate(self) -> bool {
        matches!(
            self,
            Self::VegetableOil | Self::DishSoap | Self::Milk | Self::Vinegar | Self::Weighed(_)
        )
    }

    /// Lowest and highest temperature of the formulas, °C.
    #[must_use]
    pub const fn temperature_range_c(self) -> (f64, f64) {
        match self {
            Self::Water => (0.0, 100.0),
            Self::Brine | Self::Salt(_) | Self::Glycerol(_) | Self::Sugar(_) => (0.0, 60.0),
            // OIML R 22 ends there.
            Self::Ethanol(_) => (-20.0, 40.0),
            Self::SeaWater | Self::Isopropanol(_) => (0.0, 40.0),
            Self::VegetableOil => (0.0, 60.0),
            Self::DishSoap | Self::Milk | Self::Vinegar | Self::Weighed(_) => (0.0, 40.0),
        }
    }

    /// The temperature in °C, if the formulas reach there.
    fn checked_c(self, temperature: Temperature) -> Result<f64, LiquidError> {
        let (min_c, max_c) = self.temperature_range_c();
        let celsius = temperature.c();
        if Temperature::from_c(min_c) <= temperature && temperature <= Temperature::from_c(max_c) {
            return Ok(celsius);
        }
        Err(LiquidError::Temperature {
            liquid: self,
            celsius,
            min_c,
            max_c,
        })
    }

    /// Mass fraction of alcohol, 0 to 1; none in what is not an alcohol.
    #[must_use]
    pub fn alcohol_mass_fraction(self) -> f64 {
        match self {
            Self::Ethanol(Strength(percent)) => mass_fraction(percent / 100.0, |w| {
                ethanol_density_kg_m3(w, LABEL_TEMPERATURE_C)
            }),
            Self::Isopropanol(Strength(percent)) => mass_fraction(percent / 100.0, |w| {
                isopropanol_density_kg_m3(w, LABEL_TEMPERATURE_C)
            }),
            _ => 0.0,
        }
    }

    /// Mass fraction of what is dissolved, 0 to 1; of a brine at `temperature`.
    #[must_use]
    pub fn dissolved_mass_fraction(self, temperature: Temperature) -> f64 {
        match self {
            Self::Salt(d) | Self::Glycerol(d) | Self::Sugar(d) => d.share(),
            Self::Brine => water::salt_at_saturation(temperature.c()),
            _ => 0.0,
        }
    }
}

/// c0 + c1 x + c2 x² + …
pub(super) fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
