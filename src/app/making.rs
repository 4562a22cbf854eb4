//! What there is to see of a set that is being made: the bottle that is described and the plan that is asked for. Plain data.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use super::picture::{Picture, Seen};
use super::planning::{Planned, Progress};
use crate::index::{KindIndex, PourIndex};
use crate::physics::conditions::Conditions;
use crate::plan::wanted::scale_names;
use crate::set::describe::{Known, Question, Reach, known};
use crate::set::{Kind, Way, written};
use crate::tuning::{Key, NoteName, Temperament};

/// What can be asked of the crate.
#[derive(Clone, Debug, PartialEq, Eq)]
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
    /// Trace its photograph.
    Trace,
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

/// A bottle while it is described.
#[derive(Clone, Debug, Default)]
pub struct BottleForm {
    /// The name in the crate of the one that is described better; nothing for a new one.
    pub editing: Option<String>,
    /// What is typed.
    pub answers: BTreeMap<Question, String>,
    /// What is wrong with it, beside its question.
    pub problems: BTreeMap<Question, String>,
    /// What is wrong with the whole of it.
    pub trouble: Option<String>,
    /// What has been understood.
    pub bottle: written::Bottle,
    /// Where it is blown.
    pub room: Conditions,
    /// Its shape and its notes, once that is enough.
    pub known: Option<(Box<Kind>, Reach)>,
    /// Its photograph.
    pub picture: Option<Picture>,
}

/// Keys of a file and the questions that ask for them.
const KEYS: [(&str, Question); 8] = [
    ("count", Question::Count),
    ("capacity_ml", Question::Capacity),
    ("mouth_bore_mm", Question::Mouth),
    ("height_mm", Question::Height),
    ("body_diameter_mm", Question::Body),
    ("neck_length_mm", Question::Neck),
    ("heard", Question::Heard),
    ("material", Question::Material),
];

impl BottleForm {
    /// To describe a new one, which is blown in `room`.
    #[must_use]
    pub fn new(room: Conditions) -> Self {
        Self {
            room,
            ..Self::default()
        }
    }

    /// To describe `bottle` better, which has its name in the crate.
    #[must_use]
    pub fn of(bottle: written::Bottle, room: Conditions) -> Self {
        let answers = Question::ALL.map(|question| (question, question.answer(&bottle)));
        let mut form = Self {
            editing: Some(bottle.name.clone()),
            room,
            answers: BTreeMap::from(answers),
            bottle,
            ..Self::default()
        };
        form.think();
        form
    }

    /// Takes an answer as it is typed.
    pub fn answer(&mut self, question: Question, text: String) {
        self.problems.remove(&question);
        if text.trim().is_empty() {
            question.pass_over(&mut self.bottle);
        } else if let Err(error) = question.take(&mut self.bottle, &text) {
            question.pass_over(&mut self.bottle);
            let said = match error {
                crate::set::describe::AnswerError::Pitch { text } => {
                    format!("{text:?} is not a pitch in hertz, such as 196.5")
                }
                error => error.to_string(),
            };
            self.problems.insert(question, said);
        }
        self.answers.insert(question, text);
        if question == Question::Height {
            self.rescale();
        }
        self.think();
    }

    /// An outline is as high as the bottle was said to be: of another height it has to be traced again.
    fn rescale(&mut self) {
        if let Some(picture) = &mut self.picture
            && picture.seen != Seen::Waiting
        {
            picture.seen = Seen::Waiting;
            self.bottle.outline_mm = None;
        }
    }

    /// Takes what was seen in its photograph.
    pub(super) fn seen(&mut self, seen: Seen) {
        let Some(picture) = &mut self.picture else {
            return;
        };
        // Another height was given meanwhile.
        if picture.seen != Seen::Tracing {
            return;
        }
        if let Seen::Outline(found) = &seen {
            self.bottle.outline_mm = Some(found.outline_mm.clone());
            self.bottle.measured_to = Some(written::MeasuredTo {
                outline_mm: found.radius_mm,
                outline_pct: found.scale_pct,
                ..self.bottle.measured_to.unwrap_or_default()
            });
        }
        picture.seen = seen;
        self.think();
    }

    /// Goes on without a photograph.
    pub(super) fn forget_picture(&mut self) {
        if self.picture.take().is_some() {
            self.bottle.outline_mm = None;
            self.think();
        }
    }

    /// Works out what is known now.
    fn think(&mut self) {
        self.trouble = None;
        self.known = None;
        match known(&self.bottle, &self.room) {
            Ok(Known::Little) => {}
            Ok(Known::Enough(kind, reach)) => self.known = Some((kind, reach)),
            Err(error) => {
                let said = error.to_string();
                let said = said
                    .split_once("\": ")
                    .map_or(said.as_str(), |(_, rest)| rest);
                let of_it = KEYS.iter().find(|(key, _)| said.contains(key));
                let plain = crate::report::words::plain(said);
                match of_it {
                    Some((_, question)) => {
                        self.problems.entry(*question).or_insert(plain);
                    }
                    None => self.trouble = Some(plain),
                }
            }
        }
    }

    /// Looks whether it can go into a crate of `others`; says beside its question what is missing.
    pub fn check(&mut self, others: &[String]) -> bool {
        // An outline says how wide the mouth may be.
        let seen = self.bottle.outline_mm.is_some();
        let needed = |q: &Question| q.is_needed() && !(seen && *q == Question::Mouth);
        for question in Question::ALL.into_iter().filter(needed) {
            let is_empty = self
                .answers
                .get(&question)
                .is_none_or(|text| text.trim().is_empty());
            if is_empty {
                self.problems
                    .insert(question, "This one is needed.".to_owned());
            }
        }
        let name = self.bottle.name.trim().to_owned();
        let is_taken = others
            .iter()
            .any(|other| *other == name && Some(other) != self.editing.as_ref());
        if is_taken {
            let said = "There is a bottle of that name already.".to_owned();
            self.problems.insert(Question::Name, said);
        }
        if self.problems.is_empty() && self.trouble.is_none() && self.known.is_none() {
            self.trouble =
                Some("Give its height, or how long its neck is: without it nobody can say which notes it gives.".to_owned());
        }
        self.problems.is_empty() && self.trouble.is_none()
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
