//! The inner loop: thirty-two bottles side by side, one sample after the other, arithmetic only.
//!
//! The arrays are laid out by quantity, so that the compiler turns the loop over lanes into SIMD. It is
//! compiled for several instruction sets and the widest that the processor has is taken at run time.
//! Products are fused with sums where the processor can (every x86 since 2013, every ARM of 64 bits): these give the
//! same samples, bit for bit, whatever their width. Without, the last digits differ; a bottle's course does not.
//!
//! Frames are taken two by two, counted from frame 0 of the bank: a throw of the dice serves two.

use wide::f32x4;

/// Bottles side by side in one strip.
pub(super) const LANES: usize = 32;

/// The control grid in frames: breath, overtones and noise are exact here and straight lines between.
pub(super) const GRID: usize = 32;

/// Higher air modes that a bottle may have.
pub(super) const MODES: usize = 3;

/// One value a lane.
pub(super) type Row = [f32; LANES];

/// What moves with the breath, in the order of [`Strip::glide`].
pub(super) const GLIDES: usize = 7;

/// The damping per sample at rest, less what the breath gives back.
pub(super) const DAMP: usize = 0;
/// The damping per sample that grows with the square of the swing.
pub(super) const LIMIT: usize = 1;
/// The push of the breath noise on the oscillation.
pub(super) const PUSH: usize = 2;
/// The breath that is heard beside the tone.
pub(super) const HISS: usize = 3;
/// The overtones; second, third and fourth in turn.
pub(super) const SECOND: usize = 4;

/// A passive air mode in every lane: a two-pole resonator in direct form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ModeRows {
    pub one_back: Row,
    pub two_back: Row,
    pub turn: Row,
    pub loss: Row,
    pub gain: Row,
}

/// The state and the coefficients of the bottles in one strip.
///
/// On a cache line of its own: a vector that straddles two lines costs twice, and three times in a store.
#[derive(Clone, Debug, PartialEq)]
#[repr(align(64))]
pub(super) struct Strip {
    pub re: Row,
    pub im: Row,
    /// −tan θ/2, for a turn by θ a sample.
    pub lean: Row,
    /// sin θ.
    pub sin: Row,
    pub dice: [u32; LANES],
    pub hiss: Row,
    pub glide: [Row; GLIDES],
    pub step: [Row; GLIDES],
    pub left: Row,
    pub right: Row,
    pub modes: [ModeRows; MODES],
    /// Modes that any lane has had since the strip was last empty.
    pub modes_in_use: usize,
}

/// Rows of numbers in a strip: seven of its own, two for each glide, five for each mode.
const ROWS: usize = 7 + 2 * GLIDES + 5 * MODES;

/// A turn of the swing by some angle in one sample, as three shears: they keep areas whatever their rounding, so that a
/// bottle neither grows nor fades by it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    lean: f32,
    sin: f32,
}

impl Turn {
    /// By `angle`, rad, less than a half turn.
    pub(super) fn by(angle: f64) -> Self {
        Self {
            lean: -(angle / 2.0).tan() as f32,
            sin: angle.sin() as f32,
        }
    }
}

/// The numbers of one lane, out of their strip.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lane {
    numbers: [f32; ROWS],
    dice: u32,
}

/// What the strips made of one frame. Side by side: rows at distances of 4 KiB would get into each other's way.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
struct Frame {
    /// What each lane says, before it is placed between left and right.
    said: Row,
    /// The push of the breath noise in each lane, which drives the air modes too.
    push: Row,
    /// Sums for left and right over all strips, lane by lane.
    left: Row,
    right: Row,
}

/// Where a stretch leaves what it made, frame by frame.
#[derive(Clone, Debug)]
pub(super) struct Scratch {
    frames: [Frame; GRID],
}

impl Scratch {
    pub(super) fn empty() -> Self {
        const NONE: Frame = Frame {
            said: [0.0; LANES],
            push: [0.0; LANES],
            left: [0.0; LANES],
            right: [0.0; LANES],
        };
        Self {
            frames: [NONE; GRID],
        }
    }

    /// What a lane of the strip that ran last said, frame by frame; only if it was asked to leave that.
    pub(super) fn said(&self, lane: usize) -> impl Iterator<Item = f32> {
        self.frames.iter().map(move |frame| frame.said[lane])
    }
}

