//! One quantity stepped through: how it is written, and what it makes of a setting and of the conditions.

use std::str::FromStr;

use crate::physics::conditions::Conditions;
use crate::physics::liquid::LiquidError;
use crate::physics::recipe::{GasRecipe, NamedGas, RecipeError};
use crate::set::change::Key;
use crate::sounding::Setting;
use crate::units::{Length, Pressure, Volume};

/// Rows where their number is not given.
const USUAL_ROWS: u32 = 11;
/// Most rows.
const MOST_ROWS: u32 = 1001;
/// What can be stepped through, for messages.
const KNOWN: &str = "fill-ml, gauge-bar, travel-mm, lift-mm, temp-c, humidity-pct, pressure-kpa, lip-open, gas, liquid";

/// A quantity that is stepped through.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// Which.
    pub what: Swept,
    /// From.
    pub low: f64,
    /// To.
    pub high: f64,
    /// How many values there are, both ends included: 2 or more.
    pub rows: u32,
}

/// What can be stepped through.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Swept {
    /// Liquid in the bottle, ml.
    FillMl,
    /// Pressure above the air outside in sealed plastic, bar.
    GaugeBar,
    /// How far a sliding floor is pushed in, mm.
    TravelMm,
    /// How far the second of a joined pair is lifted, mm.
    LiftMm,
    /// A condition whose value is a number.
    Condition(Key),
    /// Share of this gas in the room's air, 0 to 1.
    Gas(NamedGas),
    /// Strength of the liquid of this name, percent as on its label.
    Liquid(String),
}

impl Swept {
    /// As it is written before the range.
    pub fn key(&self) -> String {
        match self {
            Self::FillMl => "fill-ml".to_owned(),
            Self::GaugeBar => "gauge-bar".to_owned(),
            Self::TravelMm => "travel-mm".to_owned(),
            Self::LiftMm => "lift-mm".to_owned(),
            Self::Condition(key) => key.name().to_owned(),
            Self::Gas(gas) => format!("gas={gas}"),
            Self::Liquid(name) => format!("liquid={name}"),
        }
    }

    /// In words with its unit, for an axis.
    pub fn axis(&self) -> String {
        match self {
            Self::FillMl => "liquid in the bottle, ml".to_owned(),
            Self::GaugeBar => "pressure above the air outside, bar".to_owned(),
            Self::TravelMm => "floor pushed in, mm".to_owned(),
            Self::LiftMm => "lift of the second bottle, mm".to_owned(),
            Self::Condition(Key::TempC) => "temperature, °C".to_owned(),
            Self::Condition(Key::HumidityPct) => "humidity, %".to_owned(),
            Self::Condition(Key::PressureKpa) => "air pressure, kPa".to_owned(),
            Self::Condition(Key::LipOpen) => "share of the mouth left open".to_owned(),
            Self::Condition(key) => key.name().to_owned(),
            Self::Gas(gas) => format!("share of {gas} in air"),
            Self::Liquid(name) => format!("{name}, %"),
        }
    }
}

impl Sweep {
    /// What a bottle is set to at `at`, where a setting is swept.
    #[must_use]
    pub fn setting(&self, at: f64) -> Option<Setting> {
        match self.what {
            Swept::FillMl => Some(Setting::Fill(Volume::from_ml(at))),
            Swept::GaugeBar => Some(Setting::Gauge(Pressure::from_bar(at))),
            Swept::TravelMm => Some(Setting::Travel(Length::from_mm(at))),
            Swept::LiftMm => Some(Setting::Lift(Length::from_mm(at))),
            Swept::Condition(_) | Swept::Gas(_) | Swept::Liquid(_) => None,
        }
    }

    /// The values stepped through, both ends included.
    pub fn values(&self) -> impl Iterator<Item = f64> + use<> {
        let Self {
            low, high, rows, ..
        } = *self;
        let steps = f64::from(rows - 1);
        (0..rows).map(move |row| low + (high - low) * f64::from(row) / steps)
    }

