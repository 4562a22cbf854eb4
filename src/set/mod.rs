//! Shelves and sets: the only reader and the only writer of their TOML. What is opened here is read, checked and fitted to
//! what was heard of the bottles, then trusted.
//!
//! A [`Shelf`] is bottles; a [`Set`] is bottles with notes, what is in them, a room and a tuning. Open one, and hear what each
//! of its notes gives and how sure that is:
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::set;
//!
//! let quay = set::open("presets/quay/set.toml")?;
//! for pour in quay.notes()? {
//!     let (hz, plus_minus) = (pour.frequency().hz(), pour.plus_minus().cents());
//!     println!("{} in {:?}: {hz:.2} Hz ±{plus_minus:.0} cents", pour.note, pour.bottle);
//! }
//! # assert_eq!(quay.notes()?.len(), 15);
//!
//! // The same bottles on a warm stage. What was poured has swollen, and the gas above it is faster.
//! let warm = set::change::changed(&quay.conditions, &["temp-c=28".parse()?])?;
//! let higher = quay.clone().heard_in(warm);
//! assert!(higher.notes()?[0].frequency() > quay.notes()?[0].frequency());
//!
//! // Ten millilitres more in the first bottle, in the text of its file: every comment stays where it was.
//! let text = std::fs::read_to_string("presets/quay/set.toml")?;
//! let more = quay.pours[0].fill.unwrap_or_default() + ullage::units::Volume::from_ml(10.0);
//! let mut edit = set::edit::SetText::parse(&text)?;
//! edit.set_pour(PourIndex::new(0), ullage::sounding::Setting::Fill(more))?;
//! let edited = edit.finish()?;
//! assert!(edited.set.notes()?[0].frequency() > quay.notes()?[0].frequency());
//! assert_eq!(set::read_set(&edited.text)?, edited.set);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A set is poured in one room and heard in another: [`Set::heard_in`] is the way there, and what is in the bottles swells
//! and shrinks with its warmth. A pitch that was heard from a bottle was heard at its own `temp_c`, or in the room of its file
//! if it has none; [`edit`] writes that down when the file moves to another room, so that its bottles stay as they were fitted.
//!
//! | here | is |
//! |---|---|
//! | [`open`], [`open_any`], [`read_set`], [`read_shelf`] | the way in, from a file or from its text |
//! | [`written`] | the file as people write it, every field with its unit |
//! | [`problem`], [`SetError`] | what is wrong with it: the line, the bottle, the limit, the nearest known key |
//! | [`schema`] | the same for an editor |
//! | [`describe`] | a bottle described question by question, and what is known of it then |
//! | [`change`] | one change of the room, the filling or the lips: read, applied, checked, printed |
//! | [`edit`] | every edit of the text, and the text of a set that was planned |

pub mod change;
pub mod describe;
pub mod edit;
mod error;
mod fitted;
mod kinds;
mod mistakes;
mod open;
mod place;
pub mod problem;
mod quantity;
mod read;
pub mod schema;
mod sounded;
mod ways;
pub mod written;

pub use error::{Mistake, SetError};
pub use fitted::FitError;
pub use open::{OpenError, file_text, open, open_any, open_text};
pub use place::Place;
pub use read::{read_any, read_any_in, read_set, read_shelf, read_shelf_in};
pub use sounded::{SilentPour, SoundedPour};

use crate::fit::air::Fit;
use crate::index::{KindIndex, PourIndex};
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::joined::{Hose, Which};
use crate::physics::reverberation::Listening;
pub use crate::physics::wall_fits::WallFits;
pub use crate::sounding::{Striking, Way};
use crate::tuning::{Key, NoteName, Tuning};
use crate::units::{Frequency, Length, Pressure, Temperature, Volume};

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
    /// How its air was fitted to those that were blown; its shape above is the fitted one.
    pub air_fit: Option<Fit>,
    /// What was learnt of its wall from those that were struck.
    pub fits: WallFits,
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
    /// Temperature at the time, °C, if noted; else it was that of the room of its file.
    pub temp_c: Option<f64>,
    /// How it was sounded.
    pub way: Way,
    /// Pressure above the air outside; above 0 only where it was pumped up.
    pub gauge: Pressure,
}

