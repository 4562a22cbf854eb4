//! What is poured into a bottle: which liquids are known, and how heavy they are.
//!
//! A new liquid is a variant of [`Liquid`], its names, its temperature range and its density formula.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Temperature;

use super::alcohol::{ethanol_density_kg_m3, isopropanol_density_kg_m3, mass_fraction};

/// Where the percentage on an alcohol's label holds, °C.
const LABEL_TEMPERATURE_C: f64 = 20.0;

/// Why a liquid could not be read or weighed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LiquidError {
    /// No liquid is called that.
    #[error("no liquid is called \"{name}\"; the nearest is \"{nearest}\" (known: {known})")]
    UnknownLiquid {
        /// As written.
        name: String,
        /// The known name that is spelled most like it.
        nearest: &'static str,
        /// Every known form.
        known: &'static str,
    },
    /// An alcohol without its strength, or a strength where there is none.
    #[error(
        "\"{text}\" needs a strength in percent by volume after the name, as in \"ethanol 40%\""
    )]
    Strength {
        /// As written.
        text: String,
    },
    /// Water and brine have no strength to give.
    #[error("\"{name}\" takes no percentage")]
    NoStrength {
        /// The liquid.
        name: &'static str,
    },
    /// The strength is no share.
    #[error("{percent} % by volume is outside 0 to 100 %")]
    Percentage {
        /// As written.
        percent: f64,
    },
    /// No data there, or the liquid freezes or boils.
    #[error("the density of {liquid} is known from {min_c} to {max_c} °C, not at {celsius} °C")]
    Temperature {
        /// The liquid.
        liquid: Liquid,
        /// Asked for, °C.
        celsius: f64,
        /// Lowest, °C.
        min_c: f64,
        /// Highest, °C.
        max_c: f64,
    },
}

/// A liquid.
///
/// ```
/// use ullage::physics::liquid::Liquid;
/// use ullage::units::Temperature;
///
/// let spirit: Liquid = "ethanol 40%".parse()?;
/// let density = spirit.density_kg_m3(Temperature::from_c(20.0))?;
/// assert!((density - 948.0).abs() < 0.5);
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
    /// Ethanol in water.
    Ethanol(Strength),
    /// 2-propanol in water: rubbing alcohol.
    Isopropanol(Strength),
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

impl Liquid {
    /// The forms in which liquids are written, for help and messages.
    pub const KNOWN: &str = "water, brine, ethanol N%, isopropanol N%";

    /// Density at one atmosphere, kg/m³.
    ///
    /// Water within 5 ppm of IAPWS-95 (0 to 60 °C), brine and ethanol within 0.03 % of published tables,
    /// isopropanol within 0.14 % at 20 °C and about 0.2 % at the ends of its range.
    ///
    /// # Errors
    /// A temperature outside the formula's range.
    pub fn density_kg_m3(self, temperature: Temperature) -> Result<f64, LiquidError> {
        let (min_c, max_c) = self.temperature_range_c();
        let celsius = temperature.c();
        if !(Temperature::from_c(min_c) <= temperature && temperature <= Temperature::from_c(max_c))
        {
            return Err(LiquidError::Temperature {
                liquid: self,
                celsius,
                min_c,
                max_c,
            });
        }
        Ok(match self {
            Self::Water => water_density_kg_m3(celsius),
            Self::Brine => brine_density_kg_m3(celsius),
            Self::Ethanol(_) => ethanol_density_kg_m3(self.alcohol_mass_fraction(), celsius),
            Self::Isopropanol(_) => {
                isopropanol_density_kg_m3(self.alcohol_mass_fraction(), celsius)
            }
        })
    }

    /// Lowest and highest temperature of the density formula, °C.
    #[must_use]
    pub const fn temperature_range_c(self) -> (f64, f64) {
        match self {
            Self::Water => (0.0, 100.0),
            Self::Brine => (0.0, 60.0),
            // OIML R 22 ends there.
            Self::Ethanol(_) => (-20.0, 40.0),
            Self::Isopropanol(_) => (0.0, 40.0),
        }
    }

    /// Mass fraction of alcohol, 0 to 1; none in water and brine.
    #[must_use]
    pub fn alcohol_mass_fraction(self) -> f64 {
        match self {
            Self::Water | Self::Brine => 0.0,
            Self::Ethanol(Strength(percent)) => mass_fraction(percent / 100.0, |w| {
                ethanol_density_kg_m3(w, LABEL_TEMPERATURE_C)
            }),
            Self::Isopropanol(Strength(percent)) => mass_fraction(percent / 100.0, |w| {
                isopropanol_density_kg_m3(w, LABEL_TEMPERATURE_C)
            }),
        }
    }
}

