//! What was worked out before, so that the same question is answered once.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};

/// Answers that are remembered.
const MOST: usize = 2_000;

/// Answers by their questions, written out.
pub(super) struct Remembered<T>(LazyLock<Mutex<HashMap<String, T>>>);

impl<T: Clone> Remembered<T> {
    pub(super) const fn new() -> Self {
        Self(LazyLock::new(Mutex::default))
    }

    pub(super) fn get(&self, key: &str) -> Option<T> {
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.get(key).cloned()
    }

    pub(super) fn keep(&self, key: String, answer: &T) {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= MOST {
            known.clear();
        }
        known.insert(key, answer.clone());
    }
}
