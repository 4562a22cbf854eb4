//! Conditions altered by name: what `--before` and `--after` say, for every command that has two of them.

use std::str::FromStr;

use clap::Args;

use super::Failure;
use super::inputs;
use crate::physics::conditions::Conditions;
use crate::set::change::{self, Change, ChangeError};
use crate::stage::Situation;

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
            .or_try("add --after temp-c=4, or --after co2"));
        }
        Ok((
            situation(base, &self.before)?,
            situation(base, &self.after)?,
        ))
    }
}

/// `base` with all of `alterations` on it, called as it was asked for.
///
/// # Errors
/// Conditions out of range.
pub fn situation(base: &Conditions, alterations: &[Alteration]) -> Result<Situation, Failure> {
    let label = if alterations.is_empty() {
        "as in the file".to_owned()
    } else {
        let all: Vec<&str> = alterations.iter().map(|a| a.text.as_str()).collect();
        all.join(", ")
    };
    let changes: Vec<Change> = alterations.iter().flat_map(|a| a.changes.clone()).collect();
    let conditions = change::changed(base, &changes)
        .map_err(|error| inputs::out_of_range(&format!("use \"{label}\""), &error))?;
    Ok(Situation { label, conditions })
}

/// One thing that is altered, or several under a name.
#[derive(Clone, Debug, PartialEq)]
pub struct Alteration {
    /// As written.
    pub text: String,
    changes: Vec<Change>,
}

impl FromStr for Alteration {
    type Err = ChangeError;

    fn from_str(text: &str) -> Result<Self, ChangeError> {
        Ok(Self {
            text: text.trim().to_owned(),
            changes: change::read(text)?,
        })
    }
}
