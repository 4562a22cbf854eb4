//! WAV files: written block by block in flat memory, atomically; read whole, with limits.
//!
//! Full scale, 1.0 here, is 2¹⁵ in 16-bit and 2²³ in 24-bit files, in both directions, so that a file
//! read and written again in its own format is the same. What is louder than the format can hold is
//! clamped, never wrapped round. 16-bit samples are dithered; the noise is seeded, so one seed makes
//! one file.

use std::io::{self, Cursor, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::atomic::{AtomicFile, Kept, Overwrite, WriteError};
use super::block::{BLOCK_BYTES, Block, SMALL_BLOCK_BYTES};
use super::dither::Dither;
use super::int24;
use crate::units::SampleRate;

pub use super::wav_error::WavError;
pub use super::wav_read::{Limits, Wav, read_wav, read_wav_from};

/// Sample rates that players and editors agree on, Hz. Common practice, no source.
pub const RATES_HZ: std::ops::RangeInclusive<f64> = 8_000.0..=192_000.0;

/// The most channels that are written; the sound here is mono or stereo.
pub const MAX_CHANNELS: u16 = 2;

/// The length field of a WAV file has 32 bits and counts what follows it, header included.
const MAX_FILE_BYTES: u64 = u32::MAX as u64 + 8;

/// Headers, the pad byte and room to spare, bytes.
const HEADER_ALLOWANCE_BYTES: u64 = 128;

const SECONDS_PER_HOUR: f64 = 3600.0;

/// How a sample is stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Bits {
    /// 16-bit integers with dither: what everything plays.
    Int16,
    /// 24-bit integers: for further work; its steps are below any microphone's noise.
    #[default]
    Int24,
    /// 32-bit floating point: exactly the samples that were computed, louder than full scale too.
    Float32,
}

impl Bits {
    /// Bits a sample.
    #[must_use]
    pub const fn count(self) -> u16 {
        match self {
            Self::Int16 => 16,
            Self::Int24 => 24,
            Self::Float32 => 32,
        }
    }
}

/// What a WAV file is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WavFormat {
    /// Frames a second; a whole number in [`RATES_HZ`].
    pub rate: SampleRate,
    /// How a sample is stored.
    pub bits: Bits,
    /// 1 or 2.
    pub channels: u16,
}

impl WavFormat {
    /// Stereo, 24 bits.
    #[must_use]
    pub const fn stereo(rate: SampleRate) -> Self {
        Self {
            rate,
            bits: Bits::Int24,
            channels: 2,
        }
    }

    const fn frame_bytes(self) -> u64 {
        self.channels as u64 * self.bits.count() as u64 / 8
    }

    /// The longest sound that fits, frames.
    #[must_use]
    pub const fn max_frames(self) -> u64 {
        (MAX_FILE_BYTES - HEADER_ALLOWANCE_BYTES) / self.frame_bytes()
    }

    /// Refuses a sound of `frames` that would not fit, so that nobody renders for an hour to hear it.
    ///
    /// # Errors
    ///
    /// [`WavError::TooLong`].
    pub fn check_length(self, frames: u64) -> Result<(), WavError> {
        let hours = |frames: u64| frames as f64 / self.rate.hz() / SECONDS_PER_HOUR;
        if frames <= self.max_frames() {
            return Ok(());
        }
        Err(WavError::TooLong {
            hours: hours(frames),
            max_hours: hours(self.max_frames()),
        })
    }

    /// The rate as the header wants it, once the format has been found sound.
    fn checked_rate(self) -> Result<u32, WavError> {
        let rate_hz = self.rate.hz();
        if !RATES_HZ.contains(&rate_hz) || rate_hz.fract() != 0.0 {
            return Err(WavError::Rate {
                rate_hz,
                min_hz: *RATES_HZ.start(),
                max_hz: *RATES_HZ.end(),
            });
        }
        if !(1..=MAX_CHANNELS).contains(&self.channels) {
            return Err(WavError::Channels {
                channels: self.channels,
                max: MAX_CHANNELS,
            });
        }
        Ok(rate_hz as u32)
    }
}

