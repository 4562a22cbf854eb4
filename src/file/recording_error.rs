//! What can go wrong with a recording.

use super::wav::WavError;

/// Why a recording was not read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordingError {
    /// A WAV file, or a file that cannot be opened.
    #[error(transparent)]
    Wav(#[from] WavError),
    /// A kind that nothing here reads.
    #[error("{kind} is not read; {} is", super::recording::READS)]
    Foreign {
        /// Its name.
        kind: &'static str,
    },
    /// A kind that this build does not read.
    #[error(
        "this build reads WAV only, and this is {kind}: it was made with --no-default-features"
    )]
    LeftOut {
        /// Its name.
        kind: &'static str,
    },
    /// No kind of recording that is known.
    #[error(
        "it is not a recording of a kind that is known; {} is read",
        super::recording::READS
    )]
    Unknown,
    /// A file that ends or breaks before any sound, or is nothing but breaks.
    #[error("the recording is broken: {what}")]
    Broken {
        /// What the decoder says.
        what: String,
    },
    /// More sound than is read.
    #[error("more than {max_seconds:.0} s of sound, the most that are read")]
    OverLimit {
        /// The most, s.
        max_seconds: f64,
    },
}
