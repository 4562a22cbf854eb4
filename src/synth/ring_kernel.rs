//! The inner loop of struck bottles: all the modes of one bottle side by side, one sample after the other.
//!
//! Laid out and compiled as `blown_kernel` is, for the widest instruction set at run time; only plain `*`, `+` and `-`, so that
//! every one gives the same samples.

use super::blown_kernel::GRID;
use wide::f32x8;

/// Modes of one bottle at most: fifteen pairs and the air.
pub(super) const LANES: usize = 32;
/// Strokes that may press at the same time: a roll of two mallets.
pub(super) const STROKES: usize = 4;
/// Pushes of one stroke: on the wall, and through it on the air.
pub(super) const OF_A_STROKE: usize = 2;
/// Pushes of all strokes.
pub(super) const PUSHES: usize = OF_A_STROKE * STROKES;
/// Side by side in one sum.
pub(super) const EIGHT: usize = 8;

type Row = [f32; LANES];

/// The modes of one bottle: z ← a z + Σ drive · push, over what pushes.
///
/// The turn and shrink a = r e^{iω} of a high quality is nearer to 1 than an f32 can tell; so its real part is kept as two
/// numbers, the nearest f32 and the rest. (That of the imaginary part would move the pitch by 0.0001 cents and the loss by less
/// than 0.1 %.) The rest goes into the smaller product, before it is lost in the larger; the state itself may round: that
/// errs to either side alike.
#[derive(Clone, Debug, PartialEq)]
#[repr(align(64))]
pub(super) struct Strip {
    re: Row,
    im: Row,
    turn_re: Row,
    turn_im: Row,
    rest_re: Row,
    /// How strongly each push drives each mode.
    drives: [Row; PUSHES],
}

/// Where a stretch leaves what it made, frame by frame.
#[derive(Clone, Debug)]
#[repr(align(64))]
pub(super) struct Scratch {
    /// What pushes, two of each stroke.
    pub pushes: [[f32; GRID]; PUSHES],
    /// What is heard of the contact itself, beside the modes.
    pub noise: [f32; GRID],
    /// What the bottle says, in eight parts.
    said: [[f32; EIGHT]; GRID],
    left: [[f32; EIGHT]; GRID],
    right: [[f32; EIGHT]; GRID],
}

/// How to run a stretch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    /// Frames, at most [`GRID`].
    pub frames: usize,
    /// Modes in use.
    pub lanes: usize,
    /// The first pushes that there may be; with none of them the contact is silent, too.
    pub pushes: usize,
    /// Gains to the left and right.
    pub sides: [f32; 2],
}

impl Scratch {
    pub(super) fn empty() -> Self {
        const NONE: [[f32; EIGHT]; GRID] = [[0.0; EIGHT]; GRID];
        Self {
            pushes: [[0.0; GRID]; PUSHES],
            noise: [0.0; GRID],
            said: NONE,
            left: NONE,
            right: NONE,
        }
    }

    /// Begins a stretch of `frames` with nothing in it.
    pub(super) fn begin(&mut self, frames: usize) {
        self.left[..frames].fill([0.0; EIGHT]);
        self.right[..frames].fill([0.0; EIGHT]);
    }

    /// Adds what all bottles of the stretch said.
    pub(super) fn add_to(&self, left: &mut [f32], right: &mut [f32]) {
        for (sums, out) in [(&self.left, left), (&self.right, right)] {
            for (row, out) in sums.iter().zip(out) {
                *out += total(row);
            }
        }
    }

    /// Adds the last bottle alone to its tap.
    pub(super) fn tap(&self, gain: f32, out: &mut [f32]) {
        for (row, out) in self.said.iter().zip(out) {
            *out += gain * total(row);
        }
    }
}

/// The sum of eight numbers in a fixed order.
#[inline(always)]
fn total(row: &[f32; EIGHT]) -> f32 {
    let v = f32x8::from(*row).to_array();
    ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]))
}

impl Strip {
    pub(super) fn silent() -> Self {
        const NONE: Row = [0.0; LANES];
        Self {
            re: NONE,
            im: NONE,
            turn_re: NONE,
            turn_im: NONE,
            rest_re: NONE,
            drives: [NONE; PUSHES],
        }
    }

