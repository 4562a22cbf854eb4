//! The dice of each note: no two breaths and no two strokes are alike, and one seed gives one take.
//!
//! A note's dice hang on the seed of the bank, the bottle and how many notes the bottle has begun, and on nothing else: a bottle
//! alone in a stem throws what it throws in the mix, in blocks of any length. In a steady bank every throw lands in the middle.

use super::noise::splitmix64;
use std::f64::consts::TAU;

/// The widest throw of a normal distribution, in its standard deviations: one note in 370 is pulled in to here.
const WIDEST: f64 = 3.0;
/// What a splitmix generator adds at every throw: 2⁶⁴ over the golden ratio.
const STRIDE: u64 = 0x9E37_79B9_7F4A_7C15;

/// What the notes of a bank are thrown with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Chance {
    seed: u64,
    steady: bool,
}

impl Chance {
    /// Living notes by `seed`.
    pub(super) fn new(seed: u64) -> Self {
        Self {
            seed,
            steady: false,
        }
    }

    /// The same, with every throw in the middle.
    pub(super) fn steady(self) -> Self {
        Self {
            steady: true,
            ..self
        }
    }

    /// Whether every throw lands in the middle.
    pub(super) fn is_steady(self) -> bool {
        self.steady
    }

    /// The dice of the `note`th breath or stroke of the bottle at `place`, which may have a seed of its own.
    pub(super) fn note(self, bottle_seed: u64, place: usize, note: u64) -> NoteDice {
        let bottle = splitmix64(splitmix64(self.seed ^ splitmix64(bottle_seed)) ^ place as u64);
        NoteDice {
            state: splitmix64(bottle ^ splitmix64(!note)),
            steady: self.steady,
        }
    }
}

/// The dice of one note, thrown as often as there is something to decide, in a fixed order.
///
/// Steele, Lea & Flood, *Fast splittable pseudorandom number generators*, 2014. Real time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct NoteDice {
    state: u64,
    steady: bool,
}

impl NoteDice {
    /// Evenly between 0 and 1, neither of them; a half if steady.
    pub(super) fn part(&mut self) -> f64 {
        self.state = self.state.wrapping_add(STRIDE);
        if self.steady {
            return 0.5;
        }
        let bits = splitmix64(self.state) >> 12;
        (bits as f64 + 0.5) / (1u64 << 52) as f64
    }

    /// Evenly between two numbers; their middle if steady.
    pub(super) fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.part()
    }

    /// Normally about 0 with this standard deviation, at most three of them away; 0 if steady.
    pub(super) fn normal(&mut self, deviation: f64) -> f64 {
        let (radius, angle) = (self.part(), self.part());
        if self.steady {
            return 0.0;
        }
        // Box & Muller, Ann. Math. Stat. 29, 1958.
        let thrown = (-2.0 * radius.ln()).sqrt() * (TAU * angle).cos();
        deviation * thrown.clamp(-WIDEST, WIDEST)
    }

    /// A ratio about 1 whose logarithm is [`Self::normal`]: 0.06 is six percent up or down. 1 if steady.
    pub(super) fn ratio(&mut self, deviation: f64) -> f64 {
        self.normal(deviation).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COUNT: u64 = 40_000;

    #[test]
    fn throws_of_neighbouring_notes_are_strangers_with_the_spread_that_was_asked_for() {
        let chance = Chance::new(7);
        let throws: Vec<f64> = (0..COUNT)
            .map(|note| chance.note(0, 3, note).normal(2.0))
            .collect();
        let count = COUNT as f64;
        let mean = throws.iter().sum::<f64>() / count;
        let variance = throws.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / count;
        // Five standard errors; what is cut at three deviations takes 0.5 % of the variance.
        assert!(mean.abs() < 5.0 * 2.0 / count.sqrt(), "{mean}");
        assert!(
            (variance / 4.0 - 0.995).abs() < 5.0 * (2.0 / count).sqrt(),
            "{variance}"
        );
        let alike: f64 = throws.iter().zip(&throws[1..]).map(|(a, b)| a * b).sum();
        assert!(
            (alike / count / variance).abs() < 5.0 / count.sqrt(),
            "{alike}"
        );
        assert!(throws.iter().all(|t| t.abs() <= 6.0));
    }

    #[test]
    fn a_note_is_its_seed_its_bottle_and_its_number_and_nothing_else() {
        let first = |seed, own, place, note| Chance::new(seed).note(own, place, note).part();
        let one = first(1, 2, 3, 4);
        assert_eq!(one, first(1, 2, 3, 4));
        for other in [
            first(2, 2, 3, 4),
            first(1, 3, 3, 4),
            first(1, 2, 4, 4),
            first(1, 2, 3, 5),
        ] {
            assert!((one - other).abs() > 1e-6);
        }
    }

    #[test]
    fn steady_dice_land_in_the_middle() {
        let mut dice = Chance::new(1).steady().note(2, 3, 4);
        assert_eq!(dice.normal(5.0), 0.0);
        assert_eq!(dice.ratio(0.2), 1.0);
        assert_eq!(dice.between(10.0, 30.0), 20.0);
    }
}
