//! Round a whole set, note by note: of a recording, or as they come.

use serde::Serialize;

use super::ListenArgs;
use super::advice::{AdviceRow, advice_row, rooms};
use super::bottles::{Bottles, listen_for};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::index::PourIndex;
use crate::listen::HeardNote;
use crate::number::{rounded, signed};
use crate::set::Set;
use crate::tuner::Round;
use crate::tuner::walk::Standing;

/// A note of the round, as JSON.
#[derive(Serialize)]
pub(super) struct RoundRow {
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
    advice: Option<AdviceRow>,
    /// The note that is waited for now.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<String>,
    #[serde(skip)]
    to_do: String,
}

/// How a bottle of the set stands, as JSON.
#[derive(Serialize)]
pub(super) struct StandingRow {
    note: String,
    bottle: String,
    heard: bool,
    in_tune: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    cents: Option<f64>,
}

#[derive(Serialize)]
struct RoundReport {
    version: u32,
    heard: Vec<RoundRow>,
    summary: Vec<StandingRow>,
}

/// A walk round a set, note by note.
pub(super) struct RoundTold {
    round: Round,
}

pub(super) fn run(
    args: &ListenArgs,
    bottles: &Bottles,
    notes: &[HeardNote],
) -> Result<(), Failure> {
    let mut round = RoundTold::new(args, bottles)?;
    let mut heard = Vec::new();
    for note in notes {
        heard.extend(round.hear(note)?);
    }
    let summary = round.summary();
    if args.json {
        return print_json(&RoundReport {
            version: JSON_VERSION,
            heard,
            summary,
        });
    }
    let rooms = rooms(args, bottles.set(), None);
    print(&(table_of(&heard) + "\n" + &sum(&summary) + &rooms))
}

impl RoundTold {
    pub(super) fn new(args: &ListenArgs, bottles: &Bottles) -> Result<Self, Failure> {
        let set = bottles.set();
        Ok(Self {
            round: Round::new(set.clone(), &listen_for(args, set)?),
        })
    }

    fn set(&self) -> &Set {
        self.round.judge().set()
    }

    /// The note that is waited for; `None` when all are in tune.
    pub(super) fn awaited(&self) -> Option<String> {
        let pour = self.round.awaited()?;
        Some(self.set().pours[pour].note.to_string())
    }

    /// Takes a note; `None` if it is not clear enough to walk by.
    pub(super) fn hear(&mut self, note: &HeardNote) -> Result<Option<RoundRow>, Failure> {
        let Some(heard) = self.round.hear(note) else {
            return Ok(None);
        };
        let mut row = RoundRow {
            start_s: rounded(note.start.s(), 2),
            hz: rounded(note.frequency.hz(), 3),
            plus_minus_cents: rounded(note.plus_minus.cents(), 2),
            note: None,
            bottle: None,
            cents: 0.0,
            in_tune: false,
            advice: None,
            next: self.awaited(),
            to_do: String::new(),
        };
        if let Some(verdict) = heard.verdict {
            let name = &self.set().kinds[verdict.kind].name;
            row.cents = rounded(verdict.off.cents(), 2);
            row.in_tune = verdict.in_tune;
            row.advice = Some(advice_row(&verdict, name)?);
            row.to_do = verdict.to_do();
            row.bottle = Some(name.clone());
            row.note = Some(verdict.note.to_string());
        }
        Ok(Some(row))
    }

    /// How every bottle stands.
    pub(super) fn summary(&self) -> Vec<StandingRow> {
        let set = self.set();
        let row = |(pour, standing): (PourIndex, Standing)| StandingRow {
            note: set.pours[pour].note.to_string(),
            bottle: set.kind_of(&set.pours[pour]).name.clone(),
            heard: standing != Standing::Unheard,
            in_tune: standing.is_in_tune(),
            cents: standing.off().map(|off| rounded(off.cents(), 2)),
        };
        self.round.standings().map(row).collect()
    }
}

impl RoundRow {
    fn name(&self) -> String {
        let none = || "none of the set".to_owned();
        self.note.clone().unwrap_or_else(none)
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
            self.to_do
        )
    }
}

fn table_of(heard: &[RoundRow]) -> String {
    let line = |row: &RoundRow| {
        vec![
            format!("{:.1}", row.start_s),
            row.name(),
            row.bottle.clone().unwrap_or_default(),
            format!("{:.2}", row.hz),
            signed(row.cents, 1),
            format!("{:.1}", row.plus_minus_cents),
            row.to_do.clone(),
        ]
    };
    let header = ["at s", "note", "bottle", "Hz", "cents", "±", "what to do"];
    table(&header, heard.iter().map(line).collect(), &[1, 2, 6])
}

/// What is in tune, what is not, and what was not heard.
pub(super) fn sum(summary: &[StandingRow]) -> String {
    let in_tune = summary.iter().filter(|s| s.in_tune).count();
    let mut out = format!("{in_tune} of {} in tune\n", summary.len());
    let rest = |word: &str, rows: Vec<&StandingRow>| {
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
