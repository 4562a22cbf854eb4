//! Reading a WAV file whole: the chunks are found here, the samples decoded by `hound`.
//!
//! Recorders and telephones put chunks of their own before the sound, some of odd length; `hound`
//! loses its place at those, and cannot say how much of a cut file is left. So the chunks are walked
//! here first, and it is handed a clean file of the two that matter.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::Path;

use super::wav_error::WavError;
use crate::units::SampleRate;

/// No recording has more; a header that says so is broken.
const MAX_CHANNELS_READ: u16 = 32;

/// A `fmt ` chunk has 16, 18 or 40 bytes; more than this is not one.
const MAX_FMT_BYTES: u64 = 1024;

/// A recorder that writes to a pipe cannot come back to fill in the length and leaves this.
const UNKNOWN_LENGTH: u64 = u32::MAX as u64;

/// How much is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The longest sound, s.
    pub max_seconds: f64,
    /// The most samples, all channels together; 4 bytes of memory each.
    pub max_samples: u64,
}

impl Default for Limits {
    /// Two hours, and at most 2 GiB of memory.
    fn default() -> Self {
        Self {
            max_seconds: 7200.0,
            max_samples: 1 << 29,
        }
    }
}

/// A sound in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Wav {
    /// Frames a second.
    pub rate: SampleRate,
    /// At least 1.
    pub channels: u16,
    /// Channels interleaved; full scale is 1.0.
    pub samples: Vec<f32>,
}

impl Wav {
    /// Samples of each channel.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.samples.len() / usize::from(self.channels)
    }

    /// One channel by itself, from 0; empty when there is no such channel.
    #[must_use]
    pub fn channel(&self, index: u16) -> Vec<f32> {
        if index >= self.channels {
            return Vec::new();
        }
        let step = usize::from(self.channels);
        let first = usize::from(index);
        self.samples
            .iter()
            .skip(first)
            .step_by(step)
            .copied()
            .collect()
    }

    /// The mean of the channels.
    #[must_use]
    pub fn mono(&self) -> Vec<f32> {
        let channels = usize::from(self.channels);
        self.samples
            .chunks_exact(channels)
            .map(|frame| frame.iter().sum::<f32>() / channels as f32)
            .collect()
    }
}

/// Reads a WAV file of plain 8, 16, 24 or 32-bit integers or 32-bit floats, within [`Limits::default`].
///
/// # Errors
///
/// [`WavError::Open`], and as [`read_wav_from`].
pub fn read_wav(path: &Path) -> Result<Wav, WavError> {
    let open = |source| WavError::Open {
        path: path.to_path_buf(),
        source,
    };
    let file = File::open(path).map_err(open)?;
    if file.metadata().map_err(open)?.is_dir() {
        return Err(open(io::ErrorKind::IsADirectory.into()));
    }
    read_wav_from(BufReader::new(file), Limits::default())
}

/// Reads a WAV file from anything that can be wound back.
///
/// # Errors
///
/// [`WavError::Broken`], [`WavError::CutShort`], [`WavError::Coding`], [`WavError::OverLimit`],
/// [`WavError::Rate`], [`WavError::Channels`], [`WavError::NotFinite`] and [`WavError::Read`].
pub fn read_wav_from(mut input: impl Read + Seek, limits: Limits) -> Result<Wav, WavError> {
    let found = find_chunks(&mut input)?;
    let head = clean_header(&found.fmt, found.data_bytes);
    input
        .seek(SeekFrom::Start(found.data_at))
        .map_err(WavError::Read)?;
    let clean = Cursor::new(head).chain(input.take(found.data_bytes));
    let mut reader = hound::WavReader::new(clean).map_err(|e| from_hound(e, found.fmt_at))?;
    let spec = reader.spec();
    check(spec, reader.duration(), limits)?;
    let samples = decode(&mut reader, spec, found.data_at)?;
    if let Some(i) = samples.iter().position(|x| !x.is_finite()) {
        let channels = usize::from(spec.channels);
        return Err(WavError::NotFinite {
            frame: (i / channels) as u64,
            channel: (i % channels) as u16,
            value: samples[i],
        });
    }
    Ok(Wav {
        rate: SampleRate::from_hz(f64::from(spec.sample_rate)),
        channels: spec.channels,
        samples,
    })
}

fn check(spec: hound::WavSpec, frames: u32, limits: Limits) -> Result<(), WavError> {
    if spec.channels > MAX_CHANNELS_READ {
        return Err(WavError::Channels {
            channels: spec.channels,
            max: MAX_CHANNELS_READ,
        });
    }
    let rate_hz = f64::from(spec.sample_rate);
    // Wider than what is written: a recording at an odd rate is still a recording.
    let (min_hz, max_hz) = (1000.0, 768_000.0);
    if !(min_hz..=max_hz).contains(&rate_hz) {
        return Err(WavError::Rate {
            rate_hz,
            min_hz,
            max_hz,
        });
    }
    let most_frames = (limits.max_samples / u64::from(spec.channels)) as f64;
    let max_seconds = limits.max_seconds.min(most_frames / rate_hz);
    let seconds = f64::from(frames) / rate_hz;
    if seconds > max_seconds {
        return Err(WavError::OverLimit {
            seconds,
            max_seconds,
        });
    }
    Ok(())
}

fn decode<R: Read>(
    reader: &mut hound::WavReader<R>,
    spec: hound::WavSpec,
    data_at: u64,
) -> Result<Vec<f32>, WavError> {
    let read: Result<Vec<f32>, hound::Error> = match spec.sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().collect(),
        hound::SampleFormat::Int => {
            let full = 2f64.powi(i32::from(spec.bits_per_sample) - 1);
            reader
                .samples::<i32>()
                .map(|x| x.map(|x| (f64::from(x) / full) as f32))
                .collect()
        }
    };
    read.map_err(|e| from_hound(e, data_at))
}

