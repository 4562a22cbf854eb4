//! The coarse pitch of a short frame, by McLeod's method, with the harmonic that is the note.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;
use pitch_detection::detector::PitchDetector;
use pitch_detection::detector::mcleod::McLeodDetector;

use super::chord::is_multiple;
use super::tones::FrameTones;
use crate::units::Frequency;

/// Length of a frame, s: three periods of 40 Hz.
const FRAME_S: f64 = 0.085;
/// Frames begin this often, as a share of their length.
const HOPS_A_FRAME: usize = 4;
/// How periodic a frame must be: 1 is a pure tone, 0.5 a tone as strong as the noise beside it.
pub(super) const LEAST_CLARITY: f64 = 0.55;
/// Softer than this is silence, full scale 1: −84 dB.
const SILENCE: f64 = 6e-5;
/// Pitches that a blown bottle can have, Hz.
pub(super) const RANGE_HZ: (f64, f64) = (38.0, 2500.0);
/// Harmonics that are looked at.
const HARMONICS: usize = 8;
/// A harmonic is the note itself if it is so many times stronger than what McLeod found: a blown bottle's
/// tone is nearly pure, so that its note is its strongest partial.
const STRONGER: f64 = 2.0;

/// Frames agree within this, cents.
pub(super) const AGREE_CENTS: f64 = 80.0;
/// The partials of a bottle have at least so much of a frame's power: with less, two sound at once, or noise.
const EXPLAINED: f64 = 0.6;
/// A tone with so much of a frame's power is one of two bottles, whatever they have in common.
const OF_TWO: f64 = 0.25;

/// What a frame sounds like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Coarse {
    pub(super) hz: f64,
    /// Another bottle's pitch, where two sound.
    pub(super) also_hz: Option<f64>,
    pub(super) clarity: f64,
}

impl Coarse {
    /// Its pitch that agrees with the running one, or a slip to the octave below put right. An octave above is no slip:
    /// McLeod's method errs downwards, and a bottle blown over hum of half its pitch must end the hum.
    pub(super) fn agreeing(&self, running_hz: f64) -> Option<f64> {
        let own = [1.0, 2.0].into_iter().map(|ratio| ratio * self.hz);
        own.chain(self.also_hz)
            .find(|hz| cents(*hz, running_hz).abs() < AGREE_CENTS)
    }

    /// The same with the one of its pitches that is near `hz`.
    pub(super) fn near(self, hz: f64) -> Option<Self> {
        let is_near = |own: &f64| cents(*own, hz).abs() < AGREE_CENTS;
        let near = [Some(self.hz), self.also_hz]
            .into_iter()
            .flatten()
            .find(is_near);
        near.map(|hz| Self { hz, ..self })
    }
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    Frequency::from_hz(hz)
        .interval_above(Frequency::from_hz(reference_hz))
        .cents()
}

/// Looks at one frame after the other.
pub(super) struct Detector {
    rate_hz: f64,
    frame: usize,
    mcleod: McLeodDetector<f64>,
    tones: FrameTones,
}

impl std::fmt::Debug for Detector {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Detector")
            .field("rate_hz", &self.rate_hz)
            .field("frame", &self.frame)
            .finish_non_exhaustive()
    }
}

impl Detector {
    pub(super) fn new(rate_hz: f64) -> Self {
        let frame = (FRAME_S * rate_hz) as usize / HOPS_A_FRAME * HOPS_A_FRAME;
        Self {
            rate_hz,
            frame,
            mcleod: McLeodDetector::new(frame, (2 * frame).next_power_of_two() - frame),
            tones: FrameTones::new(frame, rate_hz),
        }
    }

    /// Samples of a frame.
    pub(super) fn frame(&self) -> usize {
        self.frame
    }

    /// Samples from one frame to the next.
    pub(super) fn hop(&self) -> usize {
        self.frame / HOPS_A_FRAME
    }

    /// The pitch of a frame, if it has one; of two bottles the louder one's.
    pub(super) fn look(&mut self, frame: &[f64]) -> Option<Coarse> {
        let least = SILENCE * SILENCE * self.frame as f64;
        let power = frame.iter().map(|x| x * x).sum::<f64>();
        if power < least {
            return None;
        }
        let alone = self.periodic(frame, least);
        let explained = |hz: f64| self.explained(frame, hz) / (power / self.frame as f64);
        if alone.is_some_and(|alone| explained(alone.hz) > EXPLAINED) {
            return alone;
        }
        let [first, second] = self.tones.loudest(frame);
        let Some(first) = first.filter(|tone| tone.share > OF_TWO) else {
            return alone;
        };
        let others = second.filter(|tone| tone.share > 0.3 * OF_TWO);
        let also_hz = others
            .map(|tone| tone.hz)
            .filter(|hz| !is_multiple(*hz, first.hz) && !is_multiple(first.hz, *hz));
        match alone {
            // Only where two sound: one that McLeod heard as one is one.
            Some(alone) if also_hz.is_none() || is_multiple(first.hz, alone.hz) => {
                Some(Coarse { also_hz, ..alone })
            }
            None if also_hz.is_none() => None,
            Some(_) | None => Some(Coarse {
                hz: first.hz,
                also_hz,
                clarity: first.share.min(1.0),
            }),
        }
    }