/// A WAV file being written; it appears at [`finish`](Self::finish). Dropped before, it leaves nothing,
/// and the old file as it was.
///
/// ```
/// use ullage::file::{atomic::Overwrite, wav::{WavFormat, WavSink, read_wav}};
/// use ullage::units::SampleRate;
/// # let folder = tempfile::tempdir().unwrap();
/// let path = folder.path().join("tone.wav");
/// let format = WavFormat::stereo(SampleRate::from_hz(48_000.0));
/// let mut sink = WavSink::create(&path, format, Overwrite::No)?;
/// sink.write_block(&[0.0, 0.5], &[0.0, -0.5])?;
/// sink.finish()?;
/// assert_eq!(read_wav(&path)?.samples, [0.0, 0.0, 0.5, -0.5]);
/// # Ok::<(), ullage::file::wav::WavError>(())
/// ```
#[derive(Debug)]
pub struct WavSink {
    encoder: Encoder<AtomicFile>,
    path: PathBuf,
    interleaved: Vec<f32>,
}

impl WavSink {
    /// Opens the file to be, refusing at once what can be refused.
    ///
    /// # Errors
    ///
    /// [`WavError::Rate`], [`WavError::Channels`], and [`WavError::Write`] with the reasons of
    /// [`AtomicFile::create`].
    pub fn create(path: &Path, format: WavFormat, overwrite: Overwrite) -> Result<Self, WavError> {
        Self::in_blocks((path, format, overwrite), BLOCK_BYTES)
    }

    /// One of many that are written side by side, each with less memory.
    ///
    /// # Errors
    ///
    /// As [`Self::create`].
    pub(crate) fn create_among(
        path: &Path,
        format: WavFormat,
        overwrite: Overwrite,
    ) -> Result<Self, WavError> {
        Self::in_blocks((path, format, overwrite), SMALL_BLOCK_BYTES)
    }

    fn in_blocks(
        (path, format, overwrite): (&Path, WavFormat, Overwrite),
        block_bytes: usize,
    ) -> Result<Self, WavError> {
        format.checked_rate()?;
        let file = AtomicFile::create(path, overwrite)?.past_cache();
        let encoder = Encoder::new(file, format, block_bytes).map_err(|e| e.at(path))?;
        Ok(Self {
            encoder,
            path: path.to_path_buf(),
            interleaved: Vec::new(),
        })
    }

    /// Sets the seed of the 16-bit dither; 0 unless this is called.
    #[must_use]
    pub fn with_dither_seed(mut self, seed: u64) -> Self {
        self.encoder.dither = Dither::seeded(seed);
        self
    }

    /// What the file is made of.
    #[must_use]
    pub const fn format(&self) -> WavFormat {
        self.encoder.format
    }

    /// Frames taken so far.
    #[must_use]
    pub const fn frames(&self) -> u64 {
        self.encoder.frames
    }

