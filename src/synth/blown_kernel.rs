//! The inner loop: the bottles of a strip side by side, four frames at a time, arithmetic only.
//!
//! The compiler turns the loop over lanes into SIMD. It is compiled for several instruction sets and the widest that
//! the processor has is taken at run time. Products are fused with sums where the processor can (every x86 since 2013,
//! every ARM of 64 bits): these give the same samples, bit for bit, whatever their width. Without, the last digits
//! differ; a bottle's course does not.
//!
//! Frames are taken by fours, counted from frame 0 of the bank. Over four frames |z|² and what follows from it stand
//! still, so that the tone with its overtones is one polynomial of fourth degree in Re z; Re z turns on by its own
//! recurrence, and z itself is turned, damped and pushed once, for all four.

use super::strip::{
    DAMP, FOURTH, GLIDES, HALF_SECOND, HISS, LANES, LIMIT, MODES, MOST_THIRD, PUSH, Row, SECOND,
    Strip, THIRD,
};
use wide::f32x4;

/// The control grid in frames: breath, overtones and noise are exact here and straight lines between.
pub(super) const GRID: usize = 32;

/// Frames that are taken together: what happens to a bottle happens at a multiple of these.
pub(super) const FOUR: usize = 4;

/// Lanes that are summed side by side, and the least that are run.
const WIDE: usize = 16;

/// What all strips made of one frame: the middle and the side, lane by lane of [`WIDE`].
///
/// Side by side: rows at distances of 4 KiB would get into each other's way.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
struct Sum {
    middle: [f32; WIDE],
    side: [f32; WIDE],
}

/// Where a stretch leaves what it made, frame by frame.
#[derive(Clone, Debug)]
pub(super) struct Scratch {
    sums: [Sum; GRID],
    /// What each lane of the strip that ran last said, to the middle; only if it was asked to leave that.
    said: [Row; GRID],
}

impl Scratch {
    pub(super) fn empty() -> Self {
        const NOTHING: Sum = Sum {
            middle: [0.0; WIDE],
            side: [0.0; WIDE],
        };
        Self {
            sums: [NOTHING; GRID],
            said: [[0.0; LANES]; GRID],
        }
    }

    /// What a lane of the strip that ran last said, from frame `start` of the fours on.
    pub(super) fn said(&self, lane: usize, start: usize) -> impl Iterator<Item = f32> {
        self.said[start..].iter().map(move |frame| frame[lane])
    }
}

/// Adds what all strips made, from frame `start` of the fours on, to `left` and `right`.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn gather(scratch: &Scratch, start: usize, left: &mut [f32], right: &mut [f32]) {
    let (mut to_left, mut to_right) = ([0.0; GRID], [0.0; GRID]);
    let (fours, _) = scratch.sums.as_chunks::<FOUR>();
    let outs = to_left
        .chunks_exact_mut(FOUR)
        .zip(to_right.chunks_exact_mut(FOUR));
    let wanted = (start + left.len()).div_ceil(FOUR);
    for (four, (to_left, to_right)) in fours.iter().zip(outs).take(wanted) {
        let middle = totals(four.each_ref().map(|sum| &sum.middle));
        let side = totals(four.each_ref().map(|sum| &sum.side));
        to_left.copy_from_slice((middle + side).as_array());
        to_right.copy_from_slice((middle - side).as_array());
    }
    for (out, to) in [(left, to_left), (right, to_right)] {
        for (out, to) in out.iter_mut().zip(&to[start..]) {
            *out += to;
        }
    }
}

/// The sum of each of four rows in a fixed order: four sums side by side, then those.
#[inline(always)]
fn totals(rows: [&[f32; WIDE]; FOUR]) -> f32x4 {
    let sums = rows.map(|row| {
        let (parts, _) = row.as_chunks::<4>();
        let [a, b, c, d] = [0, 1, 2, 3].map(|part| f32x4::from(parts[part]));
        (a + b) + (c + d)
    });
    let [a, b, c, d] = f32x4::transpose(sums);
    (a + b) + (c + d)
}

/// How to run a stretch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// Fours to run, at most [`GRID`] / [`FOUR`].
    pub fours: usize,
    /// The first of them, counted from the beginning of the scratch.
    pub first: usize,
    /// Whether this is the first strip of the stretch: it takes the place of what was there.
    pub begins: bool,
    /// Lanes in use.
    pub lanes: usize,
    /// Whether anything glides in this strip.
    pub gliding: bool,
    /// Air modes in use, at most [`MODES`].
    pub modes: usize,
    /// Whether to leave what each lane says.
    pub tapped: bool,
    /// What is left of the heard breath after two frames, 0 to 1.
    pub keep: f32,
}

