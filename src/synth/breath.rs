//! The slow side of the bottles of a strip, side by side as the fast one: breath on its way, what wanders, and what comes of both
//! for the inner loop.
//!
//! A player's breath is never still. Breath, pitch and level each wander as sums of Ornstein–Uhlenbeck processes, which are
//! pulled back to the middle in times of 0.1 to 1 s; depths and times were fitted to recordings of blown bottles
//! (tests/data/real_blown.csv). The pitch follows the breath too, and stays where it was when the breath ends. Numbers step on
//! the control grid and are not joined by lines: what they steer is smooth by itself, a swing or a phase that sums them up, or
//! noise, of which a step of a few percent is not heard.

use super::blown_kernel::{FOUR, GRID};
use super::strip::{LANES, NONE, Row, Strip};
use std::f32::consts::{LN_2, SQRT_2};
use std::ops::Range;

/// What is on its way from one value to another, in the order of [`Breath::from`].
pub(super) const WAYS: usize = 5;
/// Breath over threshold.
pub(super) const BREATH: usize = 0;
/// By how much the damping that holds the swing is stronger than at the usual breath: 1 / loudness².
pub(super) const HOLD: usize = 1;
/// The second overtone; the third and the fourth follow it.
pub(super) const SECOND: usize = 2;

/// Processes that wander, in the order of [`WANDERS`].
const WANDERING: usize = 5;
/// Time, s, and standard deviation of each: two of the breath, as shares; two of the pitch, cents; one of the level, a share.
pub(super) const WANDERS: [(f64, f64); WANDERING] = [
    (0.5, 0.06),
    (0.10, 0.08),
    (1.0, 2.0),
    (0.08, 4.0),
    (0.3, 0.03),
];
/// Time in which a player brings a note that began too hard, too soft or out of tune back to what was meant, s. A guess: notes as
/// long as that are rare.
const HEARD_S: f64 = 12.0;
/// How much of the breath's wandering is heard as level beyond what the swing itself makes of it. Fitted, as above.
const LEVEL_PER_BREATH: f32 = 0.4;
/// Steps of the grid from one throw of what wanders to the next.
pub(super) const WANDER_STEPS: u64 = 8;
/// The breath at which a bottle has its own pitch, over threshold; below the least the pitch falls no further.
const IN_TUNE: f32 = super::blown_voice::USUAL_BREATH as f32;
const LEAST_BENT: f32 = 0.9;
/// However it wanders, so much of the breath is left.
const LEAST_LEFT: f32 = 0.3;
/// Lanes that are worked on together.
pub(super) const WIDE: usize = 8;

/// Something that rises or falls once, lane by lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spell {
    pub size: Row,
    /// How far it is, 0 to 1.
    pub part: Row,
    pub step: Row,
}

impl Spell {
    const NONE: Self = Self {
        size: NONE,
        part: NONE,
        step: NONE,
    };

    /// Begins in a lane, to last so many steps of the grid.
    pub(super) fn begin(&mut self, lane: usize, size: f64, steps: f64) {
        self.size[lane] = size as f32;
        self.part[lane] = 0.0;
        self.step[lane] = (1.0 / steps) as f32;
    }

    /// Whether it is on its way in any of these lanes.
    #[inline(always)]
    fn is_on_way(&self, lanes: Range<usize>) -> bool {
        // All of them: that is quicker than to stop at the first.
        lanes.fold(false, |any, l| {
            any | ((self.size[l] != 0.0) & (self.part[l] < 1.0))
        })
    }

    fn rows(&mut self) -> [&mut Row; 3] {
        [&mut self.size, &mut self.part, &mut self.step]
    }
}

