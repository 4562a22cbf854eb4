//! One bottle that was blown: its pitch, and what to do with it.

use serde::Serialize;

use super::advice::{AdviceRow, advice_row, rooms};
use super::bottles::Bottles;
use super::row::{JudgedRow, PitchRow};
use super::{ListenArgs, expected};
use crate::cli::Failure;
use crate::cli::print::{print, print_json};
use crate::listen::HeardNote;
use crate::listen::together::{Blows, together_near};
use crate::number::{rounded, signed};
use crate::set::Way;
use crate::tuner::{Reading, Verdict};
use crate::tuning::Tuning;

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
    /// It was chosen because the set expects it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    by_expectation: bool,
    /// What else was heard.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    others: Vec<OtherRow>,
    #[serde(flatten)]
    judged: JudgedRow,
}

/// Another bottle that was heard.
#[derive(Serialize)]
struct OtherRow {
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    start_s: f64,
    /// While the first one sounded.
    at_once: bool,
}

impl OtherRow {
    fn new(note: &HeardNote, beside: &[HeardNote], tuning: &Tuning) -> Self {
        let (name, off) = tuning.nearest(note.frequency);
        let overlaps = |one: &HeardNote| {
            let common = one.end.min(note.end) - one.start.max(note.start);
            common.s() > 0.5 * note.length().s()
        };
        Self {
            hz: rounded(note.frequency.hz(), 3),
            note: name.to_string(),
            cents: rounded(off.cents(), 2),
            plus_minus_cents: rounded(note.plus_minus.cents().max(0.01), 2),
            start_s: rounded(note.start.s(), 2),
            at_once: beside.iter().any(overlaps),
        }
    }

    fn text(&self) -> String {
        let when = if self.at_once {
            "at the same time".to_owned()
        } else {
            format!("at {:.1} s", self.start_s)
        };
        format!(
            "another bottle {when}: {:.2} Hz, {} {} cents ±{:.1}\n",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }
}

/// All blows of a recording.
pub(super) fn run(
    args: &ListenArgs,
    bottles: Option<&Bottles>,
    notes: &[HeardNote],
) -> Result<(), Failure> {
    let blows = together_near(notes, &expected(args, bottles))
        .expect("a recording without notes was refused");
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
        let mut report = Self::of(blows, &bottles.set().tuning);
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
        let mut report = Self::of(blows, &Tuning::default());
        report.judged = report.pitch.unjudged(args, blows.frequency);
        report
    }

    fn of(blows: &Blows, tuning: &Tuning) -> Self {
        let ring = blows.notes.iter().rev().find_map(|n| n.ring);
        let hz = rounded(blows.frequency.hz(), 4);
        Self {
            pitch: PitchRow::new(Way::Blown, hz, blows.plus_minus),
            blows: blows.notes.len(),
            q: ring.map(|r| rounded(r.quality, 1)),
            decay_s: ring.map(|r| rounded(r.decay.s(), 4)),
            by_expectation: blows.by_expectation,
            others: blows
                .others
                .iter()
                .map(|note| OtherRow::new(note, &blows.notes, tuning))
                .collect(),
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
        if self.by_expectation {
            out += "taken for the note because it is what is expected: by the sound alone it would be another\n";
        }
        for other in &self.others {
            out += &other.text();
        }
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
