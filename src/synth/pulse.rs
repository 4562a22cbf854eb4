//! The push of a mallet: how hard it presses on the wall from the first touch to the last.

use crate::physics::shell::strike::Mallet;
use crate::units::Frequency;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// The contact of Hertz's theory lasts as the speed to the power of −1/5 (Hertz 1881; Love, *Mathematical Theory of
/// Elasticity*, §140, from memory); a mallet's time of contact is that at 1 m/s.
const HERTZ_POWER: f64 = -0.2;
/// Slowest speed whose contact is told apart, m/s: at 0 it would have no end.
const SLOWEST_M_S: f64 = 0.02;
/// The part of its length in which it rises. A symmetric pulse would not excite some frequencies at all, which no
/// mallet is known for; that force comes faster than it goes is common of hammers, from memory.
pub(super) const RISE: f64 = 0.25;
/// Shortest pulse, frames: with fewer its shape is lost.
const SHORTEST_FRAMES: f64 = 4.0;
/// Points of the integral over the pulse.
const POINTS: usize = 256;

/// Length of the pulse of `mallet` at `speed_m_s`, s.
pub(super) fn length_s(mallet: Mallet, speed_m_s: f64) -> f64 {
    mallet.contact().s() * speed_m_s.max(SLOWEST_M_S).powf(HERTZ_POWER)
}

/// The push at `part` of its length, 0 to 1; its mean is 1: a half sine that rises faster than it falls.
pub(super) fn shape(part: f64) -> f64 {
    let turn = if part < RISE {
        part / RISE
    } else {
        (1.0 - part) / (1.0 - RISE)
    };
    FRAC_PI_2 * (FRAC_PI_2 * turn.clamp(0.0, 1.0)).sin()
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

/// What a wall makes of a push before any mode rings: nothing of what is slower than the lowest of them.
///
/// A slow push only dents the wall, and a wall that is dented round and round radiates next to nothing: modes driven by the
/// plain push would be heard as a thud, under felt 25 dB above their ring. So the push loses what is below the wall's
/// modes, by a Butterworth filter of second order, and each mode is driven harder by what it loses of its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stiffness {
    b: f64,
    a: [f64; 2],
    tail_frames: f64,
}

/// The corner of the filter over the lowest mode.
const CORNER: f64 = 0.7;
/// Highest corner, of the sample rate.
const HIGHEST_CORNER: f64 = 0.4;
/// Periods of the corner in which the filter falls by 77 dB.
const TAIL_PERIODS: f64 = 2.0;

impl Stiffness {
    /// Of a wall whose lowest mode is at `lowest_hz`.
    pub(super) fn new(lowest_hz: f64, rate_hz: f64) -> Self {
        let corner = (CORNER * lowest_hz / rate_hz).min(HIGHEST_CORNER);
        // The bilinear transform of 1/(1 + √2/s + 1/s²).
        let k = (PI * corner).tan();
        let norm = 1.0 / (1.0 + std::f64::consts::SQRT_2 * k + k * k);
        Self {
            b: norm,
            a: [
                2.0 * (k * k - 1.0) * norm,
                (1.0 - std::f64::consts::SQRT_2 * k + k * k) * norm,
            ],
            tail_frames: TAIL_PERIODS / corner,
        }
    }

    /// What it lets through of a tone at `hz`, 0 to 1.
    pub(super) fn passing(&self, hz: f64, rate_hz: f64) -> f64 {
        let (sin, cos) = (TAU * hz / rate_hz).sin_cos();
        // |1 − 2 z + z²| = 2 − 2 cos; the poles by hand.
        let (re, im) = (
            1.0 + self.a[0] * cos + self.a[1] * (2.0 * cos * cos - 1.0),
            { self.a[0] * sin + self.a[1] * 2.0 * sin * cos },
        );
        self.b * (2.0 - 2.0 * cos) / re.hypot(im)
    }
}

/// A mallet on a wall and, through it, on the air inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Push {
    pulse: Pulse,
    wall: Stiffness,
    state: [f64; 2],
}

impl Push {
    pub(super) fn new(pulse: Pulse, wall: Stiffness) -> Self {
        Self {
            pulse,
            wall,
            state: [0.0; 2],
        }
    }

    /// Whether it is over at `frame`, the wall having settled.
    pub(super) fn is_over(&self, frame: u64) -> bool {
        let settling = frame.saturating_sub(self.wall.tail_frames.ceil() as u64);
        settling > self.pulse.start_frame && self.pulse.is_over(settling)
    }

    /// Writes what the modes of the wall feel from `frame` on, and what the air does; each frame comes once, in order.
    pub(super) fn write(&mut self, wall: &mut [f32], air: &mut [f32], frame: u64) {
        air.fill(0.0);
        self.pulse.add_to(air, frame);
        let Stiffness { b, a, .. } = self.wall;
        for (wall, push) in wall.iter_mut().zip(air) {
            let push = f64::from(*push);
            // Direct form II transposed, of b (1 − 2 z⁻¹ + z⁻²).
            let out = b * push + self.state[0];
            self.state = [
                -2.0 * b * push - a[0] * out + self.state[1],
                b * push - a[1] * out,
            ];
            *wall = out as f32;
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
    fn a_wall_takes_what_is_slower_than_its_modes_out_of_a_push_and_says_how_much() {
        let (rate_hz, lowest_hz) = (48_000.0, 2_500.0);
        let wall = Stiffness::new(lowest_hz, rate_hz);
        // The filter against its own impulse response, at its corner, below and above.
        let pulse = Pulse {
            start_frame: 0,
            length_frames: 0.9,
            speed_m_s: 1.0,
        };
        let (mut felt, mut air) = (vec![0.0; 4_800], vec![0.0; 4_800]);
        let mut push = Push::new(pulse, wall);
        push.write(&mut felt, &mut air, 0);
        assert!(push.is_over(4_800) && !push.is_over(30));
        let at = |sound: &[f32], hz: f64| {
            let turn = |n: usize| TAU * hz * n as f64 / rate_hz;
            let sum = |wave: fn(f64) -> f64| {
                let terms = sound
                    .iter()
                    .enumerate()
                    .map(|(n, s)| f64::from(*s) * wave(turn(n)));
                terms.sum::<f64>()
            };
            sum(f64::sin).hypot(sum(f64::cos))
        };
        for hz in [250.0, 0.7 * lowest_hz, lowest_hz, 9_000.0] {
            let passed = at(&felt, hz) / at(&air, hz);
            assert!(
                (passed - wall.passing(hz, rate_hz)).abs() < 1e-4,
                "{hz} Hz: {passed}"
            );
        }
        assert!((wall.passing(0.7 * lowest_hz, rate_hz) - 0.5f64.sqrt()).abs() < 1e-9);
        assert!(wall.passing(250.0, rate_hz) < 0.025 && wall.passing(lowest_hz, rate_hz) > 0.85);
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
        assert!(whole[0] < 0.1 * whole[20] && !pulse.is_over(47));
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
