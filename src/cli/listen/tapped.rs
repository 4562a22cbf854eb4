//! One bottle that was tapped: its partials, which of them is the note, and what to do.

use serde::Serialize;

use super::advice::{AdviceRow, advice_row};
use super::bottles::Bottles;
use super::{Called, ListenArgs, keep};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::listen::strike::Strike;
use crate::listen::taps::{Doublet, Partial};
use crate::number::{rounded, signed};
use crate::set::Way;
use crate::tuner::{Advice, Verdict};

#[derive(Clone, Copy, Serialize)]
struct Split {
    low_hz: f64,
    high_hz: f64,
    beats_per_s: f64,
}

#[derive(Serialize)]
struct PartialRow {
    hz: f64,
    plus_minus_cents: f64,
    level_db: f64,
    t60_s: f64,
    q: f64,
    /// Waves around, where the model tells them apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    waves: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    doublet: Option<Split>,
}

/// What one tapped bottle came to, as JSON.
#[derive(Serialize)]
pub(super) struct TappedReport {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    taps: usize,
    t60_s: f64,
    q: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    waves: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    doublet: Option<Split>,
    partials: Vec<PartialRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<AdviceRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<keep::KeptRow>,
    #[serde(skip)]
    to_do: Option<String>,
    #[serde(skip)]
    remarks: String,
}

/// All taps of a recording.
pub(super) fn run(
    args: &ListenArgs,
    bottles: Option<&Bottles>,
    strike: &Strike,
) -> Result<(), Failure> {
    TappedReport::of_strike(args, bottles, strike, args.keep)?.print(args)
}

impl TappedReport {
    /// What `strike` comes to, kept in the set's file if that is wanted.
    pub(super) fn of_strike(
        args: &ListenArgs,
        bottles: Option<&Bottles>,
        strike: &Strike,
        keep: bool,
    ) -> Result<Self, Failure> {
        let Some(bottles) = bottles else {
            return Ok(Self::unjudged(args, strike));
        };
        let verdict = bottles.of_strike(strike)?;
        let mut report = Self::judged(bottles, &verdict, strike)?;
        if keep && verdict.advice != Ok(Advice::NotItsNote) {
            let kept = keep::keep(args, bottles, &verdict)?;
            report.remarks += &kept.text();
            report.kept = Some(kept);
        }
        Ok(report)
    }

    /// The same of a bottle that was judged already.
    pub(super) fn judged(
        bottles: &Bottles,
        verdict: &Verdict,
        strike: &Strike,
    ) -> Result<Self, Failure> {
        let name = &bottles.set().kinds[verdict.kind].name;
        let known = verdict.recognised.as_ref();
        let found = known.and_then(|known| known.note);
        let note = found.map_or_else(|| strike.strongest(), |(index, _)| &strike.partials[index]);
        let mut report = Self {
            way: verdict.way.name(),
            note: verdict.note.to_string(),
            cents: rounded(verdict.off.cents(), 2),
            waves: found.map(|(_, key)| key.n),
            bottle: Some(name.clone()),
            target_hz: Some(rounded(verdict.aim.hz(), 3)),
            advice: match verdict.advice {
                Ok(Advice::NotItsNote) => None,
                _ => Some(advice_row(verdict, name)?),
            },
            to_do: Some(verdict.to_do()),
            ..Self::of(strike, note)
        };
        for (index, waves) in known.into_iter().flat_map(|known| &known.waves) {
            report.partials[*index].waves = Some(*waves);
        }
        Ok(report)
    }

    /// Without a set: the nearest note, or a pitch that was asked for.
    pub(super) fn unjudged(args: &ListenArgs, strike: &Strike) -> Self {
        let partial = strike.strongest();
        let called = Called::of(args, partial.frequency);
        Self {
            note: called.note,
            cents: rounded(called.off.cents(), 2),
            target_hz: called.target_hz,
            ..Self::of(strike, partial)
        }
    }

    fn of(strike: &Strike, note: &Partial) -> Self {
        Self {
            version: JSON_VERSION,
            way: Way::Struck.name(),
            hz: rounded(note.frequency.hz(), 3),
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(note.plus_minus.cents().max(0.01), 2),
            taps: strike.taps,
            t60_s: rounded(note.t60.s(), 3),
            q: rounded(note.quality, 0),
            waves: None,
            doublet: note.doublet.as_ref().map(Split::new),
            partials: strike.partials.iter().map(PartialRow::new).collect(),
            bottle: None,
            target_hz: None,
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
        format!("{}{}{to_do}", self.pitch(), self.beats())
    }

    fn pitch(&self) -> String {
        let bottle = self.bottle.as_ref();
        let bottle = bottle.map_or(String::new(), |b| format!(" ({b})"));
        format!(
            "{:.1} Hz, {}{bottle} {} cents ±{:.1}",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }

    fn beats(&self) -> String {
        self.doublet.map_or(String::new(), |d| {
            format!(
                ", two modes {:.1} and {:.1} Hz that beat {:.1} times a second",
                d.low_hz, d.high_hz, d.beats_per_s
            )
        })
    }

    pub(super) fn print(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let taps = if self.taps == 1 { "tap" } else { "taps" };
        let mut out = format!("{}{}\n", self.pitch(), self.beats());
        out += &format!(
            "{} {taps}; it rings for {:.2} s (to -60 dB), Q {:.0}\n",
            self.taps, self.t60_s, self.q
        );
        if let Some(to_do) = &self.to_do {
            out += &format!("{to_do}\n");
        }
        let line = |row: &PartialRow| {
            vec![
                format!("{:.1}", row.hz),
                format!("{:.1}", row.plus_minus_cents),
                format!("{:.0}", row.level_db),
                format!("{:.2}", row.t60_s),
                format!("{:.0}", row.q),
                row.waves.map_or(String::new(), |n| n.to_string()),
                row.doublet
                    .map_or(String::new(), |d| format!("{:.1}", d.beats_per_s)),
            ]
        };
        let header = ["Hz", "± cents", "dB", "ring s", "Q", "waves", "beats/s"];
        let rows = self.partials.iter().map(line).collect();
        print(&(out + &table(&header, rows, &[]) + &self.remarks))
    }
}

impl Split {
    fn new(doublet: &Doublet) -> Self {
        Self {
            low_hz: rounded(doublet.low.hz(), 2),
            high_hz: rounded(doublet.high.hz(), 2),
            beats_per_s: rounded(doublet.beat().hz(), 2),
        }
    }
}

impl PartialRow {
    fn new(partial: &Partial) -> Self {
        Self {
            hz: rounded(partial.frequency.hz(), 3),
            plus_minus_cents: rounded(partial.plus_minus.cents(), 2),
            level_db: rounded(partial.level.db(), 1),
            t60_s: rounded(partial.t60.s(), 3),
            q: rounded(partial.quality, 0),
            waves: None,
            doublet: partial.doublet.as_ref().map(Split::new),
        }
    }
}
