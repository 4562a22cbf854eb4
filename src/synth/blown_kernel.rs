//! The inner loop: the bottles of a strip side by side, four frames at a time, arithmetic only.
//!
//! The compiler turns the loop over lanes into SIMD. It is compiled for several instruction sets and the widest that
//! the processor has is taken at run time. Products are fused with sums where the processor can (every x86 since 2013,
//! every ARM of 64 bits): these give the same samples, bit for bit, whatever their width. Without, the last digits
//! differ; a bottle's course does not.
//!
//! Frames are taken by fours, counted from frame 0 of the bank. Over four frames |z|² and what follows from it stand
//! still, so that the tone with its overtones is one polynomial of fourth degree in Re z; Re z turns on by its own
//! recurrence, and z itself is turned, damped and pushed once, for all four. The breath noise and the air modes that colour
//! it have two, four or eight samples in two fours, see [`super::colour`], and straight lines between them; they are run for
//! both at once, since what they keep is much and what they do with it is little.

use super::said::Frames;
use super::strip::{LANES, MODES, NONE, Row, Strip};

/// The control grid in frames: what moves is worked out here and steps from one to the next.
pub(super) const GRID: usize = 32;

/// Frames of the tone that are taken together.
pub(super) const FOUR: usize = 4;

/// Frames that are run at a time: what happens to a bottle happens at a multiple of these.
pub(super) const EIGHT: usize = 8;

/// Lanes are run by so many: half a strip costs half.
const HALF: usize = LANES / 2;

/// How to run a stretch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// Eights to run, at most [`GRID`] / [`EIGHT`].
    pub eights: usize,
    /// The first of them, counted from the beginning of the scratch.
    pub first: usize,
    /// Lanes in use.
    pub lanes: usize,
    /// Air modes in use, at most [`MODES`].
    pub modes: usize,
    /// Samples of the noise in four frames: 1, 2 or 4.
    pub noise_per_four: usize,
    /// What is left of the noise one of its samples later, 0 to 1.
    pub keep: f32,
}

/// Runs one strip through the eight after a stretch, of which only the first frames are asked for now: nothing of it is kept but what
/// it says, and it is made again when the rest is wanted.
pub(super) fn look_ahead(strip: &Strip, said: &mut Frames, stretch: Run) {
    let ahead = Run {
        first: stretch.first + stretch.eights,
        eights: 1,
        ..stretch
    };
    run(&mut strip.clone(), said, ahead);
}

/// Runs one strip through one stretch and leaves what it says in `said`.
#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512bw+avx512cd+avx512dq+avx512vl+avx512vbmi2+avx2+fma",
    "x86_64+avx2+fma",
    "aarch64+neon"
))]
pub(super) fn run(strip: &mut Strip, said: &mut Frames, run: Run) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    const SOME: usize = MODES / 2 + 1;
    match (run.noise_per_four, run.modes) {
        (2, 0) => stretch::<0, 2, FUSED>(strip, said, run),
        (2, ..=SOME) => stretch::<SOME, 2, FUSED>(strip, said, run),
        // Modes that no lane has are empty: they cost a little and say nothing.
        (1, _) => stretch::<MODES, 1, FUSED>(strip, said, run),
        (4, _) => stretch::<MODES, 4, FUSED>(strip, said, run),
        _ => stretch::<MODES, 2, FUSED>(strip, said, run),
    }
}

/// The lanes through all eights.
#[inline(always)]
fn stretch<const SUNG: usize, const NOISE: usize, const FUSED: bool>(
    strip: &mut Strip,
    said: &mut Frames,
    run: Run,
) {
    // Not a constant: of eight turns the compiler would make a heap of single instructions.
    let lanes = HALF * run.lanes.div_ceil(HALF).min(LANES / HALF);
    let (eights, _) = said.as_chunks_mut::<EIGHT>();
    let mut noise = Noise {
        samples: [NONE; EIGHT],
        pushed: [NONE; 2],
    };
    for said in eights.iter_mut().skip(run.first).take(run.eights) {
        // The noise by itself: in one loop with the tone there are not the registers for both.
        for l in 0..lanes {
            colour::<SUNG, NOISE, FUSED>(strip, l, run.keep, &mut noise);
        }
        let (fours, _) = said.as_chunks_mut::<FOUR>();
        for (half, [a, b, c, d]) in fours.iter_mut().enumerate() {
            for l in 0..lanes {
                let mut heard = [0.0; FOUR];
                for (sample, heard) in heard.iter_mut().take(NOISE).enumerate() {
                    *heard = noise.samples[half * NOISE + sample][l];
                }
                let pushed = noise.pushed[half][l];
                [a[l], b[l], c[l], d[l]] = four::<NOISE, FUSED>(strip, l, heard, pushed);
            }
        }
    }
}

