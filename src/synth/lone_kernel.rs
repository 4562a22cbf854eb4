//! The inner loop of a bottle that sounds alone: its own air modes side by side, where sixteen bottles would be.
//!
//! It says bit for bit what [`super::blown_kernel`] makes of the same bottle among empty lanes, at the usual sample rates, where the
//! noise has two samples in four frames.

use super::blown_kernel::{EIGHT, FOUR, GRID, breathe, four, ring};
use super::breath::WANDER_STEPS;
use super::strip::{MODES, Strip};
use wide::f32x4;

/// Samples of the noise in four frames.
pub(super) const NOISE: usize = 2;

/// Frames of one stretch at most: from one throw of what wanders to the next.
pub(super) const LONGEST: usize = WANDER_STEPS as usize * GRID;

/// Modes side by side; the last is none.
const SIDE: usize = MODES + 1;

/// A number for each mode.
type Side = [f32; SIDE];

/// What a stretch of a bottle alone is run in, and where it leaves what it made.
///
/// From the first stretch on it holds the bottle's modes, until [`Lone::settle`] brings them back: to fetch them for each block
/// took a fifteenth of the time.
#[derive(Clone, Debug)]
#[repr(align(64))]
pub(super) struct Lone {
    one_back: Side,
    two_back: Side,
    turn: Side,
    keep: Side,
    gain: Side,
    /// What each mode rings in each sample of eight frames.
    rung: [Side; 2 * NOISE],
    said: [f32; LONGEST],
    side: f32,
    /// Whether the modes are here and not in the strip.
    holds: bool,
}

/// Which part of a stretch to run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Eights to run.
    pub eights: usize,
    /// The first of them.
    pub first: usize,
    /// What is left of the noise one of its samples later, 0 to 1.
    pub keep: f32,
}

impl Lone {
    pub(super) fn empty() -> Self {
        const NONE: Side = [0.0; SIDE];
        Self {
            one_back: NONE,
            two_back: NONE,
            turn: NONE,
            keep: NONE,
            gain: NONE,
            rung: [NONE; 2 * NOISE],
            said: [0.0; LONGEST],
            side: 0.0,
            holds: false,
        }
    }

    /// Fetches the modes of the strip's first lane.
    #[inline(always)]
    fn fetch(&mut self, strip: &Strip) {
        if self.holds {
            return;
        }
        self.holds = true;
        for (k, mode) in strip.modes.iter().enumerate() {
            self.one_back[k] = mode.one_back[0];
            self.two_back[k] = mode.two_back[0];
            self.turn[k] = mode.turn[0];
            self.keep[k] = mode.keep[0];
            self.gain[k] = mode.gain[0];
        }
    }

    /// Brings them back, before anybody else asks the strip for them or changes them there.
    pub(super) fn settle(&mut self, strip: &mut Strip) {
        if !self.holds {
            return;
        }
        self.holds = false;
        for (k, mode) in strip.modes.iter_mut().enumerate() {
            mode.one_back[0] = self.one_back[k];
            mode.two_back[0] = self.two_back[k];
        }
    }

    /// Every mode through eight frames.
    #[inline(always)]
    fn ring<const FUSED: bool>(&mut self, white: f32) {
        for k in 0..SIDE {
            let (turn, keep) = (self.turn[k], self.keep[k]);
            let push = self.gain[k] * white;
            let rings = [self.one_back[k], self.two_back[k]];
            let [second, first] = ring::<true, FUSED>(turn, keep, push, rings);
            let [fourth, third] = ring::<false, FUSED>(turn, keep, 0.0, [second, first]);
            self.rung[0][k] = first;
            self.rung[1][k] = second;
            self.rung[2][k] = third;
            self.rung[3][k] = fourth;
            [self.one_back[k], self.two_back[k]] = [fourth, third];
        }
    }

    /// What all modes ring in each sample on top of `hiss`, one mode after the other.
    #[inline(always)]
    fn colour(&self, hiss: [f32; 2 * NOISE]) -> [f32; 2 * NOISE] {
        let mut sum = f32x4::from(hiss);
        for half in 0..SIDE / 4 {
            let four_modes = |sample: usize| {
                let (halves, _) = self.rung[sample].as_chunks::<4>();
                f32x4::from(halves[half])
            };
            let rows = [0, 1, 2, 3].map(four_modes);
            for (k, mode) in f32x4::transpose(rows).into_iter().enumerate() {
                if 4 * half + k < MODES {
                    sum += mode;
                }
            }
        }
        sum.to_array()
    }

    /// Adds what it made, from frame `start` of the eights on, to `left` and `right`.
    pub(super) fn add_to(&self, start: usize, left: &mut [f32], right: &mut [f32]) {
        let said = &self.said[start..];
        for ((left, right), said) in left.iter_mut().zip(right).zip(said) {
            let side = self.side * said;
            *left += said + side;
            *right += said - side;
        }
    }
}

/// Runs the first lane of a strip through the eight after a part of a stretch, of which only the first frames are asked for now:
/// nothing of it is kept but what it says.
pub(super) fn look_ahead(strip: &Strip, lone: &mut Lone, part: Part) {
    lone.fetch(strip);
    let rings = (lone.one_back, lone.two_back);
    let ahead = Part {
        first: part.first + part.eights,
        eights: 1,
        ..part
    };
    run(&mut strip.clone(), lone, ahead);
    (lone.one_back, lone.two_back) = rings;
}

/// Runs the first lane of a strip through a part of a stretch.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn run(strip: &mut Strip, lone: &mut Lone, part: Part) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    lone.fetch(strip);
    lone.side = strip.side[0];
    for eight in (part.first..LONGEST / EIGHT).take(part.eights) {
        let breathed = breathe::<NOISE, FUSED>(strip, 0, part.keep);
        lone.ring::<FUSED>(breathed.first);
        let [a, b, c, d, ..] = breathed.hiss;
        let [a, b, c, d] = lone.colour([a, b, c, d]);
        let [first, second] = breathed.pushed;
        let (fours, _) = lone.said[EIGHT * eight..].as_chunks_mut::<FOUR>();
        fours[0] = four::<NOISE, FUSED>(strip, 0, [a, b, 0.0, 0.0], first);
        fours[1] = four::<NOISE, FUSED>(strip, 0, [c, d, 0.0, 0.0], second);
    }
}

#[cfg(test)]
#[path = "lone_kernel_tests.rs"]
mod tests;
