//! Bringing a rendering to a stated loudness under a stated peak, in two passes and flat memory.
//!
//! How loud a sound is can be told only when all of it is there. So it is measured while it goes to an
//! unnamed file, in 32-bit float, and then copied with one gain: the gain that makes the loudness the
//! target, or the one that brings the true peak to the ceiling, whichever is less. Nothing is
//! compressed or limited; a sound with few high peaks stays below the target, and the result says so.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::panic::resume_unwind;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::{self, JoinHandle};

use serde::Serialize;

use super::atomic::{Overwrite, WriteError};
use super::loudness::{Loudness, LoudnessError, Meter};
use super::wav::{self, WavError, WavFormat, WavSink};
use crate::units::Level;

/// Taken off the gain when the peak decides it, so that rounding and dither, 1.5 steps of 16 bits at
/// most, cannot take the peak over the ceiling. Inaudible: 0.1 %.
const CEILING_MARGIN_DB: f64 = 0.01;

/// Below this the standard's gate at −70 LUFS may have left out blocks that a gain would bring in, and
/// loudness no longer moves with the gain one for one.
const GATE_TOUCHES_BELOW_LUFS: f64 = -58.0;

/// How near the target is near enough, LU; a tenth of what a meter shows.
const CLOSE_LU: f64 = 0.01;

/// Frames measured, spooled and copied at a time.
const BLOCK_FRAMES: usize = 8_192;

/// Blocks of them that may wait to be measured or written.
const AHEAD: usize = 4;

/// Bytes of a spooled sample.
const SAMPLE_BYTES: usize = size_of::<f32>();

/// Why a rendering could not be mastered.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MasterError {
    /// The file could not be written, or a sample cannot be.
    #[error(transparent)]
    Wav(#[from] WavError),
    /// The loudness could not be measured.
    #[error(transparent)]
    Loudness(#[from] LoudnessError),
    /// A target that is no loudness.
    #[error("a loudness of {lufs} LUFS is outside {min_lufs} to {max_lufs} LUFS")]
    Target {
        /// The target, LUFS.
        lufs: f64,
        /// The lowest, LUFS.
        min_lufs: f64,
        /// The highest, LUFS.
        max_lufs: f64,
    },
    /// A ceiling above full scale, or no number.
    #[error("a peak of {dbtp} dBTP is outside {min_dbtp} to {max_dbtp} dBTP")]
    Ceiling {
        /// The ceiling, dBTP.
        dbtp: f64,
        /// The lowest, dBTP.
        min_dbtp: f64,
        /// The highest, dBTP.
        max_dbtp: f64,
    },
}

/// What the file should be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MasterSpec {
    /// What the file is made of.
    pub format: WavFormat,
    /// Integrated loudness, LUFS, from −60 to −5.
    pub target_lufs: f64,
    /// The highest true peak, dBTP, from −40 to 0.
    pub ceiling_dbtp: f64,
    /// Seed of the 16-bit dither.
    pub dither_seed: u64,
}

impl MasterSpec {
    /// −20 LUFS, true peak −1 dBTP. The ceiling is that of EBU R 128; the loudness is our choice, 3 LU
    /// above what R 128 asks of broadcasts, so that struck bottles with their sharp attack mostly reach it.
    #[must_use]
    pub const fn new(format: WavFormat) -> Self {
        Self {
            format,
            target_lufs: -20.0,
            ceiling_dbtp: -1.0,
            dither_seed: 0,
        }
    }

    fn checked(self) -> Result<Self, MasterError> {
        let (min_lufs, max_lufs) = (-60.0, -5.0);
        if !(min_lufs..=max_lufs).contains(&self.target_lufs) {
            return Err(MasterError::Target {
                lufs: self.target_lufs,
                min_lufs,
                max_lufs,
            });
        }
        let (min_dbtp, max_dbtp) = (-40.0, 0.0);
        if !(min_dbtp..=max_dbtp).contains(&self.ceiling_dbtp) {
            return Err(MasterError::Ceiling {
                dbtp: self.ceiling_dbtp,
                min_dbtp,
                max_dbtp,
            });
        }
        Ok(self)
    }
}