/// The noise of lanes side by side in eight frames: its samples, and what it pushes the oscillation by in each four.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
struct Noise {
    samples: [Row; EIGHT],
    pushed: [Row; 2],
}

/// a b + c, rounded once where the processor can.
#[inline(always)]
pub(super) fn fused<const FUSED: bool>(a: f32, b: f32, c: f32) -> f32 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// xorshift (Marsaglia 2003).
#[inline(always)]
pub(super) fn throw(mut dice: u32) -> u32 {
    dice ^= dice << 13;
    dice ^= dice >> 17;
    dice ^= dice << 5;
    dice
}

/// Two numbers out of one throw, each from −2³¹ to 2³¹: its upper and its lower half, which know nothing of each other.
#[inline(always)]
pub(super) fn two_of(dice: u32) -> [f32; 2] {
    [dice.cast_signed() as f32, (dice << 16).cast_signed() as f32]
}

/// Two samples of an air mode after `last` and `before`, the first of them damped, and `PUSHED` or not.
#[inline(always)]
pub(super) fn ring<const PUSHED: bool, const FUSED: bool>(
    turn: f32,
    kept: f32,
    push: f32,
    [last, before]: [f32; 2],
) -> [f32; 2] {
    let turned = fused::<FUSED>(turn, last, -before);
    let first = if PUSHED {
        fused::<FUSED>(kept, turned, push)
    } else {
        kept * turned
    };
    [fused::<FUSED>(turn, first, -last), first]
}

/// The breath noise of a lane in eight frames.
#[derive(Clone, Copy, Debug)]
pub(super) struct Breathed {
    /// Its first sample before it is coloured, which pushes the air modes.
    pub first: f32,
    /// Its samples, through its one pole.
    pub hiss: [f32; EIGHT],
    /// What it pushes the oscillation by in each four.
    pub pushed: [f32; 2],
}

/// Throws the breath noise of a lane in eight frames, and lets it through its pole.
#[inline(always)]
pub(super) fn breathe<const NOISE: usize, const FUSED: bool>(
    s: &mut Strip,
    l: usize,
    keep: f32,
) -> Breathed {
    let mut white = [0.0; EIGHT];
    let mut dice = throw(s.dice[l]);
    [white[0], white[1]] = two_of(dice);
    if NOISE > 1 {
        dice = throw(dice);
        [white[2], white[3]] = two_of(dice);
    }
    if NOISE > 2 {
        dice = throw(dice);
        [white[4], white[5]] = two_of(dice);
        dice = throw(dice);
        [white[6], white[7]] = two_of(dice);
    }
    s.dice[l] = dice;
    let pushed = match NOISE {
        1 => [white[0], white[1]],
        2 => [white[0] + white[1], white[2] + white[3]],
        _ => [white[0] + white[1], white[4] + white[5]],
    };
    let level = s.noise[l];
    let mut coloured = [0.0; EIGHT];
    let mut hiss = s.hiss[l];
    for sample in 0..2 * NOISE {
        white[sample] *= level;
        hiss = fused::<FUSED>(keep, hiss, white[sample]);
        coloured[sample] = hiss;
    }
    s.hiss[l] = hiss;
    Breathed {
        first: white[0],
        hiss: coloured,
        pushed,
    }
}

/// The noise of a lane in eight frames, through its pole and the air modes.
#[inline(always)]
fn colour<const SUNG: usize, const NOISE: usize, const FUSED: bool>(
    s: &mut Strip,
    l: usize,
    keep: f32,
    noise: &mut Noise,
) {
    let breathed = breathe::<NOISE, FUSED>(s, l, keep);
    noise.pushed[0][l] = breathed.pushed[0];
    noise.pushed[1][l] = breathed.pushed[1];
    let mut coloured = breathed.hiss;
    for mode in s.modes.iter_mut().take(SUNG) {
        let (turn, kept, gain) = (mode.turn[l], mode.keep[l], mode.gain[l]);
        let mut rings = [mode.one_back[l], mode.two_back[l]];
        for pair in 0..NOISE {
            // Pushed once: a mode sums up what it is pushed by, and does not tell a push from two.
            rings = if pair == 0 {
                ring::<true, FUSED>(turn, kept, gain * breathed.first, rings)
            } else {
                ring::<false, FUSED>(turn, kept, 0.0, rings)
            };
            coloured[2 * pair] += rings[1];
            coloured[2 * pair + 1] += rings[0];
        }
        mode.one_back[l] = rings[0];
        mode.two_back[l] = rings[1];
    }
    for (row, sample) in noise.samples.iter_mut().zip(coloured).take(2 * NOISE) {
        row[l] = sample;
    }
}

