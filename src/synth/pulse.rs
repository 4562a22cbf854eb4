//! The push of a mallet: how hard it presses on the wall from the first touch to the last.

use crate::physics::shell::strike::Mallet;
use crate::units::Frequency;
use std::f64::consts::{PI, TAU};

/// The contact of Hertz's theory lasts as the speed to the power of −1/5 (Hertz 1881; Love, *Mathematical Theory of
/// Elasticity*, §140, from memory); a mallet's time of contact is that at 1 m/s.
const HERTZ_POWER: f64 = -0.2;
/// Slowest speed whose contact is told apart, m/s: at 0 it would have no end.
const SLOWEST_M_S: f64 = 0.02;
/// Length of the pulse over a mallet's time of contact, which is that of a half sine: this makes both as wide (their
/// second moments agree), so that they take the same off the high modes before both fall steeply.
const LENGTH_OVER_CONTACT: f64 = 1.2;
/// The part of its length in which it rises. A symmetric pulse would not excite some frequencies at all, which no
/// mallet is known for; that force comes faster than it goes is common of hammers, from memory.
pub(super) const RISE: f64 = 0.4;
/// Shortest pulse, frames: with fewer its shape is lost.
const SHORTEST_FRAMES: f64 = 4.0;
/// Points of the integral over the pulse.
const POINTS: usize = 256;

/// Length of the pulse of `mallet` at `speed_m_s`, s.
pub(super) fn length_s(mallet: Mallet, speed_m_s: f64) -> f64 {
    LENGTH_OVER_CONTACT * mallet.contact().s() * speed_m_s.max(SLOWEST_M_S).powf(HERTZ_POWER)
}

/// The push at `part` of its length, 0 to 1; its mean is 1: a raised cosine that rises faster than it falls.
pub(super) fn shape(part: f64) -> f64 {
    let turn = if part < RISE {
        1.0 - part / RISE
    } else {
        (part - RISE) / (1.0 - RISE)
    };
    1.0 + (PI * turn.min(1.0)).cos()
}

/// How much of a short tap's push of the same momentum reaches a mode at `frequency`, 0 to 1.
pub(super) fn reaching(mallet: Mallet, speed_m_s: f64, frequency: Frequency) -> f64 {
    let turns = frequency.hz() * length_s(mallet, speed_m_s);
    let (mut re, mut im) = (0.0, 0.0);
    for point in 0..POINTS {
        let part = (point as f64 + 0.5) / POINTS as f64;
        let (sin, cos) = (TAU * turns * part).sin_cos();
        re += shape(part) * cos;
        im += shape(part) * sin;
    }
    re.hypot(im) / POINTS as f64
}

/// A mallet on the wall. The samples of its push add up to its speed: the momentum it leaves grows with nothing else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pulse {
    start_frame: u64,
    length_frames: f64,
    speed_m_s: f64,
}

impl Pulse {
    /// Of `length_s`, see [`length_s`].
    pub(super) fn new(length_s: f64, speed_m_s: f64, start_frame: u64, rate_hz: f64) -> Self {
        Self {
            start_frame,
            length_frames: (length_s * rate_hz).max(SHORTEST_FRAMES),
            speed_m_s,
        }
    }

    /// Whether it is over at `frame`.
    pub(super) fn is_over(&self, frame: u64) -> bool {
        frame.saturating_sub(self.start_frame) as f64 + 0.5 >= self.length_frames
    }

    /// Adds its push to the frames from `frame` on.
    pub(super) fn add_to(&self, push: &mut [f32], frame: u64) {
        let gone = frame.saturating_sub(self.start_frame) as f64;
        let gain = self.speed_m_s / self.length_frames;
        for (index, push) in push.iter_mut().enumerate() {
            let part = (gone + index as f64 + 0.5) / self.length_frames;
            if part >= 1.0 {
                return;
            }
            *push += (gain * shape(part)) as f32;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_push_adds_up_to_the_speed_whatever_the_mallet_and_the_rate() {
        for mallet in [Mallet::Felt, Mallet::Rubber, Mallet::Wood, Mallet::Metal] {
            for rate_hz in [44_100.0, 96_000.0] {
                for speed_m_s in [0.1, 1.0, 3.0] {
                    let pulse = Pulse::new(length_s(mallet, speed_m_s), speed_m_s, 0, rate_hz);
                    let mut push = vec![0.0; 2000];
                    pulse.add_to(&mut push, 0);
                    assert!(pulse.is_over(2000));
                    let sum: f64 = push.iter().map(|p| f64::from(*p)).sum();
                    // The shortest, of four samples, is felt as 10 % more or less.
                    assert!(
                        (sum / speed_m_s - 1.0).abs() < 0.1,
                        "{mallet:?} {speed_m_s} m/s: {sum}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_pulse_in_pieces_is_the_same_pulse() {
        let pulse = Pulse::new(length_s(Mallet::Rubber, 0.5), 0.5, 10, 48_000.0);
        let mut whole = vec![0.0; 120];
        pulse.add_to(&mut whole, 10);
        let mut pieces = vec![0.0; 120];
        pulse.add_to(&mut pieces[..37], 10);
        pulse.add_to(&mut pieces[37..], 47);
        assert_eq!(whole, pieces);
        assert!(whole[0] < 0.01 * whole[40] && !pulse.is_over(47));
    }

    #[test]
    fn a_soft_mallet_and_a_slow_one_leave_high_modes_out_and_none_is_silent() {
        let at = |mallet, speed, hz| reaching(mallet, speed, Frequency::from_hz(hz));
        assert!(at(Mallet::Felt, 1.0, 2700.0) < 0.1 * at(Mallet::Wood, 1.0, 2700.0));
        assert!(at(Mallet::Wood, 0.1, 5000.0) < 0.7 * at(Mallet::Wood, 2.0, 5000.0));
        assert!((at(Mallet::Metal, 1.0, 50.0) - 1.0).abs() < 1e-3);
        // As physics has it, within a factor of two up to where both fall steeply.
        for hz in [1000.0, 2000.0, 2700.0, 3600.0, 5000.0] {
            let ratio = at(Mallet::Wood, 1.0, hz) / Mallet::Wood.force(Frequency::from_hz(hz));
            assert!((0.5..2.0).contains(&ratio), "{hz} Hz: {ratio}");
        }
    }
}