/// Runs one strip through one stretch and leaves what it made in the scratch.
#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512bw+avx512cd+avx512dq+avx512vl+avx512vbmi2+avx2+fma",
    "x86_64+avx2+fma",
    "aarch64+neon"
))]
pub(super) fn run(strip: &mut Strip, scratch: &mut Scratch, run: Run) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    match (run.modes.min(MODES), run.tapped) {
        (0, false) => stretch::<0, false, FUSED>(strip, scratch, run),
        (1, false) => stretch::<1, false, FUSED>(strip, scratch, run),
        (2, false) => stretch::<2, false, FUSED>(strip, scratch, run),
        (_, false) => stretch::<MODES, false, FUSED>(strip, scratch, run),
        // Modes that no lane has are empty: they cost a little and say nothing.
        (_, true) => stretch::<MODES, true, FUSED>(strip, scratch, run),
    }
}

/// A part of the lanes through all fours, then the next: its state stays at hand, and two vectors of eight or one of
/// sixteen are enough not to wait for each other.
#[inline(always)]
fn stretch<const SUNG: usize, const TAPPED: bool, const FUSED: bool>(
    strip: &mut Strip,
    scratch: &mut Scratch,
    run: Run,
) {
    for part in 0..run.lanes.div_ceil(WIDE).min(LANES / WIDE) {
        if run.begins && part == 0 {
            through::<SUNG, TAPPED, FUSED, true>(strip, scratch, run, part);
        } else {
            through::<SUNG, TAPPED, FUSED, false>(strip, scratch, run, part);
        }
    }
}

/// One part of the lanes through all fours; what it makes is added to the sums, or is `FIRST` and takes their place.
#[inline(always)]
fn through<const SUNG: usize, const TAPPED: bool, const FUSED: bool, const FIRST: bool>(
    strip: &mut Strip,
    scratch: &mut Scratch,
    run: Run,
    part: usize,
) {
    let lanes = part * WIDE;
    let (sums, _) = scratch.sums.as_chunks_mut::<FOUR>();
    let (said, _) = scratch.said.as_chunks_mut::<FOUR>();
    for (sums, said) in sums.iter_mut().zip(said).skip(run.first).take(run.fours) {
        for l in 0..WIDE {
            let says = four::<SUNG, FUSED>(strip, lanes + l, run.keep);
            let side = strip.side[lanes + l];
            for (frame, says) in says.into_iter().enumerate() {
                let sum = &mut sums[frame];
                if FIRST {
                    sum.middle[l] = says;
                    sum.side[l] = side * says;
                } else {
                    sum.middle[l] += says;
                    sum.side[l] = fused::<FUSED>(side, says, sum.side[l]);
                }
                if TAPPED {
                    said[frame][lanes + l] = says;
                }
            }
        }
        if run.gliding {
            for g in 0..GLIDES {
                for l in lanes..lanes + WIDE {
                    strip.glide[g][l] += strip.step[g][l];
                }
            }
        }
    }
}

/// a b + c, rounded once where the processor can.
#[inline(always)]
fn fused<const FUSED: bool>(a: f32, b: f32, c: f32) -> f32 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// xorshift (Marsaglia 2003).
#[inline(always)]
fn throw(mut dice: u32) -> u32 {
    dice ^= dice << 13;
    dice ^= dice >> 17;
    dice ^= dice << 5;
    dice
}

