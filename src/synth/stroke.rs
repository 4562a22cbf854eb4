//! How one stroke differs from the last: nobody strikes the same place twice.

use super::chance::NoteDice;
use super::noise::splitmix64;
use std::f64::consts::TAU;

/// Standard deviation of the place round the bottle, rad: 15 degrees. This and what follows is a matter of taste.
const ANGLE_RAD: f64 = 15.0 / 360.0 * TAU;
/// Farthest from the usual height, up or down, mm: anywhere between is as likely.
const HEIGHT_MM: f64 = 5.0;
/// Standard deviation of the logarithm of the speed and of the time of contact.
const RATIO: f64 = 0.1;
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
    /// Where it is usually struck, as it is usually struck.
    pub(super) const USUAL: Self = Self {
        angle_rad: 0.0,
        height_mm: 0.0,
        speed_ratio: 1.0,
        contact_ratio: 1.0,
        noise_seed: 0,
    };

    /// The stroke that a bottle's dice throw.
    pub(super) fn thrown(dice: &mut NoteDice) -> Self {
        Self {
            angle_rad: dice.normal(ANGLE_RAD),
            height_mm: dice.between(-HEIGHT_MM, HEIGHT_MM),
            speed_ratio: dice.ratio(RATIO),
            contact_ratio: dice.ratio(RATIO),
            noise_seed: splitmix64(dice.part().to_bits()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::chance::Chance;
    use super::*;

    #[test]
    fn strokes_scatter_in_every_way_and_steady_ones_do_not() {
        const COUNT: u64 = 20_000;
        let thrown = |k: u64| Stroke::thrown(&mut Chance::new(7).note(0, 1, k));
        let strokes: Vec<Stroke> = (0..COUNT).map(thrown).collect();
        let spread = |of: fn(&Stroke) -> f64| {
            let mean = strokes.iter().map(of).sum::<f64>() / COUNT as f64;
            let square = |s: &Stroke| (of(s) - mean).powi(2);
            (strokes.iter().map(square).sum::<f64>() / COUNT as f64).sqrt()
        };
        // Five standard errors of a standard deviation of 20,000 throws are 2.5 %.
        let near = |found: f64, asked: f64| (found / asked - 1.0).abs() < 0.025;
        assert!(near(spread(|s| s.angle_rad.to_degrees()), 15.0));
        // Even throws spread by a twelfth of the square of their range.
        assert!(near(spread(|s| s.height_mm), 10.0 / 12f64.sqrt()));
        assert!(near(spread(|s| s.speed_ratio.ln()), 0.1));
        assert!(near(spread(|s| s.contact_ratio.ln()), 0.1));
        let steady = Stroke::thrown(&mut Chance::new(7).steady().note(0, 1, 2));
        let noise_seed = steady.noise_seed;
        assert_eq!(
            steady,
            Stroke {
                noise_seed,
                ..Stroke::USUAL
            }
        );
    }
}
