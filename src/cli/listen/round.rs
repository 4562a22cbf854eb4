//! Round a whole set, note by note: of a recording, or as they come.

use serde::Serialize;

use super::ListenArgs;
use super::aims::Aims;
use super::pouring::{Pouring, pouring, rooms};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::listen::HeardNote;
use crate::listen::advice::Off;
use crate::listen::walk::{Standing, Walk, is_clear};
use crate::number::{rounded, signed};
use crate::set::Set;
use crate::units::Interval;

/// A note of the round, as JSON.
#[derive(Serialize)]
pub(super) struct Heard {
    start_s: f64,
    hz: f64,
    plus_minus_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    cents: f64,
    in_tune: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<Pouring>,
    /// The note that is waited for now.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<String>,
}

/// How a bottle of the set stands, as JSON.
#[derive(Serialize)]
pub(super) struct Summary {
    note: String,
    bottle: String,
    heard: bool,
    in_tune: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    cents: Option<f64>,
}

#[derive(Serialize)]
struct Report {
    version: u32,
    heard: Vec<Heard>,
    summary: Vec<Summary>,
}

/// A walk round a set, note by note.
pub(super) struct Round<'a> {
    args: &'a ListenArgs,
    aims: &'a Aims<'a>,
    walk: Walk,
}

pub(super) fn run(args: &ListenArgs, aims: &Aims<'_>, notes: &[HeardNote]) -> Result<(), Failure> {
    let mut round = Round::new(args, aims);
    let mut heard = Vec::new();
    for note in notes {
        heard.extend(round.hear(note)?);
    }
    let summary = round.summary();
    if args.json {
        return print_json(&Report {
            version: JSON_VERSION,
            heard,
            summary,
        });
    }
    print(&(table_of(&heard) + "\n" + &sum(&summary) + &rooms(args, aims, None)))
}

impl<'a> Round<'a> {
    pub(super) fn new(args: &'a ListenArgs, aims: &'a Aims<'a>) -> Self {
        let tolerance = Interval::from_cents(args.within_cents);
        Self {
            args,
            aims,
            walk: Walk::new(&aims.targets, tolerance),
        }
    }

    /// The note that is waited for; `None` when all are in tune.
    pub(super) fn awaited(&self) -> Option<String> {
        let pours = &self.aims.set.pours;
        self.walk.awaited().map(|at| pours[at].note.to_string())
    }

    /// Takes a note; `None` if it is not clear enough to walk by.
    pub(super) fn hear(&mut self, note: &HeardNote) -> Result<Option<Heard>, Failure> {
        if !is_clear(note) {
            return Ok(None);
        }
        let step = self.walk.hear(note);
        let mut row = Heard {
            start_s: rounded(note.start.s(), 2),
            hz: rounded(note.frequency.hz(), 3),
            plus_minus_cents: rounded(note.plus_minus.cents(), 2),
            note: None,
            bottle: None,
            cents: rounded(step.off.cents(), 2),
            in_tune: step.in_tune,
            advice: None,
            next: self.awaited(),
        };
        if let Some(index) = step.bottle {
            let chosen = self.aims.at(index);
            let off = Off {
                heard: note.frequency,
                plus_minus: note.plus_minus,
                target: chosen.target,
            };
            row.advice = Some(pouring(self.args, self.aims, &chosen, off)?);
            row.bottle = Some(chosen.kind.name.clone());
            row.note = chosen.name;
        }
        Ok(Some(row))
    }

    /// How every bottle stands.
    pub(super) fn summary(&self) -> Vec<Summary> {
        summary(self.aims.set, &self.walk)
    }
}

impl Heard {
    fn name(&self) -> String {
        let none = || "none of the set".to_owned();
        self.note.clone().unwrap_or_else(none)
    }

    fn what_to_do(&self) -> String {
        let advice = self.advice.as_ref();
        advice.map_or(String::new(), |a| a.text(self.in_tune))
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        let Some(bottle) = &self.bottle else {
            return format!("{:.2} Hz: {}", self.hz, self.name());
        };
        format!(
            "{} ({bottle}) {:.2} Hz {} cents ±{:.1}: {}",
            self.name(),
            self.hz,
            signed(self.cents, 1),
            self.plus_minus_cents,
            self.what_to_do()
        )
    }
}

fn summary(set: &Set, walk: &Walk) -> Vec<Summary> {
    let row = |(pour, standing): (&crate::set::Pour, &Standing)| Summary {
        note: pour.note.to_string(),
        bottle: set.kind_of(pour).name.clone(),
        heard: *standing != Standing::Unheard,
        in_tune: matches!(standing, Standing::InTune(_)),
        cents: match standing {
            Standing::Unheard => None,
            Standing::Off(off) | Standing::InTune(off) => Some(rounded(off.cents(), 2)),
        },
    };
    set.pours.iter().zip(walk.standings()).map(row).collect()
}

fn table_of(heard: &[Heard]) -> String {
    let line = |row: &Heard| {
        vec![
            format!("{:.1}", row.start_s),
            row.name(),
            row.bottle.clone().unwrap_or_default(),
            format!("{:.2}", row.hz),
            signed(row.cents, 1),
            format!("{:.1}", row.plus_minus_cents),
            row.what_to_do(),
        ]
    };
    let header = ["at s", "note", "bottle", "Hz", "cents", "±", "what to do"];
    table(&header, heard.iter().map(line).collect(), &[1, 2, 6])
}

/// What is in tune, what is not, and what was not heard.
pub(super) fn sum(summary: &[Summary]) -> String {
    let in_tune = summary.iter().filter(|s| s.in_tune).count();
    let mut out = format!("{in_tune} of {} in tune\n", summary.len());
    let rest = |word: &str, rows: Vec<&Summary>| {
        let names: Vec<String> = rows
            .iter()
            .map(|s| format!("{} ({})", s.note, s.bottle))
            .collect();
        if names.is_empty() {
            String::new()
        } else {
            format!("{word}: {}\n", names.join(", "))
        }
    };
    out += &rest(
        "not yet",
        summary.iter().filter(|s| s.heard && !s.in_tune).collect(),
    );
    out += &rest("not heard", summary.iter().filter(|s| !s.heard).collect());
    out
}
