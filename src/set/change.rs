//! Changes of conditions: the room, what is in the bottles, and the lips, one key each.
//!
//! The eight keys are written the same in files (`[room] temp_c`, `[filling] lip_open`), on the command line (`--temp-c`) and in
//! comparisons (`temp-c=4`). This is the only list of them: how each is read, what it changes, and its range.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::set::change::{Change, changed, named};
//!
//! let usual = Conditions::default();
//! let change: Change = "temp-c=4".parse()?;
//! let cellar = changed(&usual, &[change])?;
//! assert!((cellar.temperature().c() - 4.0).abs() < 1e-9);
//! assert_eq!(Change::between(&usual, &cellar)[0].to_string(), "temp-c=4");
//!
//! // Some situations have a name.
//! assert_eq!(changed(&usual, &named("chilled").ok_or("no such name")?)?, cellar);
//! assert!("temp-c=warm".parse::<Change>().is_err());
//! assert!(changed(&usual, &["temp-c=90".parse()?]).is_err());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod key;

use std::fmt;
use std::str::FromStr;

pub use key::Key;

use crate::number::rounded;
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::liquid::{Liquid, LiquidError};
use crate::physics::mouth::MIN_OPEN_SHARE;
use crate::physics::recipe::{GasRecipe, RecipeError};
use crate::physics::vapour::{Headspace, HeadspaceError};
use crate::units::{Pressure, Temperature};

/// How a neck without a gas of its own is written.
const NO_NECK_GAS: &str = "none";
/// Digits that a number is printed with: more than anybody types, and fewer than arithmetic leaves behind.
const PRINTED_DIGITS: i32 = 6;

/// Situations with a name: what each changes. Their figures are common practice, no source.
const NAMED: [(&str, &[&str]); 11] = [
    ("chilled", &["temp-c=4"]),
    ("sun", &["temp-c=40", "humidity-pct=20"]),
    ("stage", &["temp-c=28", "humidity-pct=40"]),
    ("mountain", &["pressure-kpa=80"]),
    ("standing", &["headspace=saturated"]),
    ("breath", &["gas=breath"]),
    ("co2", &["gas=co2"]),
    ("helium", &["gas=helium"]),
    ("argon", &["gas=argon"]),
    ("spirit", &["liquid=ethanol 40%", "headspace=saturated"]),
    (
        "rubbing-alcohol",
        &["liquid=isopropanol 70%", "headspace=saturated"],
    ),
];

/// Why a change cannot be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ChangeError {
    /// Neither a change nor a situation with a name.
    #[error(
        "{text:?} is neither KEY=VALUE, such as temp-c=4, nor one of {}",
        names()
    )]
    Form {
        /// As written.
        text: String,
    },
    /// No condition is called that.
    #[error("{key:?} is not one of {}", keys())]
    Key {
        /// As written.
        key: String,
    },
    /// A number is needed.
    #[error("{value:?} in {text:?} is not a number")]
    Number {
        /// As written.
        value: String,
        /// What it stands in.
        text: String,
    },
    /// No such gas.
    #[error(transparent)]
    Gas(#[from] RecipeError),
    /// No such liquid.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
    /// No such headspace.
    #[error(transparent)]
    Headspace(#[from] HeadspaceError),
}

/// Why a set cannot be heard in conditions.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutOfRange {
    /// The room, or a gas in it.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// The lips.
    #[error("lip-open {lip_open} is outside {MIN_OPEN_SHARE} to 1")]
    LipOpen {
        /// Share of the mouth.
        lip_open: f64,
    },
}

/// One condition, and what it becomes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// Temperature of the room and the bottles, -10 to 60 °C.
    Temperature(Temperature),
    /// Relative humidity, a share: 0 to 1.
    Humidity(f64),
    /// Air pressure on the spot, 50 to 120 kPa.
    Pressure(Pressure),
    /// Gas above the liquid.
    Gas(GasRecipe),
    /// Gas in the neck, if another.
    NeckGas(Option<GasRecipe>),
    /// What is poured.
    Liquid(Liquid),
    /// How far its vapour fills the gas above it.
    Headspace(Headspace),
    /// Share of the mouth's area that the lips leave open, 0.05 to 1.
    LipOpen(f64),
}

