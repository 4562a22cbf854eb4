//! Changes of the set, and what comes of them.

use super::ask::{EditAsk, Gesture, PlayAsk, RoomAsk, ShelfAsk};
use super::document::Model;
use super::editing::Changed;
use super::session::Session;
use super::state::{Drift, Place};
use super::trouble::Trouble;
use crate::index::PourIndex;
use crate::set::change::changed;
use crate::set::edit::Restructure;
use crate::tuning::{NoteName, Tuning};

impl Session {
    /// Does what was asked of the set.
    pub(super) fn edit(&mut self, ask: EditAsk) {
        match ask {
            EditAsk::Fill(pour, fill, gesture) => self.set(pour, fill.ml(), gesture),
            EditAsk::Set(pour, value, gesture) => self.set(pour, value, gesture),
            EditAsk::Tune(pour) => self.tune(pour),
            EditAsk::TuneAll => self.tune_all(),
            EditAsk::Note(pour, text) => self.rename(pour, &text),
            EditAsk::Shelf(ask) => self.shelf(ask),
            EditAsk::Room(room, gesture) => self.room(room, gesture),
            EditAsk::Drift(drift) => {
                self.state.drift = drift;
                if drift == Drift::PourAgain {
                    self.tune_all();
                }
            }
            EditAsk::Undo => self.step(true),
            EditAsk::Redo => self.step(false),
        }
    }

    fn set(&mut self, pour: PourIndex, value: f64, gesture: Gesture) {
        let Some(bottle) = self.derived().bottles.get(pour.place()) else {
            return;
        };
        if !value.is_finite() {
            return;
        }
        let setting = bottle.knob.turned_to(value);
        self.state.selected = Some(pour);
        let edited = self.editing.edit(gesture, |model| model.set(pour, setting));
        if edited {
            self.changed_one(pour);
        }
    }

    fn tune(&mut self, pour: PourIndex) {
        let Some(bottle) = self.derived().bottles.get(pour.place()) else {
            return;
        };
        let what = format!("give {} to {}", bottle.note, bottle.name);
        let document = &self.editing.document;
        let Some(setting) = document.model.solved(pour, &document.fixed) else {
            let trouble = Trouble::cannot(what, "it is out of reach")
                .or_try("give this bottle another note, or this note another bottle");
            return self.complain(trouble);
        };
        let edited = self
            .editing
            .edit(Gesture::Single, |model| model.set(pour, setting));
        if edited {
            self.changed_one(pour);
        }
    }

    fn tune_all(&mut self) {
        let fixed = self.document().fixed.clone();
        let edited = self
            .editing
            .edit(Gesture::Single, |model| model.pour_again(&fixed));
        if edited {
            self.changed(Changed::Pitches);
        }
        self.name_stragglers();
    }

    /// Says which bottles cannot follow to their notes.
    fn name_stragglers(&mut self) {
        let document = &self.editing.document;
        let (model, fixed) = (&document.model, &document.fixed);
        let cannot = |pour: &PourIndex| model.solved(*pour, fixed).is_none();
        let name = |pour: PourIndex| {
            let shown = &self.editing.derived.bottles[pour];
            format!("{} in {}", shown.note, shown.name)
        };
        let stuck: Vec<String> = PourIndex::all(model.pours.len())
            .filter(cannot)
            .map(name)
            .collect();
        if stuck.is_empty() {
            return;
        }
        let trouble = Trouble::cannot(
            format!("pour every bottle to its note: {}", stuck.join(", ")),
            "in this room these notes are out of reach of their bottles, which stay as they were",
        );
        self.complain(trouble.or_try("give them another note or another bottle"));
    }

    /// A bottle of the shelf more, less or another.
    fn shelf(&mut self, ask: ShelfAsk) {
        let pour = match ask {
            ShelfAsk::Duplicate(pour)
            | ShelfAsk::Remove(pour)
            | ShelfAsk::Into(pour, _)
            | ShelfAsk::Way(pour, _) => pour,
        };
        let Some(of) = self.document().model.pours.get(pour.place()) else {
            return;
        };
        let (kind, fixed) = (of.kind, &self.document().fixed);
        let change = match ask {
            ShelfAsk::Duplicate(_) => Restructure::DuplicatePour(pour),
            ShelfAsk::Remove(_) => Restructure::RemovePour(pour),
            ShelfAsk::Into(_, kind) => match fixed.kinds.get(kind.place()) {
                Some(kind) => Restructure::PourInto(pour, kind.name.clone()),
                None => return,
            },
            ShelfAsk::Way(_, way) => Restructure::PourWay(pour, way),
        };
        let is_of_kind = |other: &&crate::set::Pour| other.kind == kind;
        let used = self
            .document()
            .model
            .pours
            .iter()
            .filter(is_of_kind)
            .count();
        let is_one_more = matches!(ask, ShelfAsk::Duplicate(_));
        if is_one_more && used >= fixed.kinds[kind].count as usize {
            return self.one_more_bottle(kind, &change);
        }
        if self.restructure(&change) {
            self.name_stragglers();
        }
    }

