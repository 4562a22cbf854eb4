//! File dialogs and lists of devices, each on a thread of its own: the window never waits for one.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::thread;
use std::time::{Duration, Instant};

use crate::live::{HostInfo, list_inputs, list_outputs};

/// A dialog that closes sooner than this without an answer was never seen: the desktop has none to offer.
const TOO_SOON: Duration = Duration::from_millis(700);

/// How the name of a piece ends.
const PIECES: [&str; 5] = ["mid", "midi", "musicxml", "mxl", "xml"];

/// Whether a file is a piece, by its name.
pub(super) fn is_piece(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| {
        PIECES
            .iter()
            .any(|piece| ending.eq_ignore_ascii_case(piece))
    })
}

/// What a file is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// A set to open.
    Open,
    /// A piece to open.
    Piece,
    /// A piece whose notes are planned for.
    PlannedPiece,
    /// Where the set goes.
    SaveAs,
    /// Where the sound goes.
    Wav,
    /// Where the keys go.
    Smf,
}

impl Purpose {
    /// What is said over the question.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Open => "Open a bottle set",
            Self::Piece => "Open a piece",
            Self::PlannedPiece => "Plan for a piece",
            Self::SaveAs => "Save the bottle set as",
            Self::Wav => "Record the sound into",
            Self::Smf => "Record the keys into",
        }
    }

    /// A name to begin with: beside the set, with the ending that belongs to it.
    pub(super) fn suggested(self, set: &Path) -> PathBuf {
        match self {
            Self::Open | Self::SaveAs => set.to_path_buf(),
            Self::Piece | Self::PlannedPiece | Self::Wav | Self::Smf => {
                set.with_extension(self.kind().1[0])
            }
        }
    }

    /// Whether the file is there already and is only read.
    pub(super) const fn is_read(self) -> bool {
        matches!(self, Self::Open | Self::Piece | Self::PlannedPiece)
    }

    const fn kind(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Self::Open | Self::SaveAs => ("Bottle sets", &["toml"]),
            Self::Wav => ("Sound", &["wav"]),
            Self::Smf => ("MIDI files", &["mid"]),
            Self::Piece | Self::PlannedPiece => ("Pieces", &PIECES),
        }
    }
}

/// A dialog that is open.
pub(super) struct Dialog {
    /// What for.
    pub purpose: Purpose,
    answer: Receiver<Option<PathBuf>>,
    since: Instant,
}

/// How a dialog ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// With this file.
    Chosen(PathBuf),
    /// With none.
    Nothing,
    /// It never came up.
    NoDialog,
}

impl Dialog {
    /// Opens one that begins at `beside`; nothing if the system gives no thread.
    pub(super) fn open(purpose: Purpose, beside: PathBuf) -> Option<Self> {
        let (tell, answer) = mpsc::channel();
        let ask = move || {
            let (kind, endings) = purpose.kind();
            let mut dialog = rfd::FileDialog::new()
                .set_title(purpose.title())
                .add_filter(kind, endings);
            if let Some(folder) = beside.parent() {
                dialog = dialog.set_directory(folder);
            }
            let suggested = purpose.suggested(&beside);
            if let Some(name) = suggested.file_name() {
                dialog = dialog.set_file_name(name.to_string_lossy());
            }
            let chosen = if purpose.is_read() {
                dialog.pick_file()
            } else {
                dialog.save_file()
            };
            // The window may be gone by now.
            let _ = tell.send(chosen);
        };
        thread::Builder::new()
            .name("ullage-dialog".to_owned())
            .spawn(ask)
            .ok()?;
        let since = Instant::now();
        Some(Self {
            purpose,
            answer,
            since,
        })
    }

    /// How it ended, once it has.
    pub(super) fn answer(&self) -> Option<Answer> {
        let nothing = || {
            if self.since.elapsed() < TOO_SOON {
                Answer::NoDialog
            } else {
                Answer::Nothing
            }
        };
        match self.answer.try_recv() {
            Ok(Some(path)) => Some(Answer::Chosen(path)),
            Ok(None) => Some(nothing()),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Answer::NoDialog),
        }
    }
}

/// The outputs there are, found on a thread of its own: some systems take a second.
pub(super) fn outputs() -> Receiver<Vec<HostInfo>> {
    listed(list_outputs)
}

/// The inputs there are, found the same way.
pub(super) fn inputs() -> Receiver<Vec<HostInfo>> {
    listed(list_inputs)
}

fn listed(list: fn() -> Vec<HostInfo>) -> Receiver<Vec<HostInfo>> {
    let (tell, told) = mpsc::channel();
    let look = move || {
        let _ = tell.send(list());
    };
    // Without a thread the receiver finds its channel closed.
    let _ = thread::Builder::new()
        .name("ullage-devices".to_owned())
        .spawn(look);
    told
}
