//! Why a set cannot be played.

use crate::physics::joined::JoinedError;
use crate::physics::sliding::SlidingError;
use crate::set::SilentPour;
use crate::synth::VoiceError;

/// Why a set cannot be put on the stage.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StageError {
    /// A bottle gives no sound.
    #[error(transparent)]
    Silent(#[from] SilentPour),
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
