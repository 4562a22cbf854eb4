//! Recordings of any usual kind: WAV always, and with the feature `recordings` what telephones and recorders write.
//!
//! ```
//! use ullage::file::atomic::Overwrite;
//! use ullage::file::recording::read_recording;
//! use ullage::file::wav::{Limits, WavFormat, WavSink};
//! use ullage::units::SampleRate;
//! let folder = tempfile::tempdir()?;
//! let path = folder.path().join("take.wav");
//! let format = WavFormat::stereo(SampleRate::from_hz(48_000.0));
//! let mut sink = WavSink::create(&path, format, Overwrite::No)?;
//! sink.write_block(&[0.5; 960], &[-0.5; 960])?;
//! sink.finish()?;
//! // What a file is, its bytes say and not its name.
//! let misnamed = folder.path().join("take.mp3");
//! std::fs::rename(&path, &misnamed)?;
//! let sound = read_recording(&misnamed, Limits::default())?;
//! assert_eq!((sound.channels, sound.frames()), (2, 960));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

#[cfg(feature = "recordings")]
use super::recording_decode as decode;
pub use super::recording_error::RecordingError;
use super::wav::{Limits, Wav, WavError, read_wav_from};

/// What is read, in words.
#[cfg(feature = "recordings")]
pub const READS: &str = "WAV, AIFF, FLAC, OGG Vorbis, MP3 or M4A/AAC";
/// What is read, in words.
#[cfg(not(feature = "recordings"))]
pub const READS: &str = "WAV";

/// Bytes that say what a file is.
const SNIFFED: usize = 64;

/// What a file is, by its first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// Plain samples.
    Wav,
    /// Other codings of them.
    WavCoded,
    Aiff,
    Flac,
    Vorbis,
    Mp3,
    Mp4,
    Adts,
    /// Known, and not read.
    Foreign(&'static str),
    Unknown,
}

impl Kind {
    fn of(head: &[u8]) -> Self {
        let at = |from: usize, what: &[u8]| head.get(from..from + what.len()) == Some(what);
        let has = |what: &[u8]| head.windows(what.len()).any(|piece| piece == what);
        match head {
            _ if at(0, b"RIFF") && at(8, b"WAVE") && is_coded(head) => Self::WavCoded,
            _ if at(0, b"RIFF") || at(0, b"RF64") || at(0, b"BW64") => Self::Wav,
            _ if at(0, b"FORM") && (at(8, b"AIFF") || at(8, b"AIFC")) => Self::Aiff,
            _ if at(0, b"fLaC") => Self::Flac,
            _ if at(0, b"OggS") && has(b"OpusHead") => Self::Foreign("Opus"),
            _ if at(0, b"OggS") && has(b"Speex") => Self::Foreign("Speex"),
            _ if at(0, b"OggS") => Self::Vorbis,
            _ if at(4, b"ftyp") => Self::Mp4,
            _ if at(0, b"\x1A\x45\xDF\xA3") => Self::Foreign("WebM or Matroska"),
            _ if at(0, b"#!AMR") => Self::Foreign("AMR"),
            _ if at(0, b"\x30\x26\xB2\x75") => Self::Foreign("WMA"),
            _ if at(0, b"caff") => Self::Foreign("CAF"),
            _ if at(0, b"ID3") => Self::Mp3,
            // Eleven bits set; the layer is zero in AAC alone.
            [0xFF, second, ..] if second & 0xF6 == 0xF0 => Self::Adts,
            [0xFF, second, ..] if second & 0xE0 == 0xE0 && second & 0x06 != 0 => Self::Mp3,
            _ => Self::Unknown,
        }
    }

    #[cfg(not(feature = "recordings"))]
    fn name(self) -> &'static str {
        match self {
            Self::Wav => "WAV",
            Self::WavCoded => "WAV that is not of plain samples",
            Self::Aiff => "AIFF",
            Self::Flac => "FLAC",
            Self::Vorbis => "OGG Vorbis",
            Self::Mp3 => "MP3",
            Self::Mp4 => "M4A/AAC",
            Self::Adts => "AAC",
            Self::Foreign(name) => name,
            Self::Unknown => "unknown",
        }
    }
}

/// A WAV file says first that its samples are neither integers nor floats, nor described further on.
fn is_coded(head: &[u8]) -> bool {
    match (head.get(12..16), head.get(20..22)) {
        (Some(b"fmt "), Some(&[low, high])) => {
            !matches!(u16::from_le_bytes([low, high]), 1 | 3 | 0xFFFE)
        }
        _ => false,
    }
}

/// Reads a recording. What kind it is its bytes say, not its name.
///
/// # Errors
/// See [`RecordingError`].
pub fn read_recording(path: &Path, limits: Limits) -> Result<Wav, RecordingError> {
    let open = |source| {
        RecordingError::Wav(WavError::Open {
            path: path.to_path_buf(),
            source,
        })
    };
    let file = File::open(path).map_err(open)?;
    if file.metadata().map_err(open)?.is_dir() {
        return Err(open(io::ErrorKind::IsADirectory.into()));
    }
    read_recording_from(file, limits)
}

/// The same from anything that can be wound back.
///
/// # Errors
/// See [`RecordingError`].
pub fn read_recording_from<R>(mut input: R, limits: Limits) -> Result<Wav, RecordingError>
where
    R: Read + Seek + Send + Sync + 'static,
{
    let mut head = Vec::with_capacity(SNIFFED);
    let io = |error| RecordingError::Wav(WavError::Read(error));
    input
        .by_ref()
        .take(SNIFFED as u64)
        .read_to_end(&mut head)
        .map_err(io)?;
    input.seek(SeekFrom::Start(0)).map_err(io)?;
    match Kind::of(&head) {
        Kind::Wav => wav(input, limits),
        Kind::Foreign(kind) => Err(RecordingError::Foreign { kind }),
        Kind::Unknown => Err(RecordingError::Unknown),
        kind @ (Kind::WavCoded
        | Kind::Aiff
        | Kind::Flac
        | Kind::Vorbis
        | Kind::Mp3
        | Kind::Mp4
        | Kind::Adts) => decoded(kind, input, limits),
    }
}

/// Plain samples are read here; other codings of them as the other kinds are.
fn wav<R>(mut input: R, limits: Limits) -> Result<Wav, RecordingError>
where
    R: Read + Seek + Send + Sync + 'static,
{
    match read_wav_from(BufReader::new(&mut input), limits) {
        #[cfg(feature = "recordings")]
        Err(WavError::Coding { .. }) => {
            input
                .seek(SeekFrom::Start(0))
                .map_err(|error| RecordingError::Wav(WavError::Read(error)))?;
            decode::decoded(Box::new(decode::Input::new(input)?), limits)
        }
        other => Ok(other?),
    }
}

#[cfg(feature = "recordings")]
fn decoded<R>(_: Kind, input: R, limits: Limits) -> Result<Wav, RecordingError>
where
    R: Read + Seek + Send + Sync + 'static,
{
    decode::decoded(Box::new(decode::Input::new(input)?), limits)
}

#[cfg(not(feature = "recordings"))]
fn decoded<R>(kind: Kind, _: R, _: Limits) -> Result<Wav, RecordingError> {
    Err(RecordingError::LeftOut { kind: kind.name() })
}