    /// The folder that the file will be in.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.encoder.out.folder()
    }

    /// Adds a block of a stereo file, any length. A mono file takes the mean of the two.
    ///
    /// # Errors
    ///
    /// [`WavError::Uneven`], [`WavError::NotFinite`], [`WavError::TooLong`], [`WavError::Write`].
    pub fn write_block(&mut self, left: &[f32], right: &[f32]) -> Result<(), WavError> {
        if left.len() != right.len() {
            return Err(WavError::Uneven {
                left: left.len(),
                right: right.len(),
            });
        }
        let channels = self.encoder.format.channels;
        frames_of((left, right), channels, &mut self.interleaved);
        let written = self.encoder.write(&self.interleaved);
        written.map_err(|e| e.at(&self.path))
    }

    /// Adds whole frames, channels interleaved.
    ///
    /// # Errors
    ///
    /// [`WavError::Ragged`], [`WavError::NotFinite`], [`WavError::TooLong`], [`WavError::Write`].
    pub fn write_frames(&mut self, interleaved: &[f32]) -> Result<(), WavError> {
        let channels = self.encoder.format.channels;
        if !interleaved.len().is_multiple_of(usize::from(channels)) {
            return Err(WavError::Ragged {
                samples: interleaved.len(),
                channels,
            });
        }
        let path = &self.path;
        self.encoder.write(interleaved).map_err(|e| e.at(path))
    }

    /// Adds one sound to a stereo file, placed between its sides: what of it goes to the left and to the right.
    ///
    /// # Errors
    ///
    /// [`WavError::Ragged`] in a mono file, [`WavError::NotFinite`], [`WavError::TooLong`], [`WavError::Write`].
    pub fn write_placed(&mut self, sound: &[f32], sides: [f32; 2]) -> Result<(), WavError> {
        let format = self.encoder.format;
        if format.channels == 2 && format.bits == Bits::Int24 {
            let written = self.encoder.write_placed(sound, sides);
            return written.map_err(|e| e.at(&self.path));
        }
        let mut interleaved = std::mem::take(&mut self.interleaved);
        interleaved.resize(2 * sound.len(), 0.0);
        place((sound, sides), false, &mut interleaved);
        let written = self.write_frames(&interleaved);
        self.interleaved = interleaved;
        written
    }

    /// Completes the header and gives the file its name.
    ///
    /// # Errors
    ///
    /// [`WavError::Write`]; the old file is whole after it.
    pub fn finish(self) -> Result<(), WavError> {
        Ok(self.complete()?.commit()?)
    }

    /// Completes the header and puts all of it on the disk; it has no name yet.
    pub(crate) fn keep(self) -> Result<Kept, WavError> {
        Ok(self.complete()?.keep()?)
    }

    fn complete(self) -> Result<AtomicFile, WavError> {
        self.encoder.finish().map_err(|e| e.at(&self.path))
    }
}

/// A failure before it is known which file it belongs to.
#[derive(Debug)]
enum EncodeError {
    Io(io::Error),
    Wav(WavError),
}

impl EncodeError {
    fn at(self, path: &Path) -> WavError {
        match self {
            Self::Io(e) => WavError::Write(WriteError::from_io(path, e)),
            Self::Wav(e) => e,
        }
    }
}

impl From<io::Error> for EncodeError {
    fn from(e: io::Error) -> Self {
        Self::Io(e)
    }
}

/// The WAV bytes of a stream of samples, to anything that can be written to and wound back.
///
/// `hound` makes the header. The samples are packed here: its sample-by-sample writer, with its check
/// of every write, costs five times as much.
#[derive(Debug)]
struct Encoder<W> {
    out: W,
    format: WavFormat,
    header_bytes: u64,
    frames: u64,
    block: Block,
    /// Where in the file the block begins, bytes.
    at: u64,
    /// The file has not come so far: there were zeros only.
    is_behind: bool,
    dither: Dither,
}

impl<W: Write + Seek> Encoder<W> {
    fn new(out: W, format: WavFormat, block_bytes: usize) -> Result<Self, EncodeError> {
        let header = empty_wav(format)?;
        let mut block = Block::new(block_bytes);
        block.more(header.len()).copy_from_slice(&header);
        Ok(Self {
            out,
            format,
            header_bytes: header.len() as u64,
            frames: 0,
            block,
            at: 0,
            is_behind: false,
            dither: Dither::seeded(0),
        })
    }

