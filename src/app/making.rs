//! What there is to see of a set that is being made, and what can be asked of it: the crate and the plan. Plain data.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use super::form::BottleForm;
use super::picture::PictureAsk;
use super::planning::{Planned, Progress};
use crate::index::{KindIndex, PourIndex};
use crate::plan::wanted::scale_names;
use crate::set::Way;
use crate::set::describe::{Question, Reach};
use crate::tuning::{Key, NoteName, Temperament};

/// What can be asked of the crate.
#[derive(Clone, Debug, PartialEq)]
pub enum CrateAsk {
    /// Describe a bottle more.
    Add,
    /// Describe this one better.
    Edit(KindIndex),
    /// A bottle like this one, of another name.
    Duplicate(KindIndex),
    /// Take it out, and its notes with it.
    Remove(KindIndex),
    /// So many of it.
    Count(KindIndex, u32),
    /// An answer as it is typed.
    Answer(Question, String),
    /// Look at its photograph again.
    Trace,
    /// A change of what is seen in it.
    Picture(PictureAsk),
    /// Without the photograph, and the outline.
    NoPicture,
    /// What the microphone hears is what it gives when it is blown empty.
    TakeHeard,
    /// Put the described bottle into the crate.
    Keep,
    /// Never mind.
    Cancel,
}

/// What can be asked of a plan.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanAsk {
    /// A change of what is wanted.
    Wish(Wish),
    /// Choose the piece whose notes are wanted.
    ChoosePiece,
    /// The notes of this piece.
    Piece(PathBuf),
    /// Work it out.
    Begin,
    /// No longer.
    Cancel,
    /// The same notes in another of the keys that were tried, by its place in their list.
    InKey(usize),
    /// This is the set from now on.
    Use,
}

/// A change of what is wanted of a plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Wish {
    /// Where its notes come from.
    From(WantedFrom),
    /// The note that the scale is built on.
    Tonic(String),
    /// The scale by its name.
    Scale(&'static str),
    /// The lowest note of the scale as typed; as low as the bottles go if nothing.
    Lowest(String),
    /// The highest.
    Highest(String),
    /// The notes as typed.
    Notes(String),
    /// A way that may be chosen.
    Way(Way, bool),
    /// The temperament.
    Temperament(Temperament),
    /// The pitch of A4 as typed, Hz.
    A4(String),
}

/// Where the notes of a plan come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WantedFrom {
    /// A scale.
    #[default]
    Scale,
    /// A list of notes.
    Notes,
    /// A piece.
    Piece,
}

impl WantedFrom {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Scale, Self::Notes, Self::Piece];

    /// On a button.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Scale => "A scale",
            Self::Notes => "Notes",
            Self::Piece => "A piece",
        }
    }
}

/// A field of the plan that has something wrong in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlanField {
    /// The ends of the scale.
    Ends,
    /// The notes.
    Notes,
    /// The piece.
    Piece,
    /// The ways.
    Ways,
    /// The pitch of A4.
    A4,
}

/// What is wanted of a plan, as it is typed.
#[derive(Clone, Debug, PartialEq)]
pub struct Wishes {
    /// Where the notes come from.
    pub from: WantedFrom,
    /// The note that the scale is built on.
    pub tonic: String,
    /// The scale by its name.
    pub scale: &'static str,
    /// Its ends; as far as the bottles go if nothing.
    pub ends: [String; 2],
    /// The notes.
    pub notes: String,
    /// The notes of a piece, their key and its file.
    pub piece: Option<(PathBuf, Vec<NoteName>, Key)>,
    /// Ways that may be chosen.
    pub ways: BTreeSet<Way>,
    /// The temperament; that of the set if nothing.
    pub temperament: Temperament,
    /// The pitch of A4, Hz.
    pub a4: String,
    /// What is wrong, and where.
    pub problems: BTreeMap<PlanField, String>,
}

impl Default for Wishes {
    fn default() -> Self {
        let names = scale_names();
        let pentatonic = names.iter().find(|name| **name == "major pentatonic");
        Self {
            from: WantedFrom::default(),
            tonic: "C".to_owned(),
            scale: pentatonic.copied().unwrap_or("major"),
            ends: [String::new(), String::new()],
            notes: String::new(),
            piece: None,
            ways: BTreeSet::from([Way::Blown]),
            temperament: Temperament::Equal,
            a4: "440".to_owned(),
            problems: BTreeMap::new(),
        }
    }
}

/// A set that is being made.
#[derive(Debug, Default)]
pub struct Making {
    /// The bottle that is described.
    pub form: Option<BottleForm>,
    /// What is wanted of a plan.
    pub wishes: Wishes,
    /// How far it has come, while it is worked out.
    pub progress: Option<Progress>,
    /// What came of it.
    pub planned: Option<Box<Planned>>,
    /// The notes that each kind in the crate gives; nothing for one that is not worked out yet, or gives none.
    pub reach: BTreeMap<String, Option<Reach>>,
    /// Bottles that have been poured.
    pub poured: BTreeSet<PourIndex>,
}

impl Making {
    /// Forgets what was worked out of other bottles.
    pub fn forget(&mut self) {
        self.reach.clear();
        self.planned = None;
        self.poured.clear();
    }
}