/// Four frames of a lane's oscillation, overtones, breath and air modes.
///
/// With X = 2 Re z and E = 4 |z|²: 2 Re z² = X² − E/2, 2 Re z³ = X³ − ¾ E X, 2 Re z⁴ = X⁴ − E X² + E²/8.
#[inline(always)]
fn four<const SUNG: usize, const FUSED: bool>(s: &mut Strip, l: usize, keep: f32) -> [f32; FOUR] {
    // A throw every other frame is as white as one every frame; it needs half the dice.
    let first = throw(s.dice[l]);
    let second = throw(first);
    s.dice[l] = second;
    let [first, second] = [first, second].map(|dice| dice.cast_signed() as f32);
    let early = fused::<FUSED>(keep, s.hiss[l], first);
    let late = fused::<FUSED>(keep, early, second);
    s.hiss[l] = late;

    let (x, y) = (s.re[l], s.im[l]);
    let square = fused::<FUSED>(x, x, y * y);
    let g4 = s.glide[FOURTH][l];
    let g3 = s.glide[THIRD][l];
    let g2 = s.glide[SECOND][l];
    let taken = g4 * square;
    let quadratic = g2 - taken;
    let even = square * fused::<FUSED>(0.125, taken, -s.glide[HALF_SECOND][l]);
    let early = fused::<FUSED>(s.glide[HISS][l], early, even);
    let late = fused::<FUSED>(s.glide[HISS][l], late, even);
    let damp = fused::<FUSED>(s.glide[LIMIT][l], square, s.glide[DAMP][l]);
    let linear = fused::<FUSED>(-s.glide[MOST_THIRD][l], square, s.middle[l]);
    // What the tone loses in each frame before the next four.
    let lost = linear * damp;

    let (cos, sin) = (s.cos[l], s.sin[l]);
    let twice = cos + cos;
    let x1 = fused::<FUSED>(cos, x, -(sin * y));
    let x2 = fused::<FUSED>(twice, x1, -x);
    let x3 = fused::<FUSED>(twice, x2, -x1);

    // Written as w − v w, not (1 − v) w: the damping is small beside 1 and would lose its last digits.
    let (cos, sin) = (s.cos_four[l], s.sin_four[l]);
    let turned_re = fused::<FUSED>(cos, x, -(sin * y));
    let turned_im = fused::<FUSED>(sin, x, cos * y);
    let damp = (damp + damp) + (damp + damp);
    s.re[l] = fused::<FUSED>(-damp, turned_re, turned_re);
    let damped_im = fused::<FUSED>(-damp, turned_im, turned_im);
    s.im[l] = fused::<FUSED>(s.glide[PUSH][l], first + second, damped_im);

    let tone = |x: f32, linear: f32, even: f32| {
        let cubic = fused::<FUSED>(x, g4, g3);
        let rest = fused::<FUSED>(x, fused::<FUSED>(x, cubic, quadratic), linear);
        fused::<FUSED>(x, rest, even)
    };
    let mut says = [
        tone(x, linear, early),
        tone(x1, linear - lost, early),
        tone(x2, linear - lost - lost, late),
        tone(x3, linear - lost - lost - lost, late),
    ];
    let push = [s.glide[PUSH][l] * first, s.glide[PUSH][l] * second];
    for mode in s.modes.iter_mut().take(SUNG) {
        let (turn, loss, gain) = (mode.turn[l], mode.loss[l], mode.gain[l]);
        let (one, two) = (mode.one_back[l], mode.two_back[l]);
        let m0 = fused::<FUSED>(turn, one, fused::<FUSED>(-loss, two, gain * push[0]));
        let m1 = fused::<FUSED>(turn, m0, -(loss * one));
        let m2 = fused::<FUSED>(turn, m1, fused::<FUSED>(-loss, m0, gain * push[1]));
        let m3 = fused::<FUSED>(turn, m2, -(loss * m1));
        mode.two_back[l] = m2;
        mode.one_back[l] = m3;
        for (says, mode) in says.iter_mut().zip([m0, m1, m2, m3]) {
            *says += mode;
        }
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synth::strip::Turn;
    use num_complex::Complex64;

    const KEEP: f32 = 0.4;

    /// A strip in which every lane swings, breathes, glides and has all its air modes.
    fn busy() -> Strip {
        let mut strip = Strip::silent();
        strip.modes_in_use = MODES;
        for l in 0..LANES {
            let part = l as f64 / LANES as f64;
            let turn = 0.01 + 0.4 * part;
            strip.jolt(l, 0.9 - 0.5 * part as f32);
            strip.dice[l] = 0x9E37_79B9 ^ (l as u32 * 77);
            strip.place(l, 0.5, 1.0 - 2.0 * part as f32);
            let mut glide = [0.0; GLIDES];
            glide[DAMP] = -0.002 + 0.004 * part as f32;
            glide[LIMIT] = 0.0008;
            glide[PUSH] = 3e-12;
            glide[HISS] = 2e-12;
            glide[SECOND] = 0.06;
            glide[HALF_SECOND] = 0.03;
            glide[THIRD] = 0.02;
            glide[MOST_THIRD] = 0.015;
            glide[FOURTH] = 0.008;
            strip.hold(l, &glide, Turn::by(turn));
            strip.step[HISS][l] = 1e-14;
            strip.step[DAMP][l] = 1e-6;
            strip.set_modes(l, &[[1.9 - 3.0 * part as f32, 0.97, 0.5]; MODES]);
        }
        strip
    }

    fn whole() -> Run {
        Run {
            fours: GRID / FOUR,
            first: 0,
            begins: true,
            lanes: LANES,
            gliding: true,
            modes: MODES,
            tapped: true,
            keep: KEEP,
        }
    }

    /// The same, one lane and one frame after the other, in complex numbers of f64 and by the definitions.
    fn plainly(strip: &Strip, l: usize) -> Vec<f64> {
        let number = |row: &Row| f64::from(row[l]);
        let mut z = Complex64::new(number(&strip.re), number(&strip.im)) / 2.0;
        let mut dice = strip.dice[l];
        let mut hiss = number(&strip.hiss);
        let mut glide: Vec<f64> = strip.glide.iter().map(number).collect();
        let mut modes = [[0.0; 2]; MODES];
        let turn = Complex64::new(number(&strip.cos), number(&strip.sin));
        let turn_four = Complex64::new(number(&strip.cos_four), number(&strip.sin_four));
        let middle = 2.0 * number(&strip.middle);
        let mut says = Vec::new();
        for _ in 0..GRID / FOUR {
            let damp = glide[DAMP] + glide[LIMIT] * 4.0 * z.norm_sqr();
            let mut pushed = 0.0;
            for frame in 0..FOUR {
                let mut push = 0.0;
                if frame % 2 == 0 {
                    dice = throw(dice);
                    let white = f64::from(dice.cast_signed());
                    hiss = f64::from(KEEP) * hiss + white;
                    push = glide[PUSH] * white;
                    pushed += push;
                }
                let now = z * turn.powu(frame as u32);
                let overtones = 2.0
                    * (glide[SECOND] * now.powu(2).re
                        + glide[THIRD] * now.powu(3).re
                        + glide[FOURTH] * now.powu(4).re);
                // The tone and what of the third overtone is linear in it fade within the four; the rest waits.
                let linear = middle - 6.0 * glide[THIRD] * now.norm_sqr();
                let faded = linear * now.re * frame as f64 * damp;
                let mut say = middle * now.re + overtones - faded + glide[HISS] * hiss;
                for (mode, rows) in modes.iter_mut().zip(&strip.modes) {
                    let next = number(&rows.turn) * mode[0] - number(&rows.loss) * mode[1]
                        + number(&rows.gain) * push;
                    *mode = [next, mode[0]];
                    say += next;
                }
                says.push(say);
            }
            z *= turn_four * (1.0 - 4.0 * damp);
            z.im += pushed / 2.0;
            for (glide, step) in glide.iter_mut().zip(&strip.step) {
                *glide += number(step);
            }
        }
        says
    }

    #[test]
    fn a_strip_is_what_the_definitions_say_within_the_rounding_of_single_precision() {
        let start = busy();
        let (mut strip, mut scratch) = (start.clone(), Scratch::empty());
        run(&mut strip, &mut scratch, whole());
        let mut worst = 0.0f64;
        for l in 0..LANES {
            let plain = plainly(&start, l);
            assert!(plain.iter().any(|say| say.abs() > 0.1));
            for (said, plain) in scratch.said(l, 0).zip(plain) {
                worst = worst.max((f64::from(said) - plain).abs());
            }
        }
        // Six or so operations of half a unit of 2⁻²⁴ each, and the recurrence of Re z triples what the first turn
        // leaves; the modes ring up to 30 times what drives them.
        assert!(worst < 1e-5, "{worst:e}");
        assert!(worst > 0.0);
    }

    #[test]
    fn the_widest_instructions_give_the_samples_of_the_narrowest_bit_for_bit() {
        let (mut strip, mut scratch) = (busy(), Scratch::empty());
        run(&mut strip, &mut scratch, whole());
        let (mut plain, mut plain_scratch) = (busy(), Scratch::empty());
        #[cfg(target_arch = "x86_64")]
        let fuses = is_x86_feature_detected!("fma") && is_x86_feature_detected!("avx2");
        #[cfg(not(target_arch = "x86_64"))]
        let fuses = cfg!(target_arch = "aarch64");
        if fuses {
            stretch::<MODES, true, true>(&mut plain, &mut plain_scratch, whole());
        } else {
            stretch::<MODES, true, false>(&mut plain, &mut plain_scratch, whole());
        }
        assert_eq!(strip, plain);
        assert_eq!(scratch.said, plain_scratch.said);
        let sums = |s: &Scratch| s.sums.map(|sum| (sum.middle, sum.side));
        assert_eq!(sums(&scratch), sums(&plain_scratch));
    }

    #[test]
    fn a_turn_says_how_much_its_rounding_lengthens_the_swing() {
        let turn = Turn::by(0.123_456);
        let mut strip = Strip::silent();
        strip.turn(0, turn);
        let [cos, sin] = [strip.cos_four[0], strip.sin_four[0]].map(f64::from);
        assert!((cos * cos + sin * sin - (1.0 + turn.stretch()).powi(2)).abs() < 1e-15);
        assert!(turn.stretch().abs() < 1e-7);
    }
}