    /// Packs whole frames.
    fn write(&mut self, samples: &[f32]) -> Result<(), EncodeError> {
        let channels = usize::from(self.format.channels);
        let frames = self.frames + (samples.len() / channels) as u64;
        self.format.check_length(frames).map_err(EncodeError::Wav)?;
        // Looked at before anything is written: a block is taken whole or refused whole.
        let highest = highest(samples);
        if !highest.is_finite() {
            return Err(self.not_finite(samples.iter().copied()));
        }
        if highest == 0.0 {
            return self.write_silence(frames - self.frames);
        }
        match self.format.bits {
            Bits::Int16 => {
                let mut dither = self.dither.clone();
                self.pack::<2>(samples, |samples, places| {
                    for (place, x) in places.iter_mut().zip(samples) {
                        *place = dither.next_int16(*x).to_le_bytes();
                    }
                })?;
                self.dither = dither;
            }
            Bits::Int24 => self.pack(samples, int24::pack)?,
            Bits::Float32 => self.pack(samples, |samples, places| {
                for (place, x) in places.iter_mut().zip(samples) {
                    *place = x.to_le_bytes();
                }
            })?,
        }
        self.frames = frames;
        Ok(())
    }

    /// Packs a sound for both sides at once, in 24 bits.
    fn write_placed(&mut self, sound: &[f32], sides: [f32; 2]) -> Result<(), EncodeError> {
        let frames = self.frames + sound.len() as u64;
        self.format.check_length(frames).map_err(EncodeError::Wav)?;
        let highest = highest(sound) * sides[0].abs().max(sides[1].abs());
        if !highest.is_finite() {
            let both = sound.iter().flat_map(|x| sides.map(|side| side * x));
            return Err(self.not_finite(both));
        }
        if highest == 0.0 {
            return self.write_silence(sound.len() as u64);
        }
        self.pack(sound, |sound, places| {
            int24::pack_placed(sound, sides, places);
        })?;
        self.frames = frames;
        Ok(())
    }

    /// The first of the next samples that is no number.
    fn not_finite(&self, mut samples: impl Iterator<Item = f32> + Clone) -> EncodeError {
        let channels = u64::from(self.format.channels);
        let place = samples.clone().position(|x| !x.is_finite()).unwrap_or(0);
        EncodeError::Wav(WavError::NotFinite {
            frame: self.frames + place as u64 / channels,
            channel: (place as u64 % channels) as u16,
            value: samples.nth(place).unwrap_or(f32::NAN),
        })
    }

    /// Frames of silence.
    fn write_silence(&mut self, frames: u64) -> Result<(), EncodeError> {
        let left = frames * self.format.frame_bytes();
        let samples = frames * u64::from(self.format.channels);
        self.dither.pass_over(samples);
        self.zeros(left)?;
        self.frames += frames;
        Ok(())
    }

    /// Packs samples in loops that ask for no room: asking at every one costs more than packing.
    fn pack<const N: usize>(
        &mut self,
        mut samples: &[f32],
        mut fill: impl FnMut(&[f32], &mut [[u8; N]]),
    ) -> io::Result<()> {
        while !samples.is_empty() {
            let room = self.block.left().div_ceil(N).min(samples.len());
            let (now, later) = samples.split_at(room);
            fill(now, self.block.more(N * room).as_chunks_mut().0);
            samples = later;
            self.write_if_full()?;
        }
        Ok(())
    }

    fn zeros(&mut self, mut left: u64) -> io::Result<()> {
        while left > 0 {
            let now = left.min(self.block.left() as u64) as usize;
            if now == self.block.size() {
                self.pass_over();
            } else {
                self.block.more(now).fill(0);
                self.write_if_full()?;
            }
            left -= now as u64;
        }
        Ok(())
    }

    fn write_if_full(&mut self) -> io::Result<()> {
        if self.block.left() > 0 {
            return Ok(());
        }
        if self.block.is_silent() {
            self.pass_over();
        } else {
            self.catch_up()?;
            self.out.write_all(self.block.filled())?;
            self.at += self.block.size() as u64;
        }
        self.block.next();
        Ok(())
    }

    /// Leaves a block of zeros out: what is never written of a file is zeros, and most file systems keep nothing for it.
    fn pass_over(&mut self) {
        self.at += self.block.size() as u64;
        self.is_behind = true;
    }

    /// Goes to where the block begins.
    fn catch_up(&mut self) -> io::Result<()> {
        if std::mem::take(&mut self.is_behind) {
            self.out.seek(SeekFrom::Start(self.at))?;
        }
        Ok(())
    }

