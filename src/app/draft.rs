//! Unsaved work, kept beside the settings for the case that the program does not end as it should.
//!
//! It is written while there are changes and taken away when they are saved, or left on purpose. What is found at the
//! start is work that was lost otherwise.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use super::document::Document;
use crate::file::atomic::{Overwrite, write_whole};

/// At most so often.
const EVERY: Duration = Duration::from_secs(10);

/// Where unsaved work is kept.
#[derive(Debug, Default)]
pub(super) struct Draft {
    place: Option<PathBuf>,
    /// It was there when the program began, and nobody has said what becomes of it.
    is_found: bool,
    /// There is one of this run of the program.
    is_written: bool,
    /// When, and of which revision.
    last: Option<(Instant, u64)>,
    /// What is being written.
    write: Option<Write>,
}

/// A draft on its way, on a thread of its own.
#[derive(Debug)]
struct Write {
    is_cancelled: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Write {
    /// Writes `text`, unless it is cancelled before that begins; nothing if there is no thread to be had.
    fn begin(place: PathBuf, text: String) -> Option<Self> {
        let is_cancelled = Arc::new(AtomicBool::new(false));
        let cancelled = Arc::clone(&is_cancelled);
        let write = move || {
            if let Some(folder) = place.parent() {
                // The settings complain if there is no such folder.
                let _ = std::fs::create_dir_all(folder);
            }
            if !cancelled.load(Ordering::Relaxed) {
                let _ = write_whole(&place, text.as_bytes(), Overwrite::Yes);
            }
        };
        let thread = thread::Builder::new().name("ullage-draft".to_owned());
        Some(Self {
            is_cancelled,
            thread: thread.spawn(write).ok()?,
        })
    }

    /// Nothing is written after this. It waits for what has begun: some milliseconds.
    fn end(self) {
        self.is_cancelled.store(true, Ordering::Relaxed);
        // It has nothing to say.
        let _ = self.thread.join();
    }
}

impl Draft {
    /// Beside the settings; nowhere without them.
    pub(super) fn new(settings: Option<&Path>) -> Self {
        let place = settings.map(|settings| settings.with_file_name("unsaved.toml"));
        Self {
            is_found: place.as_ref().is_some_and(|place| place.is_file()),
            place,
            ..Self::default()
        }
    }

    /// Whether there is work of an earlier run.
    pub(super) fn is_found(&self) -> bool {
        self.is_found
    }

    /// It is not needed any more.
    pub(super) fn remove(&mut self) {
        if let Some(write) = self.write.take() {
            write.end();
        }
        if let Some(place) = self
            .place
            .as_ref()
            .filter(|_| self.is_found || self.is_written)
        {
            // If it cannot be taken away, it is offered once more than it should be.
            let _ = std::fs::remove_file(place);
        }
        (self.is_found, self.is_written, self.last) = (false, false, None);
    }

    /// The work that was found.
    pub(super) fn found(&self) -> Option<&Path> {
        self.place.as_deref().filter(|_| self.is_found)
    }

    /// What was found has been taken up: from now on there is one of this run.
    pub(super) fn take_up(&mut self) {
        (self.is_found, self.is_written) = (false, true);
    }

    /// There is one of this run of the program.
    pub(super) fn is_written(&self) -> bool {
        self.is_written
    }

    /// Keeps `document`, on a thread of its own, if that is due.
    pub(super) fn keep(&mut self, document: &Document, revision: u64) {
        let Some(place) = self.place.clone().filter(|_| !self.is_found) else {
            return;
        };
        let is_due = self
            .last
            .is_none_or(|(at, of)| of != revision && at.elapsed() >= EVERY);
        let is_busy = self.write.as_ref().is_some_and(|w| !w.thread.is_finished());
        if !is_due || is_busy {
            return;
        }
        self.last = Some((Instant::now(), revision));
        let Ok(text) = document.text() else { return };
        self.is_written = true;
        self.write = Write::begin(place, text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_draft_is_found_by_the_next_run_and_never_overwritten_before_it_is_asked_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let settings = folder.path().join("window.toml");
        let place = folder.path().join("unsaved.toml");
        assert!(!Draft::new(Some(&settings)).is_found());
        std::fs::write(&place, "version = 1\n").expect("a file");
        let mut draft = Draft::new(Some(&settings));
        assert!(draft.is_found());
        draft.keep(&Document::blank(), 1);
        let kept = std::fs::read_to_string(&place).expect("a file");
        assert_eq!(kept, "version = 1\n");
        draft.remove();
        assert!(!place.exists() && !draft.is_found());
    }

    #[test]
    fn a_draft_that_is_not_needed_any_more_is_not_written_after_that() {
        let folder = tempfile::tempdir().expect("a folder");
        let place = folder.path().join("unsaved.toml");
        for turn in 0..40 {
            let mut draft = Draft::new(Some(&folder.path().join("window.toml")));
            draft.keep(&Document::blank(), 1);
            // The write has not begun, or has, or is done.
            thread::sleep(Duration::from_micros(40 * turn));
            draft.remove();
            assert!(!place.exists());
            let left = || std::fs::read_dir(folder.path()).expect("a folder").count();
            let later = Instant::now() + Duration::from_millis(25);
            while Instant::now() < later {
                assert_eq!(left(), 0, "turn {turn}");
            }
        }
    }
}
