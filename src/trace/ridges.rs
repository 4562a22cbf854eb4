//! Where the picture changes sharply: the picture turned so that an axis is upright, and how sharp its changes are across
//! and along.
//!
//! Glass ends within a pixel or two; a shadow, a gradient of the light, the falling off of a lens go over many. So what a
//! place changes by counts less what its surroundings change by, beside the spread of the picture's own noise.

use super::axis::Mirror;
use super::plane::{Colour, Plane, distance, median};

/// Places on each side over which a change is compared with its surroundings.
const AROUND: usize = 6;
/// Change that is half an edge, steps, and the same over the picture's noise: glass may be hardly darker than the wall.
const HALF_EDGE: f32 = 5.0;
const OVER_NOISE: f32 = 2.0;
/// Change that is half a strong edge, steps, and the share that it counts by: shadows are weaker than glass.
const HALF_STRONG: f32 = 20.0;
const STRONG: f32 = 0.2;

/// The picture's coordinates along a mirror's axis, from its top, and across it, to the right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    mirror: Mirror,
    /// Unit vector down the axis.
    down: (f64, f64),
}

impl Frame {
    pub fn new(mirror: Mirror) -> Self {
        let length = mirror.slope.hypot(1.0);
        Self {
            mirror,
            down: (mirror.slope / length, 1.0 / length),
        }
    }

    pub fn mirror(&self) -> Mirror {
        self.mirror
    }

    /// Pixels of the picture.
    pub fn place(&self, along: f64, across: f64) -> (f64, f64) {
        let (dx, dy) = self.down;
        let along = along - self.mirror.y;
        (
            self.mirror.x + along * dx + across * dy,
            self.mirror.y + along * dy - across * dx,
        )
    }

    /// Along and across.
    pub fn of(&self, x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = self.down;
        let (x, y) = (x - self.mirror.x, y - self.mirror.y);
        (x * dx + y * dy + self.mirror.y, x * dy - y * dx)
    }
}

/// How sharp a picture's changes are, 0 to 1, in pixels along an axis and away from it.
#[derive(Clone, Debug)]
pub(super) struct Ridges {
    pub rows: usize,
    /// Most pixels away from the axis.
    pub half: usize,
    /// Pixels of the picture to the left and to the right of the axis' middle.
    pub inside: [usize; 2],
    /// Across the axis: to its left and to its right.
    across: [Vec<f32>; 2],
    /// Along it.
    along: [Vec<f32>; 2],
    /// Spread of the picture, steps.
    pub noise: f32,
    pub frame: Frame,
}

/// The picture turned: rows along the axis, columns across it.
struct Turned {
    rows: usize,
    half: usize,
    pixels: Vec<Colour>,
    inside: Vec<bool>,
}

impl Ridges {
    pub fn of(picture: &Plane, mirror: Mirror) -> Self {
        let frame = Frame::new(mirror);
        let turned = Turned::of(picture, &frame);
        let (rows, half, wide) = (turned.rows, turned.half, 2 * turned.half + 1);
        let columns = turned.changes(wide, 1);
        let lines = turned.changes(1, wide);
        let mut some: Vec<f64> = (0..rows * wide)
            .step_by(7)
            .filter(|&at| turned.inside[at])
            .map(|at| f64::from(columns[at]))
            .collect();
        let noise = median(&mut some) as f32;
        let half_edge = HALF_EDGE.max(OVER_NOISE * noise);
        let columns = sharpest(&columns, (rows, wide, wide, 1), half_edge);
        let lines = sharpest(&lines, (wide, rows, 1, wide), half_edge);
        let side = |from: &[f32], left: bool| -> Vec<f32> {
            let place = |at: usize| {
                let (row, away) = (at / (half + 1), at % (half + 1));
                let column = if left { half - away } else { half + away };
                from[row * wide + column]
            };
            (0..rows * (half + 1)).map(place).collect()
        };
        let to_left = mirror.x.clamp(0.0, half as f64) as usize;
        let to_right = (picture.width as f64 - 1.0 - mirror.x).clamp(0.0, half as f64) as usize;
        Self {
            rows,
            half,
            inside: [to_left, to_right],
            across: [side(&columns, true), side(&columns, false)],
            along: [side(&lines, true), side(&lines, false)],
            noise,
            frame,
        }
    }

    /// Changes across the axis in a row, on its left (0) or right (1).
    pub fn across(&self, row: usize, side: usize) -> &[f32] {
        &self.across[side][row * (self.half + 1)..(row + 1) * (self.half + 1)]
    }

    /// Changes along the axis.
    pub fn along(&self, row: usize, side: usize) -> &[f32] {
        &self.along[side][row * (self.half + 1)..(row + 1) * (self.half + 1)]
    }
}

impl Turned {
    fn of(picture: &Plane, frame: &Frame) -> Self {
        let x = frame.mirror().x;
        let half = (x.max(picture.width as f64 - 1.0 - x).max(8.0) as usize).min(picture.width);
        let (rows, wide) = (picture.height, 2 * half + 1);
        let mut pixels = vec![[0.0; 3]; rows * wide];
        let mut inside = vec![false; rows * wide];
        for row in 0..rows {
            for column in 0..wide {
                let (x, y) = frame.place(row as f64, column as f64 - half as f64);
                let at = row * wide + column;
                // A pixel from the edge: what lies beyond is no change.
                inside[at] = picture.holds(x - 2.0, y - 2.0) && picture.holds(x + 2.0, y + 2.0);
                pixels[at] = picture.between(x, y);
            }
        }
        Self {
            rows,
            half,
            pixels,
            inside,
        }
    }

    /// What each place changes by in steps of `by` places, the mean of three of it beside each other in steps of `beside`.
    fn changes(&self, beside: usize, by: usize) -> Vec<f32> {
        let wide = 2 * self.half + 1;
        let mut changes = vec![0.0; self.pixels.len()];
        for row in 1..self.rows - 1 {
            for column in 1..wide - 1 {
                let at = row * wide + column;
                if !self.inside[at] {
                    continue;
                }
                let three = |at: usize| -> Colour {
                    let (a, b, c) = (
                        self.pixels[at - beside],
                        self.pixels[at],
                        self.pixels[at + beside],
                    );
                    std::array::from_fn(|k| (a[k] + b[k] + c[k]) / 3.0)
                };
                changes[at] = distance(three(at - by), three(at + by));
            }
        }
        changes
    }
}

/// Each change less the mean around it, over half an edge, 0 to 1. `lines` of `length` lie `apart`, their places in steps of `step`.
fn sharpest(
    changes: &[f32],
    (lines, length, apart, step): (usize, usize, usize, usize),
    half_edge: f32,
) -> Vec<f32> {
    let mut sharp = vec![0.0; changes.len()];
    let mut sums = vec![0.0f32; length + 1];
    for line in 0..lines {
        for k in 0..length {
            sums[k + 1] = sums[k] + changes[line * apart + k * step];
        }
        for k in 0..length {
            let (from, to) = (k.saturating_sub(AROUND), (k + AROUND + 1).min(length));
            let mean = (sums[to] - sums[from]) / (to - from) as f32;
            let at = line * apart + k * step;
            let over = (changes[at] - mean).max(0.0);
            let of_half = |half: f32| over * over / (half * half + over * over);
            sharp[at] =
                (1.0 - STRONG) * of_half(half_edge) + STRONG * of_half(half_edge.max(HALF_STRONG));
        }
    }
    sharp
}
