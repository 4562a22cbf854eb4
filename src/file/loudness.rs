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

/// Frames that the oversampler remembers: 12 at four times, 24 at twice.
const MEMORY_FRAMES: usize = 24;

/// Frames looked at together before they are oversampled or passed over.
const GLANCE_FRAMES: usize = 64;

/// No value between samples is further out than this many times the highest sample in the memory: the
/// sum of the magnitudes of the oversampler's weights (a sinc of 48 points under a Hann window), at
/// the worst place between two samples, is 1.864 at four times and 2.307 at twice.
const MOST_OVERSHOOT: f64 = 1.87;
const MOST_OVERSHOOT_AT_TWICE: f64 = 2.31;

/// And none is further out than the line between its neighbours, by more than this part of how much the samples bend, x − 2 x′ + x″
/// at most: what is left of the weights without that line, summed up twice, has magnitudes of 0.3013 at four times and 0.4162 at twice.
/// The line itself lies within the samples, but for the 0.09 % by which the weights differ from one. On music this says far more
/// than the bound above, which is reached by samples that change their sign each time.
const MOST_BENT: f64 = 0.302;
const MOST_BENT_AT_TWICE: f64 = 0.417;
const MOST_ON_LINE: f64 = 1.001;

/// From this rate on the oversampling is by two only, Hz.
const TWICE_FROM_HZ: f64 = 96_000.0;

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
    peak: PeakMeter,
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
        let new = |mode| {
            EbuR128::new(u32::from(channels), rate_hz as u32, mode)
                .map_err(|_| LoudnessError::Unsupported { rate_hz, channels })
        };
        Ok(Self {
            meter: new(Mode::I)?,
            peak: PeakMeter::new(new(Mode::TRUE_PEAK)?, rate_hz),
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
        self.peak.add_frames(interleaved);
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
        // The sound rings on in the oversampler.
        self.add_silence(MEMORY_FRAMES);
        let true_peak = self.peak.highest;
        Loudness {
            lufs: lufs.is_finite().then_some(lufs),
            true_peak,
        }
    }

    fn add_silence(&mut self, frames: usize) {
        self.add_frames(&vec![0.0; frames * self.meter.channels() as usize]);
    }
}

/// The true peak, oversampled only where it could be higher than what was found already. On music
/// that is little of it, and oversampling is what costs most.
#[derive(Debug)]
struct PeakMeter {
    meter: EbuR128,
    channels: usize,
    most_overshoot: f64,
    most_bent: f64,
    highest: f64,
    /// The last frames before those that come next, and room for those.
    window: Vec<f32>,
    /// The oversampler has seen the memory.
    warm: bool,
}

impl PeakMeter {
    fn new(meter: EbuR128, rate_hz: f64) -> Self {
        let channels = meter.channels() as usize;
        let (most_overshoot, most_bent) = if rate_hz < TWICE_FROM_HZ {
            (MOST_OVERSHOOT, MOST_BENT)
        } else {
            (MOST_OVERSHOOT_AT_TWICE, MOST_BENT_AT_TWICE)
        };
        Self {
            meter,
            channels,
            most_overshoot,
            most_bent,
            highest: 0.0,
            window: vec![0.0; MEMORY_FRAMES * channels],
            warm: true,
        }
    }

    fn add_frames(&mut self, interleaved: &[f32]) {
        let memory = MEMORY_FRAMES * self.channels;
        for glance in interleaved.chunks(GLANCE_FRAMES * self.channels) {
            self.window.extend_from_slice(glance);
            if self.may_be_higher() {
                self.oversample(glance, memory);
            } else {
                self.warm = false;
            }
            let fresh = self.window.len() - memory;
            self.window.copy_within(fresh.., 0);
            self.window.truncate(memory);
        }
    }

    /// Whether anything between the samples of the window could be higher than what was found already.
    fn may_be_higher(&self) -> bool {
        let peak = highest_of(self.window.iter().copied());
        if peak * self.most_overshoot <= self.highest {
            return false;
        }
        let (last, later) = (&self.window, &self.window[self.channels..]);
        let triples = last.iter().zip(later).zip(&later[self.channels..]);
        let bend = highest_of(triples.map(|((a, b), c)| (a - b) - (b - c)));
        peak * MOST_ON_LINE + bend * self.most_bent > self.highest
    }

