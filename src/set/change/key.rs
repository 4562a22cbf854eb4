//! Which condition: how it is called on the command line and in a file, and how its value is read.

use std::fmt;
use std::str::FromStr;

use super::{Change, ChangeError, NO_NECK_GAS};
use crate::physics::conditions::Conditions;
use crate::units::{Pressure, Temperature};

/// A condition that can be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    /// Temperature of the room and the bottles, °C.
    TempC,
    /// Relative humidity, percent.
    HumidityPct,
    /// Air pressure, kPa.
    PressureKpa,
    /// Gas above the liquid.
    Gas,
    /// Gas in the neck.
    NeckGas,
    /// What is poured.
    Liquid,
    /// Vapour of the liquid in the gas above it.
    Headspace,
    /// Share of the mouth's area that the lips leave open.
    LipOpen,
}

impl Key {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::TempC,
        Self::HumidityPct,
        Self::PressureKpa,
        Self::Gas,
        Self::NeckGas,
        Self::Liquid,
        Self::Headspace,
        Self::LipOpen,
    ];

    /// As it is written in front of a value.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TempC => "temp-c",
            Self::HumidityPct => "humidity-pct",
            Self::PressureKpa => "pressure-kpa",
            Self::Gas => "gas",
            Self::NeckGas => "neck-gas",
            Self::Liquid => "liquid",
            Self::Headspace => "headspace",
            Self::LipOpen => "lip-open",
        }
    }

    /// The table and the key of a set's file that it has.
    #[must_use]
    pub const fn in_file(self) -> (&'static str, &'static str) {
        match self {
            Self::TempC => ("room", "temp_c"),
            Self::HumidityPct => ("room", "humidity_pct"),
            Self::PressureKpa => ("room", "pressure_kpa"),
            Self::Gas => ("filling", "gas"),
            Self::NeckGas => ("filling", "neck_gas"),
            Self::Liquid => ("filling", "liquid"),
            Self::Headspace => ("filling", "headspace"),
            Self::LipOpen => ("filling", "lip_open"),
        }
    }

    /// What it is under `conditions`, as the change that makes it so.
    #[must_use]
    pub fn of(self, conditions: &Conditions) -> Change {
        match self {
            Self::TempC => Change::Temperature(conditions.room.temperature),
            Self::HumidityPct => Change::Humidity(conditions.room.humidity),
            Self::PressureKpa => Change::Pressure(conditions.room.pressure),
            Self::Gas => Change::Gas(conditions.gas),
            Self::NeckGas => Change::NeckGas(conditions.neck_gas),
            Self::Liquid => Change::Liquid(conditions.liquid),
            Self::Headspace => Change::Headspace(conditions.headspace),
            Self::LipOpen => Change::LipOpen(conditions.lip_open),
        }
    }

    /// The change to `value`, as it is written behind the key.
    ///
    /// # Errors
    /// A value that is none of this key's; its range is checked when it is applied, by [`changed`](super::changed).
    pub fn to(self, value: &str) -> Result<Change, ChangeError> {
        self.read(value.trim(), &format!("{}={value}", self.name()))
    }

    /// The change to a number, in the unit of the key; nothing for those that have a name as their value.
    #[must_use]
    pub const fn to_number(self, number: f64) -> Option<Change> {
        match self {
            Self::TempC => Some(Change::Temperature(Temperature::from_c(number))),
            Self::HumidityPct => Some(Change::Humidity(number / 100.0)),
            Self::PressureKpa => Some(Change::Pressure(Pressure::from_kpa(number))),
            Self::LipOpen => Some(Change::LipOpen(number)),
            Self::Gas | Self::NeckGas | Self::Liquid | Self::Headspace => None,
        }
    }

    /// Reads `value`, which stands in `text`.
    pub(super) fn read(self, value: &str, text: &str) -> Result<Change, ChangeError> {
        Ok(match self {
            Self::TempC | Self::HumidityPct | Self::PressureKpa | Self::LipOpen => {
                let number = value.parse::<f64>().ok().filter(|v| v.is_finite());
                number
                    .and_then(|number| self.to_number(number))
                    .ok_or_else(|| ChangeError::Number {
                        value: value.to_owned(),
                        text: text.to_owned(),
                    })?
            }
            Self::Gas => Change::Gas(value.parse()?),
            Self::NeckGas if value.eq_ignore_ascii_case(NO_NECK_GAS) => Change::NeckGas(None),
            Self::NeckGas => Change::NeckGas(Some(value.parse()?)),
            Self::Liquid => Change::Liquid(value.parse()?),
            Self::Headspace => Change::Headspace(value.parse()?),
        })
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Key {
    type Err = ChangeError;

    fn from_str(text: &str) -> Result<Self, ChangeError> {
        let key = text.trim().to_lowercase();
        Self::ALL
            .into_iter()
            .find(|known| known.name() == key)
            .ok_or(ChangeError::Key { key })
    }
}
