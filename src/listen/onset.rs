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
        let is_onset = now > SOFTEST && is_steep && is_rise && now > ABOVE_RINGING * loudest;
        self.energies.pop_front();
        self.energies.push_back(now);
        (now, is_onset)
    }
}
