//! The vapour that a liquid gives to the gas above it.
//!
//! Over water the pitch rises a few cents, over alcohol it falls by tens. It takes minutes to get there and
//! blowing partly undoes it, so that what the headspace holds is said, not computed.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Pressure, Temperature};

use super::air::{enhancement_factor, water_vapour_pressure_pa};
use super::gas::{GasError, Mixture, Species, check_state, checked_share};
use super::liquid::{Liquid, salt_molality, sugar_mole_fraction};

/// Water activity of saturated sodium chloride brine, from memory: the salt's own 75 % relative humidity.
const BRINE_WATER_ACTIVITY: f64 = 0.75;
/// Water activity of sea water, from memory.
const SEA_WATER_ACTIVITY: f64 = 0.98;
/// Molar mass of glycerol, kg/mol.
const GLYCEROL_KG_MOL: f64 = 0.092_094;

/// Why a headspace could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "\"{text}\" is no headspace: write \"dry\", \"room\", \"saturated\" or a number from 0 (room) to 1 (saturated)"
)]
pub struct HeadspaceError {
    /// As written.
    text: String,
}

/// How far the gas in the bottle has taken up the vapour of the liquid below it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
pub enum Headspace {
    /// No vapour at all, of the room or of the liquid.
    Dry,
    /// As it was filled: just poured, or blown through.
    #[default]
    Room,
    /// In balance with the liquid: left standing for minutes.
    Saturated,
    /// So far on the way from room to saturated, 0 to 1.
    Part(f64),
}

impl Headspace {
    /// The gas above `liquid`, when `base` is what the bottle was filled with.
    ///
    /// ```
    /// use ullage::physics::air::Room;
    /// use ullage::physics::liquid::Liquid;
    /// use ullage::physics::vapour::Headspace;
    ///
    /// let room = Room::default();
    /// let over_water = Headspace::Saturated.above(Liquid::Water, &room.air()?, room.temperature, room.pressure)?;
    /// let sharper = over_water.at(room.temperature, room.pressure)?.sound_speed_m_s() / room.gas()?.sound_speed_m_s();
    /// assert!((1200.0 * sharper.log2() - 3.1).abs() < 0.1);
    /// # Ok::<(), ullage::physics::gas::GasError>(())
    /// ```
    ///
    /// # Errors
    /// A part outside 0 to 1, a state outside the gas model, or one at which the liquid boils.
    pub fn above(
        self,
        liquid: Liquid,
        base: &Mixture,
        temperature: Temperature,
        pressure: Pressure,
    ) -> Result<Mixture, GasError> {
        match self {
            Self::Dry => Ok(base.without_vapour().unwrap_or(*base)),
            Self::Room => Ok(*base),
            Self::Saturated => saturated(liquid, base, temperature, pressure),
            Self::Part(part) => {
                let part = checked_share("headspace", part)?;
                base.blend(&saturated(liquid, base, temperature, pressure)?, part)
            }
        }
    }
}

/// The lasting part of `base` with all the vapour of `liquid` that it holds.
///
/// Moisture that `base` brought along is replaced: it comes to the liquid's own balance.
fn saturated(
    liquid: Liquid,
    base: &Mixture,
    temperature: Temperature,
    pressure: Pressure,
) -> Result<Mixture, GasError> {
    check_state(temperature, pressure)?;
    let vapours = vapour_pressures_pa(liquid, temperature, pressure);
    let vapour_pa: f64 = vapours.iter().map(|(_, pa)| pa).sum();
    if vapour_pa == 0.0 {
        // Oil neither gives vapour nor takes up the air's.
        return Ok(*base);
    }
    if vapour_pa >= pressure.pa() {
        return Err(GasError::Boils {
            vapour_kpa: Pressure::from_pa(vapour_pa).kpa(),
            celsius: temperature.c(),
            kpa: pressure.kpa(),
        });
    }
    let Some(dry) = base.without_vapour() else {
        return Ok(*base);
    };
    let vapour = Mixture::new(&vapours.map(|(species, pa)| (species, pa / vapour_pa)))?;
    dry.blend(&vapour, vapour_pa / pressure.pa())
}

/// Partial pressures of water and alcohol over `liquid`, Pa; pure water is paired with no ethanol.
///
/// Modified Raoult's law, p_i = x_i γ_i p_sat,i, with van Laar activities. Ethanol is good to 2 cents of pitch,
/// isopropanol to 3 to 5: published vapour pressures of the latter spread by 5 %.
#[must_use]
pub fn vapour_pressures_pa(
    liquid: Liquid,
    temperature: Temperature,
    pressure: Pressure,
) -> [(Species, f64); 2] {
    let water_pa =
        enhancement_factor(temperature, pressure) * water_vapour_pressure_pa(temperature);
    let alcohol = match liquid {
        Liquid::Ethanol(_) => &ETHANOL,
        Liquid::Isopropanol(_) => &ISOPROPANOL,
        _ => {
            let activity = water_activity(liquid, temperature);
            return [(Species::H2o, activity * water_pa), (Species::Ethanol, 0.0)];
        }
    };
    let alcohol_share = alcohol.mole_fraction(liquid.alcohol_mass_fraction());
    let (alcohol_activity, water_activity) = alcohol.activities(alcohol_share);
    let alcohol_pa = alcohol_activity * alcohol.vapour_pressure_pa(temperature);
    [
        (Species::H2o, water_activity * water_pa),
        (alcohol.species, alcohol_pa),
    ]
}