fn from_hound(error: hound::Error, at_byte: u64) -> WavError {
    match error {
        hound::Error::FormatError(what) => WavError::Broken {
            what: what.to_owned(),
            at_byte,
        },
        hound::Error::Unsupported
        | hound::Error::InvalidSampleFormat
        | hound::Error::TooWide
        | hound::Error::UnfinishedSample => WavError::Coding {
            coding: "this coding of the samples".to_owned(),
        },
        // The lengths were checked, so this is the header being shorter than its kind needs.
        hound::Error::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => WavError::Broken {
            what: "a chunk ends early".to_owned(),
            at_byte,
        },
        hound::Error::IoError(e) => WavError::Read(e),
    }
}

struct Found {
    fmt: Vec<u8>,
    fmt_at: u64,
    data_at: u64,
    data_bytes: u64,
}

fn broken(what: &str, at_byte: u64) -> WavError {
    WavError::Broken {
        what: what.to_owned(),
        at_byte,
    }
}

/// Fills `buffer`, or says at which byte the file ended.
fn fill(input: &mut impl Read, buffer: &mut [u8], what: &str, at: u64) -> Result<(), WavError> {
    input.read_exact(buffer).map_err(|e| match e.kind() {
        io::ErrorKind::UnexpectedEof => broken(&format!("the file ends in {what}"), at),
        _ => WavError::Read(e),
    })
}

/// Walks the chunks up to the sound.
fn find_chunks(input: &mut (impl Read + Seek)) -> Result<Found, WavError> {
    let file_bytes = input.seek(SeekFrom::End(0)).map_err(WavError::Read)?;
    input.seek(SeekFrom::Start(0)).map_err(WavError::Read)?;
    check_riff(input)?;
    let mut at = 12;
    let mut fmt: Option<(Vec<u8>, u64)> = None;
    let mut long_bytes = None;
    loop {
        let mut head = [0; 8];
        let what = if fmt.is_some() {
            "its chunks, before any sound"
        } else {
            "its chunks, before a format"
        };
        fill(input, &mut head, what, at)?;
        let [kind @ .., _, _, _, _] = head;
        let len = u64::from(u32::from_le_bytes([head[4], head[5], head[6], head[7]]));
        let body = at + 8;
        match (&kind, fmt.take()) {
            (b"data", Some((fmt, fmt_at))) => {
                let promised = long_bytes.filter(|_| len == UNKNOWN_LENGTH).unwrap_or(len);
                let data_bytes = data_bytes(&fmt, promised, file_bytes.saturating_sub(body))?;
                return Ok(Found {
                    fmt,
                    fmt_at,
                    data_at: body,
                    data_bytes,
                });
            }
            (b"data", None) => return Err(broken("sound before its format", at)),
            (b"fmt ", _) => {
                if len > MAX_FMT_BYTES {
                    return Err(broken(&format!("a format of {len} bytes"), at));
                }
                let mut bytes = vec![0; len as usize];
                fill(input, &mut bytes, "its format", body)?;
                fmt = Some((bytes, at));
            }
            (b"ds64", before) => {
                fmt = before;
                // Lengths of 64 bits: of the whole, then of the sound.
                let mut lengths = [0; 16];
                fill(input, &mut lengths, "its long lengths", body)?;
                let [_, _, _, _, _, _, _, _, sound @ ..] = lengths;
                long_bytes = Some(u64::from_le_bytes(sound));
            }
            (_, before) => fmt = before,
        }
        // A chunk of odd length is followed by a byte that its length leaves out.
        at = body + len + len % 2;
        input.seek(SeekFrom::Start(at)).map_err(WavError::Read)?;
    }
}

fn check_riff(input: &mut impl Read) -> Result<(), WavError> {
    let mut riff = [0; 12];
    fill(input, &mut riff, "its first 12 bytes", 0)?;
    match (&riff[..4], &riff[8..]) {
        (b"RIFF" | b"RF64" | b"BW64", b"WAVE") => Ok(()),
        (b"RF64" | b"BW64" | b"RIFX", _) => Err(WavError::Coding {
            coding: format!("a {} file", String::from_utf8_lossy(&riff[..4])),
        }),
        _ => Err(broken("it does not begin with RIFF and WAVE", 0)),
    }
}

/// How much sound there is, in whole frames.
fn data_bytes(fmt: &[u8], promised_bytes: u64, found_bytes: u64) -> Result<u64, WavError> {
    if promised_bytes <= found_bytes {
        return Ok(promised_bytes);
    }
    if promised_bytes == UNKNOWN_LENGTH {
        let frame_bytes = match fmt.get(12..14) {
            Some(&[low, high]) => u64::from(u16::from_le_bytes([low, high])).max(1),
            _ => 1,
        };
        return Ok(found_bytes - found_bytes % frame_bytes);
    }
    Err(WavError::CutShort {
        promised_bytes,
        found_bytes,
    })
}

/// The start of a WAV file of just this format and this much sound.
fn clean_header(fmt: &[u8], data_bytes: u64) -> Vec<u8> {
    let len = |bytes: u64| (bytes.min(u64::from(u32::MAX)) as u32).to_le_bytes();
    let mut head = Vec::with_capacity(64);
    head.extend_from_slice(b"RIFF");
    head.extend_from_slice(&len(20 + fmt.len() as u64 + data_bytes));
    head.extend_from_slice(b"WAVEfmt ");
    head.extend_from_slice(&len(fmt.len() as u64));
    head.extend_from_slice(fmt);
    head.extend_from_slice(b"data");
    head.extend_from_slice(&len(data_bytes));
    head
}
