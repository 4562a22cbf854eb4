//! How loud a sound is, and how high it peaks between its samples.
//!
//! Integrated loudness by ITU-R BS.1770 (EBU R 128), through the `ebur128` crate: power after a filter
//! that follows the ear, in overlapping 400 ms blocks, leaving out those below −70 LUFS and those
//! 10 LU below the rest. True peak: the highest value of the sound oversampled four times (twice from
//! 96 kHz), as a converter would make it. A mono file counts as one loudspeaker: played on two it is
//! 3 LU louder than this says.

use ebur128::{EbuR128, Mode};

use super::wav::Wav;
use crate::units::{Level, SampleRate};

/// The shortest sound that the standard can measure is one block, s.
const BLOCK_S: f64 = 0.4;

/// Silence that follows the sound so that the oversampler's memory runs out, frames; its filter is 49
/// long before oversampling is divided out, so this is ample.
const TAIL_FRAMES: usize = 64;

/// Why loudness could not be measured.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LoudnessError {
    /// The meter takes neither this rate nor this many channels.
    #[error("loudness cannot be measured with {channels} channels at {rate_hz} Hz")]
    Unsupported {
        /// Frames a second, Hz.
        rate_hz: f64,
        /// Channels.
        channels: u16,
    },
}

/// What a sound measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// Integrated loudness, LUFS; `None` where nothing is louder than the standard's −70 LUFS.
    pub lufs: Option<f64>,
    /// The true peak, as a factor of full scale; 0 for silence.
    pub true_peak: f64,
}

impl Loudness {
    /// The true peak, dBTP; `None` for silence.
    #[must_use]
    pub fn true_peak_db(&self) -> Option<f64> {
        (self.true_peak > 0.0).then(|| Level::from_gain(self.true_peak).db())
    }
}

/// Measures a sound as it goes by. Memory grows by 80 bytes a second of sound.
///
/// ```
/// use ullage::file::loudness::Meter;
/// use ullage::units::SampleRate;
/// let mut meter = Meter::new(SampleRate::from_hz(48_000.0), 2)?;
/// let tone: Vec<f32> = (0..48_000 * 2)
///     .flat_map(|i| [(i as f32 * 997.0 / 48_000.0 * std::f32::consts::TAU).sin(); 2])
///     .collect();
/// meter.add_frames(&tone);
/// // BS.1770: a full-scale sine of 997 Hz in one channel is -3.01 LUFS; in both, 0.
/// assert!(meter.finish().lufs.unwrap().abs() < 0.05);
/// # Ok::<(), ullage::file::loudness::LoudnessError>(())
/// ```
#[derive(Debug)]
pub struct Meter {
    meter: EbuR128,
    frames: u64,
    rate_hz: f64,
}

impl Meter {
    /// A meter that has heard nothing yet. `rate` must be a whole number of hertz.
    ///
    /// # Errors
    ///
    /// [`LoudnessError::Unsupported`].
    pub fn new(rate: SampleRate, channels: u16) -> Result<Self, LoudnessError> {
        let rate_hz = rate.hz();
        let meter = EbuR128::new(
            u32::from(channels),
            rate_hz as u32,
            Mode::I | Mode::TRUE_PEAK,
        )
        .map_err(|_| LoudnessError::Unsupported { rate_hz, channels })?;
        Ok(Self {
            meter,
            frames: 0,
            rate_hz,
        })
    }

    /// Takes whole frames, channels interleaved. Samples must be finite.
    pub fn add_frames(&mut self, interleaved: &[f32]) {
        self.frames += interleaved.len() as u64 / u64::from(self.meter.channels());
        self.meter
            .add_frames_f32(interleaved)
            .expect("the filter takes any whole number of frames");
    }

    /// What was heard. A sound shorter than one block is measured with silence after it.
    #[must_use]
    pub fn finish(mut self) -> Loudness {
        let block_frames = (BLOCK_S * self.rate_hz).ceil() as u64;
        self.add_silence(block_frames.saturating_sub(self.frames) as usize);
        let lufs = self
            .meter
            .loudness_global()
            .expect("the meter was made for integrated loudness");
        // After the loudness was read, which these would lower.
        self.add_silence(TAIL_FRAMES);
        let true_peak = (0..self.meter.channels())
            .map(|c| self.meter.true_peak(c).expect("one of its channels"))
            .fold(0.0, f64::max);
        Loudness {
            lufs: lufs.is_finite().then_some(lufs),
            true_peak,
        }
    }

    fn add_silence(&mut self, frames: usize) {
        self.add_frames(&vec![0.0; frames * self.meter.channels() as usize]);
    }
}

/// Measures a sound in memory.
///
/// # Errors
///
/// [`LoudnessError::Unsupported`].
pub fn measure(wav: &Wav) -> Result<Loudness, LoudnessError> {
    let mut meter = Meter::new(wav.rate, wav.channels)?;
    let block_samples = 4_096 * usize::from(wav.channels);
    for block in wav.samples.chunks(block_samples) {
        meter.add_frames(block);
    }
    Ok(meter.finish())
}
