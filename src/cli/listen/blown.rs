//! One bottle that was blown: its pitch, and what to do with it.

use serde::Serialize;

use super::advice::{AdviceRow, advice_row, rooms};
use super::bottles::Bottles;
use super::{Called, ListenArgs, keep};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json};
use crate::listen::HeardNote;
use crate::listen::together::{Blows, together};
use crate::number::{rounded, signed};
use crate::set::Way;
use crate::tuner::{Reading, Verdict};

/// What one blown bottle came to, as JSON.
#[derive(Serialize)]
pub(super) struct BlownReport {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    blows: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    q: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decay_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_hz: Option<f64>,
    /// Of which the room's.
    #[serde(skip_serializing_if = "Option::is_none")]
    room_cents: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<AdviceRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<keep::KeptRow>,
    #[serde(skip)]
    to_do: Option<String>,
    #[serde(skip)]
    remarks: String,
}

/// All blows of a recording.
pub(super) fn run(
    args: &ListenArgs,
    bottles: Option<&Bottles>,
    notes: &[HeardNote],
) -> Result<(), Failure> {
    let blows = together(notes).expect("a recording without notes was refused");
    BlownReport::of_blows(args, bottles, &blows, args.keep)?.print(args)
}

impl BlownReport {
    /// What `blows` come to, kept in the set's file if that is wanted.
    pub(super) fn of_blows(
        args: &ListenArgs,
        bottles: Option<&Bottles>,
        blows: &Blows,
        keep: bool,
    ) -> Result<Self, Failure> {
        let Some(bottles) = bottles else {
            return Ok(Self::unjudged(args, blows));
        };
        let verdict = bottles.of_pitch(Reading::from(blows))?;
        let mut report = Self::judged(args, bottles, &verdict, blows)?;
        if keep {
            let kept = keep::keep(args, bottles, &verdict)?;
            report.remarks += &kept.text();
            report.kept = Some(kept);
        }
        Ok(report)
    }

    /// The same of a bottle that was judged already.
    pub(super) fn judged(
        args: &ListenArgs,
        bottles: &Bottles,
        verdict: &Verdict,
        blows: &Blows,
    ) -> Result<Self, Failure> {
        let name = &bottles.set().kinds[verdict.kind].name;
        let moved = verdict.moved;
        Ok(Self {
            way: verdict.way.name(),
            note: verdict.note.to_string(),
            cents: rounded(verdict.off.cents(), 2),
            bottle: Some(name.clone()),
            target_hz: Some(rounded(verdict.aim.hz(), 3)),
            room_cents: (moved.cents() != 0.0).then(|| rounded(moved.cents(), 2)),
            advice: Some(advice_row(verdict, name)?),
            to_do: Some(verdict.to_do()),
            remarks: rooms(args, bottles.set(), Some(moved)),
            ..Self::of(blows)
        })
    }

    /// Without a set: the nearest note, or a pitch that was asked for.
    pub(super) fn unjudged(args: &ListenArgs, blows: &Blows) -> Self {
        let called = Called::of(args, blows.frequency);
        Self {
            note: called.note,
            cents: rounded(called.off.cents(), 2),
            target_hz: called.target_hz,
            ..Self::of(blows)
        }
    }

    fn of(blows: &Blows) -> Self {
        let ring = blows.notes.iter().rev().find_map(|n| n.ring);
        Self {
            version: JSON_VERSION,
            way: Way::Blown.name(),
            hz: rounded(blows.frequency.hz(), 4),
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(blows.plus_minus.cents().max(0.01), 2),
            blows: blows.notes.len(),
            q: ring.map(|r| rounded(r.quality, 1)),
            decay_s: ring.map(|r| rounded(r.decay.s(), 4)),
            bottle: None,
            target_hz: None,
            room_cents: None,
            advice: None,
            kept: None,
            to_do: None,
            remarks: String::new(),
        }
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        let to_do = self.to_do.as_ref();
        let to_do = to_do.map_or(String::new(), |words| format!(": {words}"));
        format!("{}{to_do}", self.pitch())
    }

    fn pitch(&self) -> String {
        let bottle = self.bottle.as_ref();
        let bottle = bottle.map_or(String::new(), |b| format!(" ({b})"));
        format!(
            "{:.2} Hz, {}{bottle} {} cents ±{:.1}",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }

    pub(super) fn print(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let mut out = format!("{}\n", self.pitch());
        if let Some(q) = self.q {
            out += &format!("it rang down with Q {q:.0}\n");
        }
        if let Some(to_do) = &self.to_do {
            out += &format!("{to_do}\n");
        }
        if let Some(repeat_ml) = self.advice.as_ref().and_then(AdviceRow::repeat_ml) {
            out += &format!(
                "another blow may differ by as much as {repeat_ml:.0} ml does: blow it more than once\n"
            );
        }
        print(&(out + &self.remarks))
    }
}