    /// `base` with the quantity at `at`, where it is one of the room, the filling or the lips.
    ///
    /// # Errors
    /// A strength or a share that there cannot be.
    pub fn over(&self, base: &Conditions, at: f64) -> Result<Conditions, SweepError> {
        let mut conditions = base.clone();
        match &self.what {
            Swept::FillMl | Swept::GaugeBar | Swept::TravelMm | Swept::LiftMm => {}
            Swept::Condition(key) => {
                if let Some(change) = key.to_number(at) {
                    change.apply(&mut conditions);
                }
            }
            Swept::Gas(gas) => {
                conditions.gas = GasRecipe::blend(100.0 * at, *gas, NamedGas::RoomAir)?;
            }
            Swept::Liquid(name) => conditions.liquid = format!("{name} {at}%").parse()?,
        }
        Ok(conditions)
    }
}

/// Why a sweep is refused.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SweepError {
    /// It is not written as a sweep.
    #[error(
        "{text:?} is not of the form KEY=LOW..HIGH, such as fill-ml=0..300, temp-c=0..40/9, gas=co2:0..1 or \
         liquid=ethanol:0..40"
    )]
    Form {
        /// As written.
        text: String,
    },
    /// Nothing of this name can be swept.
    #[error("{key:?} is not one of {KNOWN}")]
    Key {
        /// As written.
        key: String,
    },
    /// Too few or too many rows.
    #[error("the number of rows in {text:?} is outside 2 to {MOST_ROWS}")]
    Rows {
        /// As written.
        text: String,
    },
    /// There is no such gas, or not that share of it.
    #[error(transparent)]
    Gas(#[from] RecipeError),
    /// There is no such liquid, or not of that strength.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
}

impl FromStr for Sweep {
    type Err = SweepError;

    fn from_str(text: &str) -> Result<Self, SweepError> {
        let form = || SweepError::Form {
            text: text.to_owned(),
        };
        let (key, rest) = text.split_once('=').ok_or_else(form)?;
        let (name, range) = match rest.split_once(':') {
            Some((name, range)) => (Some(name.trim()), range),
            None => (None, rest),
        };
        let what = match (key.trim(), name) {
            ("fill-ml", None) => Swept::FillMl,
            ("gauge-bar", None) => Swept::GaugeBar,
            ("travel-mm", None) => Swept::TravelMm,
            ("lift-mm", None) => Swept::LiftMm,
            ("gas", Some(name)) => Swept::Gas(name.parse()?),
            ("liquid", Some(name)) => Swept::Liquid(name.to_lowercase()),
            ("gas" | "liquid", None) => return Err(form()),
            (key, _) => match key.parse::<Key>() {
                Ok(condition) if name.is_none() && condition.to_number(0.0).is_some() => {
                    Swept::Condition(condition)
                }
                _ => {
                    return Err(SweepError::Key {
                        key: key.to_owned(),
                    });
                }
            },
        };
        let (range, rows) = match range.split_once('/') {
            Some((range, rows)) => (range, rows.trim().parse().ok()),
            None => (range, Some(USUAL_ROWS)),
        };
        let rows = rows.filter(|rows| (2..=MOST_ROWS).contains(rows));
        let rows = rows.ok_or_else(|| SweepError::Rows {
            text: text.to_owned(),
        })?;
        let (low, high) = range.split_once("..").ok_or_else(form)?;
        let number = |text: &str| {
            let parsed = text.trim().trim_end_matches('%').parse::<f64>().ok();
            parsed.filter(|v| v.is_finite()).ok_or_else(form)
        };
        let sweep = Self {
            what,
            low: number(low)?,
            high: number(high)?,
            rows,
        };
        for end in [sweep.low, sweep.high] {
            sweep.over(&Conditions::default(), end)?;
        }
        Ok(sweep)
    }
}