/// What was done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Mastered {
    /// Loudness as rendered, LUFS; `None` when nothing in it is above −70 LUFS.
    pub lufs_before: Option<f64>,
    /// The gain, dB; 0 where there was no loudness to measure and no peak to hold.
    pub gain_db: f64,
    /// Loudness of the file, LUFS.
    pub lufs_after: Option<f64>,
    /// True peak of the file, dBTP; `None` for silence.
    pub true_peak_db: Option<f64>,
    /// The peak decided the gain: the file is quieter than the target, and only a limiter could
    /// bring it up.
    pub held_by_peak: bool,
    /// Length of the file, frames.
    pub frames: u64,
}

/// A rendering on its way to a file of a stated loudness. The file appears at
/// [`finish`](Self::finish); dropped before, it leaves nothing behind, and the old file whole.
///
/// ```
/// use ullage::file::{atomic::Overwrite, master::{MasterSpec, Mastering}, wav::WavFormat};
/// use ullage::units::SampleRate;
/// # let folder = tempfile::tempdir().unwrap();
/// let path = folder.path().join("tone.wav");
/// let spec = MasterSpec::new(WavFormat::stereo(SampleRate::from_hz(48_000.0)));
/// let mut mastering = Mastering::begin(&path, spec, Overwrite::No)?;
/// for block in 0..750 {
///     let tone: Vec<f32> = (0..64).map(|i| ((block * 64 + i) as f32 * 0.06).sin() * 0.01).collect();
///     mastering.push(&tone, &tone)?;
/// }
/// let done = mastering.finish()?;
/// assert!((done.lufs_after.unwrap() - -20.0).abs() < 0.1);
/// # Ok::<(), ullage::file::master::MasterError>(())
/// ```
#[derive(Debug)]
pub struct Mastering {
    spec: MasterSpec,
    sink: WavSink,
    spool: Spool,
    listener: Listener,
    frames: u64,
    interleaved: Vec<f32>,
    /// Has yet to be measured and spooled.
    block: Vec<f32>,
}

impl Mastering {
    /// Opens the file and the spool beside it, which takes 4 bytes a sample until the end. What can
    /// be refused is refused here, before anything is rendered.
    ///
    /// # Errors
    ///
    /// [`MasterError::Target`], [`MasterError::Ceiling`], and as [`WavSink::create`].
    pub fn begin(path: &Path, spec: MasterSpec, overwrite: Overwrite) -> Result<Self, MasterError> {
        let spec = spec.checked()?;
        let sink =
            WavSink::create(path, spec.format, overwrite)?.with_dither_seed(spec.dither_seed);
        // In the target's folder: the system's own temporary folder is often memory.
        let spool = Spool::create(sink.folder(), path)?;
        let meter = Meter::new(spec.format.rate, spec.format.channels)?;
        Ok(Self {
            spec,
            sink,
            spool,
            listener: Listener::new(meter),
            frames: 0,
            interleaved: Vec::new(),
            block: Vec::new(),
        })
    }

    /// Takes a block of any length. A mono file takes the mean of the two channels.
    ///
    /// # Errors
    ///
    /// [`WavError::Uneven`], [`WavError::NotFinite`], [`WavError::TooLong`], [`WavError::Write`].
    pub fn push(&mut self, left: &[f32], right: &[f32]) -> Result<(), MasterError> {
        if left.len() != right.len() {
            return Err(MasterError::Wav(WavError::Uneven {
                left: left.len(),
                right: right.len(),
            }));
        }
        let both = (left, right);
        let format = self.spec.format;
        wav::frames_of(both, format.channels, &mut self.interleaved);
        let frames = self.frames + left.len() as u64;
        format.check_length(frames)?;
        if let Some(i) = wav::first_not_finite(&self.interleaved) {
            let channels = usize::from(format.channels);
            return Err(MasterError::Wav(WavError::NotFinite {
                frame: self.frames + (i / channels) as u64,
                channel: (i % channels) as u16,
                value: self.interleaved[i],
            }));
        }
        self.frames = frames;
        self.block.extend_from_slice(&self.interleaved);
        if self.block.len() >= block_samples(format) {
            self.pass_on()?;
        }
        Ok(())
    }