    /// Sets how a mode turns and shrinks in a sample, by its real and imaginary part.
    pub(super) fn set_turn(&mut self, lane: usize, [re, im]: [f64; 2]) {
        self.turn_re[lane] = re as f32;
        self.turn_im[lane] = im as f32;
        self.rest_re[lane] = (re - f64::from(re as f32)) as f32;
    }

    /// Sets how strongly a push drives a mode.
    pub(super) fn set_drive(&mut self, push: usize, lane: usize, drive: f32) {
        self.drives[push][lane] = drive;
    }

    /// Takes all swing out.
    pub(super) fn stop(&mut self) {
        self.re = [0.0; LANES];
        self.im = [0.0; LANES];
    }

    /// Ends the modes that have rung below `least`, before their numbers get so small that they are slow; returns the
    /// largest number of the others.
    pub(super) fn quieten(&mut self, lanes: usize, least: f32) -> f32 {
        let mut most = 0.0f32;
        for (re, im) in self.re.iter_mut().zip(&mut self.im).take(lanes) {
            let size = re.abs().max(im.abs());
            if size < least {
                (*re, *im) = (0.0, 0.0);
            }
            most = most.max(size);
        }
        most
    }

    /// The largest swing that the modes together can come to.
    pub(super) fn swing(&self, lanes: usize) -> f32 {
        let modes = self.re.iter().zip(&self.im).take(lanes);
        modes.map(|(re, im)| (re * re + im * im).sqrt()).sum()
    }
}

/// Runs the modes of one bottle through one stretch.
#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512bw+avx512cd+avx512dq+avx512vl+avx512vbmi2",
    "x86_64+avx2",
    "aarch64+neon"
))]
pub(super) fn run(strip: &mut Strip, scratch: &mut Scratch, run: Run) {
    match (run.lanes.div_ceil(EIGHT), run.pushes) {
        (0 | 1, 0) => stretch::<8, 0>(strip, scratch, run),
        (0 | 1, OF_A_STROKE) => stretch::<8, OF_A_STROKE>(strip, scratch, run),
        (2, 0) => stretch::<16, 0>(strip, scratch, run),
        (2, OF_A_STROKE) => stretch::<16, OF_A_STROKE>(strip, scratch, run),
        (3, 0) => stretch::<24, 0>(strip, scratch, run),
        (3, OF_A_STROKE) => stretch::<24, OF_A_STROKE>(strip, scratch, run),
        (_, 0) => stretch::<LANES, 0>(strip, scratch, run),
        (_, OF_A_STROKE) => stretch::<LANES, OF_A_STROKE>(strip, scratch, run),
        // Several strokes within one contact are rare.
        (_, _) => stretch::<LANES, PUSHES>(strip, scratch, run),
    }
}

#[inline(always)]
fn stretch<const WIDTH: usize, const PUSHED: usize>(
    s: &mut Strip,
    scratch: &mut Scratch,
    run: Run,
) {
    for frame in 0..run.frames.min(GRID) {
        let mut push = [0.0f32; PUSHED];
        for (push, pushes) in push.iter_mut().zip(&scratch.pushes) {
            *push = pushes[frame];
        }
        let mut said = [0.0f32; EIGHT];
        if PUSHED > 0 {
            said[0] = scratch.noise[frame];
        }
        for eight in 0..WIDTH / EIGHT {
            for (i, sum) in said.iter_mut().enumerate() {
                let l = eight * EIGHT + i;
                let (x, y) = (s.re[l], s.im[l]);
                let mut re = s.turn_re[l] * x + (s.rest_re[l] * x - s.turn_im[l] * y);
                let im = s.turn_re[l] * y + (s.rest_re[l] * y + s.turn_im[l] * x);
                let mut kick = 0.0;
                for (push, drive) in push.iter().zip(&s.drives) {
                    kick += drive[l] * push;
                }
                re += kick;
                s.re[l] = re;
                s.im[l] = im;
                // Half of what comes now: a push is felt in the middle of its frame. All of it would be heard as the push itself.
                *sum += re - 0.5 * kick;
            }
        }
        scratch.said[frame] = said;
        let [left, right] = [&mut scratch.left[frame], &mut scratch.right[frame]];
        for i in 0..EIGHT {
            left[i] += run.sides[0] * said[i];
            right[i] += run.sides[1] * said[i];
        }
    }
}