/// Adds what all strips placed in a stretch, the first in `lanes` of its lanes, to `left` and `right`.
pub(super) fn gather(scratch: &Scratch, lanes: usize, left: &mut [f32], right: &mut [f32]) {
    match lanes.div_ceil(8) {
        1 => totals::<8>(scratch, left, right),
        2 => totals::<16>(scratch, left, right),
        _ => totals::<LANES>(scratch, left, right),
    }
}

fn totals<const WIDTH: usize>(scratch: &Scratch, left: &mut [f32], right: &mut [f32]) {
    for ((frame, left), right) in scratch.frames.iter().zip(left).zip(right) {
        *left += total::<WIDTH>(&frame.left);
        *right += total::<WIDTH>(&frame.right);
    }
}

/// The sum of the first `WIDTH` of a row in a fixed order: four sums side by side, then those.
#[inline(always)]
fn total<const WIDTH: usize>(row: &Row) -> f32 {
    let (fours, _) = row[..WIDTH].as_chunks::<4>();
    let sums = fours
        .iter()
        .fold(f32x4::ZERO, |sums, four| sums + f32x4::from(*four));
    sums.reduce_add()
}

impl Strip {
    pub(super) fn silent() -> Self {
        const NONE: Row = [0.0; LANES];
        const MODE: ModeRows = ModeRows {
            one_back: NONE,
            two_back: NONE,
            turn: NONE,
            loss: NONE,
            gain: NONE,
        };
        Self {
            re: NONE,
            im: NONE,
            lean: NONE,
            sin: NONE,
            dice: [0; LANES],
            hiss: NONE,
            glide: [NONE; GLIDES],
            step: [NONE; GLIDES],
            left: NONE,
            right: NONE,
            modes: [MODE; MODES],
            modes_in_use: 0,
        }
    }

    /// Every row of numbers, so that a lane can be moved or cleared without naming them twice.
    fn rows(&mut self) -> impl Iterator<Item = &mut Row> {
        let Self {
            re,
            im,
            lean,
            sin,
            dice: _,
            hiss,
            glide,
            step,
            left,
            right,
            modes,
            modes_in_use: _,
        } = self;
        [re, im, lean, sin, hiss, left, right]
            .into_iter()
            .chain(glide)
            .chain(step)
            .chain(modes.iter_mut().flat_map(|m| {
                let ModeRows {
                    one_back,
                    two_back,
                    turn,
                    loss,
                    gain,
                } = m;
                [one_back, two_back, turn, loss, gain]
            }))
    }

    /// The numbers of one lane, to be laid into another.
    pub(super) fn lane(&mut self, lane: usize) -> Lane {
        let mut numbers = [0.0; ROWS];
        for (number, row) in numbers.iter_mut().zip(self.rows()) {
            *number = row[lane];
        }
        Lane {
            numbers,
            dice: self.dice[lane],
        }
    }

    /// Lays the numbers of a lane into lane `into`.
    pub(super) fn set_lane(&mut self, into: usize, lane: &Lane) {
        for (row, number) in self.rows().zip(lane.numbers) {
            row[into] = number;
        }
        self.dice[into] = lane.dice;
    }

    /// Sets the moving numbers of a lane and stops them there.
    pub(super) fn hold(&mut self, lane: usize, glide: &[f32; GLIDES], turn: Turn) {
        for ((row, step), number) in self.glide.iter_mut().zip(&mut self.step).zip(glide) {
            row[lane] = *number;
            step[lane] = 0.0;
        }
        self.turn(lane, turn);
    }

    /// Sets how far a lane turns in one sample.
    pub(super) fn turn(&mut self, lane: usize, turn: Turn) {
        self.lean[lane] = turn.lean;
        self.sin[lane] = turn.sin;
    }

    /// Sets turn, loss and gain of each mode of a lane.
    pub(super) fn set_modes(&mut self, lane: usize, modes: &[[f32; 3]; MODES]) {
        for (rows, numbers) in self.modes.iter_mut().zip(modes) {
            [rows.turn[lane], rows.loss[lane], rows.gain[lane]] = *numbers;
        }
    }

