//! The gas in a bottle as people write it: `breath`, `co2`, `30% helium in air`.
//!
//! A recipe is text with a meaning; it becomes a [`Mixture`] once the room is known, since "air" is the
//! room's air and the moisture in breath depends on how cold the bottle is.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::air::{Breath, Room, condensed, dry_air};
use super::gas::{GasError, Mixture, Species};

/// Why a gas could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RecipeError {
    /// No gas is called that.
    #[error("no gas is called \"{name}\"; the nearest name is \"{nearest}\" (known: {known})")]
    UnknownGas {
        /// As written.
        name: String,
        /// The known name that is spelled most like it.
        nearest: &'static str,
        /// Every known name.
        known: String,
    },
    /// One that is known by name, and not filled in here.
    #[error("no \"{name}\" here: {why}")]
    Refused {
        /// As written.
        name: String,
        /// Why not, and a way out.
        why: &'static str,
    },
    /// The part before the percent sign is no number.
    #[error("\"{text}\" is not a percentage: write for example \"30% helium in air\"")]
    NotAPercentage {
        /// As written.
        text: String,
    },
    /// The percentage is no share.
    #[error("{percent} % of a gas is outside 0 to 100 %")]
    Percentage {
        /// As written, percent by volume.
        percent: f64,
    },
    /// A blend with one gas only.
    #[error("\"{text}\" does not say what the rest is: write for example \"30% helium in air\"")]
    NoRest {
        /// As written.
        text: String,
    },
}

/// What people ask for and do not get: the names, and why not, with a way out.
const REFUSED: [(&[&str], &str); 5] = [
    (
        // 24,300 times carbon dioxide over a century: Regulation (EU) 2024/573, annex I.
        &["sf6", "sulphur hexafluoride", "sulfur hexafluoride"],
        "a gram of it warms the world as 24 kg of carbon dioxide do; try: \"co2\" or \"argon\" for a lower pitch",
    ),
    (
        &[
            "acetylene",
            "butane",
            "h2",
            "hydrogen",
            "lighter gas",
            "methane",
            "natural gas",
            "propane",
        ],
        "it burns; try: \"helium\" for a higher pitch, \"co2\" or \"argon\" for a lower one",
    ),
    (
        &[
            "ammonia",
            "carbon monoxide",
            "chlorine",
            "laughing gas",
            "n2o",
            "nitrous oxide",
        ],
        "it harms whoever breathes it; try: \"co2\" or \"argon\", with the window open",
    ),
    (
        &["krypton", "neon", "radon", "xenon"],
        "its figures are not known here; try: \"helium\" or \"argon\", its neighbours",
    ),
    (
        &["steam", "water vapour", "water vapor", "vapour", "vapor"],
        "what stands over the liquid is set by itself; try: headspace \"saturated\"",
    ),
];

/// A gas with a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum NamedGas {
    /// The air of the room, with its moisture.
    RoomAir,
    /// The air of the room without its moisture.
    DryAir,
    /// A player's breath, cooled to the bottle.
    Breath,
    /// Carbon dioxide.
    Co2,
    /// Helium.
    Helium,
    /// Argon.
    Argon,
    /// Nitrogen.
    Nitrogen,
    /// Oxygen.
    Oxygen,
}

impl NamedGas {
    /// Every named gas.
    pub const ALL: [Self; 8] = [
        Self::RoomAir,
        Self::DryAir,
        Self::Breath,
        Self::Co2,
        Self::Helium,
        Self::Argon,
        Self::Nitrogen,
        Self::Oxygen,
    ];

    /// The name that it is printed with.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.names()[0]
    }

    /// Every name it is read by, the printed one first.
    const fn names(self) -> &'static [&'static str] {
        match self {
            Self::RoomAir => &["room air", "air"],
            Self::DryAir => &["dry air"],
            Self::Breath => &["breath"],
            Self::Co2 => &["co2", "carbon dioxide"],
            Self::Helium => &["helium", "he"],
            Self::Argon => &["argon", "ar"],
            Self::Nitrogen => &["nitrogen", "n2"],
            Self::Oxygen => &["oxygen", "o2"],
        }
    }

    /// What it is made of in a bottle at the room's temperature.
    ///
    /// # Errors
    /// A room outside the gas model.
    pub fn mixture(self, room: &Room) -> Result<Mixture, GasError> {
        Ok(match self {
            Self::RoomAir => room.air()?,
            Self::DryAir => dry_air(room.co2)?,
            // The warm breath's surplus water is on the glass by the time it has cooled.
            Self::Breath => condensed(
                &Breath::default().mixture(room.pressure)?,
                room.temperature,
                room.pressure,
            )?,
            Self::Co2 => Mixture::pure(Species::Co2),
            Self::Helium => Mixture::pure(Species::He),
            Self::Argon => Mixture::pure(Species::Ar),
            Self::Nitrogen => Mixture::pure(Species::N2),
            Self::Oxygen => Mixture::pure(Species::O2),
        })
    }
}

