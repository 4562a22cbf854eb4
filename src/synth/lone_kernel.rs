//! The inner loop of a bottle that sounds alone: its own air modes side by side, where sixteen bottles would be.
//!
//! It says bit for bit what [`super::blown_kernel`] makes of the same bottle among empty lanes, at the usual sample rates, where the
//! noise has two samples in four frames.

use super::blown_kernel::{EIGHT, FOUR, GRID, breathe, ring, says, swung};
use super::breath::WANDER_STEPS;
use super::strip::{MODES, Strip};
use std::ops::Range;
use wide::f32x4;

/// Samples of the noise in four frames.
pub(super) const NOISE: usize = 2;

/// Frames of one stretch at most: from one throw of what wanders to the next.
pub(super) const LONGEST: usize = WANDER_STEPS as usize * GRID;

/// Fours that are worked out side by side: at the end of a part, so many at most are for nothing.
const WIDE: usize = 8;

/// Fours of a stretch, and of what is worked out beyond it.
const FOURS: usize = LONGEST / FOUR + WIDE;

/// Modes side by side; the last is none.
const SIDE: usize = MODES + 1;

/// A number for each mode.
type Side = [f32; SIDE];

/// A number for each four.
type Fours = [f32; FOURS];

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
    /// What each mode rings in each sample of each four.
    rung: [[Side; NOISE]; FOURS],
    /// The noise of each four, at first without the modes; of the second, the one before them all comes first.
    first: Fours,
    second: [f32; 1 + FOURS],
    /// Where each four begins.
    re: Fours,
    im: Fours,
    /// What it says in the first frame of each four, the second and so on; and frame by frame.
    frames: [Fours; FOUR],
    said: [f32; FOUR * FOURS],
    side: f32,
    /// Whether the modes are here and not in the strip.
    holds: bool,
}

/// Fours in an eight.
const TWO: usize = EIGHT / FOUR;

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

impl Part {
    /// The fours of the part.
    fn fours(&self) -> Range<usize> {
        let end = (self.first + self.eights).min(LONGEST / EIGHT);
        TWO * self.first.min(end)..TWO * end
    }
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
            rung: [[NONE; NOISE]; FOURS],
            first: [0.0; FOURS],
            second: [0.0; 1 + FOURS],
            re: [0.0; FOURS],
            im: [0.0; FOURS],
            frames: [[0.0; FOURS]; FOUR],
            said: [0.0; FOUR * FOURS],
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

    /// The largest swing of a mode, if they are here.
    pub(super) fn swing(&self) -> Option<f32> {
        let modes = self.one_back.iter().chain(&self.two_back);
        self.holds
            .then(|| modes.fold(0.0, |most: f32, m| most.max(m.abs())))
    }

    /// Every mode through the two fours of an eight, from four `at` on.
    #[inline(always)]
    fn ring<const FUSED: bool>(&mut self, at: usize, white: f32) {
        let Some([one, two]) = self.rung[at..].first_chunk_mut() else {
            return;
        };
        for k in 0..SIDE {
            let (turn, keep) = (self.turn[k], self.keep[k]);
            let push = self.gain[k] * white;
            let rings = [self.one_back[k], self.two_back[k]];
            let [second, first] = ring::<true, FUSED>(turn, keep, push, rings);
            let [fourth, third] = ring::<false, FUSED>(turn, keep, 0.0, [second, first]);
            (one[0][k], one[1][k]) = (first, second);
            (two[0][k], two[1][k]) = (third, fourth);
            [self.one_back[k], self.two_back[k]] = [fourth, third];
        }
    }

