//! What is asked of the crate, and what comes of it.

use std::path::PathBuf;

use super::form::BottleForm;
use super::making::CrateAsk;
use super::picture::{Picture, Seen, look};
use super::session::Session;
use super::state::Place;
use super::trouble::Trouble;
use crate::index::KindIndex;
use crate::physics::conditions::Conditions;
use crate::set::describe::{Question, Reach};
use crate::set::edit::Restructure;
use crate::set::written;

/// Kinds whose notes are worked out in one frame.
const REACHED_A_FRAME: usize = 1;

impl Session {
    /// Does what was asked of the crate.
    pub(super) fn crate_of_bottles(&mut self, ask: CrateAsk) {
        match ask {
            CrateAsk::Add => self.making.form = Some(BottleForm::new(self.room_now())),
            CrateAsk::Edit(kind) => {
                if let Some(bottle) = self.written(kind) {
                    self.making.form = Some(BottleForm::of(bottle, self.room_now()));
                }
            }
            CrateAsk::Duplicate(kind) => self.duplicate(kind),
            CrateAsk::Remove(kind) => {
                let name = self.document().fixed.kinds.get(kind.place());
                if let Some(name) = name.map(|kind| kind.name.clone()) {
                    self.restructure(&Restructure::RemoveBottle(name));
                }
            }
            CrateAsk::Count(kind, count) => {
                if let Some(mut bottle) = self.written(kind) {
                    let name = bottle.name.clone();
                    bottle.count = Some(count.max(1));
                    self.restructure(&Restructure::PutBottle(name, Box::new(bottle)));
                }
            }
            CrateAsk::Answer(question, text) => {
                if let Some(form) = &mut self.making.form {
                    form.answer(question, text);
                }
            }
            CrateAsk::Trace => self.trace_picture(),
            CrateAsk::Picture(ask) => {
                if let Some(form) = &mut self.making.form {
                    form.picture(ask);
                }
            }
            CrateAsk::NoPicture => {
                if let Some(form) = &mut self.making.form {
                    form.forget_picture();
                }
            }
            CrateAsk::TakeHeard => self.take_heard_of_form(),
            CrateAsk::Keep => self.keep_form(),
            CrateAsk::Cancel => self.making.form = None,
        }
    }

    /// A photograph was given: of the bottle that is described, or of one more.
    pub(super) fn picture(&mut self, path: PathBuf) {
        self.state.place = Place::Crate;
        let room = self.room_now();
        let form = self
            .making
            .form
            .get_or_insert_with(|| BottleForm::new(room));
        form.forget_picture();
        form.picture = Some(Picture::new(path));
        self.trace_picture();
    }

    /// Looks at the photograph.
    fn trace_picture(&mut self) {
        let form = self.making.form.as_mut();
        if let Some(picture) = form.and_then(|form| form.picture.as_mut()) {
            picture.seen = Seen::Tracing;
            self.jobs.trace(look(picture.path.clone()));
        }
    }

    /// Looks whether a photograph has been looked at, and what has been worked out since a hand moved its outline.
    pub(super) fn poll_picture(&mut self) {
        let (looked, thought) = (self.jobs.traced(), self.jobs.thought());
        let Some(form) = &mut self.making.form else {
            return;
        };
        if let Some(looked) = looked {
            form.looked_at(looked);
        }
        if let Some(thought) = thought {
            form.take_thought(thought);
        }
        // One after the other: while one is worked out, the hand moves on.
        if !self.jobs.is_thinking()
            && let Some(thinking) = form.next_thinking()
        {
            self.jobs.think(thinking);
        }
    }

    /// Whether what is known of the bottle that is described is being worked out.
    pub(super) fn is_thinking(&self) -> bool {
        let form = self.making.form.as_ref();
        self.jobs.is_thinking() || form.is_some_and(|form| form.is_behind)
    }

    fn room_now(&self) -> Conditions {
        self.document().model.conditions.clone()
    }

    fn written(&mut self, kind: KindIndex) -> Option<written::Bottle> {
        match self.document().written_bottles() {
            Ok(bottles) => bottles.into_iter().nth(kind.place()),
            Err(error) => {
                self.complain(Trouble::from(error));
                None
            }
        }
    }

    fn names(&self) -> Vec<String> {
        let kinds = self.document().fixed.kinds.iter();
        kinds.map(|kind| kind.name.clone()).collect()
    }

    fn duplicate(&mut self, kind: KindIndex) {
        let Some(mut bottle) = self.written(kind) else {
            return;
        };
        let names = self.names();
        let named = (2..).map(|number| format!("{} {number}", bottle.name));
        let free = named.into_iter().find(|name| !names.contains(name));
        bottle.name = free.expect("numbers do not end");
        self.restructure(&Restructure::AddBottle(Box::new(bottle)));
    }

    /// The pitch that the microphone hears is the answer to whether it was blown empty.
    fn take_heard_of_form(&mut self) {
        let Some(hz) = self.state.tuner.tone_hz else {
            return;
        };
        if let Some(form) = &mut self.making.form {
            form.answer(Question::Heard, format!("{hz:.1} Hz"));
        }
    }

    fn keep_form(&mut self) {
        let names = self.names();
        let Some(form) = &mut self.making.form else {
            return;
        };
        if !form.check(&names) {
            return;
        }
        let bottle = Box::new(form.bottle.clone());
        let change = match form.editing.clone() {
            Some(name) => Restructure::PutBottle(name, bottle),
            None => Restructure::AddBottle(bottle),
        };
        if self.restructure(&change) {
            self.making.form = None;
        }
    }

    /// Changes which bottles or notes there are; says whether it could.
    pub(super) fn restructure(&mut self, change: &Restructure) -> bool {
        if let Err(error) = self.editing.restructure(change) {
            self.complain(Trouble::from(error));
            return false;
        }
        self.making.forget();
        let count = self.document().model.pours.len();
        if self.state.selected.is_none_or(|at| at.place() >= count) {
            self.state.selected = None;
        }
        self.rebuild();
        self.settle_place();
        true
    }

    /// A place without notes is none to play in.
    pub(super) fn settle_place(&mut self) {
        self.making.forget();
        if self.document().model.pours.is_empty()
            && matches!(self.state.place, Place::Play | Place::Pour)
        {
            self.state.place = Place::Crate;
        }
        if self.state.selected.is_none() {
            self.state.selected = self.derived().order.first().copied();
        }
    }

    /// Works out which notes the bottles of the crate give; once a frame.
    pub(super) fn reach_on(&mut self) {
        if !matches!(self.state.place, Place::Crate | Place::Plan) {
            return;
        }
        let document = &self.editing.document;
        let (kinds, room) = (&document.fixed.kinds, &document.model.conditions);
        let reach = &mut self.making.reach;
        let waiting = kinds.iter().filter(|kind| !reach.contains_key(&kind.name));
        let next: Vec<_> = waiting.take(REACHED_A_FRAME).cloned().collect();
        for kind in next {
            reach.insert(kind.name.clone(), Reach::of(&kind, room).ok());
        }
    }

    /// Whether some are not worked out yet.
    pub(super) fn is_reaching(&self) -> bool {
        matches!(self.state.place, Place::Crate | Place::Plan)
            && self.making.reach.len() < self.document().fixed.kinds.len()
    }
}
