//! The line about which what is in the picture mirrors itself.
//!
//! The left edge of a bottle goes from the background to the glass and the right one back, so that the horizontal gradient
//! is its own mirror image with the sign turned. The convolution of a row's gradient with itself is therefore lowest at
//! twice the place of the axis; summed over rows along a line, for each tilt, its least value is the axis.

use super::TraceError;
use super::plane::Plane;

/// Pixels across at which the axis is looked for.
const ACROSS: usize = 220;
/// Largest tilt, degrees; a bottle that leans further is refused by what its sides say.
const MAX_TILT_DEG: i32 = 10;
/// Most axes that are looked at, and how far apart they are: in half pixels of those across, and in half degrees.
const CANDIDATES: usize = 14;
const APART: usize = 2;
const TILTS_APART: i32 = 4;
/// Gradient that counts in full, steps: stronger ones count no more.
const FULL: f32 = 25.0;

/// The axis of a bottle in coarse pixels: `x = x_m + tan (y − y_m)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mirror {
    /// A point of it.
    pub x: f64,
    /// That point's height in the picture, from the top.
    pub y: f64,
    /// Pixels to the right for each one down.
    pub slope: f64,
}

impl Mirror {
    /// The same in a picture of so many times the pixels across and down: their middles are whole numbers in both.
    pub fn scaled(self, across: f64, down: f64) -> Self {
        Self {
            x: (self.x + 0.5) * across - 0.5,
            y: (self.y + 0.5) * down - 0.5,
            slope: self.slope * across / down,
        }
    }

    /// How far it leans clockwise, degrees.
    pub fn roll_deg(self) -> f64 {
        -self.slope.atan().to_degrees()
    }
}

/// Axes that something in `picture` may mirror itself about, the likeliest first.
pub(super) fn candidates(picture: &Plane) -> Result<Vec<Mirror>, TraceError> {
    let step = (picture.width as f64 / ACROSS as f64).max(1.0);
    let (width, height) = (
        (picture.width as f64 / step) as usize,
        (picture.height as f64 / step) as usize,
    );
    let folded: Vec<Vec<f32>> = (0..height)
        .map(|y| fold(&gradient(picture, step, width, y)))
        .collect();
    let middle = 0.5 * height as f64;
    // Sum, place and half degrees.
    let mut lines: Vec<(f32, usize, i32)> = Vec::new();
    for half_degrees in -2 * MAX_TILT_DEG..=2 * MAX_TILT_DEG {
        let slope = slope_of(half_degrees);
        let mut sums = vec![0.0f32; 2 * width];
        for (y, row) in folded.iter().enumerate() {
            let shift = (2.0 * slope * (y as f64 - middle)).round() as isize;
            let from = usize::try_from(-shift).unwrap_or(0);
            let to = (2 * width).min((2 * width).saturating_add_signed(-shift));
            for place in from..to {
                sums[place] += row[(place as isize + shift) as usize];
            }
        }
        for place in width / 5..2 * width - width / 5 {
            let sum = sums[place];
            if sum < 0.0 && sum <= sums[place - 1] && sum <= sums[place + 1] {
                lines.push((sum, place, half_degrees));
            }
        }
    }
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    // As much as a picture of noise has of it.
    let enough = -0.02 * height as f32;
    let mut kept: Vec<(f32, usize, i32)> = Vec::new();
    for line in lines {
        let apart = |other: &(f32, usize, i32)| {
            line.1.abs_diff(other.1) > APART || (line.2 - other.2).abs() > TILTS_APART
        };
        if line.0 < enough && kept.len() < CANDIDATES && kept.iter().all(apart) {
            kept.push(line);
        }
    }
    if kept.is_empty() {
        return Err(TraceError::NoMirror);
    }
    let mirror = |&(_, place, half_degrees): &(f32, usize, i32)| Mirror {
        x: 0.5 * place as f64 * step,
        y: middle * step,
        slope: slope_of(half_degrees),
    };
    Ok(kept.iter().map(mirror).collect())
}

fn slope_of(half_degrees: i32) -> f64 {
    (0.5 * f64::from(half_degrees)).to_radians().tan()
}

/// The horizontal gradient of one row of the picture taken at every `step`, −1 to 1.
fn gradient(picture: &Plane, step: f64, width: usize, row: usize) -> Vec<f32> {
    let y = (row as f64 + 0.5) * step;
    let grey = |x: f64| {
        let tap = |dx: f64, dy: f64| picture.between(x + dx * step, y + dy * step);
        let taps = [
            tap(-0.25, -0.25),
            tap(0.25, -0.25),
            tap(-0.25, 0.25),
            tap(0.25, 0.25),
        ];
        taps.iter().flatten().sum::<f32>() / 12.0
    };
    let row: Vec<f32> = (0..width).map(|x| grey(x as f64 * step)).collect();
    let mut gradient = vec![0.0; width];
    for x in 1..width - 1 {
        let rise = row[x + 1] - row[x - 1];
        gradient[x] = if rise.abs() < 3.0 {
            0.0
        } else {
            (rise / FULL).clamp(-1.0, 1.0)
        };
    }
    gradient
}

/// The convolution of a row with itself: at twice the place of each mirror.
fn fold(row: &[f32]) -> Vec<f32> {
    let mut folded = vec![0.0; 2 * row.len()];
    let strong: Vec<(usize, f32)> = row
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, value)| *value != 0.0)
        .collect();
    for (index, &(i, a)) in strong.iter().enumerate() {
        for &(j, b) in &strong[index + 1..] {
            folded[i + j] += 2.0 * a * b;
        }
    }
    folded
}
