//! The coarse pitch of a short frame, by McLeod's method, with the harmonic that is the note.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;
use pitch_detection::detector::PitchDetector;
use pitch_detection::detector::mcleod::McLeodDetector;

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

/// What a frame sounds like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Coarse {
    pub(super) hz: f64,
    pub(super) clarity: f64,
}

/// Looks at one frame after the other.
pub(super) struct Detector {
    rate_hz: f64,
    frame: usize,
    mcleod: McLeodDetector<f64>,
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

    /// The pitch of a frame, if it has one.
    pub(super) fn look(&mut self, frame: &[f64]) -> Option<Coarse> {
        let least = SILENCE * SILENCE * self.frame as f64;
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
            clarity: found.clarity.min(1.0),
        })
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
