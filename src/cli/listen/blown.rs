//! One bottle that was blown: its pitch, and what to do with it.

use serde::Serialize;

use super::ListenArgs;
use super::advice::{AdviceRow, advice_row, rooms};
use super::bottles::Bottles;
use super::row::{JudgedRow, PitchRow};
use crate::cli::Failure;
use crate::cli::print::{print, print_json};
use crate::listen::HeardNote;
use crate::listen::together::{Blows, together};
use crate::number::rounded;
use crate::set::Way;
use crate::tuner::{Reading, Verdict};

/// What one blown bottle came to, as JSON.
#[derive(Serialize)]
pub(super) struct BlownReport {
    #[serde(flatten)]
    pitch: PitchRow,
    blows: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    q: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decay_s: Option<f64>,
    #[serde(flatten)]
    judged: JudgedRow,
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
            report.judged.keep(args, bottles, &verdict)?;
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
        let mut report = Self::of(blows);
        report.judged = JudgedRow {
            room_cents: (moved.cents() != 0.0).then(|| rounded(moved.cents(), 2)),
            advice: Some(advice_row(verdict, name)?),
            remarks: rooms(args, bottles.set(), Some(moved)),
            ..report.pitch.judged(verdict, name)
        };
        Ok(report)
    }

    /// Without a set: the nearest note, or a pitch that was asked for.
    pub(super) fn unjudged(args: &ListenArgs, blows: &Blows) -> Self {
        let mut report = Self::of(blows);
        report.judged = report.pitch.unjudged(args, blows.frequency);
        report
    }

    fn of(blows: &Blows) -> Self {
        let ring = blows.notes.iter().rev().find_map(|n| n.ring);
        let hz = rounded(blows.frequency.hz(), 4);
        Self {
            pitch: PitchRow::new(Way::Blown, hz, blows.plus_minus),
            blows: blows.notes.len(),
            q: ring.map(|r| rounded(r.quality, 1)),
            decay_s: ring.map(|r| rounded(r.decay.s(), 4)),
            judged: JudgedRow::default(),
        }
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        self.pitch() + &self.judged.behind_colon()
    }

    fn pitch(&self) -> String {
        self.pitch.text(2, &self.judged)
    }

    pub(super) fn print(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let mut out = format!("{}\n", self.pitch());
        if let Some(q) = self.q {
            out += &format!("it rang down with Q {q:.0}\n");
        }
        out += &self.judged.in_line();
        let advice = self.judged.advice.as_ref();
        if let Some(repeat_ml) = advice.and_then(AdviceRow::repeat_ml) {
            out += &format!(
                "another blow may differ by as much as {repeat_ml:.0} ml does: blow it more than once\n"
            );
        }
        print(&(out + &self.judged.remarks))
    }
}