/// Water at one atmosphere, kg/m³: Kell, J. Chem. Eng. Data 20, 1975; coefficients from memory, and within 5 ppm
/// of IAPWS-95 from 0 to 60 °C.
pub(super) fn water_density_kg_m3(celsius: f64) -> f64 {
    const TOP: [f64; 6] = [
        999.839_52,
        16.945_176,
        -7.987_040_1e-3,
        -46.170_461e-6,
        105.563_02e-9,
        -280.542_53e-12,
    ];
    polynomial(&TOP, celsius) / (1.0 + 16.879_850e-3 * celsius)
}

/// Saturated sodium chloride brine, kg/m³.
///
/// Strength at saturation by Sparrow; the density polynomial is fitted to Al Ghafri et al. 2012 within 0.027 % on
/// 10 to 60 °C, 0.06 % at 0 °C.
fn brine_density_kg_m3(celsius: f64) -> f64 {
    let w = polynomial(&[0.2628, 62.75e-6, 1.084e-6], celsius);
    let first = polynomial(&[754.615_27, -2.636_617, 0.021_023_34], celsius);
    let second = polynomial(&[54.663_823, 3.810_332_2, -0.036_324_88], celsius);
    water_density_kg_m3(celsius) + w * (first + w * (second + w * 373.172_62))
}

/// c0 + c1 x + c2 x² + …
pub(super) fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// How a liquid is written: its names, the printed one first, and what it is made of once a strength is known.
enum Form {
    Plain(Liquid),
    Strong(fn(Strength) -> Liquid),
}

/// Every form that is read.
const FORMS: [(&[&str], Form); 4] = [
    (&["water"], Form::Plain(Liquid::Water)),
    (&["brine", "salt brine"], Form::Plain(Liquid::Brine)),
    (&["ethanol"], Form::Strong(Liquid::Ethanol)),
    (
        &["isopropanol", "rubbing alcohol", "isopropyl alcohol"],
        Form::Strong(Liquid::Isopropanol),
    ),
];

impl FromStr for Liquid {
    type Err = LiquidError;

    fn from_str(text: &str) -> Result<Self, LiquidError> {
        let text = text.trim();
        let name_end = text
            .find(|c: char| c.is_ascii_digit() || c == '%' || c == '-')
            .unwrap_or(text.len());
        let (name, strength) = text.split_at(name_end);
        let name = name
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase();
        let known = FORMS
            .iter()
            .find(|(names, _)| names.contains(&name.as_str()));
        let Some((names, form)) = known else {
            return Err(LiquidError::UnknownLiquid {
                nearest: nearest_name(&name),
                name,
                known: Self::KNOWN,
            });
        };
        match form {
            Form::Plain(liquid) if strength.is_empty() => Ok(*liquid),
            Form::Plain(_) => Err(LiquidError::NoStrength { name: names[0] }),
            Form::Strong(liquid) => Ok(liquid(read_strength(strength, text)?)),
        }
    }
}

/// Reads `40%` or `40 %`.
fn read_strength(strength: &str, whole: &str) -> Result<Strength, LiquidError> {
    let percent = strength
        .trim()
        .strip_suffix('%')
        .and_then(|number| number.trim().parse().ok());
    Strength::from_percent(percent.ok_or_else(|| LiquidError::Strength {
        text: whole.to_owned(),
    })?)
}

/// The known name that is spelled most like `name`.
fn nearest_name(name: &str) -> &'static str {
    let names = FORMS.iter().flat_map(|(names, _)| names.iter().copied());
    names
        .max_by(|a, b| strsim::jaro_winkler(a, name).total_cmp(&strsim::jaro_winkler(b, name)))
        .expect("there are known liquids")
}

impl fmt::Display for Liquid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Water => f.write_str("water"),
            Self::Brine => f.write_str("brine"),
            Self::Ethanol(strength) => write!(f, "ethanol {}%", strength.percent()),
            Self::Isopropanol(strength) => write!(f, "isopropanol {}%", strength.percent()),
        }
    }
}

impl TryFrom<String> for Liquid {
    type Error = LiquidError;

    fn try_from(text: String) -> Result<Self, LiquidError> {
        text.parse()
    }
}

impl From<Liquid> for String {
    fn from(liquid: Liquid) -> Self {
        liquid.to_string()
    }
}
