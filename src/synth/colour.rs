//! The colour of the breath: noise through one pole, and the bottle's own air modes standing out of it.
//!
//! Breath noise has little above some kilohertz, so it is made at half the rate of the sound, or near it, and lies in straight
//! lines between: [`per_four`] of four frames. Levels are those of recordings of blown bottles (tests/data/real_blown.csv).

use super::blown_kernel::FOUR;
use super::blown_voice::{BlownVoice, HIGHEST_PART_OF_RATE, PassiveMode, USUAL_BREATH};
use super::strip::MODES;
use std::f64::consts::{PI, TAU};

/// Corner of the noise, Hz: it falls by 5 to 6 dB an octave from about here, as measured.
const CORNER_HZ: f64 = 300.0;
/// The noise in the octave round 500 Hz under the usual breath, dB of the tone's power: measured −36.3 to −39.4.
const OCTAVE_DB: f64 = -38.5;
/// That octave, Hz.
const OCTAVE_HZ: (f64, f64) = (353.6, 707.1);
/// The tone's power at full swing under the usual breath: half of (g − 1)/g.
pub(super) const TONE_POWER: f64 = 0.5 * (USUAL_BREATH - 1.0) / USUAL_BREATH;
/// Most quality of an air mode while it is blown: measured 20 to 45. The jet's losses are added to the bottle's own.
const BLOWN_Q: f64 = 35.0;
/// Least quality of an air mode: where it falls by much in one sample, damping every other one twice is no longer the same.
const LEAST_Q: f64 = 5.0;
/// The dice run from −2³¹ to 2³¹: this makes their variance 1.
pub(super) const DICE_TO_UNIT: f64 = 1.732_050_807_568_877_2 / 2_147_483_648.0;

/// Samples of the noise in four frames.
pub(super) fn per_four(rate_hz: f64) -> usize {
    match rate_hz {
        ..30_000.0 => 4,
        ..80_000.0 => 2,
        _ => 1,
    }
}

/// Samples of the noise a second.
fn noise_rate_hz(rate_hz: f64) -> f64 {
    rate_hz * per_four(rate_hz) as f64 / FOUR as f64
}

/// What is left of the noise one of its samples later.
pub(super) fn noise_left(rate_hz: f64) -> f64 {
    (-TAU * CORNER_HZ / noise_rate_hz(rate_hz)).exp()
}

/// The standard deviation of the white noise under the usual breath that makes the noise as loud as [`OCTAVE_DB`].
pub(super) fn white_at_usual_breath(rate_hz: f64) -> f64 {
    const STEPS: usize = 64;
    let keep = noise_left(rate_hz);
    let radians = TAU / noise_rate_hz(rate_hz);
    let width = radians * (OCTAVE_HZ.1 - OCTAVE_HZ.0) / STEPS as f64;
    let density = |step: usize| {
        let at = radians * OCTAVE_HZ.0 + (step as f64 + 0.5) * width;
        1.0 / (1.0 - 2.0 * keep * at.cos() + keep * keep)
    };
    // Both halves of the spectrum.
    let in_octave = (0..STEPS).map(density).sum::<f64>() * width / PI;
    (10f64.powf(OCTAVE_DB / 10.0) * TONE_POWER / in_octave).sqrt()
}

/// The coefficients of a passive mode: turn, keep and gain.
pub(super) type ModeNumbers = [f32; 3];

/// The modes of a bottle as the breath holds them, and as they ring by themselves.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Modes {
    pub blown: [ModeNumbers; MODES],
    pub free: [ModeNumbers; MODES],
    pub count: usize,
}

impl Modes {
    pub(super) fn of(spec: &BlownVoice, rate_hz: f64) -> Self {
        let mut modes = Self {
            blown: [[0.0; 3]; MODES],
            free: [[0.0; 3]; MODES],
            count: 0,
        };
        let highest_hz = HIGHEST_PART_OF_RATE * noise_rate_hz(rate_hz);
        let white = white_at_usual_breath(rate_hz);
        let carried = spec.modes.iter().filter(|m| m.frequency.hz() < highest_hz);
        for (place, mode) in carried.enumerate() {
            let free_q = mode.q.max(LEAST_Q);
            modes.blown[place] = mode_numbers(mode, free_q.min(BLOWN_Q), white, rate_hz);
            modes.free[place] = mode_numbers(mode, free_q, white, rate_hz);
            modes.count += 1;
        }
        modes
    }
}

/// A two-pole resonator that rings at the mode's frequency with quality `q`, as loud as the mode has it when the white noise that
/// pushes it once in eight frames has the standard deviation `white`.
fn mode_numbers(mode: &PassiveMode, q: f64, white: f64, rate_hz: f64) -> ModeNumbers {
    let noise_rate_hz = noise_rate_hz(rate_hz);
    let angle = TAU * mode.frequency.hz() / noise_rate_hz;
    let square = (-TAU * mode.frequency.hz() / (q * noise_rate_hz)).exp();
    // Two steps together, of which one is damped, turn by twice the angle and shrink by the square of the radius: what they keep is
    // their determinant, and so the square of that.
    let turn = (1.0 + 2.0 * square * (2.0 * angle).cos() + square * square).sqrt() / square;
    let turn = turn.copysign(angle.cos());
    // The sum of the squares of what one push gives.
    let rings = (1.0 + square)
        / ((1.0 - square) * (1.0 - 2.0 * square * (2.0 * angle).cos() + square * square));
    let heard = between(mode.frequency.hz(), rate_hz);
    let gain = mode.gain * TONE_POWER.sqrt()
        / (white * heard * (rings / (2 * per_four(rate_hz)) as f64).sqrt());
    [turn, square * square, gain].map(|number| number as f32)
}

/// What straight lines between the samples of the noise leave of a frequency.
fn between(hz: f64, rate_hz: f64) -> f64 {
    let frames = (FOUR / per_four(rate_hz)) as f64;
    let half = PI * hz / rate_hz;
    ((frames * half).sin() / (frames * half.sin())).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    #[test]
    fn two_steps_of_a_mode_have_the_poles_of_its_frequency_and_quality() {
        for (rate_hz, hz, q) in [
            (48_000.0, 1_100.0, 35.0),
            (44_100.0, 6_300.0, 20.0),
            (48_000.0, 9_000.0, 120.0),
            (96_000.0, 2_500.0, 35.0),
        ] {
            let mode = PassiveMode {
                frequency: crate::units::Frequency::from_hz(hz),
                q,
                gain: 1.0,
            };
            let [turn, keep, _] = mode_numbers(&mode, q, 0.01, rate_hz).map(f64::from);
            // The trace and the determinant of the map of two steps say what its poles are.
            let (trace, determinant) = (keep * turn * turn - 1.0 - keep, keep);
            let frames = 2.0 * rate_hz / noise_rate_hz(rate_hz);
            let pole =
                (Complex64::new(trace * trace - 4.0 * determinant, 0.0).sqrt() + trace) / 2.0;
            let angle = TAU * hz / rate_hz * frames;
            let wrapped = (angle.cos()).acos();
            assert!((pole.arg().abs() - wrapped).abs() < 1e-4, "{rate_hz} {hz}");
            let fall = (-PI * hz / (q * rate_hz) * frames).exp();
            assert!((pole.norm() / fall - 1.0).abs() < 1e-5, "{rate_hz} {hz}");
        }
    }
}