    fn oversample(&mut self, glance: &[f32], memory: usize) {
        let takes = "the filter takes any whole number of frames";
        if !self.warm {
            let before = &self.window[..memory];
            self.meter.seed_frames_f32(before).expect(takes);
            self.warm = true;
        }
        self.meter.add_frames_f32(glance).expect(takes);
        let channels = 0..self.channels as u32;
        self.highest = channels
            .map(|c| self.meter.true_peak(c).expect("one of its channels"))
            .fold(self.highest, f64::max);
    }
}

/// The largest magnitude. Those of numbers are in the order of their bits, of which the compiler makes vectors.
fn highest_of(samples: impl Iterator<Item = f32>) -> f64 {
    let magnitudes = samples.map(|x| x.abs().to_bits().cast_signed());
    f64::from(f32::from_bits(magnitudes.fold(0, i32::max).cast_unsigned()))
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn passing_over_what_cannot_be_the_peak_changes_nothing() {
        for (rate_hz, channels) in [(48_000u32, 2u32), (48_000, 1), (96_000, 2), (192_000, 1)] {
            let mut state = u64::from(rate_hz + channels);
            let mut draw = || {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 33) as f32 / (1u64 << 31) as f32 - 0.5
            };
            // Noise under a swell that comes and goes, and a high and a low tone after it, so that there is much to pass over.
            let sound: Vec<f32> = (0..114_000)
                .map(|i| {
                    let swell = (1.0 + (i as f32 * 0.000_7).sin()).powi(4) * 0.1;
                    let tones = (i as f32 * 1.3).sin() + (i as f32 * 0.021).sin();
                    swell * if i < 60_000 { draw() } else { tones }
                })
                .collect();
            let mode = Mode::TRUE_PEAK;
            let mut plain = EbuR128::new(channels, rate_hz, mode).unwrap();
            plain.add_frames_f32(&sound).unwrap();
            plain
                .add_frames_f32(&vec![0.0; MEMORY_FRAMES * channels as usize])
                .unwrap();
            let wanted = (0..channels)
                .map(|c| plain.true_peak(c).unwrap())
                .fold(0.0, f64::max);
            for block in [6, 64, 998, 114_000] {
                let rate = SampleRate::from_hz(f64::from(rate_hz));
                let mut meter = Meter::new(rate, channels as u16).unwrap();
                sound.chunks(block).for_each(|b| meter.add_frames(b));
                assert!(!meter.peak.warm, "nothing was passed over at the end");
                assert_eq!(
                    meter.finish().true_peak,
                    wanted,
                    "{rate_hz} Hz, blocks of {block}"
                );
            }
        }
    }

    #[test]
    fn the_bounds_are_those_of_the_oversampler() {
        for (times, overshoot, bent) in [
            (4, MOST_OVERSHOOT, MOST_BENT),
            (2, MOST_OVERSHOOT_AT_TWICE, MOST_BENT_AT_TWICE),
        ] {
            let (mut most, mut most_bent, mut most_on_line) = (0.0f64, 0.0f64, 0.0f64);
            for phase in 0..times {
                // A sinc under a Hann window, every so many points of 48.
                let weight = |point: usize| {
                    let hann = 0.5 - 0.5 * (std::f64::consts::TAU * point as f64 / 48.0).cos();
                    let x = std::f64::consts::PI * (point as f64 - 24.0) / times as f64;
                    hann * if point == 24 { 1.0 } else { x.sin() / x }
                };
                let weights: Vec<f64> = (phase..48).step_by(times).map(weight).collect();
                let sum: f64 = weights.iter().sum();
                most = most.max(weights.iter().map(|w| w.abs()).sum());
                most_on_line = most_on_line.max(sum);
                // Without the line through the two samples that the place lies between.
                let moment = weights.iter().enumerate().map(|(k, w)| k as f64 * w);
                let place = moment.sum::<f64>() / sum;
                let (before, over) = ((place + 1e-9).floor(), (place + 1e-9).fract());
                let mut rest = weights;
                rest[before as usize] -= (1.0 - over) * sum;
                rest[before as usize + 1] -= over * sum;
                let (mut once, mut twice, mut bend) = (0.0, 0.0, 0.0);
                for weight in rest {
                    once += weight;
                    twice += once;
                    bend += f64::abs(twice);
                }
                assert!(f64::abs(once) < 1e-9 && f64::abs(twice) < 1e-7);
                most_bent = most_bent.max(bend);
            }
            for (found, bound) in [
                (most, overshoot),
                (most_bent, bent),
                (most_on_line, MOST_ON_LINE),
            ] {
                assert!(found < bound && found > 0.99 * bound, "{found} {bound}");
            }
        }
    }
}