    /// Spools a block, and has it measured.
    fn pass_on(&mut self) -> Result<(), MasterError> {
        let room = Vec::with_capacity(self.block.len());
        let block = std::mem::replace(&mut self.block, room);
        let spooled = self.spool.push(&block);
        self.listener.hear(block);
        spooled
    }

    /// Finds the gain, writes the file and gives it its name.
    ///
    /// # Errors
    ///
    /// [`WavError::Write`]; the old file is whole after it.
    pub fn finish(mut self) -> Result<Mastered, MasterError> {
        self.pass_on()?;
        let before = self.listener.finish();
        let mut chosen = choose_gain(&self.spec, before, before, 0.0);
        if before
            .lufs
            .is_some_and(|lufs| lufs < GATE_TOUCHES_BELOW_LUFS)
        {
            chosen = settle_gain(&self.spec, &mut self.spool, before, chosen)?;
        }
        let gain = Level::from_db(chosen.gain_db).gain();
        let sink = &mut self.sink;
        self.spool.replay_ahead(
            self.spec.format,
            gain,
            |block| Ok(sink.write_frames(block)?),
        )?;
        let frames = self.sink.frames();
        self.sink.finish()?;
        Ok(Mastered {
            lufs_before: before.lufs,
            gain_db: chosen.gain_db,
            lufs_after: chosen.lufs_after,
            true_peak_db: before.true_peak_db().map(|db| db + chosen.gain_db),
            held_by_peak: chosen.held_by_peak,
            frames,
        })
    }
}

/// Renders into a file of a stated loudness: `render` is handed the [`Mastering`] and pushes blocks
/// into it. When it fails, its error is handed back and no file is left.
///
/// # Errors
///
/// As [`Mastering`], and whatever `render` returns.
pub fn master<E: From<MasterError>>(
    path: &Path,
    spec: MasterSpec,
    overwrite: Overwrite,
    render: impl FnOnce(&mut Mastering) -> Result<(), E>,
) -> Result<Mastered, E> {
    let mut mastering = Mastering::begin(path, spec, overwrite)?;
    render(&mut mastering)?;
    Ok(mastering.finish()?)
}

#[derive(Clone, Copy, Debug)]
struct Chosen {
    gain_db: f64,
    lufs_after: Option<f64>,
    held_by_peak: bool,
}

/// The gain for a sound that measured `now` with `applied_db` on it and peaked at `before` without.
fn choose_gain(spec: &MasterSpec, before: Loudness, now: Loudness, applied_db: f64) -> Chosen {
    // Without a loudness the sound is left as it is: to bring the last of a tail, or the noise of the
    // arithmetic, up to full level would be worse than silence.
    let wanted_db = now
        .lufs
        .map_or(0.0, |lufs| applied_db + spec.target_lufs - lufs);
    let most_db = before.true_peak_db().map_or(f64::INFINITY, |db| {
        spec.ceiling_dbtp - CEILING_MARGIN_DB - db
    });
    let gain_db = wanted_db.min(most_db);
    Chosen {
        gain_db,
        lufs_after: now.lufs.map(|lufs| lufs + gain_db - applied_db),
        held_by_peak: most_db < wanted_db,
    }
}

/// Measures the spooled sound again with the gain on it, until what the gate lets through no longer
/// changes.
fn settle_gain(
    spec: &MasterSpec,
    spool: &mut Spool,
    before: Loudness,
    mut chosen: Chosen,
) -> Result<Chosen, MasterError> {
    const MAX_ROUNDS: usize = 6;
    for _ in 0..MAX_ROUNDS {
        let applied_db = chosen.gain_db;
        let mut meter = Meter::new(spec.format.rate, spec.format.channels)?;
        let gain = Level::from_db(applied_db).gain();
        spool.replay(spec.format, gain, |block| {
            meter.add_frames(&block);
            Ok(())
        })?;
        chosen = choose_gain(spec, before, meter.finish(), applied_db);
        if (chosen.gain_db - applied_db).abs() < CLOSE_LU {
            break;
        }
    }
    Ok(chosen)
}

/// Measures on a thread of its own, a few blocks behind.
#[derive(Debug)]
struct Listener {
    blocks: SyncSender<Vec<f32>>,
    thread: JoinHandle<Meter>,
}

