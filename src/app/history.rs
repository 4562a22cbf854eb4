//! Undo and redo: whole documents, which share what did not change, and one step for each gesture.

use super::document::Document;

/// Steps that are kept.
const MOST_STEPS: usize = 500;

/// What was before and after.
#[derive(Clone, Debug, Default)]
pub(super) struct History {
    past: Vec<Document>,
    future: Vec<Document>,
    /// The gesture that the last step belongs to: as long as it goes on, it is one step.
    gesture: Option<u64>,
}

impl History {
    /// Keeps `before`, the document that has just changed, unless the gesture that changes it is known already.
    pub(super) fn keep(&mut self, before: Document, gesture: Option<u64>) {
        self.future.clear();
        if gesture.is_some() && self.gesture == gesture {
            return;
        }
        self.gesture = gesture;
        if self.past.len() == MOST_STEPS {
            self.past.remove(0);
        }
        self.past.push(before);
    }

    /// The gesture is over: the next change is a step of its own.
    pub(super) fn rest(&mut self) {
        self.gesture = None;
    }

    /// The document before `now`, if there is one.
    pub(super) fn undo(&mut self, now: &Document) -> Option<Document> {
        self.rest();
        let before = self.past.pop()?;
        self.future.push(now.clone());
        Some(before)
    }

    /// The document that was undone.
    pub(super) fn redo(&mut self, now: &Document) -> Option<Document> {
        self.rest();
        let after = self.future.pop()?;
        self.past.push(now.clone());
        Some(after)
    }

    /// Forgets everything: another file.
    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    /// Whether there is something to undo, and to redo.
    pub(super) fn can(&self) -> (bool, bool) {
        (!self.past.is_empty(), !self.future.is_empty())
    }
}