impl FromStr for NamedGas {
    type Err = RecipeError;

    fn from_str(text: &str) -> Result<Self, RecipeError> {
        let wanted = text
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase();
        let named = || {
            Self::ALL
                .iter()
                .flat_map(|&gas| gas.names().iter().map(move |&name| (gas, name)))
        };
        if let Some((gas, _)) = named().find(|&(_, name)| name == wanted) {
            return Ok(gas);
        }
        if let Some((_, why)) = REFUSED
            .iter()
            .find(|(names, _)| names.contains(&wanted.as_str()))
        {
            return Err(RecipeError::Refused { name: wanted, why });
        }
        // Formulas of two letters are near to everything, so a nearest name is sought among the words alone.
        let words = named().map(|(_, name)| name).filter(|name| name.len() > 2);
        let nearest = words
            .max_by(|a, b| {
                strsim::jaro_winkler(a, &wanted).total_cmp(&strsim::jaro_winkler(b, &wanted))
            })
            .expect("there are named gases");
        let known = Self::ALL.map(Self::name).join(", ");
        Err(RecipeError::UnknownGas {
            name: text.trim().to_owned(),
            nearest,
            known,
        })
    }
}

impl fmt::Display for NamedGas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The gas to fill a bottle with: a named gas, or a percentage by volume of one in another.
///
/// ```
/// use ullage::physics::air::Room;
/// use ullage::physics::recipe::GasRecipe;
///
/// let recipe: GasRecipe = "30 % Helium in air".parse()?;
/// assert_eq!(recipe.to_string(), "30% helium in air");
/// let gas = recipe.gas(&Room::default())?;
/// assert!(gas.density_kg_m3() < 0.9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
pub struct GasRecipe {
    main: NamedGas,
    added: Option<Added>,
}

/// What is blended into the main gas.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Added {
    percent: f64,
    gas: NamedGas,
}

impl GasRecipe {
    /// One gas alone.
    #[must_use]
    pub const fn pure(gas: NamedGas) -> Self {
        Self {
            main: gas,
            added: None,
        }
    }

    /// `percent` by volume of `gas` in `rest`.
    ///
    /// # Errors
    /// A percentage outside 0 to 100.
    pub fn blend(percent: f64, gas: NamedGas, rest: NamedGas) -> Result<Self, RecipeError> {
        if !(0.0..=100.0).contains(&percent) {
            return Err(RecipeError::Percentage { percent });
        }
        Ok(Self {
            main: rest,
            added: Some(Added { percent, gas }),
        })
    }

    /// What it is made of in a bottle in this room, at the room's temperature.
    ///
    /// # Errors
    /// A room outside the gas model.
    pub fn mixture(&self, room: &Room) -> Result<Mixture, GasError> {
        let main = self.main.mixture(room)?;
        self.added.map_or(Ok(main), |added| {
            main.blend(&added.gas.mixture(room)?, added.percent / 100.0)
        })
    }

    /// The gas in a bottle that has taken the room's temperature and pressure.
    ///
    /// # Errors
    /// A room outside the gas model.
    pub fn gas(&self, room: &Room) -> Result<super::gas::Gas, GasError> {
        self.mixture(room)?.at(room.temperature, room.pressure)
    }

    /// The named gases in it, the one that the rest is blended into first.
    pub fn ingredients(&self) -> impl Iterator<Item = NamedGas> + use<> {
        std::iter::once(self.main).chain(self.added.map(|added| added.gas))
    }
}

impl Default for GasRecipe {
    /// The room's air.
    fn default() -> Self {
        Self::pure(NamedGas::RoomAir)
    }
}

impl FromStr for GasRecipe {
    type Err = RecipeError;

    fn from_str(text: &str) -> Result<Self, RecipeError> {
        let Some((number, gases)) = text.split_once('%') else {
            return Ok(Self::pure(text.parse()?));
        };
        let percent = number
            .trim()
            .parse()
            .map_err(|_| RecipeError::NotAPercentage {
                text: text.trim().to_owned(),
            })?;
        let (gas, rest) = gases
            .split_once(" in ")
            .ok_or_else(|| RecipeError::NoRest {
                text: text.trim().to_owned(),
            })?;
        Self::blend(percent, gas.parse()?, rest.parse()?)
    }
}

impl fmt::Display for GasRecipe {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // In a blend "air" is shorter and says the same.
        let short = |gas: NamedGas| {
            if gas == NamedGas::RoomAir {
                "air"
            } else {
                gas.name()
            }
        };
        match self.added {
            None => write!(f, "{}", self.main),
            Some(Added { percent, gas }) => {
                write!(f, "{percent}% {} in {}", short(gas), short(self.main))
            }
        }
    }
}

impl TryFrom<String> for GasRecipe {
    type Error = RecipeError;

    fn try_from(text: String) -> Result<Self, RecipeError> {
        text.parse()
    }
}

impl From<GasRecipe> for String {
    fn from(recipe: GasRecipe) -> Self {
        recipe.to_string()
    }
}
