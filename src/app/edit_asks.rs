//! Changes of the set, and what comes of them.

use super::ask::{EditAsk, Gesture, PlayAsk, RoomAsk};
use super::document::Model;
use super::editing::Changed;
use super::session::Session;
use super::state::Drift;
use super::trouble::Trouble;
use crate::index::PourIndex;
use crate::set::change::changed;
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
        if self.state.tone.is_some() {
            self.play(PlayAsk::Tone(self.state.tone));
        }
    }

    fn step(&mut self, back: bool) {
        let Some((changed, fitted)) = self.editing.step(back) else {
            return;
        };
        if let Err(error) = fitted {
            self.complain(Trouble::from(error));
        }
        self.changed(changed);
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
