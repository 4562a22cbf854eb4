//! The set that is played and changed: its file, what the models say about it, and what can be undone.

use std::sync::Arc;

use super::ask::Gesture;
use super::derived::Derived;
use super::document::{Document, DocumentError, Model};
use super::history::History;
use crate::index::PourIndex;
use crate::physics::conditions::Conditions;
use crate::set::HeardPitch;
use crate::set::change::{Change, Key};
use crate::set::edit::Restructure;

/// What a change has changed of the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Changed {
    /// Pitches of the same bottles.
    Pitches,
    /// The bottles: other notes, other gases with other air modes, or kinds that are fitted otherwise.
    Bottles,
}

impl Changed {
    /// By other conditions: a gas has air modes of its own, which only a new engine gets.
    pub(super) fn between(before: &Conditions, after: &Conditions) -> Self {
        let is_air = |change: &Change| match change.key() {
            Key::Gas | Key::NeckGas | Key::Liquid | Key::Headspace => true,
            Key::TempC | Key::HumidityPct | Key::PressureKpa | Key::LipOpen => false,
        };
        if Change::between(before, after).iter().any(is_air) {
            Self::Bottles
        } else {
            Self::Pitches
        }
    }
}

/// The set that is played and changed.
pub struct Editing {
    /// The set and its file.
    pub document: Document,
    /// What the models say about it.
    pub derived: Derived,
    history: History<Document>,
}

impl Editing {
    /// A set of which `derived` has been worked out.
    pub(super) fn new(document: Document, derived: Derived) -> Self {
        Self {
            document,
            derived,
            history: History::default(),
        }
    }

    /// Another set in place of this one; nothing can be undone then. What it gives is worked out by [`Self::rethink`].
    pub(super) fn open(&mut self, document: Document) {
        self.document = document;
        self.history.clear();
    }

    /// Changes the model by `change`, keeping what was before; says whether anything changed.
    pub(super) fn edit(&mut self, gesture: Gesture, change: impl FnOnce(&mut Model)) -> bool {
        let before = self.document.clone();
        change(&mut self.document.model);
        if self.document.model == before.model {
            return false;
        }
        self.history.keep(before, gesture);
        true
    }

    /// Other bottles or notes in the same file.
    ///
    /// # Errors
    /// They make no set; nothing has changed then.
    pub(super) fn restructure(&mut self, change: &Restructure) -> Result<(), DocumentError> {
        let document = self.document.restructured(change)?;
        self.adopt(document);
        Ok(())
    }

    /// Another set in place of this one, which is a step back from then on.
    pub(super) fn adopt(&mut self, document: Document) {
        let before = std::mem::replace(&mut self.document, document);
        self.history.rest();
        self.history.keep(before, Gesture::Single);
    }

    /// One step back, or forth; nothing where there is none.
    pub(super) fn step(&mut self, back: bool) -> Option<Changed> {
        let now = &self.document;
        let then = if back {
            self.history.undo(now)?
        } else {
            self.history.redo(now)?
        };
        let notes = |document: &Document| -> Vec<_> {
            document.model.pours.iter().map(|p| p.note).collect()
        };
        let same_bottles = Arc::ptr_eq(&then.fixed, &now.fixed) && notes(&then) == notes(now);
        let changed = if same_bottles {
            Changed::between(&now.model.conditions, &then.model.conditions)
        } else {
            Changed::Bottles
        };
        self.document = then.beside_file_of(now);
        Some(changed)
    }

    /// Keeps what was heard, one list for each kind of bottle, and fits the kinds to it.
    ///
    /// # Errors
    /// The kinds cannot be fitted to it; nothing has changed then.
    pub(super) fn hear(&mut self, heard: Vec<Vec<HeardPitch>>) -> Result<(), DocumentError> {
        if heard == self.document.model.heard {
            return Ok(());
        }
        let before = self.document.clone();
        self.document.fixed = self.document.refitted(&heard)?;
        self.document.model.heard = heard;
        self.history.rest();
        self.history.keep(before, Gesture::Single);
        Ok(())
    }

    /// Whether there is something to undo, and to redo.
    pub(super) fn can_undo_redo(&self) -> (bool, bool) {
        self.history.can()
    }

    /// Works out anew what every pour gives.
    pub(super) fn rethink(&mut self) {
        let document = &self.document;
        self.derived.update(&document.model, &document.fixed);
    }

    /// The same of one pour.
    pub(super) fn rethink_one(&mut self, pour: PourIndex) {
        let document = &self.document;
        self.derived
            .update_one(pour, &document.model, &document.fixed);
    }

    /// Works out the slower numbers of up to `count` pours, `first` before all others.
    pub(super) fn refine(&mut self, first: Option<PourIndex>, count: usize) {
        let document = &self.document;
        self.derived
            .refine(first, count, &document.model, &document.fixed);
    }
}