    /// The largest swing in a lane, of the main resonance or a mode.
    pub(super) fn swing(&self, lane: usize) -> f32 {
        let main = self.re[lane].abs().max(self.im[lane].abs());
        self.modes.iter().fold(main, |most, m| {
            most.max(m.one_back[lane].abs()).max(m.two_back[lane].abs())
        })
    }

    /// Ends the modes of a lane that have rung below `least`, before their numbers get so small that they are slow.
    pub(super) fn quieten_modes(&mut self, lane: usize, least: f32) {
        for m in &mut self.modes {
            if m.one_back[lane].abs().max(m.two_back[lane].abs()) < least {
                m.one_back[lane] = 0.0;
                m.two_back[lane] = 0.0;
            }
        }
    }

    /// An empty lane computes with zeros, which costs no more than the arithmetic.
    pub(super) fn clear_lane(&mut self, lane: usize) {
        for row in self.rows() {
            row[lane] = 0.0;
        }
        self.dice[lane] = 0;
    }
}

/// How to run a stretch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// Frames, at most [`GRID`].
    pub frames: usize,
    /// Whether the first frame is the second of its two.
    pub odd: bool,
    /// Lanes in use.
    pub lanes: usize,
    /// Whether anything glides in this strip.
    pub gliding: bool,
    /// Air modes in use, at most [`MODES`].
    pub modes: usize,
    /// Whether this is the first strip of the stretch.
    pub first: bool,
    /// Whether to leave what each lane says.
    pub tapped: bool,
    /// What is left of the heard breath after two frames, 0 to 1.
    pub keep: f32,
}

/// Runs one strip through one stretch.
#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512bw+avx512cd+avx512dq+avx512vl+avx512vbmi2+avx2+fma",
    "x86_64+avx2+fma",
    "aarch64+neon"
))]
pub(super) fn run(strip: &mut Strip, scratch: &mut Scratch, run: Run) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    match (run.lanes.div_ceil(8), run.gliding) {
        (1, false) => stretch::<8, false, FUSED>(strip, scratch, run),
        (1, true) => stretch::<8, true, FUSED>(strip, scratch, run),
        (2, false) => stretch::<16, false, FUSED>(strip, scratch, run),
        (2, true) => stretch::<16, true, FUSED>(strip, scratch, run),
        (_, false) => stretch::<LANES, false, FUSED>(strip, scratch, run),
        (_, true) => stretch::<LANES, true, FUSED>(strip, scratch, run),
    }
}

#[inline(always)]
fn stretch<const WIDTH: usize, const GLIDING: bool, const FUSED: bool>(
    strip: &mut Strip,
    scratch: &mut Scratch,
    run: Run,
) {
    let modes = run.modes.min(MODES);
    let frames = &mut scratch.frames[..run.frames.min(GRID)];
    if modes == 0 && !run.tapped {
        if run.first {
            tones::<WIDTH, GLIDING, FUSED, SET>(strip, frames, run);
        } else {
            tones::<WIDTH, GLIDING, FUSED, ADD>(strip, frames, run);
        }
        return;
    }
    tones::<WIDTH, GLIDING, FUSED, SAY>(strip, frames, run);
    for mode in strip.modes.iter_mut().take(modes) {
        for frame in frames.iter_mut() {
            ring::<WIDTH, FUSED>(mode, frame);
        }
    }
    for frame in frames {
        for l in 0..WIDTH {
            let out = frame.said[l];
            if run.first {
                place::<FUSED, SET>(strip, frame, l, out);
            } else {
                place::<FUSED, ADD>(strip, frame, l, out);
            }
        }
    }
}

/// Where a tone goes: to nothing but what its lane says, for modes and taps.
const SAY: u8 = 0;
/// In the place of what was left and right.
const SET: u8 = 1;
/// To what is left and right.
const ADD: u8 = 2;

/// Puts what a lane says between left and right.
#[inline(always)]
fn place<const FUSED: bool, const TO: u8>(s: &Strip, frame: &mut Frame, l: usize, out: f32) {
    if TO == SET {
        frame.left[l] = s.left[l] * out;
        frame.right[l] = s.right[l] * out;
    } else {
        frame.left[l] = fused::<FUSED>(s.left[l], out, frame.left[l]);
        frame.right[l] = fused::<FUSED>(s.right[l], out, frame.right[l]);
    }
}

