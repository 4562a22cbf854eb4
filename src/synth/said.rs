//! What the strips of blown bottles say, and what both sides hear of it.
//!
//! Strips are added up a few at a time: what each says of a frame is written once and read once, where a sum that goes from strip to
//! strip would be read and written by each, to the middle and to the side.

use super::blown_kernel::{FOUR, GRID, fused};
use super::strip::{LANES, NONE, Row, Strip};
use wide::f32x4;

/// Strips that are added up at once: of more, what they say would no longer lie in the nearest cache.
pub(super) const TOGETHER: usize = 4;

/// Lanes that are added up side by side, and how often they go into the strips.
const WIDE: usize = 8;
const PARTS: usize = TOGETHER * LANES / WIDE;

/// What the lanes of a strip say, to the middle, frame by frame.
pub(super) type Frames = [Row; GRID];

/// What one strip says, and a row between it and the next: at distances of 4 KiB they would get into each other's way.
#[derive(Clone, Debug)]
#[repr(align(64))]
struct Said {
    frames: Frames,
    _apart: Row,
}

/// Lanes side by side in a sum.
type Lanes = [f32; WIDE];

/// What all strips made of one frame: the middle and the side, each in as many numbers as are added up side by side.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
struct Sum {
    middle: Lanes,
    side: Lanes,
}

impl Sum {
    const NOTHING: Self = Self {
        middle: [0.0; WIDE],
        side: [0.0; WIDE],
    };
}

/// Where a stretch leaves what it made, frame by frame.
#[derive(Clone, Debug)]
pub(super) struct Scratch {
    said: [Said; TOGETHER],
    sums: [Sum; GRID],
}

/// Strips to be added up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Adding {
    /// Whether they are the first of the stretch: they take the place of what was there.
    pub begins: bool,
    /// Lanes in use in all of them.
    pub lanes: usize,
    /// Frames, at most [`GRID`].
    pub frames: usize,
}

impl Scratch {
    pub(super) fn empty() -> Self {
        const SILENCE: Said = Said {
            frames: [NONE; GRID],
            _apart: NONE,
        };
        Self {
            said: [SILENCE; TOGETHER],
            sums: [Sum::NOTHING; GRID],
        }
    }

    /// Where a strip leaves what it says, the `place`-th of those that are added up together.
    pub(super) fn said_mut(&mut self, place: usize) -> &mut Frames {
        &mut self.said[place].frames
    }
}

/// Adds up what `strips`, at most [`TOGETHER`], have said.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn add_up(scratch: &mut Scratch, strips: &[Strip], adding: Adding) {
    const FUSED: bool =
        multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    if adding.begins {
        add_all::<true, FUSED>(scratch, strips, adding);
    } else {
        add_all::<false, FUSED>(scratch, strips, adding);
    }
}

/// As many parts of strips as are in use: what the other lanes say is old.
#[inline(always)]
fn add_all<const BEGINS: bool, const FUSED: bool>(
    scratch: &mut Scratch,
    strips: &[Strip],
    adding: Adding,
) {
    let Scratch { said, sums } = scratch;
    let sums = &mut sums[..adding.frames];
    match adding.lanes.div_ceil(WIDE) {
        0 => {}
        1 => add_parts::<1, BEGINS, FUSED>(said, strips, sums),
        2 => add_parts::<2, BEGINS, FUSED>(said, strips, sums),
        3 => add_parts::<3, BEGINS, FUSED>(said, strips, sums),
        4 => add_parts::<4, BEGINS, FUSED>(said, strips, sums),
        5 => add_parts::<5, BEGINS, FUSED>(said, strips, sums),
        6 => add_parts::<6, BEGINS, FUSED>(said, strips, sums),
        7 => add_parts::<7, BEGINS, FUSED>(said, strips, sums),
        _ => add_parts::<PARTS, BEGINS, FUSED>(said, strips, sums),
    }
}

