//! What can go wrong with a WAV file, with the numbers that say why.

use std::io;
use std::path::PathBuf;

use super::atomic::WriteError;

/// Why a WAV file could not be written or read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WavError {
    /// The file itself could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A rate outside [`RATES_HZ`](super::wav::RATES_HZ), or not a whole number.
    #[error("a sample rate of {rate_hz} Hz is not a whole number from {min_hz} to {max_hz} Hz")]
    Rate {
        /// The rate asked for, Hz.
        rate_hz: f64,
        /// The lowest, Hz.
        min_hz: f64,
        /// The highest, Hz.
        max_hz: f64,
    },
    /// More channels than are supported, or none.
    #[error("{channels} channels: a sound file has 1 to {max}")]
    Channels {
        /// The channels asked for or found.
        channels: u16,
        /// The most.
        max: u16,
    },
    /// The sound is longer than the format's 32-bit length can say.
    #[error(
        "{hours:.2} hours do not fit in a WAV file of this format: its 4 GiB hold {max_hours:.2} hours"
    )]
    TooLong {
        /// The length asked for or reached, hours.
        hours: f64,
        /// The longest in this format, hours.
        max_hours: f64,
    },
    /// A sample that is not a number, or infinite.
    #[error("sample {frame} of channel {channel} is {value}, not a finite number")]
    NotFinite {
        /// Which sample, from 0.
        frame: u64,
        /// Which channel, from 0.
        channel: u16,
        /// The value.
        value: f32,
    },
    /// Blocks that do not fit together.
    #[error("a block of {left} and {right} samples: both channels need the same length")]
    Uneven {
        /// Samples for the left channel.
        left: usize,
        /// Samples for the right channel.
        right: usize,
    },
    /// An interleaved block that ends in mid-frame.
    #[error("a block of {samples} samples is not a whole number of {channels}-channel frames")]
    Ragged {
        /// Samples in the block.
        samples: usize,
        /// Channels of the file.
        channels: u16,
    },
    /// The file could not be opened or read.
    #[error("cannot read {}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The system failed in the middle of the file.
    #[error("reading failed")]
    Read(#[source] io::Error),
    /// Not a WAV file, or a broken one.
    #[error("not a WAV file that can be read: {what}, at byte {at_byte}")]
    Broken {
        /// What is wrong.
        what: String,
        /// Where, bytes from the start.
        at_byte: u64,
    },
    /// The file ends before the sound that it announces.
    #[error(
        "the file is cut short: it announces {promised_bytes} bytes of sound and has {found_bytes}"
    )]
    CutShort {
        /// The length in the header, bytes.
        promised_bytes: u64,
        /// What is there, bytes.
        found_bytes: u64,
    },
    /// A coding that is not plain samples.
    #[error("{coding} is not read; plain 8, 16, 24 or 32-bit and 32-bit float samples are")]
    Coding {
        /// The coding found.
        coding: String,
    },
    /// More sound than the caller is prepared to hold in memory.
    #[error("{seconds:.0} s of sound is more than the {max_seconds:.0} s that are read")]
    OverLimit {
        /// The length found, s.
        seconds: f64,
        /// The most, s.
        max_seconds: f64,
    },
}