    /// The pitch of a frame that repeats itself.
    fn periodic(&mut self, frame: &[f64], least: f64) -> Option<Coarse> {
        // McLeod's own rate is a whole number: with a million to the sample it loses nothing.
        let found = self
            .mcleod
            .get_pitch(frame, 1_000_000, least, LEAST_CLARITY)?;
        let hz = found.frequency * self.rate_hz / 1e6;
        if !hz.is_finite() || hz < RANGE_HZ.0 / 2.0 || hz > RANGE_HZ.1 {
            return None;
        }
        let hz = self.note_among_harmonics(frame, hz);
        (hz >= RANGE_HZ.0).then_some(Coarse {
            hz,
            also_hz: None,
            clarity: found.clarity.min(1.0),
        })
    }

    /// The power that the first of its multiples have.
    fn explained(&self, frame: &[f64], hz: f64) -> f64 {
        let there = (1..=3).map(|number| f64::from(number) * hz);
        there
            .take_while(|there| *there < 0.45 * self.rate_hz)
            .map(|there| 0.5 * amplitude(frame, self.rate_hz, there).powi(2))
            .sum()
    }

    fn note_among_harmonics(&self, frame: &[f64], hz: f64) -> f64 {
        let own = amplitude(frame, self.rate_hz, hz);
        let mut best = (hz, STRONGER * own);
        for harmonic in 2..=HARMONICS {
            let there = hz * harmonic as f64;
            if there > RANGE_HZ.1 {
                break;
            }
            let strength = amplitude(frame, self.rate_hz, there);
            if strength > best.1 {
                best = (there, strength);
            }
        }
        best.0
    }
}

/// Amplitude at one frequency, under a Hann window.
pub(super) fn amplitude(samples: &[f64], rate_hz: f64, hz: f64) -> f64 {
    let size = samples.len() as f64;
    let step = Complex64::from_polar(1.0, -TAU * hz / rate_hz);
    let window_step = Complex64::from_polar(1.0, TAU / size);
    let (mut turn, mut window) = (
        Complex64::new(1.0, 0.0),
        Complex64::from_polar(1.0, PI / size),
    );
    let mut sum = Complex64::default();
    for x in samples {
        sum += turn * (x * (0.5 - 0.5 * window.re));
        turn *= step;
        window *= window_step;
    }
    4.0 * sum.norm() / size
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn frame(detector: &Detector, parts: &[(f64, f64)]) -> Vec<f64> {
        let at = |n: usize| {
            let t = n as f64 / 12_000.0;
            parts.iter().map(|(hz, a)| a * (TAU * hz * t).sin()).sum()
        };
        (0..detector.frame()).map(at).collect()
    }

    #[test]
    fn a_note_is_found_under_hum_and_over_its_overtones() {
        let mut detector = Detector::new(12_000.0);
        for (parts, hz) in [
            (&[(196.0, 0.5)][..], 196.0),
            (&[(196.0, 0.5), (50.0, 0.25)], 196.0),
            (&[(196.0, 0.5), (392.0, 0.2), (588.0, 0.1)], 196.0),
            (&[(1318.5, 0.1), (100.0, 0.03)], 1318.5),
            (&[(55.0, 0.5)], 55.0),
        ] {
            let found = detector.look(&frame(&detector, parts)).unwrap();
            let off = 1200.0 * (found.hz / hz).log2();
            assert!(off.abs() < 40.0, "{parts:?}: {found:?}");
        }
    }

    #[test]
    fn silence_and_noise_have_no_pitch() {
        let mut detector = Detector::new(12_000.0);
        assert_eq!(detector.look(&vec![0.0; detector.frame()]), None);
        let mut dice = 1u64;
        let mut voiced = 0;
        for _ in 0..200 {
            let noise: Vec<f64> = (0..detector.frame())
                .map(|_| {
                    dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    (dice >> 33) as f64 / f64::from(1u32 << 30) - 1.0
                })
                .collect();
            voiced += u32::from(detector.look(&noise).is_some());
        }
        assert_eq!(voiced, 0);
    }
}