    fn finish(mut self) -> Result<W, EncodeError> {
        let data_bytes = self.frames * self.format.frame_bytes();
        let pad_bytes = data_bytes % 2;
        if pad_bytes == 1 {
            // A chunk of odd length is followed by a byte that its own length leaves out, while the
            // file's includes it. Some readers lose their place without it.
            self.block.more(1).fill(0);
            self.write_if_full()?;
        }
        if self.block.filled().is_empty() && self.is_behind {
            // The file is as long as what was written last reaches.
            self.at -= 1;
            self.block.more(1).fill(0);
        }
        self.catch_up()?;
        self.out.write_all(self.block.filled())?;
        let file_bytes = self.header_bytes + data_bytes + pad_bytes;
        let len = |bytes: u64| u32::try_from(bytes).expect("check_length keeps it under 4 GiB");
        self.out.seek(SeekFrom::Start(4))?;
        self.out.write_all(&len(file_bytes - 8).to_le_bytes())?;
        self.out.seek(SeekFrom::Start(self.header_bytes - 4))?;
        self.out.write_all(&len(data_bytes).to_le_bytes())?;
        self.out.flush()?;
        Ok(self.out)
    }
}

/// Lays two channels side by side, or their mean if there is but one.
pub(super) fn frames_of((left, right): (&[f32], &[f32]), channels: u16, frames: &mut Vec<f32>) {
    let count = left.len().min(right.len());
    let both = left.iter().zip(right);
    frames.clear();
    if channels == 2 {
        frames.resize(2 * count, 0.0);
        let (places, _) = frames.as_chunks_mut::<2>();
        for (place, (&l, &r)) in places.iter_mut().zip(both) {
            *place = [l, r];
        }
    } else {
        frames.extend(both.map(|(&l, &r)| 0.5 * (l + r)));
    }
}

/// Puts or adds, to frames of two channels, what of a sound goes to the left and to the right.
#[multiversion::multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(crate) fn place((sound, sides): (&[f32], [f32; 2]), adds: bool, frames: &mut [f32]) {
    let ([left, right], (frames, _)) = (sides, frames.as_chunks_mut());
    for (both, sample) in frames.iter_mut().zip(sound) {
        let [to_left, to_right] = if adds { *both } else { [0.0; 2] };
        *both = [to_left + left * sample, to_right + right * sample];
    }
}

/// The largest magnitude; one that is not finite if one is not. Those of numbers are in the order of their bits, of which the
/// compiler makes vectors, and infinity's come after them.
#[multiversion::multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn highest(samples: &[f32]) -> f32 {
    let bits = samples.iter().map(|x| x.abs().to_bits().cast_signed());
    f32::from_bits(bits.fold(0, i32::max).cast_unsigned())
}

/// The first sample that is no number. All are looked at side by side before one is looked for.
pub(super) fn first_not_finite(samples: &[f32]) -> Option<usize> {
    let any = !highest(samples).is_finite();
    any.then(|| samples.iter().position(|x| !x.is_finite()))?
}

/// A WAV file of this format with no sound in it: the header, ending in the length of its data.
fn empty_wav(format: WavFormat) -> Result<Vec<u8>, EncodeError> {
    let spec = hound::WavSpec {
        channels: format.channels,
        sample_rate: format.checked_rate().map_err(EncodeError::Wav)?,
        bits_per_sample: format.bits.count(),
        sample_format: match format.bits {
            Bits::Float32 => hound::SampleFormat::Float,
            Bits::Int16 | Bits::Int24 => hound::SampleFormat::Int,
        },
    };
    let mut header = Cursor::new(Vec::new());
    hound::WavWriter::new(&mut header, spec)
        .and_then(hound::WavWriter::finalize)
        .map_err(|e| EncodeError::Io(io::Error::other(e)))?;
    Ok(header.into_inner())
}

#[cfg(test)]
#[path = "wav_tests.rs"]
mod tests;