/// The slow side of each lane.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Breath {
    pub dice: [u32; LANES],
    /// How far the ways are gone, 0 to 1, and how far a step of the grid goes.
    pub part: Row,
    pub step: Row,
    pub from: [Row; WAYS],
    pub span: [Row; WAYS],
    /// The tongue's noise, which falls.
    pub chiff: Spell,
    /// The tongue's push, which comes and goes: what it adds to the swing in a step of the grid.
    pub tongue: Spell,
    pub wander: [Row; WANDERING],
    /// By what share the breath of this note is off, and by how many cents its pitch; both are forgotten in time.
    pub off_breath: Row,
    pub off_cents: Row,
    /// The pitch that a note comes from, cents, and the way from there.
    pub scoop: Spell,
    /// How far the pitch rises with a doubling of the breath, cents.
    pub lean: Row,
    /// 1 while breath is blown: the pitch follows it; 0 after.
    pub blown: Row,
    /// How far the pitch is off, cents.
    pub cents: Row,
    /// The damping of four frames at rest: π f / (Q rate) each.
    pub alpha: Row,
    /// Breath beyond which the damping of four frames at once would not be steady.
    pub most: Row,
    /// The turn of one frame at its own pitch, rad; its cosine and sine, and those of four frames.
    pub angle: Row,
    pub turn: [Row; 4],
    /// What the rounding of that turn adds to the swing in four frames.
    pub stretch: Row,
    /// The push of the noise and the noise itself, at a breath of 1.
    pub push: Row,
    pub noise: Row,
}

impl Breath {
    /// Rows of numbers.
    pub(super) const ROWS: usize = 17 + 2 * WAYS + 9 + WANDERING;

    pub(super) fn none() -> Self {
        Self {
            dice: [0; LANES],
            part: NONE,
            step: NONE,
            from: [NONE; WAYS],
            span: [NONE; WAYS],
            chiff: Spell::NONE,
            tongue: Spell::NONE,
            wander: [NONE; WANDERING],
            off_breath: NONE,
            off_cents: NONE,
            scoop: Spell::NONE,
            lean: NONE,
            blown: NONE,
            cents: NONE,
            alpha: NONE,
            most: NONE,
            angle: NONE,
            turn: [NONE; 4],
            stretch: NONE,
            push: NONE,
            noise: NONE,
        }
    }

    /// Every row of numbers.
    pub(super) fn rows(&mut self) -> impl Iterator<Item = &mut Row> {
        let Self {
            dice: _,
            part,
            step,
            from,
            span,
            chiff,
            tongue,
            wander,
            off_breath,
            off_cents,
            scoop,
            lean,
            blown,
            cents,
            alpha,
            most,
            angle,
            turn,
            stretch,
            push,
            noise,
        } = self;
        [
            part, step, off_breath, off_cents, lean, blown, cents, alpha, most, angle, stretch,
            push, noise,
        ]
        .into_iter()
        .chain(from)
        .chain(span)
        .chain(chiff.rows())
        .chain(tongue.rows())
        .chain(scoop.rows())
        .chain(wander)
        .chain(turn)
    }

    /// Where a way is.
    pub(super) fn at(&self, way: usize, lane: usize) -> f32 {
        self.from[way][lane] + self.span[way][lane] * smooth(self.part[lane])
    }

    /// Sets every way of a lane down where `to` says.
    pub(super) fn rest_at(&mut self, lane: usize, to: &[f32; WAYS]) {
        for (way, to) in to.iter().enumerate() {
            self.from[way][lane] = *to;
            self.span[way][lane] = 0.0;
        }
        self.part[lane] = 1.0;
    }

    /// Turns every way of a lane to where `to` says, from wherever it is, over so many steps of the grid.
    pub(super) fn head_for(&mut self, lane: usize, to: &[f32; WAYS], steps: f64) {
        for (way, to) in to.iter().enumerate() {
            let from = self.at(way, lane);
            self.from[way][lane] = from;
            self.span[way][lane] = to - from;
        }
        self.part[lane] = 0.0;
        self.step[lane] = (1.0 / steps) as f32;
    }
}

/// What a pass is to do.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pass {
    /// Which [`WIDE`] lanes are meant, counted over all strips.
    pub part: usize,
    /// Whether a step of the grid has gone by since the last, in which ways went on.
    pub moves: bool,
    /// Whether what wanders is thrown anew.
    pub wanders: bool,
    pub wander: Wander,
}

/// What is kept of each process from throw to throw, and what a throw of −2³¹ to 2³¹ adds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wander {
    keep: [f32; WANDERING],
    throw: [f32; WANDERING],
    /// What is left of what is off.
    off: f32,
}

