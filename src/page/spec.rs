//! What goes on a page beside the set.

use super::flac::FlacError;
use crate::stage::{OnSet, PlayError, SharingSpec, Stage, StageError};
use crate::synth::{RoomError, VoiceError};

/// A piece on a set, under its title.
#[derive(Clone, Debug)]
pub struct PagePiece {
    /// What it is called.
    pub title: String,
    /// The piece on the bottles.
    pub on: OnSet,
}

impl PagePiece {
    /// A piece that was opened, on the bottles of `stage`, under the name of its file.
    ///
    /// # Errors
    /// None that is known: nothing about its players is asked for.
    pub fn new(stage: &Stage, piece: &crate::file::piece::OpenedPiece) -> Result<Self, PlayError> {
        let name = piece.path.file_stem().unwrap_or(piece.path.as_os_str());
        Ok(Self {
            title: name.to_string_lossy().into_owned(),
            on: OnSet::new(stage.clone(), &piece.score, SharingSpec::default())?,
        })
    }
}

/// What a page is to have.
#[derive(Clone, Debug, Default)]
pub struct PageSpec {
    /// The pieces that can be played along with.
    pub pieces: Vec<PagePiece>,
    /// Without the set's room.
    pub dry: bool,
}

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// A bottle without a sound.
    #[error(transparent)]
    Stage(#[from] StageError),
    /// A note that no voice has.
    #[error("cannot voice this set: {0}")]
    Voice(#[from] VoiceError),
    /// A room that cannot be built.
    #[error(transparent)]
    Room(#[from] RoomError),
    /// More bottles than a page of a size to be sent can hold.
    #[error("{count} bottles are more than the {max} that a page holds")]
    Bottles {
        /// Of the set.
        count: usize,
        /// The most.
        max: usize,
    },
    /// A recording that was not written.
    #[error(transparent)]
    Flac(#[from] FlacError),
    /// The page's data.
    #[error("the page's data cannot be written: {said}")]
    Data {
        /// What the writer said.
        said: String,
    },
}
