//! Shelves and sets: the only reader of TOML. What is read here is checked once, then trusted.
//!
//! [`written`] is the file as people write it; [`Shelf`] and [`Set`] are what the rest of the program
//! works with. Errors name the line, the bottle, the limit and the nearest known key.

mod error;
mod read;
pub mod written;

pub use error::PresetError;
pub use read::{read_any, read_set, read_shelf};

use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::tuning::{NoteName, Tuning};
use crate::units::{Frequency, Volume};
pub use written::{Heard, Way};

/// One kind of bottle and how many of it there are.
#[derive(Clone, Debug, PartialEq)]
pub struct Kind {
    /// Its name, unique among the kinds.
    pub name: String,
    /// How many there are.
    pub count: u32,
    /// Its shape.
    pub bottle: Bottle,
    /// Pitches already heard from it.
    pub heard: Vec<HeardPitch>,
    /// Its owner's note.
    pub remark: String,
}

/// A pitch heard from a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardPitch {
    /// Liquid in it.
    pub fill: Volume,
    /// Its pitch.
    pub frequency: Frequency,
    /// Temperature at the time, °C, if noted.
    pub temp_c: Option<f64>,
    /// How it was sounded.
    pub way: Way,
}

/// The bottles in the crate.
#[derive(Clone, Debug, PartialEq)]
pub struct Shelf {
    /// What to call it.
    pub title: String,
    /// The kinds of bottle.
    pub kinds: Vec<Kind>,
}

/// One note of a set.
#[derive(Clone, Debug, PartialEq)]
pub struct Pour {
    /// The note.
    pub note: NoteName,
    /// Which kind of bottle, an index into [`Set::kinds`].
    pub kind: usize,
    /// Liquid in it, if known.
    pub fill: Option<Volume>,
    /// How it is sounded.
    pub way: Way,
}

/// A planned bottle set, complete in itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Set {
    /// What to call it.
    pub title: String,
    /// The room, the filling and the lips.
    pub conditions: Conditions,
    /// What the notes mean.
    pub tuning: Tuning,
    /// The kinds of bottle.
    pub kinds: Vec<Kind>,
    /// Which note is poured into which bottle.
    pub pours: Vec<Pour>,
}

impl Set {
    /// The bottle of a pour.
    #[must_use]
    pub fn kind_of(&self, pour: &Pour) -> &Kind {
        &self.kinds[pour.kind]
    }

    /// The pitch that a pour aims at.
    #[must_use]
    pub fn target(&self, pour: &Pour) -> Frequency {
        self.tuning.frequency(&pour.note)
    }
}

/// A file that is one or the other.
#[derive(Clone, Debug, PartialEq)]
pub enum Preset {
    /// Bottles alone.
    Shelf(Shelf),
    /// Bottles with notes.
    Set(Box<Set>),
}

impl Preset {
    /// The kinds of bottle.
    #[must_use]
    pub fn kinds(&self) -> &[Kind] {
        match self {
            Self::Shelf(shelf) => &shelf.kinds,
            Self::Set(set) => &set.kinds,
        }
    }
}