impl Wander {
    pub(super) fn at(rate_hz: f64) -> Self {
        let apart_s = (WANDER_STEPS * GRID as u64) as f64 / rate_hz;
        let keep = WANDERS.map(|(time_s, _)| (-apart_s / time_s).exp());
        let mut throw = [0.0; WANDERING];
        for ((throw, keep), (_, deviation)) in throw.iter_mut().zip(keep).zip(WANDERS) {
            let added = deviation * (1.0 - keep * keep).sqrt();
            *throw = (added * super::colour::DICE_TO_UNIT) as f32;
        }
        Self {
            keep: keep.map(|keep| keep as f32),
            throw,
            off: (-apart_s / HEARD_S).exp() as f32,
        }
    }
}

/// One pass over some lanes: throws, ways, and the numbers for the inner loop.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn pass(strip: &mut Strip, pass: Pass) {
    // Said so that no lane can be out of the strip: else the compiler looks at each, and takes them one after the other.
    let first = WIDE * (pass.part % (LANES / WIDE));
    if pass.wanders {
        for l in 0..WIDE {
            wander(&mut strip.breath, first + l, &pass.wander);
        }
    }
    let gone = if pass.moves { 1.0 } else { 0.0 };
    // A tongue is at work for a few hundredths of a second, and to work it out takes a third of a pass.
    if strip.breath.tongue.is_on_way(first..first + WIDE) {
        for l in 0..WIDE {
            worked_out::<true>(strip, first + l, gone);
        }
    } else {
        for l in 0..WIDE {
            worked_out::<false>(strip, first + l, gone);
        }
    }
}

/// Throws what wanders in one lane anew.
#[inline(always)]
fn wander(breath: &mut Breath, l: usize, by: &Wander) {
    let mut dice = breath.dice[l];
    let mut halves = [0.0; WANDERING + 1];
    for pair in 0..halves.len() / 2 {
        dice = super::blown_kernel::throw(dice);
        let [high, low] = super::blown_kernel::two_of(dice);
        halves[2 * pair] = high;
        halves[2 * pair + 1] = low;
    }
    breath.dice[l] = dice;
    breath.off_breath[l] *= by.off;
    breath.off_cents[l] *= by.off;
    let throws = by.keep.iter().zip(by.throw).zip(halves);
    for (row, ((keep, throw), half)) in breath.wander.iter_mut().zip(throws) {
        row[l] = keep * row[l] + throw * half;
    }
}

/// Works one lane's numbers out, after `gone` steps of the grid.
pub(super) fn number(strip: &mut Strip, l: usize, gone: f32) {
    worked_out::<true>(strip, l, gone);
}

