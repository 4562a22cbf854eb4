//! Why a set cannot be played, and why what is played cannot be rendered.

use std::path::PathBuf;

use super::ranges::OutOfRange;
use crate::file::master::MasterError;
use crate::file::wav::WavError;
use crate::index::PourIndex;
use crate::physics::joined::JoinedError;
use crate::physics::sliding::SlidingError;
use crate::set::SilentPour;
use crate::sounding::SoundedError;
use crate::synth::{Event, RoomError, VoiceError};
use crate::tuning::NoteName;

/// Why a set cannot be put on the stage.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StageError {
    /// A bottle gives no sound.
    #[error(transparent)]
    Silent(#[from] SilentPour),
    /// A bottle gives no sound in a situation that it is moved to.
    #[error("cannot sound {note} with {situation:?}: {source}")]
    SilentThere {
        /// Its note.
        note: NoteName,
        /// What the situation is called.
        situation: String,
        /// Why not.
        source: SoundedError,
    },
    /// A bottle that slides, or a pair that is lifted, has no pitch on its way.
    #[error("cannot slide {bottle:?}: {source}")]
    Rail {
        /// The name of the first of its bottles.
        bottle: String,
        /// Why not.
        source: RailError,
    },
    /// No voice reaches it.
    #[error("cannot voice this set: {0}")]
    Voice(#[from] VoiceError),
}

/// Why a pitch cannot be followed along a rail.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RailError {
    /// A floor that slides.
    #[error(transparent)]
    Sliding(#[from] SlidingError),
    /// A joined pair.
    #[error(transparent)]
    Joined(#[from] JoinedError),
    /// No voice reaches it.
    #[error(transparent)]
    Voice(#[from] VoiceError),
}

/// Why a rendering was not made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RenderError {
    /// A value of the spec.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A note that no voice has at this rate.
    #[error("cannot voice this set: {0}")]
    Voice(#[from] VoiceError),
    /// A room that cannot be built.
    #[error("cannot build the room: {0}")]
    Room(#[from] RoomError),
    /// The performance is another set's.
    #[error("pour {pour} of the performance is not among the {pours} on the stage")]
    NotOnStage {
        /// Which.
        pour: PourIndex,
        /// How many there are.
        pours: usize,
    },
    /// A number in the performance that no voice can follow.
    #[error("cannot schedule the performance: {0:?} was refused")]
    Event(Event),
    /// The file could not be written.
    #[error("cannot write {}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: MasterError,
    },
    /// It is longer than any file holds, and so than is held in memory.
    #[error(transparent)]
    TooLong(WavError),
    /// The folder of the stems could not be made.
    #[error("cannot make the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A stem of this name is there, and was not to be replaced.
    #[error("cannot write {}: a file with that name already exists", path.display())]
    StemExists {
        /// The file.
        path: PathBuf,
    },
    /// A stem could not be written.
    #[error("cannot write {}: {source}", path.display())]
    Stem {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: WavError,
    },
    /// Whoever watched it stopped it.
    #[error("stopped after {done_frames} of {frames} frames")]
    Stopped {
        /// Frames that were made.
        done_frames: u64,
        /// Frames in all.
        frames: u64,
    },
}