    /// Lays what all modes ring on top of the noise of four fours from `at` on, one mode after the other.
    #[inline(always)]
    fn colour(&mut self, at: usize) {
        let [first, second] = [&mut self.first[at..], &mut self.second[at + 1..]];
        for (sample, heard) in [first, second].into_iter().enumerate() {
            let Some(heard) = heard.first_chunk_mut() else {
                return;
            };
            let mut sum = f32x4::from(*heard);
            for half in 0..SIDE / 4 {
                let rows = [0, 1, 2, 3].map(|four| {
                    let (halves, _) = self.rung[at + four][sample].as_chunks::<4>();
                    f32x4::from(halves[half])
                });
                for (k, mode) in f32x4::transpose(rows).into_iter().enumerate() {
                    if 4 * half + k < MODES {
                        sum += mode;
                    }
                }
            }
            *heard = sum.to_array();
        }
    }

    /// What the bottle says in the fours of `here`.
    #[inline(always)]
    fn say<const FUSED: bool>(&mut self, strip: &Strip, here: Range<usize>) {
        let (from, fours) = (here.start, here.len().next_multiple_of(WIDE));
        let (first, second) = (&self.first[from..][..fours], &self.second[from..][..=fours]);
        let (re, im) = (&self.re[from..][..fours], &self.im[from..][..fours]);
        // Row by row: whole fours the compiler would make one after the other, each with what four lanes can do.
        let [a, b, c, d] = self.frames.each_mut().map(|row| &mut row[..fours]);
        for l in 0..fours {
            let heard = (second[l], [first[l], second[l + 1], 0.0, 0.0]);
            [a[l], b[l], c[l], d[l]] = says::<NOISE, FUSED>(strip, 0, [re[l], im[l]], heard);
        }
        let rows = a.as_chunks().0.iter().zip(b.as_chunks().0);
        let rows = rows.zip(c.as_chunks().0.iter().zip(d.as_chunks().0));
        let (said, _) = self.said[FOUR * from..].as_chunks_mut::<{ FOUR * FOUR }>();
        for (said, ((a, b), (c, d))) in said.iter_mut().zip(rows) {
            let fours = f32x4::transpose([a, b, c, d].map(|row| f32x4::from(*row)));
            for (said, four) in said.as_chunks_mut().0.iter_mut().zip(fours) {
                *said = four.to_array();
            }
        }
    }
}

/// Adds what was made, from frame `start` of the eights on, to `left` and `right`.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn add_to(lone: &Lone, start: usize, left: &mut [f32], right: &mut [f32]) {
    for ((left, right), said) in left.iter_mut().zip(right).zip(&lone.said[start..]) {
        let side = lone.side * said;
        *left += said + side;
        *right += said - side;
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
///
/// The swing, the dice and the modes each wait for what they were before, and so go on by themselves, side by side; what comes of
/// them in each frame waits for nothing, and is worked out after that for eight fours at once, as for so many bottles.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn run(strip: &mut Strip, lone: &mut Lone, part: Part) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    lone.fetch(strip);
    lone.side = strip.side[0];
    let here = part.fours();
    if here.is_empty() {
        return;
    }
    lone.second[here.start] = strip.before[0];
    let mut swing = [strip.re[0], strip.im[0]];
    let mut last = here.start;
    for at in here.clone().step_by(2 * TWO) {
        for eight in (at..here.end).step_by(TWO).take(2) {
            let breathed = breathe::<NOISE, FUSED>(strip, 0, part.keep);
            lone.ring::<FUSED>(eight, breathed.first);
            for (half, pushed) in breathed.pushed.into_iter().enumerate() {
                let four = eight + half;
                lone.first[four] = breathed.hiss[NOISE * half];
                lone.second[four + 1] = breathed.hiss[NOISE * half + 1];
                [lone.re[four], lone.im[four]] = swing;
                swing = swung::<FUSED>(strip, 0, swing, pushed);
            }
        }
        // A turn late: numbers that were written one by one are not to be had at once as four.
        if at > last {
            lone.colour(last);
        }
        last = at;
    }
    lone.colour(last);
    [strip.re[0], strip.im[0]] = swing;
    lone.say::<FUSED>(strip, here.clone());
    strip.before[0] = lone.second[here.end];
}

#[cfg(test)]
#[path = "lone_kernel_tests.rs"]
mod tests;
