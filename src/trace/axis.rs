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
    /// How far it leans clockwise, degrees.
    pub fn roll_deg(self) -> f64 {
        -self.slope.atan().to_degrees()
    }
}

/// The axis of what stands in `picture`.
pub(super) fn find(picture: &Plane) -> Result<Mirror, TraceError> {
    let step = (picture.width as f64 / ACROSS as f64).max(1.0);
    let (width, height) = (
        (picture.width as f64 / step) as usize,
        (picture.height as f64 / step) as usize,
    );
    let folded: Vec<Vec<f32>> = (0..height)
        .map(|y| fold(&gradient(picture, step, width, y)))
        .collect();
    let middle = 0.5 * height as f64;
    let mut best = (f32::MAX, 0usize, 0.0);
    for half_degrees in -2 * MAX_TILT_DEG..=2 * MAX_TILT_DEG {
        let slope = (0.5 * f64::from(half_degrees)).to_radians().tan();
        let mut sums = vec![0.0f32; 2 * width];
        for (y, row) in folded.iter().enumerate() {
            let shift = (2.0 * slope * (y as f64 - middle)).round() as isize;
            for (place, sum) in sums.iter_mut().enumerate() {
                if let Some(value) = usize::try_from(place as isize + shift)
                    .ok()
                    .and_then(|at| row.get(at))
                {
                    *sum += value;
                }
            }
        }
        for place in width / 5..2 * width - width / 5 {
            if sums[place] < best.0 {
                best = (sums[place], place, slope);
            }
        }
    }
    let (least, place, slope) = best;
    // As much as a picture of noise has of it.
    if -least < 0.02 * height as f32 {
        return Err(TraceError::NoMirror);
    }
    Ok(Mirror {
        x: 0.5 * place as f64 * step,
        y: middle * step,
        slope,
    })
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