/// The noise at each of four frames on top of `even`: straight lines from sample to sample, from the last one before. The samples
/// are half as large as the noise, which saves products.
#[inline(always)]
fn lines<const NOISE: usize, const FUSED: bool>(
    even: f32,
    before: f32,
    coloured: [f32; FOUR],
) -> [f32; FOUR] {
    let [a, b, c, d] = coloured;
    // Twice a number is exact, so that it is the same whether fused or not.
    let at = |sample: f32| fused::<FUSED>(2.0, sample, even);
    match NOISE {
        1 => {
            let (half, from) = (0.5 * (a - before), before + before);
            let (two, three) = (from + (a - before), fused::<FUSED>(3.0, half, from));
            [even + (from + half), even + two, even + three, at(a)]
        }
        2 => [even + (before + a), at(a), even + (a + b), at(b)],
        _ => [at(a), at(b), at(c), at(d)],
    }
}

/// Four frames of a lane's oscillation and overtones, on top of the noise, whose samples are `heard`; `pushed` is what pushes it
/// afterwards.
#[inline(always)]
fn four<const NOISE: usize, const FUSED: bool>(
    s: &mut Strip,
    l: usize,
    heard: [f32; FOUR],
    pushed: f32,
) -> [f32; FOUR] {
    let swing = [s.re[l], s.im[l]];
    let says = says::<NOISE, FUSED>(s, l, swing, (s.before[l], heard));
    [s.re[l], s.im[l]] = swung::<FUSED>(s, l, swing, pushed);
    s.before[l] = heard[NOISE - 1];
    says
}

/// The swing of a lane after four frames, and after `pushed`.
///
/// Written as w − v w, not (1 − v) w: the damping is small beside 1 and would lose its last digits.
#[inline(always)]
pub(super) fn swung<const FUSED: bool>(
    s: &Strip,
    l: usize,
    [x, y]: [f32; 2],
    pushed: f32,
) -> [f32; 2] {
    let square = fused::<FUSED>(x, x, y * y);
    let damp = fused::<FUSED>(s.limit[l], square, s.damp[l]);
    let (cos, sin) = (s.cos_four[l], s.sin_four[l]);
    let turned_re = fused::<FUSED>(cos, x, -(sin * y));
    let turned_im = fused::<FUSED>(sin, x, cos * y);
    let damped_im = fused::<FUSED>(-damp, turned_im, turned_im);
    [
        fused::<FUSED>(-damp, turned_re, turned_re),
        fused::<FUSED>(s.push[l], pushed, damped_im),
    ]
}

/// What a lane that swings says in four frames, on top of the noise: its samples, and the last one before them.
///
/// With X = 2 Re z and E = 4 |z|²: 2 Re z² = X² − E/2, 2 Re z³ = X³ − ¾ E X, 2 Re z⁴ = X⁴ − E X² + E²/8.
#[inline(always)]
pub(super) fn says<const NOISE: usize, const FUSED: bool>(
    s: &Strip,
    l: usize,
    [x, y]: [f32; 2],
    (before, heard): (f32, [f32; FOUR]),
) -> [f32; FOUR] {
    let square = fused::<FUSED>(x, x, y * y);
    let [g2, g3, g4] = [s.overtones[0][l], s.overtones[1][l], s.overtones[2][l]];
    let taken = g4 * square;
    let quadratic = g2 - taken;
    let even = square * fused::<FUSED>(0.125, taken, -s.half_second[l]);
    let damp = fused::<FUSED>(s.limit[l], square, s.damp[l]);
    let linear = fused::<FUSED>(-s.most_third[l], square, s.middle[l]);
    // What the tone loses in each frame before the next four.
    let lost = linear * (0.25 * damp);

    let (cos, sin) = (s.cos[l], s.sin[l]);
    let twice = cos + cos;
    let x1 = fused::<FUSED>(cos, x, -(sin * y));
    let x2 = fused::<FUSED>(twice, x1, -x);
    let x3 = fused::<FUSED>(twice, x2, -x1);

    let tone = |x: f32, linear: f32, even: f32| {
        let cubic = fused::<FUSED>(x, g4, g3);
        let rest = fused::<FUSED>(x, fused::<FUSED>(x, cubic, quadratic), linear);
        fused::<FUSED>(x, rest, even)
    };
    let [a, b, c, d] = lines::<NOISE, FUSED>(even, before, heard);
    [
        tone(x, linear, a),
        tone(x1, linear - lost, b),
        tone(x2, linear - lost - lost, c),
        tone(x3, linear - lost - lost - lost, d),
    ]
}

#[cfg(test)]
#[path = "blown_kernel_tests.rs"]
mod tests;