    /// One bottle more of a kind for a note more, both in one step.
    fn one_more_bottle(&mut self, kind: crate::index::KindIndex, change: &Restructure) {
        let more = || {
            let document = self.document();
            let mut bottles = document.written_bottles()?;
            let mut bottle = bottles.swap_remove(kind.place());
            bottle.count = Some(bottle.count.unwrap_or(1) + 1);
            let name = bottle.name.clone();
            document
                .restructured(&Restructure::PutBottle(name, Box::new(bottle)))?
                .restructured(change)
        };
        match more() {
            Ok(document) => {
                self.editing.adopt(document);
                self.making.forget();
                self.rebuild();
                self.settle_place();
                self.say("One bottle more of this kind was counted for it.");
            }
            Err(error) => self.complain(Trouble::from(error)),
        }
    }

    fn rename(&mut self, pour: PourIndex, text: &str) {
        let note: NoteName = match text.parse() {
            Ok(note) => note,
            Err(error) => {
                let what = format!("use {text:?} as a note");
                return self.complain(Trouble::cannot(what, error));
            }
        };
        let edited = self.editing.edit(Gesture::Single, |model| {
            if let Some(pour) = model.pours.get_mut(pour.place()) {
                pour.note = note;
            }
        });
        if edited {
            self.changed(Changed::Bottles);
        }
    }

    fn room(&mut self, ask: RoomAsk, gesture: Gesture) {
        let (model, what) = match moved(&self.document().model, ask) {
            Ok(moved) => moved,
            Err(trouble) => return self.complain(trouble),
        };
        let fixed = self.document().fixed.clone();
        let again = self.state.drift == Drift::PourAgain;
        let edited = self.editing.edit(gesture, |now| {
            *now = model;
            if again {
                now.pour_again(&fixed);
            }
        });
        if !edited {
            return;
        }
        self.changed(what);
        if again {
            self.name_stragglers();
        }
        if self.state.tone.is_some() {
            self.play(PlayAsk::Tone(self.state.tone));
        }
    }

    fn step(&mut self, back: bool) {
        // Over a photograph it is the hand's moves that are taken back.
        let is_shown = self.state.place == Place::Crate;
        let form = self.making.form.as_mut().filter(|_| is_shown);
        if form.is_some_and(|form| form.step(back)) {
            return;
        }
        let Some(changed) = self.editing.step(back) else {
            return;
        };
        let count = self.document().model.pours.len();
        if self.state.selected.is_some_and(|at| at.place() >= count) {
            self.state.selected = None;
        }
        self.changed(changed);
        self.settle_place();
    }
}

/// The model with a change of the room and what that changes, or why it cannot be.
fn moved(model: &Model, ask: RoomAsk) -> Result<(Model, Changed), Trouble> {
    let mut model = model.clone();
    let conditions = match ask {
        RoomAsk::Condition(change) => changed(&model.conditions, &[change.clamped()]),
        RoomAsk::Typed(key, value) => {
            let unknown = |error| Trouble::cannot(format!("use {value:?} as the {key}"), error);
            let change = key.to(&value).map_err(unknown)?;
            changed(&model.conditions, &[change])
        }
        RoomAsk::Breath(share) => {
            model.conditions.neck_breath = share.clamp(0.0, 1.0);
            changed(&model.conditions, &[])
        }
        RoomAsk::A4(a4) => {
            let (temperament, tonic) = (model.tuning.temperament().clone(), model.tuning.tonic());
            model.tuning = Tuning::new(a4, temperament, tonic)
                .map_err(|error| Trouble::cannot("tune to this A4", error))?;
            return Ok((model, Changed::Pitches));
        }
    };
    let silent = |error| Trouble::cannot("hear the bottles in this room", error);
    let conditions = conditions.map_err(silent)?;
    let what = Changed::between(&model.conditions, &conditions);
    model.conditions = conditions;
    Ok((model, what))
}
