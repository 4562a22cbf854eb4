//! When something was tapped: a sudden rise of what lies above 800 Hz, from which it falls again.
//!
//! Speech, breath and rumble are low, a tap on glass is not. A rise is sudden if it makes 20 dB at once; lossy coding
//! smears an attack forward over some 20 ms, so that only the greater part of it has to come within 5 ms.

use std::collections::VecDeque;

use super::filter::HighPass;

/// Frames whose energy is watched, s.
pub(super) const FRAME_S: f64 = 0.0025;
/// What lies below is not watched, Hz.
const ABOVE_HZ: f64 = 800.0;
/// Frames that are remembered: 60 ms.
const FRAMES: usize = 24;
/// The greater part of the rise comes within so many frames, 5 ms, and is at least so much: 10 dB.
const STEEP_FRAMES: usize = 2;
const STEEP: f64 = 10.0;
/// All of it comes within so many frames, 20 ms, and is at least so much: 20 dB.
const RISE_FRAMES: usize = 8;
const RISE: f64 = 100.0;
/// What rings already beats: another tap is louder than that has been, by 3 dB.
const ABOVE_RINGING: f64 = 2.0;
/// And so is what rises by 20 dB within two frames, however loud the last tap was: two modes that beat rise by 17 at most. That is
/// the law of |sin|² out of its zero, averaged over frames. It is no softer than this beside what has been: 15 dB.
const AT_ONCE: f64 = 100.0;
const BESIDE_LAST: f64 = 0.03;
/// Softer than this is no tap, mean square, full scale 1: −70 dB.
const SOFTEST: f64 = 1e-7;

/// Watches the energy of a stream.
#[derive(Clone, Debug)]
pub(super) struct Onsets {
    filters: [HighPass; 2],
    /// Of the last frames, the oldest first.
    energies: VecDeque<f64>,
}

impl Onsets {
    pub(super) fn new(rate_hz: f64) -> Self {
        // Butterworth's poles of the fourth order.
        let filter = |quality| HighPass::new(ABOVE_HZ, rate_hz, quality);
        Self {
            filters: [filter(0.541_196_1), filter(1.306_563)],
            // Before the stream it was silent: a recording may begin with the tap.
            energies: VecDeque::from(vec![0.0; FRAMES]),
        }
    }

    /// The energy of the next frame above 800 Hz, and whether something was tapped in it.
    pub(super) fn look(&mut self, frame: &[f64]) -> (f64, bool) {
        let mut sum = 0.0;
        for &x in frame {
            let [first, second] = &mut self.filters;
            sum += second.next(first.next(x)).powi(2);
        }
        let now = sum / frame.len() as f64;
        let before = |frames: usize| self.energies.iter().rev().take(frames).copied();
        let is_steep = before(STEEP_FRAMES).any(|e| now > STEEP * e);
        let is_rise = before(RISE_FRAMES).any(|e| now > RISE * e);
        let loudest = before(FRAMES).fold(0.0, f64::max);
        let is_louder = is_steep && is_rise && now > ABOVE_RINGING * loudest;
        let is_at_once = before(STEEP_FRAMES).any(|e| now > AT_ONCE * e);
        let is_another = is_at_once && now > BESIDE_LAST * loudest;
        let is_onset = now > SOFTEST && (is_louder || is_another);
        self.energies.pop_front();
        self.energies.push_back(now);
        (now, is_onset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 48_000.0;

    /// Frames in which something was tapped, of a second of silence and sound.
    fn onsets(sound: impl Fn(f64) -> f64) -> Vec<usize> {
        let size = (FRAME_S * RATE_HZ) as usize;
        let mut watch = Onsets::new(RATE_HZ);
        let at = |n: usize| sound(n as f64 / RATE_HZ - 0.1);
        let samples: Vec<f64> = (0..48_000).map(at).collect();
        let mut found: Vec<usize> = Vec::new();
        for (place, frame) in samples.chunks_exact(size).enumerate() {
            // One tap may rise over two frames; two taps are 20 ms apart.
            let is_apart = found.last().is_none_or(|last| place - last > RISE_FRAMES);
            if watch.look(frame).1 && is_apart {
                found.push(place);
            }
        }
        found
    }

    #[test]
    fn two_modes_that_beat_are_one_tap_however_fast_they_do() {
        for step in 0..90 {
            // As strong as each other, so that they fall silent between: the sharpest rise that two can make.
            let beat_hz = 8.0 + f64::from(step);
            let phase = 0.37 * f64::from(step);
            let found = onsets(|t| {
                let tone =
                    (TAU * 2_000.0 * t).sin() + (TAU * (2_000.0 + beat_hz) * t + phase).sin();
                if t < 0.0 {
                    0.0
                } else {
                    0.2 * (-8.0 * t).exp() * tone
                }
            });
            // Where they begin by falling silent, a frame or two later.
            assert!(
                found.len() == 1 && (40..46).contains(&found[0]),
                "{beat_hz} Hz: {found:?}"
            );
        }
    }

    #[test]
    fn what_clinks_once_more_as_loudly_is_tapped_twice() {
        // 35 ms later, when the first is 26 dB softer.
        let ring = |t: f64, hz: f64| {
            if t < 0.0 {
                0.0
            } else {
                0.3 * (-86.0 * t).exp() * (TAU * hz * t).sin()
            }
        };
        let found = onsets(|t| ring(t, 3_700.0) + ring(t - 0.035, 3_955.0));
        assert_eq!(found, [40, 54]);
    }
}
