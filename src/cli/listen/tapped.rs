//! One bottle that was tapped: its partials, which of them is the note, and what to do.

use serde::Serialize;

use super::ListenArgs;
use super::advice::advice_row;
use super::bottles::Bottles;
use super::row::{JudgedRow, PitchRow};
use crate::cli::Failure;
use crate::cli::print::{print, print_json, table};
use crate::listen::ListenError;
use crate::listen::strike::Strike;
use crate::listen::taps::{Doublet, Partial};
use crate::number::rounded;
use crate::set::Way;
use crate::tuner::{Advice, Verdict};

#[derive(Clone, Copy, Serialize)]
struct Split {
    low_hz: f64,
    high_hz: f64,
    beats_per_s: f64,
    apart_cents: f64,
    louder_hz: f64,
    louder_by_db: f64,
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
    #[serde(flatten)]
    pitch: PitchRow,
    taps: usize,
    t60_s: f64,
    q: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    waves: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    doublet: Option<Split>,
    /// What says which of the partials is the note: "prediction", or "strongest".
    note_by: &'static str,
    partials: Vec<PartialRow>,
    #[serde(flatten)]
    judged: JudgedRow,
}

const BY_PREDICTION: &str = "prediction";
const BY_STRENGTH: &str = "strongest";

fn no_wall(strike: &Strike) -> Failure {
    let partial = strike.strongest();
    let nothing = ListenError::NoWall {
        hz: partial.frequency.hz(),
        plus_minus_cents: partial.plus_minus.cents(),
        quality: partial.quality,
    };
    Failure::cannot("hear a tapped bottle", nothing)
        .or_try("tap it with wood a few times, or name its set after --set")
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
            return Self::unjudged(args, strike);
        };
        let verdict = bottles.of_strike(strike)?;
        let mut report = Self::judged(bottles, &verdict, strike)?;
        if keep && verdict.advice != Ok(Advice::NotItsNote) {
            report.judged.keep(args, bottles, &verdict)?;
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
        let mut report = Self::of(strike, note);
        report.waves = found.map(|(_, key)| key.n);
        if found.is_some() {
            report.note_by = BY_PREDICTION;
        }
        report.judged = JudgedRow {
            advice: match verdict.advice {
                Ok(Advice::NotItsNote) => None,
                _ => Some(advice_row(verdict, name)?),
            },
            ..report.pitch.judged(verdict, name)
        };
        for (index, waves) in known.into_iter().flat_map(|known| &known.waves) {
            report.partials[*index].waves = Some(*waves);
        }
        Ok(report)
    }

    /// Without a set: the nearest note, or a pitch that was asked for.
    pub(super) fn unjudged(args: &ListenArgs, strike: &Strike) -> Result<Self, Failure> {
        let partial = strike.note().ok_or_else(|| no_wall(strike))?;
        let mut report = Self::of(strike, partial);
        report.judged = report.pitch.unjudged(args, partial.frequency);
        Ok(report)
    }

    fn of(strike: &Strike, note: &Partial) -> Self {
        let hz = rounded(note.frequency.hz(), 3);
        Self {
            pitch: PitchRow::new(Way::Struck, hz, note.plus_minus_either()),
            taps: strike.taps,
            t60_s: rounded(note.t60.s(), 3),
            q: rounded(note.quality, 0),
            waves: None,
            doublet: note.doublet.as_ref().map(Split::new),
            note_by: BY_STRENGTH,
            partials: strike.partials.iter().map(PartialRow::new).collect(),
            judged: JudgedRow::default(),
        }
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        self.pitch() + &self.judged.behind_colon()
    }

    /// With what beats in it.
    fn pitch(&self) -> String {
        self.pitch.text(1, &self.judged) + &self.beats()
    }

    fn beats(&self) -> String {
        self.doublet.map_or(String::new(), |d| {
            format!(
                ", two modes {:.1} and {:.1} Hz that beat {:.1} times a second, {:.1} cents apart, the {} one louder by {:.0} dB",
                d.low_hz,
                d.high_hz,
                d.beats_per_s,
                d.apart_cents,
                if d.louder_hz > d.low_hz { "higher" } else { "lower" },
                d.louder_by_db
            )
        })
    }

    /// The note is the loudest of the partials.
    fn is_strongest(&self) -> bool {
        let loudest = self
            .partials
            .iter()
            .max_by(|a, b| a.level_db.total_cmp(&b.level_db));
        loudest.is_none_or(|partial| (partial.hz - self.pitch.hz()).abs() < 1e-3)
    }

    pub(super) fn print(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let taps = if self.taps == 1 { "tap" } else { "taps" };
        let mut out = format!("{}\n", self.pitch());
        out += &format!(
            "{} {taps}; it rings for {:.2} s (to -60 dB), Q {:.0}\n",
            self.taps, self.t60_s, self.q
        );
        if self.note_by == BY_PREDICTION && !self.is_strongest() {
            out +=
                "taken for the note because the set predicts it here; another partial is louder\n";
        }
        out += &self.judged.in_line();
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
        print(&(out + &table(&header, rows, &[]) + &self.judged.remarks))
    }
}

impl Split {
    fn new(doublet: &Doublet) -> Self {
        Self {
            low_hz: rounded(doublet.low.hz(), 2),
            high_hz: rounded(doublet.high.hz(), 2),
            beats_per_s: rounded(doublet.beat().hz(), 2),
            apart_cents: rounded(doublet.apart().cents(), 2),
            louder_hz: rounded(doublet.louder().hz(), 2),
            louder_by_db: rounded(doublet.high_over_low.db().abs(), 1),
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