impl Change {
    /// What it changes.
    #[must_use]
    pub const fn key(&self) -> Key {
        match self {
            Self::Temperature(_) => Key::TempC,
            Self::Humidity(_) => Key::HumidityPct,
            Self::Pressure(_) => Key::PressureKpa,
            Self::Gas(_) => Key::Gas,
            Self::NeckGas(_) => Key::NeckGas,
            Self::Liquid(_) => Key::Liquid,
            Self::Headspace(_) => Key::Headspace,
            Self::LipOpen(_) => Key::LipOpen,
        }
    }

    /// Its number in the unit of the key, if it is one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Temperature(temperature) => Some(temperature.c()),
            Self::Humidity(share) => Some(100.0 * share),
            Self::Pressure(pressure) => Some(pressure.kpa()),
            Self::LipOpen(share) => Some(*share),
            Self::Gas(_) | Self::NeckGas(_) | Self::Liquid(_) | Self::Headspace(_) => None,
        }
    }

    /// Its value as it is written behind the key.
    #[must_use]
    pub fn value(&self) -> String {
        match self {
            Self::Temperature(temperature) => printed(temperature.c()),
            Self::Humidity(share) => printed(100.0 * share),
            Self::Pressure(pressure) => printed(pressure.kpa()),
            Self::Gas(gas) | Self::NeckGas(Some(gas)) => gas.to_string(),
            Self::NeckGas(None) => NO_NECK_GAS.to_owned(),
            Self::Liquid(liquid) => liquid.to_string(),
            Self::Headspace(headspace) => headspace.to_string(),
            Self::LipOpen(share) => printed(*share),
        }
    }

    /// Makes `conditions` so, whatever the range: see [`check`].
    pub fn apply(&self, conditions: &mut Conditions) {
        match self {
            Self::Temperature(temperature) => conditions.room.temperature = *temperature,
            Self::Humidity(share) => conditions.room.humidity = *share,
            Self::Pressure(pressure) => conditions.room.pressure = *pressure,
            Self::Gas(gas) => conditions.gas = *gas,
            Self::NeckGas(gas) => conditions.neck_gas = *gas,
            Self::Liquid(liquid) => conditions.liquid = *liquid,
            Self::Headspace(headspace) => conditions.headspace = *headspace,
            Self::LipOpen(share) => conditions.lip_open = *share,
        }
    }

    /// The same with a share that is out of range brought to its nearer end, for sliders; a room that is out of range stays
    /// so, and is refused by [`changed`].
    #[must_use]
    pub fn clamped(self) -> Self {
        match self {
            Self::Humidity(share) => Self::Humidity(share.clamp(0.0, 1.0)),
            Self::LipOpen(share) => Self::LipOpen(share.clamp(MIN_OPEN_SHARE, 1.0)),
            other => other,
        }
    }

    /// All that is different in `after`, in the order of [`Key::ALL`].
    #[must_use]
    pub fn between(before: &Conditions, after: &Conditions) -> Vec<Self> {
        Key::ALL
            .into_iter()
            .map(|key| key.of(after))
            .filter(|change| *change != change.key().of(before))
            .collect()
    }
}

/// As it is read: `temp-c=4`.
impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}={}", self.key(), self.value())
    }
}

impl FromStr for Change {
    type Err = ChangeError;

    fn from_str(text: &str) -> Result<Self, ChangeError> {
        let Some((key, value)) = text.split_once('=') else {
            let text = text.to_owned();
            return Err(ChangeError::Form { text });
        };
        key.parse::<Key>()?.read(value.trim(), text)
    }
}

/// What the situation called `name` changes: chilled, sun, stage, mountain, standing, breath, co2, helium, argon, spirit,
/// rubbing-alcohol.
#[must_use]
pub fn named(name: &str) -> Option<Vec<Change>> {
    let name = name.trim().to_lowercase();
    let (_, changes) = NAMED.iter().find(|(known, _)| *known == name)?;
    let read = |text: &&str| text.parse().expect("the table of situations can be read");
    Some(changes.iter().map(read).collect())
}

/// Reads one change, or the name of a situation.
///
/// # Errors
/// See [`ChangeError`].
pub fn read(text: &str) -> Result<Vec<Change>, ChangeError> {
    match named(text) {
        Some(changes) => Ok(changes),
        None => Ok(vec![text.parse()?]),
    }
}