/// Runs oscillation, overtones and breath through `frames`, by twos where two belong together.
#[inline(always)]
fn tones<const WIDTH: usize, const GLIDING: bool, const FUSED: bool, const TO: u8>(
    strip: &mut Strip,
    frames: &mut [Frame],
    run: Run,
) {
    let (first, rest) = frames.split_at_mut(usize::from(run.odd).min(frames.len()));
    for frame in first {
        for lane in 0..WIDTH {
            tone::<GLIDING, FUSED, TO, true>(strip, frame, lane, run.keep);
        }
    }
    let (twos, last) = rest.as_chunks_mut::<2>();
    for [even, odd] in twos {
        for lane in 0..WIDTH {
            tone::<GLIDING, FUSED, TO, false>(strip, even, lane, run.keep);
            tone::<GLIDING, FUSED, TO, true>(strip, odd, lane, run.keep);
        }
    }
    for frame in last {
        for lane in 0..WIDTH {
            tone::<GLIDING, FUSED, TO, false>(strip, frame, lane, run.keep);
        }
    }
}

/// a b + c, rounded once where the processor can.
#[inline(always)]
fn fused<const FUSED: bool>(a: f32, b: f32, c: f32) -> f32 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// One sample of a lane's oscillation, overtones and breath.
#[inline(always)]
fn tone<const GLIDING: bool, const FUSED: bool, const TO: u8, const ODD: bool>(
    s: &mut Strip,
    frame: &mut Frame,
    l: usize,
    keep: f32,
) {
    // A push every other frame is as white as one every frame; it needs half the dice.
    let mut push = 0.0;
    if !ODD {
        // xorshift (Marsaglia 2003).
        let mut dice = s.dice[l];
        dice ^= dice << 13;
        dice ^= dice >> 17;
        dice ^= dice << 5;
        s.dice[l] = dice;
        let white = dice.cast_signed() as f32;
        push = white * s.glide[PUSH][l];
        s.hiss[l] = fused::<FUSED>(keep, s.hiss[l], white);
    }

    let (x, y) = (s.re[l], s.im[l]);
    let (xx, yy) = (x * x, y * y);
    let energy = xx + yy;
    // Re z^n for n = 2, 3, 4, by real arithmetic on the squares; the third without its factor x.
    let second = xx - yy;
    let third = (second - yy) - yy;
    let [g2, g3, g4] = [SECOND, SECOND + 1, SECOND + 2].map(|g| s.glide[g][l]);
    let odd_parts = fused::<FUSED>(g3, third, 1.0);
    let even_parts = fused::<FUSED>(g4, second + second, g2);
    let out = fused::<FUSED>(x, odd_parts, s.glide[HISS][l] * s.hiss[l]);
    let out = fused::<FUSED>(even_parts, second, out);
    let out = fused::<FUSED>(-g4, energy * energy, out);
    if TO == SAY {
        frame.said[l] = out;
        frame.push[l] = push;
    } else {
        place::<FUSED, TO>(s, frame, l, out);
    }

    // Written as w - v w, not (1 - v) w: the damping is small beside 1 and would lose its last digits.
    let damp = fused::<FUSED>(s.glide[LIMIT][l], energy, s.glide[DAMP][l]);
    let leant = fused::<FUSED>(s.lean[l], y, x);
    let turned_im = fused::<FUSED>(s.sin[l], leant, y);
    let turned_re = fused::<FUSED>(s.lean[l], turned_im, leant);
    s.re[l] = fused::<FUSED>(-damp, turned_re, turned_re);
    s.im[l] = fused::<FUSED>(-damp, turned_im, turned_im);
    if !ODD {
        s.im[l] += push;
    }
    if GLIDING {
        for g in 0..GLIDES {
            s.glide[g][l] += s.step[g][l];
        }
    }
}

/// One sample of every lane's passive mode.
#[inline(always)]
fn ring<const WIDTH: usize, const FUSED: bool>(m: &mut ModeRows, frame: &mut Frame) {
    for l in 0..WIDTH {
        let pushed = fused::<FUSED>(m.gain[l], frame.push[l], -(m.loss[l] * m.two_back[l]));
        let next = fused::<FUSED>(m.turn[l], m.one_back[l], pushed);
        m.two_back[l] = m.one_back[l];
        m.one_back[l] = next;
        frame.said[l] += next;
    }
}
