//! What is printed for the players of a piece: who has which bottles, and when each is blown.
//!
//! Times are in quarter notes here, so that a bar is as wide as it is long in beats, whatever the tempo.
//!
//! ```
//! use ullage::report::part::{HeldBottle, PartBook};
//! use ullage::stage::{OnSet, SharingSpec, Stage};
//! let stage = Stage::new(&ullage::set::open("presets/quay/set.toml")?)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let piece = OnSet::new(stage, &piece.score, SharingSpec::default())?;
//! let fit = piece.among(piece.fewest(&piece.sharing()).players.len());
//! let held: Vec<_> = fit.players.iter().map(|own| piece.bottles(own)).collect();
//! let kept: Vec<_> = fit.kept(&piece.breaths).collect();
//! let book = PartBook::new(("Harbour", &piece.score), &held, &kept, |pours| HeldBottle {
//!     notes: pours.iter().map(|&pour| piece.note(pour)).collect(),
//!     name: piece.name(pours[0]),
//! });
//! // Nobody has more than two hands, and all that is blown in the piece is blown by somebody, once.
//! assert!(book.players.iter().all(|part| part.bottles.len() <= 2));
//! let notes: usize = book.players.iter().map(|part| part.notes.len()).sum();
//! assert_eq!(notes, piece.breaths.len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::index::{PlayerIndex, PourIndex};
use crate::plan::piece::bars;
use crate::plan::players::{Load, load};
use crate::plan::programme::Breath;
use crate::score::{Bar, Score};
use crate::tuning::Speller;

/// From here on a player is warned: this share of the time, or this long without a rest. Common
/// practice, no source.
pub const HEAVY_SHARE: f64 = 0.5;
/// See [`HEAVY_SHARE`]; s.
pub const HEAVY_RUN_S: f64 = 15.0;
/// Most bars that are printed; nobody plays more from paper.
pub const MOST_BARS: usize = 4_000;

/// What players are told, on every page.
pub const CAUTIONS: [&str; 3] = [
    "Long blowing makes dizzy: when light-headed stop, sit down, and breathe as usual.",
    "One mouth for each bottle. Wash the rims before somebody else plays.",
    "The rules of your school or house come before this sheet.",
];

/// A bottle in a player's hands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeldBottle {
    /// Its note; of one that slides, those that are played on it, from low to high.
    pub notes: Vec<String>,
    /// What it is called.
    pub name: String,
}

impl HeldBottle {
    /// Its notes in one line.
    #[must_use]
    pub fn all_notes(&self) -> String {
        self.notes.join(" ")
    }

    /// Its note, or the lowest and the highest.
    #[must_use]
    pub fn range(&self) -> String {
        match self.notes.as_slice() {
            [low, .., high] => format!("{low}–{high}"),
            notes => notes.concat(),
        }
    }
}

/// A note of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartNote {
    /// Which of the player's bottles, 0 or 1.
    pub hand: usize,
    /// Which of that bottle's notes.
    pub note: usize,
    /// It begins, quarter notes from the beginning of the piece.
    pub from_quarter: f64,
    /// It ends.
    pub to_quarter: f64,
}

/// One player's part.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayerPart {
    /// Whose it is.
    pub player: PlayerIndex,
    /// The bottles, one or two.
    pub bottles: Vec<HeldBottle>,
    /// In order.
    pub notes: Vec<PartNote>,
    /// How much is blown.
    pub load: Load,
}

impl PlayerPart {
    /// So much blowing that it has to be said.
    #[must_use]
    pub fn heavy(&self) -> bool {
        self.load.share > HEAVY_SHARE || self.load.longest_run_s > HEAVY_RUN_S
    }
}

/// A bar on paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarSpan {
    /// Counted from 1.
    pub number: u64,
    /// It begins, quarter notes from the beginning of the piece.
    pub from_quarter: f64,
    /// It ends.
    pub to_quarter: f64,
    /// Beats in it.
    pub beats: u8,
    /// The note that is one beat.
    pub unit: u8,
}

