//! What the reports of a blown and of a tapped bottle begin and end with.

use serde::Serialize;

use super::ListenArgs;
use super::advice::AdviceRow;
use super::bottles::Bottles;
use super::keep::{self, KeptRow};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::number::{rounded, signed};
use crate::set::Way;
use crate::tuner::Verdict;
use crate::tuning::Tuning;
use crate::units::{Frequency, Interval};

/// What was heard and what it is called: a report begins with it.
#[derive(Serialize)]
pub(super) struct PitchRow {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
}

impl PitchRow {
    /// A pitch that has no name yet.
    pub(super) fn new(way: Way, hz: f64, plus_minus: Interval) -> Self {
        Self {
            version: JSON_VERSION,
            way: way.name(),
            hz,
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(plus_minus.cents().max(0.01), 2),
        }
    }

    pub(super) fn hz(&self) -> f64 {
        self.hz
    }

    /// Names it by `verdict`, about the bottle called `name`; what to do is not advised yet.
    pub(super) fn judged(&mut self, verdict: &Verdict, name: &str) -> JudgedRow {
        self.way = verdict.way.name();
        self.call(verdict.note.to_string(), verdict.off);
        JudgedRow {
            bottle: Some(name.to_owned()),
            target_hz: Some(rounded(verdict.aim.hz(), 3)),
            to_do: Some(verdict.to_do()),
            ..JudgedRow::default()
        }
    }

    /// Names what was `heard` without a set: by the nearest note, or by the pitch that was asked for.
    pub(super) fn unjudged(&mut self, args: &ListenArgs, heard: Frequency) -> JudgedRow {
        match args.target_hz {
            Some(hz) => {
                let off = heard.interval_above(Frequency::from_hz(hz));
                self.call("target".to_owned(), off);
            }
            None => {
                let (note, off) = Tuning::default().nearest(heard);
                self.call(note.to_string(), off);
            }
        }
        JudgedRow {
            target_hz: args.target_hz.map(|hz| rounded(hz, 3)),
            ..JudgedRow::default()
        }
    }

    fn call(&mut self, note: String, off: Interval) {
        self.note = note;
        self.cents = rounded(off.cents(), 2);
    }

    /// In words, to so many digits of a hertz.
    pub(super) fn text(&self, digits: usize, judged: &JudgedRow) -> String {
        let bottle = judged.bottle.as_ref();
        let bottle = bottle.map_or(String::new(), |b| format!(" ({b})"));
        format!(
            "{:.digits$} Hz, {}{bottle} {} cents ±{:.1}",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }
}

/// What was aimed at and what to do: a report ends with it.
#[derive(Default, Serialize)]
pub(super) struct JudgedRow {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) target_hz: Option<f64>,
    /// Of which the room's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) room_cents: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) advice: Option<AdviceRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) kept: Option<KeptRow>,
    #[serde(skip)]
    pub(super) to_do: Option<String>,
    #[serde(skip)]
    pub(super) remarks: String,
}

impl JudgedRow {
    /// Keeps what was heard in the set's file.
    pub(super) fn keep(
        &mut self,
        args: &ListenArgs,
        bottles: &Bottles,
        verdict: &Verdict,
    ) -> Result<(), Failure> {
        let kept = keep::keep(args, bottles, verdict)?;
        self.remarks += &kept.text();
        self.kept = Some(kept);
        Ok(())
    }

    /// What to do, behind a colon.
    #[cfg(feature = "live")]
    pub(super) fn behind_colon(&self) -> String {
        let to_do = self.to_do.as_ref();
        to_do.map_or(String::new(), |words| format!(": {words}"))
    }

    /// What to do, in a line of its own.
    pub(super) fn in_line(&self) -> String {
        let to_do = self.to_do.as_ref();
        to_do.map_or(String::new(), |words| format!("{words}\n"))
    }
}
