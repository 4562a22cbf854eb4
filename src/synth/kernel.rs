//! The inner loop: thirty-two bottles side by side, one sample after the other, arithmetic only.
//!
//! The arrays are laid out by quantity, so that the compiler turns the loop over lanes into SIMD. It is
//! compiled for several instruction sets and the widest that the processor has is taken at run time.
//! Only plain `*`, `+` and `-` are used: they round alike everywhere, so that every instruction set gives
//! the same samples, bit for bit.

use wide::f32x8;

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
    pub cos: Row,
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

/// The numbers of one lane, out of their strip.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lane {
    numbers: [f32; ROWS],
    dice: u32,
}

/// Where a stretch leaves what it made, frame by frame.
#[derive(Clone, Debug)]
#[repr(align(64))]
pub(super) struct Scratch {
    /// What each lane says, before it is placed between left and right.
    pub said: [Row; GRID],
    /// The push of the breath noise in each lane, which drives the air modes too.
    push: [Row; GRID],
    /// Sums for left and right over all strips, lane by lane.
    left: [Row; GRID],
    right: [Row; GRID],
}

impl Scratch {
    pub(super) fn empty() -> Self {
        const NONE: [Row; GRID] = [[0.0; LANES]; GRID];
        Self {
            said: NONE,
            push: NONE,
            left: NONE,
            right: NONE,
        }
    }

    /// Begins a stretch of `frames` with nothing in it.
    pub(super) fn begin(&mut self, frames: usize) {
        self.left[..frames].fill([0.0; LANES]);
        self.right[..frames].fill([0.0; LANES]);
    }

    /// Adds what was placed in the first `lanes` of all strips to `left` and `right`.
    pub(super) fn add_to(&self, lanes: usize, left: &mut [f32], right: &mut [f32]) {
        for (sums, out) in [(&self.left, left), (&self.right, right)] {
            for (row, out) in sums.iter().zip(out) {
                *out += total(&row[..lanes.next_multiple_of(8).min(LANES)]);
            }
        }
    }
}

/// The sum of a row in a fixed order: eight sums side by side, then those.
#[inline(always)]
fn total(row: &[f32]) -> f32 {
    let eight = |part: &[f32]| <[f32; 8]>::try_from(part).map_or(f32x8::ZERO, f32x8::from);
    let v = row
        .chunks_exact(8)
        .map(eight)
        .fold(f32x8::ZERO, |sum, part| sum + part)
        .to_array();
    ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]))
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
            cos: NONE,
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
            cos,
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
        [re, im, cos, sin, hiss, left, right]
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
    pub(super) fn hold(&mut self, lane: usize, glide: &[f32; GLIDES], cos: f32, sin: f32) {
        for ((row, step), number) in self.glide.iter_mut().zip(&mut self.step).zip(glide) {
            row[lane] = *number;
            step[lane] = 0.0;
        }
        self.cos[lane] = cos;
        self.sin[lane] = sin;
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
    /// Lanes in use.
    pub lanes: usize,
    /// Whether anything glides in this strip.
    pub gliding: bool,
    /// Air modes in use, at most [`MODES`].
    pub modes: usize,
    /// How far the heard breath follows the noise in one sample, 0 to 1.
    pub soften: f32,
}

/// Runs one strip through one stretch.
#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512bw+avx512cd+avx512dq+avx512vl+avx512vbmi2",
    "x86_64+avx2",
    "aarch64+neon"
))]
pub(super) fn run(strip: &mut Strip, scratch: &mut Scratch, run: Run) {
    match (run.lanes.div_ceil(8), run.gliding) {
        (1, false) => stretch::<8, false>(strip, scratch, run),
        (1, true) => stretch::<8, true>(strip, scratch, run),
        (2, false) => stretch::<16, false>(strip, scratch, run),
        (2, true) => stretch::<16, true>(strip, scratch, run),
        (_, false) => stretch::<LANES, false>(strip, scratch, run),
        (_, true) => stretch::<LANES, true>(strip, scratch, run),
    }
}

