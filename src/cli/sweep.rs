//! One quantity stepped through: how it is written, and what it makes of a filling and its conditions.

use std::str::FromStr;

use crate::physics::conditions::Conditions;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::{GasRecipe, NamedGas};
use crate::sounding::Setting;
use crate::units::{Length, Pressure, Temperature, Volume};

/// Steps where none are given.
const USUAL_STEPS: u32 = 10;
/// Most steps.
const MOST_STEPS: u32 = 1000;
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
    /// How many steps between.
    pub steps: u32,
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
    /// Temperature, °C.
    TempC,
    /// Humidity, percent.
    HumidityPct,
    /// Air pressure, kPa.
    PressureKpa,
    /// Lip opening, share.
    LipOpen,
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
            Self::TempC => "temp-c".to_owned(),
            Self::HumidityPct => "humidity-pct".to_owned(),
            Self::PressureKpa => "pressure-kpa".to_owned(),
            Self::LipOpen => "lip-open".to_owned(),
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
            Self::TempC => "temperature, °C".to_owned(),
            Self::HumidityPct => "humidity, %".to_owned(),
            Self::PressureKpa => "air pressure, kPa".to_owned(),
            Self::LipOpen => "share of the mouth left open".to_owned(),
            Self::Gas(gas) => format!("share of {gas} in air"),
            Self::Liquid(name) => format!("{name}, %"),
        }
    }
}

impl Sweep {
    /// The setting that is swept at `at`, of bottles that are set by a pressure, a travel or a lift.
    #[must_use]
    pub fn setting(&self, at: f64) -> Option<Setting> {
        match self.what {
            Swept::GaugeBar => Some(Setting::Gauge(Pressure::from_bar(at))),
            Swept::TravelMm => Some(Setting::Travel(Length::from_mm(at))),
            Swept::LiftMm => Some(Setting::Lift(Length::from_mm(at))),
            _ => None,
        }
    }

    /// The values stepped through, both ends included.
    pub fn values(&self) -> impl Iterator<Item = f64> + use<> {
        let Self {
            low, high, steps, ..
        } = *self;
        (0..=steps).map(move |step| low + (high - low) * f64::from(step) / f64::from(steps))
    }

    /// `base` and `fill` with the quantity at `at`; a fill by mass is the caller's to work out afterwards.
    ///
    /// # Errors
    /// A strength or a share that is none.
    pub fn at(
        &self,
        at: f64,
        base: &Conditions,
        fill: Volume,
    ) -> Result<(Conditions, Volume), String> {
        let mut conditions = base.clone();
        match &self.what {
            Swept::FillMl => return Ok((conditions, Volume::from_ml(at))),
            Swept::GaugeBar | Swept::TravelMm | Swept::LiftMm => {}
            Swept::TempC => conditions.room.temperature = Temperature::from_c(at),
            Swept::HumidityPct => conditions.room.humidity = at / 100.0,
            Swept::PressureKpa => conditions.room.pressure = Pressure::from_kpa(at),
            Swept::LipOpen => conditions.lip_open = at,
            Swept::Gas(gas) => {
                conditions.gas = GasRecipe::blend(100.0 * at, *gas, NamedGas::RoomAir)
                    .map_err(|error| error.to_string())?;
            }
            Swept::Liquid(name) => conditions.liquid = liquid(name, at)?,
        }
        Ok((conditions, fill))
    }
}

/// The liquid called `name` at a strength.
fn liquid(name: &str, percent: f64) -> Result<Liquid, String> {
    format!("{name} {percent}%")
        .parse()
        .map_err(|error: crate::physics::liquid::LiquidError| error.to_string())
}

impl FromStr for Sweep {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form = || {
            format!(
                "{text:?} is not of the form KEY=LOW..HIGH, such as fill-ml=0..300, temp-c=0..40/8, \
                 gas=co2:0..1 or liquid=ethanol:0..40"
            )
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
            ("temp-c", None) => Swept::TempC,
            ("humidity-pct", None) => Swept::HumidityPct,
            ("pressure-kpa", None) => Swept::PressureKpa,
            ("lip-open", None) => Swept::LipOpen,
            ("gas", Some(name)) => Swept::Gas(
                name.parse()
                    .map_err(|error: crate::physics::recipe::RecipeError| error.to_string())?,
            ),
            ("liquid", Some(name)) => Swept::Liquid(name.to_lowercase()),
            ("gas" | "liquid", None) => return Err(form()),
            (key, _) => return Err(format!("{key:?} is none of {KNOWN}")),
        };
        let (range, steps) = match range.split_once('/') {
            Some((range, steps)) => (range, steps.trim().parse().ok()),
            None => (range, Some(USUAL_STEPS)),
        };
        let steps = steps.filter(|s| (1..=MOST_STEPS).contains(s));
        let steps = steps.ok_or_else(|| {
            format!("the number of steps in {text:?} is outside 1 to {MOST_STEPS}")
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
            steps,
        };
        for end in [sweep.low, sweep.high] {
            sweep.at(end, &Conditions::default(), Volume::default())?;
        }
        Ok(sweep)
    }
}
