//! A bottle while it is described: what is typed, what is wrong with it, what its photograph shows, and what is known of it.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::thread;

use super::gesture::Gesture;
use super::picture::{Beside, LookedAt, Picture, PictureAsk, Seen};
use crate::physics::conditions::Conditions;
use crate::set::describe::{DescribeError, Known, Question, Reach, known};
use crate::set::{Kind, written};

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
    /// A hand has moved its outline since what is known was worked out.
    pub is_behind: bool,
    /// The question that the last contradiction was said of.
    contradicted: Option<Question>,
    /// What is being thought of it.
    asked: Option<Arc<written::Bottle>>,
}

/// A bottle of which is worked out what is known, on a thread of its own: a hand that drags an outline does not wait for it.
pub(super) struct Thinking {
    bottle: Arc<written::Bottle>,
    room: Conditions,
}

/// What is known of a bottle.
pub(super) struct Thought {
    of: Arc<written::Bottle>,
    known: Result<Known, DescribeError>,
}

impl Thinking {
    /// Begins it.
    pub(super) fn begin(self) -> Receiver<Thought> {
        let (tell, told) = mpsc::channel();
        let think = move || {
            let known = known(&self.bottle, &self.room);
            let of = self.bottle;
            // The window may be gone by now.
            let _ = tell.send(Thought { of, known });
        };
        // Without a thread the receiver finds its channel closed.
        let _ = thread::Builder::new()
            .name("ullage-estimate".to_owned())
            .spawn(think);
        told
    }
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
        if self.contradicted == Some(question) {
            self.contradicted = None;
        }
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
        if matches!(question, Question::Height | Question::Capacity) {
            self.measure();
        }
        self.think();
    }

    /// What is known beside its photograph.
    fn beside(&self) -> Beside {
        Beside {
            height_mm: self.bottle.height_mm,
            capacity_ml: self.bottle.capacity_ml,
        }
    }

    /// Measures its photograph with what is known beside it now.
    fn measure(&mut self) {
        let beside = self.beside();
        if let Some(picture) = &mut self.picture {
            picture.measure(beside);
            self.take_outline();
        }
    }

    /// Takes the outline that its photograph gives, or none.
    fn take_outline(&mut self) {
        let Some(picture) = &self.picture else { return };
        self.bottle.outline_mm = None;
        if let Seen::Outline(found) = &picture.seen {
            self.bottle.outline_mm = Some(found.outline_mm.clone());
            self.bottle.measured_to = Some(written::MeasuredTo {
                outline_mm: found.radius_mm,
                outline_pct: found.scale_pct,
                ..self.bottle.measured_to.unwrap_or_default()
            });
        }
    }

    /// Takes what its photograph shows.
    pub(super) fn looked_at(&mut self, looked: LookedAt) {
        let beside = self.beside();
        if let Some(picture) = &mut self.picture
            && picture.seen == Seen::Tracing
        {
            picture.looked_at(looked, beside);
            self.take_outline();
            self.think();
        }
    }

    /// Does what was asked of the photograph.
    pub(super) fn picture(&mut self, ask: PictureAsk) {
        let beside = self.beside();
        let Some(picture) = &mut self.picture else {
            return;
        };
        match ask {
            PictureAsk::Focal(text) => picture.focal = text,
            PictureAsk::ByCard(by_card) => picture.by_card = by_card,
            PictureAsk::Move(place, gesture) => {
                let has_moved = picture.moved(beside, gesture, |hand| place.put(hand));
                return self.follow_hand(has_moved);
            }
            PictureAsk::AsSeen => {
                let has_moved = picture.moved(beside, Gesture::Single, |hand| {
                    *hand = Default::default();
                });
                return self.follow_hand(has_moved);
            }
        }
        self.measure();
        self.think();
    }

    /// One step of the hand back, or forth, while there is an outline to move; says whether there is one.
    pub(super) fn step(&mut self, back: bool) -> bool {
        if self.hand_steps().is_none() {
            return false;
        }
        let beside = self.beside();
        let stepped = self.picture.as_mut().map(|p| p.step(beside, back));
        self.follow_hand(stepped == Some(true));
        true
    }

    /// Whether a move of the hand can be undone, and redone; nothing while there is no outline to move.
    pub(super) fn hand_steps(&self) -> Option<(bool, bool)> {
        let picture = self.picture.as_ref()?;
        let steps = picture.can_undo_redo();
        let is_seen = matches!(picture.seen, Seen::Outline(_));
        (is_seen || steps != (false, false)).then_some(steps)
    }

    /// The outline is where the hand has put it; what is known follows on a thread of its own.
    fn follow_hand(&mut self, has_moved: bool) {
        if has_moved {
            self.take_outline();
            self.is_behind = true;
        }
    }

    /// Goes on without a photograph.
    pub(super) fn forget_picture(&mut self) {
        if self.picture.take().is_some() {
            self.bottle.outline_mm = None;
            self.think();
        }
    }

    /// What has to be worked out since a hand moved the outline.
    pub(super) fn next_thinking(&mut self) -> Option<Thinking> {
        if !std::mem::take(&mut self.is_behind) {
            return None;
        }
        let bottle = Arc::new(self.bottle.clone());
        self.asked = Some(Arc::clone(&bottle));
        let room = self.room.clone();
        Some(Thinking { bottle, room })
    }

    /// Whether what is known is of the bottle as it stands, and nothing is being worked out.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        !self.is_behind && self.asked.is_none()
    }

    /// Takes what was worked out, unless it has been worked out anew meanwhile, or is of another bottle.
    pub(super) fn take_thought(&mut self, thought: Thought) {
        let is_it = |asked: &Arc<written::Bottle>| Arc::ptr_eq(asked, &thought.of);
        if self.asked.as_ref().is_some_and(is_it) {
            self.asked = None;
            self.take_known(thought.known);
        }
    }

    /// Works out what is known now.
    fn think(&mut self) {
        (self.is_behind, self.asked) = (false, None);
        self.take_known(known(&self.bottle, &self.room));
    }

    fn take_known(&mut self, found: Result<Known, DescribeError>) {
        self.trouble = None;
        self.known = None;
        if let Some(question) = self.contradicted.take() {
            self.problems.remove(&question);
        }
        match found {
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
                    Some((_, question)) if self.problems.contains_key(question) => {}
                    Some((_, question)) => {
                        self.problems.insert(*question, plain);
                        self.contradicted = Some(*question);
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
        let is_clear = |picture: &Picture| picture.focal_wrong.is_none();
        if !self.picture.as_ref().is_none_or(is_clear) {
            self.trouble = Some("The focal length cannot be used as it is.".to_owned());
        }
        if self.problems.is_empty() && self.trouble.is_none() && self.known.is_none() {
            self.trouble =
                Some("Give its height, or how long its neck is: without it nobody can say which notes it gives.".to_owned());
        }
        self.problems.is_empty() && self.trouble.is_none()
    }
}