#[inline(always)]
fn stretch<const WIDTH: usize, const GLIDING: bool>(
    strip: &mut Strip,
    scratch: &mut Scratch,
    run: Run,
) {
    let modes = run.modes.min(MODES);
    for frame in 0..run.frames.min(GRID) {
        if modes == 0 {
            tone::<WIDTH, GLIDING, true>(strip, scratch, frame, run.soften);
        } else {
            tone::<WIDTH, GLIDING, false>(strip, scratch, frame, run.soften);
        }
    }
    let Strip {
        modes: all,
        left,
        right,
        ..
    } = strip;
    for (index, mode) in all.iter_mut().take(modes).enumerate() {
        for frame in 0..run.frames.min(GRID) {
            if index + 1 == modes {
                ring::<WIDTH, true>(mode, [left, right], scratch, frame);
            } else {
                ring::<WIDTH, false>(mode, [left, right], scratch, frame);
            }
        }
    }
}

/// One sample of every lane's oscillation, overtones and breath.
#[inline(always)]
fn tone<const WIDTH: usize, const GLIDING: bool, const PLACE: bool>(
    s: &mut Strip,
    scratch: &mut Scratch,
    frame: usize,
    soften: f32,
) {
    let said = &mut scratch.said[frame];
    let push = &mut scratch.push[frame];
    let [left, right] = [&mut scratch.left[frame], &mut scratch.right[frame]];
    for l in 0..WIDTH {
        // xorshift (Marsaglia 2003): the upper half drives one axis, the lower half the other.
        let mut dice = s.dice[l];
        dice ^= dice << 13;
        dice ^= dice >> 17;
        dice ^= dice << 5;
        s.dice[l] = dice;
        let white = dice.cast_signed() as f32;
        let across = (dice << 16).cast_signed() as f32;
        let push_re = white * s.glide[PUSH][l];
        let push_im = across * s.glide[PUSH][l];
        push[l] = push_re;
        let hiss = s.hiss[l] + soften * (white - s.hiss[l]);
        s.hiss[l] = hiss;

        let (x, y) = (s.re[l], s.im[l]);
        let (xx, yy) = (x * x, y * y);
        // Re z^n for n = 2, 3, 4, by real arithmetic on the squares.
        let second = xx - yy;
        let twice_yy = yy + yy;
        let third = x * (second - twice_yy);
        let fourth = second * second - (xx + xx) * twice_yy;
        let out = x
            + s.glide[SECOND][l] * second
            + (s.glide[SECOND + 1][l] * third + s.glide[SECOND + 2][l] * fourth)
            + s.glide[HISS][l] * hiss;
        said[l] = out;
        if PLACE {
            left[l] += s.left[l] * out;
            right[l] += s.right[l] * out;
        }

        // Written as w - v w, not (1 - v) w: the damping is small beside 1 and would lose its last digits.
        let damp = s.glide[DAMP][l] + s.glide[LIMIT][l] * (xx + yy);
        let turned_re = s.cos[l] * x - s.sin[l] * y;
        let turned_im = s.cos[l] * y + s.sin[l] * x;
        s.re[l] = (turned_re - damp * turned_re) + push_re;
        s.im[l] = (turned_im - damp * turned_im) + push_im;
        if GLIDING {
            for g in 0..GLIDES {
                s.glide[g][l] += s.step[g][l];
            }
        }
    }
}

/// One sample of every lane's passive mode; the last one places the sum.
#[inline(always)]
fn ring<const WIDTH: usize, const PLACE: bool>(
    m: &mut ModeRows,
    [to_left, to_right]: [&Row; 2],
    scratch: &mut Scratch,
    frame: usize,
) {
    let said = &mut scratch.said[frame];
    let push = &scratch.push[frame];
    let [left, right] = [&mut scratch.left[frame], &mut scratch.right[frame]];
    for l in 0..WIDTH {
        let next = m.turn[l] * m.one_back[l] - m.loss[l] * m.two_back[l] + m.gain[l] * push[l];
        m.two_back[l] = m.one_back[l];
        m.one_back[l] = next;
        let out = said[l] + next;
        said[l] = out;
        if PLACE {
            left[l] += to_left[l] * out;
            right[l] += to_right[l] * out;
        }
    }
}