/// Adds the first parts of the strips to the sums, or takes their place.
#[inline(always)]
fn add_parts<const COUNT: usize, const BEGINS: bool, const FUSED: bool>(
    said: &[Said; TOGETHER],
    strips: &[Strip],
    sums: &mut [Sum],
) {
    let mut sides = [[0.0; WIDE]; COUNT];
    let parts = strips.iter().flat_map(|s| s.side.as_chunks().0);
    for (side, part) in sides.iter_mut().zip(parts) {
        *side = *part;
    }
    for (frame, sum) in sums.iter_mut().enumerate() {
        let Sum {
            mut middle,
            mut side,
        } = if BEGINS { Sum::NOTHING } else { *sum };
        for (part, sides) in sides.iter().enumerate() {
            let strip = &said[part / (LANES / WIDE)];
            let said: &Lanes = &strip.frames[frame].as_chunks().0[part % (LANES / WIDE)];
            for l in 0..WIDE {
                middle[l] += said[l];
                side[l] = fused::<FUSED>(sides[l], said[l], side[l]);
            }
        }
        *sum = Sum { middle, side };
    }
}

/// Adds what all strips made, from frame `start` of the eights on, to `left` and `right`.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn gather(scratch: &Scratch, start: usize, left: &mut [f32], right: &mut [f32]) {
    let (mut to_left, mut to_right) = ([0.0; GRID], [0.0; GRID]);
    let (fours, _) = scratch.sums.as_chunks::<FOUR>();
    let outs = to_left
        .chunks_exact_mut(FOUR)
        .zip(to_right.chunks_exact_mut(FOUR));
    let wanted = (start + left.len()).div_ceil(FOUR);
    for (four, (to_left, to_right)) in fours.iter().zip(outs).take(wanted) {
        let middle = totals(four.each_ref().map(|sum| halves(&sum.middle)));
        let side = totals(four.each_ref().map(|sum| halves(&sum.side)));
        to_left.copy_from_slice((middle + side).as_array());
        to_right.copy_from_slice((middle - side).as_array());
    }
    for (out, to) in [(left, to_left), (right, to_right)] {
        for (out, to) in out.iter_mut().zip(&to[start..]) {
            *out += to;
        }
    }
}

/// The sum of each of four in a fixed order: four sums side by side, then those.
#[inline(always)]
fn totals(rows: [f32x4; FOUR]) -> f32x4 {
    let [a, b, c, d] = f32x4::transpose(rows);
    (a + b) + (c + d)
}

/// The two halves, summed.
#[inline(always)]
fn halves(lanes: &Lanes) -> f32x4 {
    let (halves, _) = lanes.as_chunks::<4>();
    f32x4::from(halves[0]) + f32x4::from(halves[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What lane `l` of strip `strip` says in a frame: whole numbers, so that every order of adding up gives the same.
    fn says(strip: usize, frame: usize, l: usize) -> f32 {
        ((7 * strip + 3 * frame + 5 * l) % 23) as f32 - 11.0
    }

    #[test]
    fn any_number_of_strips_is_the_sum_of_their_lanes_at_their_sides() {
        for lanes in [1_usize, 8, 9, 16, 23, 40, 64, 65, 100, 137] {
            let mut strips = vec![Strip::silent(); lanes.div_ceil(LANES)];
            for lane in 0..lanes {
                strips[lane / LANES].side[lane % LANES] = (lane % 5) as f32 - 2.0;
            }
            let mut scratch = Scratch::empty();
            for (index, strips) in strips.chunks(TOGETHER).enumerate() {
                for place in 0..strips.len() {
                    let strip = index * TOGETHER + place;
                    for (frame, row) in scratch.said_mut(place).iter_mut().enumerate() {
                        *row = std::array::from_fn(|l| says(strip, frame, l));
                        let used = (lanes - strip * LANES).min(LANES);
                        // An empty lane says nothing; where none is in use, anything is left.
                        row[used..used.next_multiple_of(WIDE)].fill(0.0);
                        row[used.next_multiple_of(WIDE)..].fill(1e6);
                    }
                }
                let adding = Adding {
                    begins: index == 0,
                    lanes: (lanes - index * TOGETHER * LANES).min(TOGETHER * LANES),
                    frames: GRID,
                };
                add_up(&mut scratch, strips, adding);
            }
            let start = 3;
            let (mut left, mut right) = ([1.0; GRID - 3], [2.0; GRID - 3]);
            gather(&scratch, start, &mut left, &mut right);
            for (frame, (left, right)) in (start..).zip(left.iter().zip(&right)) {
                let (mut middle, mut side) = (0.0, 0.0);
                for lane in 0..lanes {
                    let said = says(lane / LANES, frame, lane % LANES);
                    middle += said;
                    side += said * strips[lane / LANES].side[lane % LANES];
                }
                assert_eq!(
                    [*left, *right],
                    [1.0 + middle + side, 2.0 + middle - side],
                    "{lanes}"
                );
            }
        }
    }
}
