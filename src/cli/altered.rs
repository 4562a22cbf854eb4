//! Conditions altered by name: what `--before` and `--after` say, for every command that has two of them.

use std::str::FromStr;

use clap::Args;

use super::Failure;
use super::inputs;
use crate::physics::conditions::Conditions;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::GasRecipe;
use crate::physics::vapour::Headspace;
use crate::units::{Pressure, Temperature};

/// Keys that are read, for messages.
const KEYS: &str = "temp-c, humidity-pct, pressure-kpa, gas, neck-gas, liquid, headspace, lip-open";

/// Situations with a name: what each alters, in the words of the keys. Their figures are common practice, no source.
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

/// The two sides of a comparison.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Two conditions")]
pub struct TwoConditions {
    /// What holds before, as KEY=VALUE or by name; repeatable [default: as in the file]. KEY is temp-c, humidity-pct,
    /// pressure-kpa, gas, neck-gas, liquid, headspace or lip-open. Names: chilled (4 °C), sun (40 °C), stage (28 °C),
    /// mountain (80 kPa), standing (vapour saturated), breath, co2, helium, argon, spirit, rubbing-alcohol
    #[arg(long, value_name = "KEY=VALUE|NAME", allow_hyphen_values = true)]
    pub before: Vec<Alteration>,
    /// What holds after, in the same way
    #[arg(long, value_name = "KEY=VALUE|NAME", allow_hyphen_values = true)]
    pub after: Vec<Alteration>,
}

/// One situation with what was asked for over it.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// As it was asked for.
    pub label: String,
    /// What holds.
    pub conditions: Conditions,
}

impl TwoConditions {
    /// Whether anything was said.
    #[must_use]
    pub fn is_asked(&self) -> bool {
        !(self.before.is_empty() && self.after.is_empty())
    }

    /// Both situations over the conditions of a file.
    ///
    /// # Errors
    /// Nothing to compare, or conditions out of range.
    pub fn over(&self, base: &Conditions) -> Result<(Situation, Situation), Failure> {
        if !self.is_asked() {
            return Err(Failure::bad(
                "compare two conditions",
                "neither --before nor --after says what changes",
            )
            .or_try("--after temp-c=4, or --after co2"));
        }
        Ok((
            situation(base, &self.before)?,
            situation(base, &self.after)?,
        ))
    }
}

/// `base` with all of `alterations` on it.
///
/// # Errors
/// Conditions out of range.
pub fn situation(base: &Conditions, alterations: &[Alteration]) -> Result<Situation, Failure> {
    let mut conditions = base.clone();
    for alteration in alterations {
        alteration.apply(&mut conditions);
    }
    let label = if alterations.is_empty() {
        "as in the file".to_owned()
    } else {
        let all: Vec<&str> = alterations.iter().map(|a| a.text.as_str()).collect();
        all.join(", ")
    };
    inputs::checked(&conditions, &format!("use \"{label}\""))?;
    Ok(Situation { label, conditions })
}

/// One thing that is altered, or several under a name.
#[derive(Clone, Debug, PartialEq)]
pub struct Alteration {
    /// As written.
    pub text: String,
    changes: Vec<Change>,
}

#[derive(Clone, Debug, PartialEq)]
enum Change {
    TempC(f64),
    HumidityPct(f64),
    PressureKpa(f64),
    Gas(GasRecipe),
    NeckGas(GasRecipe),
    Liquid(Liquid),
    Headspace(Headspace),
    LipOpen(f64),
}

impl Alteration {
    fn apply(&self, conditions: &mut Conditions) {
        for change in &self.changes {
            match change {
                Change::TempC(c) => conditions.room.temperature = Temperature::from_c(*c),
                Change::HumidityPct(percent) => conditions.room.humidity = percent / 100.0,
                Change::PressureKpa(kpa) => conditions.room.pressure = Pressure::from_kpa(*kpa),
                Change::Gas(gas) => conditions.gas = *gas,
                Change::NeckGas(gas) => conditions.neck_gas = Some(*gas),
                Change::Liquid(liquid) => conditions.liquid = *liquid,
                Change::Headspace(headspace) => conditions.headspace = *headspace,
                Change::LipOpen(share) => conditions.lip_open = *share,
            }
        }
    }
}

impl FromStr for Alteration {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let name = text.trim().to_lowercase();
        let named = NAMED.iter().find(|(known, _)| *known == name);
        let pairs = named.map_or(vec![text], |(_, pairs)| pairs.to_vec());
        let changes = pairs.into_iter().map(change).collect::<Result<_, _>>()?;
        Ok(Self {
            text: text.trim().to_owned(),
            changes,
        })
    }
}

/// Reads one KEY=VALUE.
fn change(text: &str) -> Result<Change, String> {
    let Some((key, value)) = text.split_once('=') else {
        let names: Vec<&str> = NAMED.iter().map(|(name, _)| *name).collect();
        return Err(format!(
            "{text:?} is neither KEY=VALUE, such as temp-c=4, nor one of {}",
            names.join(", ")
        ));
    };
    let value = value.trim();
    let number = || {
        let parsed = value.parse::<f64>().ok().filter(|v| v.is_finite());
        parsed.ok_or_else(|| format!("{value:?} in {text:?} is no number"))
    };
    fn of<T: FromStr<Err: ToString>>(value: &str) -> Result<T, String> {
        value.parse().map_err(|error: T::Err| error.to_string())
    }
    Ok(match key.trim().to_lowercase().as_str() {
        "temp-c" => Change::TempC(number()?),
        "humidity-pct" => Change::HumidityPct(number()?),
        "pressure-kpa" => Change::PressureKpa(number()?),
        "lip-open" => Change::LipOpen(number()?),
        "gas" => Change::Gas(of(value)?),
        "neck-gas" => Change::NeckGas(of(value)?),
        "liquid" => Change::Liquid(of(value)?),
        "headspace" => Change::Headspace(of(value)?),
        other => return Err(format!("{other:?} is none of {KEYS}")),
    })
}
