//! Why a file is refused: what, where, the limit, and a way out.

use std::fmt::{self, Write};

use super::fitted::FitError;
use super::place::Place;
use super::problem::{BottleProblem, DidYouMean, PairProblem, PourProblem};
use super::read::FORMAT_VERSION;
use crate::fit::shape::ShapeError;
use crate::physics::conditions::ConditionsError;
use crate::physics::reverberation::ListeningError;
use crate::tuning::NoteError;

/// Most mistakes that are shown.
const MOST_SHOWN: usize = 20;

/// Why a text is not a shelf or a set.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SetError {
    /// Not TOML, an unknown key, or a value of the wrong kind.
    #[error("{message}")]
    Toml {
        /// What the reader says, with line and column, and the nearest known key.
        message: String,
    },
    /// A later version of the format.
    #[error(
        "version = {version} of the format is not known; this program reads version {FORMAT_VERSION}"
    )]
    Version {
        /// As written.
        version: u32,
    },
    /// Pieces are to be moved farther than anybody could want.
    #[error("transpose = {semitones} is outside -{most} to {most} semitones")]
    Transpose {
        /// As written.
        semitones: i32,
        /// The farthest either way.
        most: i32,
    },
    /// No bottles.
    #[error(
        "there is no [[bottle]] in it; a bottle needs at least a name, mouth_bore_mm, neck_length_mm and capacity_ml"
    )]
    Empty,
    /// Too much of something.
    #[error("{count} {what} are more than {limit}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// How many.
        count: usize,
        /// The limit.
        limit: usize,
    },
    /// A bottle without a name.
    #[error("bottle number {number} has no name; give it one, as in name = \"tall green\"")]
    Unnamed {
        /// Counted from one.
        number: usize,
    },
    /// Two bottles of one name.
    #[error("two bottles are called {name:?}; for several alike use count = 2")]
    SameName {
        /// The name.
        name: String,
    },
    /// Something is wrong with one bottle.
    #[error("bottle {name:?}: {source}")]
    Bottle {
        /// Its name.
        name: String,
        /// What is wrong.
        source: ShapeError,
    },
    /// A bottle cannot be fitted to what was heard from it.
    #[error("cannot fit {name:?} to what was heard: {source}")]
    Fit {
        /// Its name.
        name: String,
        /// Why not.
        source: FitError,
    },
    /// A value of a bottle is out of range or unknown.
    #[error("bottle {name:?}: {source}")]
    Value {
        /// Its name.
        name: String,
        /// What is wrong.
        source: BottleProblem,
    },
    /// The room or the filling is out of range.
    #[error("[room] or [filling]: {0}")]
    Conditions(#[from] ConditionsError),
    /// The listener is out of range.
    #[error("[room] distance_m: {0}")]
    Listening(#[from] ListeningError),
    /// Lips are out of range.
    #[error("[filling] lip_open = {lip_open} is outside 0.05 to 1 (the whole mouth)")]
    LipOpen {
        /// As written.
        lip_open: f64,
    },
    /// A note is no note.
    #[error("pour number {number}: {source}")]
    Note {
        /// Counted from one.
        number: usize,
        /// What is wrong.
        source: NoteError,
    },
    /// A pour names a bottle that is not there.
    #[error("pour number {number}, {note}: there is no bottle {bottle:?}{nearest}")]
    NoSuchBottle {
        /// Counted from one.
        number: usize,
        /// The note.
        note: String,
        /// As written.
        bottle: String,
        /// A suggestion.
        nearest: DidYouMean,
    },
    /// More pours than bottles of a kind.
    #[error(
        "{pours} pours use the bottle {bottle:?}, but there are only {count} of it; \
         raise its count, or pour another bottle{hint}"
    )]
    TooFewBottles {
        /// The bottle.
        bottle: String,
        /// How many pours.
        pours: usize,
        /// How many bottles.
        count: u32,
        /// How they are counted, where that is not plain.
        hint: &'static str,
    },
    /// A fill that does not go into the bottle.
    #[error(
        "pour number {number}, {note}: a fill of {fill_ml} ml is outside 0 to {capacity_ml:.1} ml, what {bottle:?} holds"
    )]
    Fill {
        /// Counted from one.
        number: usize,
        /// The note.
        note: String,
        /// As written.
        fill_ml: f64,
        /// What it holds.
        capacity_ml: f64,
        /// The bottle.
        bottle: String,
    },
    /// Something else is wrong with a pour.
    #[error("pour number {number}, {note}: {source}")]
    Pour {
        /// Counted from one.
        number: usize,
        /// The note.
        note: String,
        /// What is wrong.
        source: Box<PourProblem>,
    },
    /// Something is wrong with what strikes the bottles.
    #[error("[striking] {key} = {value} is outside 0 to {most}")]
    Striking {
        /// Its key.
        key: &'static str,
        /// As written.
        value: f64,
        /// The most that is taken.
        most: f64,
    },
    /// Several things are wrong, or one that is shown where it stands.
    #[error("{}", listed(all))]
    Mistakes {
        /// Each of them, in the order of the file.
        all: Vec<Mistake>,
    },
    /// Something is wrong with a pair.
    #[error("joined pair {name:?}: {source}")]
    Pair {
        /// Its name.
        name: String,
        /// What is wrong.
        source: PairProblem,
    },
}

/// One thing that is wrong, and where.
#[derive(Debug)]
pub struct Mistake {
    /// What is wrong.
    pub source: SetError,
    /// Where; nothing for what is missing from the file.
    pub place: Option<Place>,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Some(place) => write!(f, "{place}\n{}", self.source),
            None => write!(f, "{}", self.source),
        }
    }
}

/// Mistakes below each other.
fn listed(all: &[Mistake]) -> String {
    let mut out = String::new();
    for (index, mistake) in all.iter().take(MOST_SHOWN).enumerate() {
        let between = if index == 0 { "" } else { "\n" };
        // Writing to a text does not fail.
        let _ = writeln!(out, "{between}{mistake}");
    }
    if all.len() > MOST_SHOWN {
        let _ = writeln!(out, "\nand {} more", all.len() - MOST_SHOWN);
    }
    out.trim_end().to_owned()
}
