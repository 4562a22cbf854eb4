//! How one stroke differs from the last: nobody strikes the same place twice.

use super::noise::splitmix64;
use std::f64::consts::TAU;

/// Standard deviation of the place round the bottle, rad: 15 degrees. This and what follows is a matter of taste.
const ANGLE_RAD: f64 = 15.0 / 360.0 * TAU;
/// Of the height, mm.
const HEIGHT_MM: f64 = 5.0;
/// Of the logarithm of the speed and of the time of contact.
const RATIO: f64 = 0.1;
/// No stroke is further off than so many standard deviations.
const MOST_OFF: f64 = 2.5;

/// What is a stroke's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stroke {
    /// Round the bottle, from where it is usually struck.
    pub angle_rad: f64,
    /// Above where it is usually struck.
    pub height_mm: f64,
    /// Its speed over the one that was asked for.
    pub speed_ratio: f64,
    /// Its time of contact over its mallet's.
    pub contact_ratio: f64,
    /// For the noise of the contact.
    pub noise_seed: u64,
}

impl Stroke {
    /// One like every other, but for the noise of its contact.
    pub(super) fn even(noise_seed: u64) -> Self {
        Self {
            angle_rad: 0.0,
            height_mm: 0.0,
            speed_ratio: 1.0,
            contact_ratio: 1.0,
            noise_seed,
        }
    }

    /// The stroke of a seed.
    pub(super) fn thrown(seed: u64) -> Self {
        let [angle, height] = two_normals(splitmix64(seed ^ 1));
        let [speed, contact] = two_normals(splitmix64(seed ^ 2));
        Self {
            angle_rad: ANGLE_RAD * angle,
            height_mm: HEIGHT_MM * height,
            speed_ratio: (RATIO * speed).exp(),
            contact_ratio: (RATIO * contact).exp(),
            noise_seed: splitmix64(seed ^ 3),
        }
    }
}

/// Two throws from a normal distribution of standard deviation 1, within [`MOST_OFF`] (Box & Muller 1958).
fn two_normals(seed: u64) -> [f64; 2] {
    let part = |bits: u32| (f64::from(bits) + 0.5) / 2f64.powi(32);
    let radius = (-2.0 * part((seed >> 32) as u32).ln()).sqrt();
    let (sin, cos) = (TAU * part(seed as u32)).sin_cos();
    [radius * cos, radius * sin].map(|throw| throw.clamp(-MOST_OFF, MOST_OFF))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_scatter_as_they_should_and_are_the_same_for_a_seed() {
        const COUNT: u64 = 20_000;
        let strokes: Vec<Stroke> = (0..COUNT).map(|k| Stroke::thrown(splitmix64(k))).collect();
        let spread = |of: fn(&Stroke) -> f64| {
            let mean = strokes.iter().map(of).sum::<f64>() / COUNT as f64;
            let square = |s: &Stroke| (of(s) - mean).powi(2);
            (strokes.iter().map(square).sum::<f64>() / COUNT as f64).sqrt()
        };
        // Cut at 2.5 standard deviations a normal distribution keeps 0.978 of its own; 20,000 throws tell 2 %.
        let near = |found: f64, asked: f64| (found / (0.978 * asked) - 1.0).abs() < 0.02;
        assert!(near(spread(|s| s.angle_rad.to_degrees()), 15.0));
        assert!(near(spread(|s| s.height_mm), 5.0));
        assert!(near(spread(|s| s.speed_ratio.ln()), 0.1));
        assert!(near(spread(|s| s.contact_ratio.ln()), 0.1));
        let alike = |a: fn(&Stroke) -> f64, b: fn(&Stroke) -> f64| {
            let sum: f64 = strokes.iter().map(|s| a(s) * b(s)).sum();
            sum / COUNT as f64 / (spread(a) * spread(b))
        };
        // Five standard deviations of a correlation of so many.
        assert!(alike(|s| s.angle_rad, |s| s.height_mm).abs() < 5.0 / (COUNT as f64).sqrt());
        assert_eq!(Stroke::thrown(7), Stroke::thrown(7));
    }
}