/// Share of pure water's vapour pressure that stands over `liquid`, 0 to 1; alcohols have their own.
///
/// Weak and strong salt water by an osmotic coefficient that rises from 0.92 to the 1.3 of a saturated one (from memory);
/// glycerol and sugar by Raoult's law. An activity 0.05 off moves the pitch by 0.3 cents. Of dish soap's few percent of
/// alcohol nothing is counted, since nobody prints them.
fn water_activity(liquid: Liquid, temperature: Temperature) -> f64 {
    let w = liquid.dissolved_mass_fraction(temperature);
    match liquid {
        Liquid::Brine => BRINE_WATER_ACTIVITY,
        Liquid::SeaWater => SEA_WATER_ACTIVITY,
        Liquid::Salt(_) => {
            let molality = salt_molality(w);
            let osmotic = 0.92 + 0.061 * molality;
            (-2.0 * molality * osmotic * Species::H2o.molar_mass_kg_mol()).exp()
        }
        Liquid::Glycerol(_) => {
            let water = (1.0 - w) / Species::H2o.molar_mass_kg_mol();
            water / (water + w / GLYCEROL_KG_MOL)
        }
        Liquid::Sugar(_) => 1.0 - sugar_mole_fraction(w),
        Liquid::VegetableOil => 0.0,
        _ => 1.0,
    }
}

/// What the vapour over an alcohol and water needs.
struct Alcohol {
    species: Species,
    /// A, B and C of log10 p(Pa) = A - B/(T + C): Antoine sets of chemicals 1.5.2 (Poling).
    antoine: [f64; 3],
    /// A and B of van Laar's activities, fitted to modified UNIFAC (Dortmund) at 20 to 25 °C within 1.7 %.
    van_laar: [f64; 2],
}

const ETHANOL: Alcohol = Alcohol {
    species: Species::Ethanol,
    antoine: [10.336_75, 1648.22, -42.232],
    van_laar: [1.5449, 0.9490],
};

const ISOPROPANOL: Alcohol = Alcohol {
    species: Species::Isopropanol,
    antoine: [10.242_68, 1580.92, -53.54],
    van_laar: [2.4494, 1.2080],
};

impl Alcohol {
    fn vapour_pressure_pa(&self, temperature: Temperature) -> f64 {
        let [a, b, c] = self.antoine;
        10f64.powf(a - b / (temperature.k() + c))
    }

    /// Mole fraction of alcohol in the liquid from its mass fraction `w`.
    fn mole_fraction(&self, w: f64) -> f64 {
        let alcohol = w / self.species.molar_mass_kg_mol();
        alcohol / (alcohol + (1.0 - w) / Species::H2o.molar_mass_kg_mol())
    }

    /// Activities x γ of alcohol and of water at the alcohol's mole fraction.
    ///
    /// ln γ1 = A/(1 + A x1/(B x2))², ln γ2 = B/(1 + B x2/(A x1))², both multiplied out so that neither end divides by
    /// zero.
    fn activities(&self, alcohol_share: f64) -> (f64, f64) {
        let [a, b] = self.van_laar;
        let water_share = 1.0 - alcohol_share;
        let whole = a * alcohol_share + b * water_share;
        let alcohol = (a * (b * water_share / whole).powi(2)).exp();
        let water = (b * (a * alcohol_share / whole).powi(2)).exp();
        (alcohol_share * alcohol, water_share * water)
    }
}

impl FromStr for Headspace {
    type Err = HeadspaceError;

    fn from_str(text: &str) -> Result<Self, HeadspaceError> {
        let bad = || HeadspaceError {
            text: text.to_owned(),
        };
        match text.trim().to_lowercase().as_str() {
            "dry" => Ok(Self::Dry),
            "room" => Ok(Self::Room),
            "saturated" => Ok(Self::Saturated),
            number => {
                let part: f64 = number.parse().map_err(|_| bad())?;
                if (0.0..=1.0).contains(&part) {
                    Ok(Self::Part(part))
                } else {
                    Err(bad())
                }
            }
        }
    }
}

impl fmt::Display for Headspace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Dry => f.write_str("dry"),
            Self::Room => f.write_str("room"),
            Self::Saturated => f.write_str("saturated"),
            Self::Part(part) => write!(f, "{part}"),
        }
    }
}

impl TryFrom<String> for Headspace {
    type Error = HeadspaceError;

    fn try_from(text: String) -> Result<Self, HeadspaceError> {
        text.parse()
    }
}

impl From<Headspace> for String {
    fn from(headspace: Headspace) -> Self {
        headspace.to_string()
    }
}
