//! What runs on threads of its own, so that the window never waits: dialogs, lists of devices, files that are written.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError};

use super::files::{self, Answer, Dialog, Purpose};
use super::form::{Thinking, Thought};
use super::picture::LookedAt;
use super::trouble::Trouble;
use crate::live::HostInfo;

/// How a job came out, to be said.
pub(super) type Told = Result<String, Trouble>;

/// Devices that were looked for; nothing if they could not be listed.
pub(super) type Listed = Option<Vec<HostInfo>>;

/// Why a job came to nothing that never began.
const NO_TIME: &str = "the system gave no time for it. Try again";

/// What runs on threads of its own.
#[derive(Default)]
pub(super) struct Jobs {
    dialog: Option<Dialog>,
    outputs: Option<Receiver<Vec<HostInfo>>>,
    inputs: Option<Receiver<Vec<HostInfo>>>,
    writing: Vec<Receiver<Told>>,
    tracing: Option<Receiver<LookedAt>>,
    thinking: Option<Receiver<Thought>>,
}

impl Jobs {
    /// Opens a dialog that begins at `beside`, unless one is open.
    pub(super) fn ask_for(&mut self, purpose: Purpose, beside: PathBuf) {
        if self.dialog.is_none() {
            self.dialog = Dialog::open(purpose, beside);
        }
    }

    /// Whether a dialog is open.
    pub(super) fn is_asking(&self) -> bool {
        self.dialog.is_some()
    }

    /// What the dialog was for and how it ended, once it has.
    pub(super) fn answered(&mut self) -> Option<(Purpose, Answer)> {
        let dialog = self.dialog.as_ref()?;
        let answered = (dialog.purpose, dialog.answer()?);
        self.dialog = None;
        Some(answered)
    }

    /// Looks for sound cards.
    pub(super) fn look_for_outputs(&mut self) {
        self.outputs = Some(files::outputs());
    }

    /// Whether they are being looked for.
    pub(super) fn is_looking_for_outputs(&self) -> bool {
        self.outputs.is_some()
    }

    /// The sound cards, once they are known.
    pub(super) fn outputs(&mut self) -> Option<Listed> {
        listed(&mut self.outputs)
    }

    /// Looks for microphones.
    pub(super) fn look_for_inputs(&mut self) {
        self.inputs = Some(files::inputs());
    }

    /// The microphones, once they are known.
    pub(super) fn inputs(&mut self) -> Option<Listed> {
        listed(&mut self.inputs)
    }

    /// Whether something may have come of them: looking for it takes a frame.
    pub(super) fn has_news(&self) -> bool {
        self.dialog.is_some()
            || self.outputs.is_some()
            || self.inputs.is_some()
            || !self.writing.is_empty()
            || self.tracing.is_some()
            || self.thinking.is_some()
    }

    /// Waits for a photograph that is looked at, and for none that was before.
    pub(super) fn trace(&mut self, job: Receiver<LookedAt>) {
        self.tracing = Some(job);
    }

    /// Whether one is being looked at.
    pub(super) fn is_tracing(&self) -> bool {
        self.tracing.is_some()
    }

    /// What it shows, once it has been looked at.
    pub(super) fn traced(&mut self) -> Option<LookedAt> {
        let looked = match self.tracing.as_ref()?.try_recv() {
            Ok(looked) => looked,
            Err(TryRecvError::Empty) => return None,
            Err(TryRecvError::Disconnected) => Err(NO_TIME.to_owned()),
        };
        self.tracing = None;
        Some(looked)
    }

    /// Works out what is known of a bottle.
    pub(super) fn think(&mut self, thinking: Thinking) {
        self.thinking = Some(thinking.begin());
    }

    /// Whether that is being worked out.
    pub(super) fn is_thinking(&self) -> bool {
        self.thinking.is_some()
    }

    /// What is known of it, once it is worked out; nothing ever if the system gave no time for it.
    pub(super) fn thought(&mut self) -> Option<Thought> {
        let thought = self.thinking.as_ref()?.try_recv();
        if matches!(thought, Err(TryRecvError::Empty)) {
            return None;
        }
        self.thinking = None;
        thought.ok()
    }

    /// Waits for a file that is being written.
    pub(super) fn follow(&mut self, job: Receiver<Told>) {
        self.writing.push(job);
    }

    /// How the files came out that have been written since the last time.
    pub(super) fn written(&mut self) -> Vec<Told> {
        let mut told = Vec::new();
        self.writing.retain(|job| match job.try_recv() {
            Ok(how) => {
                told.push(how);
                false
            }
            Err(error) => error == TryRecvError::Empty,
        });
        told
    }
}

fn listed(job: &mut Option<Receiver<Vec<HostInfo>>>) -> Option<Listed> {
    let found = job.as_ref()?.try_recv();
    if found == Err(TryRecvError::Empty) {
        return None;
    }
    *job = None;
    Some(found.ok())
}