/// A piece for its players.
#[derive(Clone, Debug, PartialEq)]
pub struct PartBook {
    /// What it is called.
    pub title: String,
    /// Its bars.
    pub bars: Vec<BarSpan>,
    /// Its tempos in words, the first first.
    pub tempos: Vec<String>,
    /// The players, in order.
    pub players: Vec<PlayerPart>,
    /// What nobody plays, a line each.
    pub not_played: Vec<String>,
    /// Time to change bottle, s.
    pub change_s: f64,
}

impl PartBook {
    /// The parts of `score` whose players hold `held`, the notes of each bottle, and play `kept`, in order: who, and
    /// what. `name` says what a bottle of these notes is called.
    #[must_use]
    pub fn new(
        (title, score): (&str, &Score),
        held: &[Vec<Vec<PourIndex>>],
        kept: &[(PlayerIndex, Breath)],
        name: impl Fn(&[PourIndex]) -> HeldBottle,
    ) -> Self {
        let duration_s = score.duration_s();
        let part = |(player, bottles): (PlayerIndex, &Vec<Vec<PourIndex>>)| {
            let own: Vec<Breath> = kept.iter().filter(|k| k.0 == player).map(|k| k.1).collect();
            let place = |b: &Breath| {
                let in_hand = |notes: &Vec<PourIndex>| notes.iter().position(|&n| n == b.pour);
                let mut hands = (0..).zip(bottles);
                hands.find_map(|(hand, notes)| Some((hand, in_hand(notes)?)))
            };
            let note = |b: &Breath| {
                let (hand, note) = place(b).unwrap_or_default();
                PartNote {
                    hand,
                    note,
                    from_quarter: score.quarter_at(b.start_s),
                    to_quarter: score.quarter_at(b.stop_s),
                }
            };
            PlayerPart {
                player,
                bottles: bottles.iter().map(|notes| name(notes)).collect(),
                notes: own.iter().map(note).collect(),
                load: load(&bottles.concat(), &own, duration_s),
            }
        };
        let bars = bars(score);
        Self {
            title: title.to_owned(),
            tempos: tempos(score, &bars),
            bars: spans(score, &bars),
            players: PlayerIndex::each(held).map(part).collect(),
            not_played: Vec::new(),
            change_s: 0.0,
        }
    }
}

impl PartBook {
    /// The same with its notes called as `speller` has them.
    #[must_use]
    pub fn said(mut self, speller: &Speller) -> Self {
        let bottles = self.players.iter_mut().flat_map(|part| &mut part.bottles);
        for note in bottles
            .flat_map(|bottle| &mut bottle.notes)
            .chain(&mut self.not_played)
        {
            *note = speller.text(note);
        }
        self
    }
}

fn spans(score: &Score, bars: &[Bar]) -> Vec<BarSpan> {
    let begins = |bar: &Bar| score.quarter_at(bar.start_s);
    let span = |(index, bar): (usize, &Bar)| {
        let from_quarter = begins(bar);
        let full = from_quarter + bar.metre.quarters_per_bar();
        BarSpan {
            number: bar.number,
            from_quarter,
            to_quarter: bars.get(index + 1).map_or(full, begins),
            beats: bar.metre.beats,
            unit: bar.metre.unit,
        }
    };
    bars.iter().enumerate().map(span).collect()
}

/// Quarter notes a minute, and from which bar.
fn tempos(score: &Score, bars: &[Bar]) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for (place, tempo) in score.tempos.iter().enumerate() {
        let bar = crate::plan::piece::bar_at(bars, tempo.start_s);
        let speed = format!("{:.0}", tempo.quarters_per_minute());
        words.push(match place {
            0 => format!("{speed} quarter notes a minute"),
            _ => format!("bar {bar}: {speed}"),
        });
    }
    words
}