/// The same, where no tongue is on its way perhaps without it.
#[inline(always)]
fn worked_out<const TONGUED: bool>(strip: &mut Strip, l: usize, gone: f32) {
    let b = &mut strip.breath;
    let part = (b.part[l] + gone * b.step[l]).min(1.0);
    b.part[l] = part;
    let on_way = smooth(part);
    let way = |way: usize| b.from[way][l] + b.span[way][l] * on_way;
    let hold = way(HOLD);
    let overtones = [way(SECOND), way(SECOND + 1), way(SECOND + 2)];
    let wander = b.wander[0][l] + b.wander[1][l];
    let left = (1.0 + wander).max(LEAST_LEFT) * (1.0 + b.off_breath[l]);
    let g = (way(BREATH) * left).min(b.most[l]);

    let chiff_part = (b.chiff.part[l] + gone * b.chiff.step[l]).min(1.0);
    b.chiff.part[l] = chiff_part;
    let chiff = 1.0 + b.chiff.size[l] * (1.0 - smooth(chiff_part));
    strip.push[l] = b.push[l] * (g.min(1.0) / hold.max(1e-6)).sqrt() * chiff;
    strip.noise[l] = 0.5 * b.noise[l] * g * g.sqrt() * chiff;

    // The push of the tongue makes the swing grow by so much where it stands, at whatever phase that is.
    let tongue_part = (b.tongue.part[l] + gone * b.tongue.step[l]).min(1.0);
    b.tongue.part[l] = tongue_part;
    let grown = if TONGUED {
        let (re, im) = (strip.re[l], strip.im[l]);
        let swing = (0.5 * (re * re + im * im).sqrt()).max(1e-9);
        let bell = smooth(1.0 - (1.0 - 2.0 * tongue_part).abs());
        LN_2 * log2(1.0 + b.tongue.size[l] * bell / swing)
    } else {
        0.0
    };

    // The normal form says z ← z (1 − α (1 − g + g |z|²)), which holds for small α. Both terms are scaled by (eˣ − 1)/x
    // with x = α (g − 1), so that a small swing shrinks by exactly e^(−α (1 − g)) whatever α is, and the steady swing
    // stays √((g − 1)/g), or as much louder as it is to be.
    let alpha = b.alpha[l];
    let x = alpha * (g - 1.0);
    let grows = exp_less_1(x);
    let scale = if x.abs() < 1e-3 {
        1.0 + 0.5 * x
    } else {
        grows / x
    };
    let level = 1.0 + b.wander[4][l] + LEVEL_PER_BREATH * wander;
    let limit = alpha * g * scale * hold / (level * level);
    let damp = -exp_less_1(x + grown * (FOUR as f32 / GRID as f32));
    let stretch = b.stretch[l];
    // The state is twice the swing: so its square is four times the swing's.
    strip.damp[l] = damp + stretch * (1.0 - damp);
    strip.limit[l] = limit / 4.0;
    for (row, overtone) in strip.overtones.iter_mut().zip(overtones) {
        row[l] = overtone;
    }
    strip.half_second[l] = 0.5 * overtones[0];
    strip.most_third[l] = 0.75 * overtones[1];

    let bent = b.lean[l] * log2(g.max(LEAST_BENT) / IN_TUNE);
    let scoop_part = (b.scoop.part[l] + gone * b.scoop.step[l]).min(1.0);
    b.scoop.part[l] = scoop_part;
    let scoop = b.scoop.size[l] * (1.0 - smooth(scoop_part));
    let follows = b.off_cents[l] + scoop + b.wander[2][l] + b.wander[3][l] + bent;
    let cents = if b.blown[l] > 0.5 {
        follows
    } else {
        b.cents[l]
    };
    b.cents[l] = cents;
    let octaves = cents * (LN_2 / 1200.0);
    let off = b.angle[l] * octaves * (1.0 + octaves * (0.5 + octaves * (1.0 / 6.0)));
    let (cos, sin) = (b.turn[0][l], b.turn[1][l]);
    let (cos_four, sin_four) = (b.turn[2][l], b.turn[3][l]);
    [strip.cos[l], strip.sin[l]] = turned(cos, sin, off);
    [strip.cos_four[l], strip.sin_four[l]] = turned(cos_four, sin_four, FOUR as f32 * off);
}

/// From 0 to 1, level at both ends.
#[inline(always)]
fn smooth(part: f32) -> f32 {
    part * part * (3.0 - 2.0 * part)
}

/// A turn further by a small angle, rad; by none it is the same to the last bit.
///
/// Here and below no series divides: a quotient costs as much as ten products.
#[inline(always)]
fn turned(cos: f32, sin: f32, angle: f32) -> [f32; 2] {
    let square = angle * angle;
    let c = 1.0 + square * (-0.5 + square * (1.0 / 24.0 - square * (1.0 / 720.0)));
    let s = angle + angle * square * (-1.0 / 6.0 + square * (1.0 / 120.0));
    [cos * c - sin * s, sin * c + cos * s]
}

/// eˣ − 1, for −8 to 1, to the last digits but one.
#[inline(always)]
fn exp_less_1(x: f32) -> f32 {
    let y = x / 16.0;
    let p = y + y * y * (0.5 + y * (1.0 / 6.0 + y * (1.0 / 24.0 + y * (1.0 / 120.0))));
    let p = p * (2.0 + p);
    let p = p * (2.0 + p);
    let p = p * (2.0 + p);
    p * (2.0 + p)
}

/// The logarithm to the base of 2 of a normal number above 0.
#[inline(always)]
fn log2(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = ((bits >> 23).cast_signed() - 127) as f32;
    let mantissa = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000);
    let (exponent, mantissa) = if mantissa > SQRT_2 {
        (exponent + 1.0, 0.5 * mantissa)
    } else {
        (exponent, mantissa)
    };
    let t = (mantissa - 1.0) / (mantissa + 1.0);
    let square = t * t;
    let series = 1.0 + square * (1.0 / 3.0 + square * (0.2 + square * (1.0 / 7.0)));
    exponent + 2.0 / LN_2 * t * series
}
