//! Undo and redo: whole states, such as documents, which share what did not change, and one step for each gesture.

use super::gesture::Gesture;

/// Steps that are kept.
const MOST_STEPS: usize = 500;

/// What was before and after.
#[derive(Clone, Debug)]
pub(super) struct History<T> {
    past: Vec<T>,
    future: Vec<T>,
    /// The gesture that the last step belongs to: as long as it goes on, it is one step.
    gesture: Option<u64>,
}

impl<T> Default for History<T> {
    fn default() -> Self {
        Self {
            past: Vec::new(),
            future: Vec::new(),
            gesture: None,
        }
    }
}

impl<T: Clone> History<T> {
    /// Keeps `before`, which has just changed, unless the gesture that changes it is known already.
    pub(super) fn keep(&mut self, before: T, gesture: Gesture) {
        let gesture = match gesture {
            Gesture::Single => None,
            Gesture::Drag(number) => Some(number),
        };
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

    /// What was before `now`, if there is something.
    pub(super) fn undo(&mut self, now: &T) -> Option<T> {
        self.rest();
        let before = self.past.pop()?;
        self.future.push(now.clone());
        Some(before)
    }

    /// What was undone.
    pub(super) fn redo(&mut self, now: &T) -> Option<T> {
        self.rest();
        let after = self.future.pop()?;
        self.past.push(now.clone());
        Some(after)
    }

    /// Forgets everything: another file, or another picture.
    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    /// Whether there is something to undo, and to redo.
    pub(super) fn can(&self) -> (bool, bool) {
        (!self.past.is_empty(), !self.future.is_empty())
    }
}