impl HeardPitch {
    /// Temperature at the time, if noted.
    #[must_use]
    pub fn temperature(&self) -> Option<Temperature> {
        self.temp_c.map(Temperature::from_c)
    }
}

/// Two bottles joined by a hose.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// Its name, unique among the pairs.
    pub name: String,
    /// The bottle that stays and the one that is lifted, of [`Set::kinds`].
    pub kinds: [KindIndex; 2],
    /// The hose.
    pub hose: Hose,
    /// Liquid in both and in the hose.
    pub liquid: Volume,
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
    /// Which kind of bottle, one of [`Set::kinds`].
    pub kind: KindIndex,
    /// Liquid in it, if known.
    pub fill: Option<Volume>,
    /// How it is sounded.
    pub way: Way,
    /// Pressure above the air outside, if known; pressurised bottles only.
    pub gauge: Option<Pressure>,
    /// How far the floor is pushed in, if known; sliding bottles only.
    pub travel: Option<Length>,
    /// How far the second of a pair is lifted, if known; joined bottles only.
    pub lift: Option<Length>,
    /// The pair, an index into [`Set::pairs`], and which bottle of it; joined bottles only.
    pub joined: Option<(usize, Which)>,
}

/// A planned bottle set, complete in itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Set {
    /// What to call it.
    pub title: String,
    /// Semitones up that a piece is moved to be played with it.
    pub transpose: i32,
    /// The room, the filling and the lips in which it is heard.
    pub conditions: Conditions,
    /// Those in which it was poured: the file's own. What is in the bottles keeps its mass from there.
    pub poured_at: Conditions,
    /// The kind of room, and how far from the bottles it is heard.
    pub listening: Listening,
    /// What the notes mean.
    pub tuning: Tuning,
    /// What strikes those that are struck.
    pub striking: Striking,
    /// The kinds of bottle.
    pub kinds: Vec<Kind>,
    /// Bottles joined in pairs.
    pub pairs: Vec<Pair>,
    /// Which note is poured into which bottle. Those of way sliding in one kind share one bottle.
    pub pours: Vec<Pour>,
}

impl Set {
    /// The bottle of a pour.
    #[must_use]
    pub fn kind_of(&self, pour: &Pour) -> &Kind {
        &self.kinds[pour.kind]
    }

    /// For each pour the first one into the same bottle: itself, but for the notes of a floor that slides and those of
    /// either bottle of a pair.
    #[must_use]
    pub fn bottle_of_pours(&self) -> Vec<PourIndex> {
        let same = |a: &Pour, b: &Pour| match (a.way, a.joined) {
            (Way::Sliding, _) => b.way == Way::Sliding && a.kind == b.kind,
            (Way::Joined, Some(_)) => a.joined == b.joined,
            _ => false,
        };
        let first = |(index, pour)| {
            let mut before = self.pours[..index].iter();
            PourIndex::new(before.position(|p| same(pour, p)).unwrap_or(index))
        };
        self.pours.iter().enumerate().map(first).collect()
    }

    /// The ways that its bottles are sounded, each once, in the order of [`Way::ALL`].
    #[must_use]
    pub fn ways(&self) -> Vec<Way> {
        let used = |way: &Way| self.pours.iter().any(|p| p.way == *way);
        Way::ALL.into_iter().filter(used).collect()
    }

    /// The key that its notes fit best.
    #[must_use]
    pub fn key(&self) -> Key {
        let notes: Vec<NoteName> = self.pours.iter().map(|pour| pour.note).collect();
        Key::of_notes(&notes)
    }

    /// The pitch that a pour aims at.
    #[must_use]
    pub fn target(&self, pour: &Pour) -> Frequency {
        self.tuning.frequency(&pour.note)
    }
}

/// A file that is one or the other.
#[derive(Clone, Debug, PartialEq)]
pub enum ShelfOrSet {
    /// Bottles alone.
    Shelf(Shelf),
    /// Bottles with notes.
    Set(Box<Set>),
}

impl ShelfOrSet {
    /// The kinds of bottle.
    #[must_use]
    pub fn kinds(&self) -> &[Kind] {
        match self {
            Self::Shelf(shelf) => &shelf.kinds,
            Self::Set(set) => &set.kinds,
        }
    }
}