impl Listener {
    fn new(mut meter: Meter) -> Self {
        let (blocks, heard) = sync_channel::<Vec<f32>>(AHEAD);
        let listen = move || {
            for block in heard {
                meter.add_frames(&block);
            }
            meter
        };
        Self {
            blocks,
            thread: thread::spawn(listen),
        }
    }

    fn hear(&self, block: Vec<f32>) {
        // Nobody hears it only after a panic, which `finish` passes on.
        let _ = self.blocks.send(block);
    }

    fn finish(self) -> Loudness {
        drop(self.blocks);
        let meter = self.thread.join();
        meter.unwrap_or_else(|panic| resume_unwind(panic)).finish()
    }
}

/// Samples on their way, in a file that has no name and is gone when we are, however we go.
#[derive(Debug)]
struct Spool {
    file: File,
    /// The file that this is for, for messages.
    path: PathBuf,
    samples: u64,
    bytes: Vec<u8>,
}

impl Spool {
    fn create(folder: &Path, path: &Path) -> Result<Self, MasterError> {
        let file = tempfile::tempfile_in(folder).map_err(|e| at(path, e))?;
        Ok(Self {
            file,
            path: path.to_path_buf(),
            samples: 0,
            bytes: Vec::new(),
        })
    }

    fn push(&mut self, samples: &[f32]) -> Result<(), MasterError> {
        self.bytes.resize(samples.len() * SAMPLE_BYTES, 0);
        let (places, _) = self.bytes.as_chunks_mut::<SAMPLE_BYTES>();
        for (place, x) in places.iter_mut().zip(samples) {
            *place = x.to_le_bytes();
        }
        let written = self.file.write_all(&self.bytes);
        written.map_err(|e| at(&self.path, e))?;
        self.samples += samples.len() as u64;
        Ok(())
    }

    /// As [`Self::replay`], but reads on a thread of its own, a few blocks ahead of `take`.
    fn replay_ahead(
        &mut self,
        format: WavFormat,
        gain: f64,
        mut take: impl FnMut(&[f32]) -> Result<(), MasterError>,
    ) -> Result<(), MasterError> {
        let path = self.path.clone();
        thread::scope(|scope| {
            let (sender, blocks) = sync_channel(AHEAD);
            scope.spawn(move || {
                let replayed = self.replay(format, gain, |block| {
                    // Whoever takes has given up, and knows why.
                    let nobody = |_| at(&path, io::ErrorKind::BrokenPipe.into());
                    sender.send(Ok(block)).map_err(nobody)
                });
                if let Err(error) = replayed {
                    let _ = sender.send(Err(error));
                }
            });
            blocks
                .into_iter()
                .try_for_each(|block: Result<Vec<f32>, MasterError>| take(&block?))
        })
    }

    /// Hands out all of it from the start, times `gain`, in blocks of whole frames.
    fn replay(
        &mut self,
        format: WavFormat,
        gain: f64,
        mut take: impl FnMut(Vec<f32>) -> Result<(), MasterError>,
    ) -> Result<(), MasterError> {
        let Self { file, path, .. } = self;
        file.seek(SeekFrom::Start(0)).map_err(|e| at(path, e))?;
        let mut left = self.samples;
        let block_samples = block_samples(format);
        let mut bytes = vec![0; block_samples * SAMPLE_BYTES];
        while left > 0 {
            let samples = left.min(block_samples as u64) as usize;
            let bytes = &mut bytes[..samples * SAMPLE_BYTES];
            file.read_exact(bytes).map_err(|e| at(path, e))?;
            let (raw, _) = bytes.as_chunks::<SAMPLE_BYTES>();
            let louder = |b: &[u8; SAMPLE_BYTES]| (f64::from(f32::from_le_bytes(*b)) * gain) as f32;
            take(raw.iter().map(louder).collect())?;
            left -= samples as u64;
        }
        Ok(())
    }
}

const fn block_samples(format: WavFormat) -> usize {
    BLOCK_FRAMES * format.channels as usize
}

fn at(path: &Path, error: io::Error) -> MasterError {
    MasterError::Wav(WavError::Write(WriteError::from_io(path, error)))
}