/// `base` with all of `changes` on it, one after the other.
///
/// # Errors
/// Conditions that a set cannot be heard in: see [`check`].
pub fn changed(base: &Conditions, changes: &[Change]) -> Result<Conditions, OutOfRange> {
    let mut conditions = base.clone();
    for change in changes {
        change.apply(&mut conditions);
    }
    check(&conditions)?;
    Ok(conditions)
}

/// Refuses conditions that the models do not reach: a room outside -10 to 60 °C, 0 to 100 % or 50 to 120 kPa, a gas that
/// there is none of there, lips that leave less than 0.05 or more than 1 of the mouth open.
///
/// # Errors
/// See [`OutOfRange`].
pub fn check(conditions: &Conditions) -> Result<(), OutOfRange> {
    conditions.gases()?;
    let lip_open = conditions.lip_open;
    if (MIN_OPEN_SHARE..=1.0).contains(&lip_open) {
        Ok(())
    } else {
        Err(OutOfRange::LipOpen { lip_open })
    }
}

fn printed(number: f64) -> String {
    rounded(number, PRINTED_DIGITS).to_string()
}

fn keys() -> String {
    Key::ALL.map(Key::name).join(", ")
}

fn names() -> String {
    NAMED.map(|(name, _)| name).join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One change of each key, as it is written.
    const WRITTEN: [&str; 8] = [
        "temp-c=-3.7",
        "humidity-pct=35.5",
        "pressure-kpa=99.1",
        "gas=30% helium in air",
        "neck-gas=co2",
        "liquid=ethanol 40%",
        "headspace=0.25",
        "lip-open=0.6",
    ];

    #[test]
    fn what_is_read_is_written_the_same_and_changes_its_own_key_alone() {
        let base = Conditions::default();
        for (text, key) in WRITTEN.into_iter().zip(Key::ALL) {
            let change: Change = text.parse().expect(text);
            assert_eq!(change.key(), key);
            assert_eq!(change.to_string(), text);
            let (_, value) = text.split_once('=').expect(text);
            assert_eq!(key.to(value), Ok(change));
            let after = changed(&base, &[change]).expect(text);
            assert_eq!(Change::between(&base, &after), [change]);
            assert_eq!(key.of(&after), change);
            let back = changed(&after, &[key.of(&base)]).expect(text);
            assert_eq!(back, base);
        }
        let none: Change = "neck-gas=none".parse().expect("nothing of its own");
        assert_eq!(none, Change::NeckGas(None));
        assert_eq!(none.to_string(), "neck-gas=none");
    }

    #[test]
    fn every_name_has_its_changes_and_each_is_within_range() {
        for (name, texts) in NAMED {
            let changes = named(name).expect(name);
            assert_eq!(changes.len(), texts.len());
            assert!(!changes.is_empty());
            assert!(changed(&Conditions::default(), &changes).is_ok(), "{name}");
        }
        assert_eq!(named("lukewarm"), None);
        assert_eq!(named(" Chilled "), named("chilled"));
    }

    #[test]
    fn what_cannot_be_read_says_what_can() {
        let told = |text: &str| read(text).expect_err(text).to_string();
        assert!(told("lukewarm").contains("nor one of chilled, sun, stage"));
        assert_eq!(
            told("warmth=4"),
            "\"warmth\" is not one of temp-c, humidity-pct, pressure-kpa, gas, neck-gas, liquid, headspace, lip-open"
        );
        assert_eq!(
            told("temp-c = warm"),
            "\"warm\" in \"temp-c = warm\" is not a number"
        );
        assert!(told("lip-open=inf").ends_with("is not a number"));
        assert!(told("gas=fog").contains("no gas is called"));
    }

    #[test]
    fn what_is_out_of_range_is_refused_and_shares_can_be_clamped() {
        for text in [
            "temp-c=61",
            "humidity-pct=101",
            "pressure-kpa=49",
            "lip-open=0.04",
        ] {
            let change: Change = text.parse().expect(text);
            let refused = changed(&Conditions::default(), &[change]).expect_err(text);
            assert!(refused.to_string().contains("is outside"), "{refused}");
            let is_share = matches!(change.key(), Key::HumidityPct | Key::LipOpen);
            let clamped = changed(&Conditions::default(), &[change.clamped()]);
            assert_eq!(clamped.is_ok(), is_share, "{text}");
        }
    }
}
