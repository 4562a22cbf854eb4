//! Random numbers of the particles: seeded, small, and the same on every machine.

/// A 64-bit counter through a mixing function (Steele, Lea & Flood 2014, "SplitMix").
#[derive(Clone, Debug)]
pub(super) struct Dice(u64);

impl Dice {
    pub fn seeded(seed: u64) -> Self {
        let mut dice = Self(seed);
        // Neighbouring seeds must not be alike.
        dice.0 = dice.next();
        dice
    }

    #[inline]
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to 1.
    #[inline]
    pub fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Nearly normal, mean 0, deviation 1: four even 16-bit numbers added. It ends at 3.5 deviations, which is as far as a
    /// particle needs to go in one step, and costs no logarithm.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        let bits = self.next();
        let sum = (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
        // Four numbers even on 0 to 65,535 have the variance 4 · 65,536² / 12.
        (sum as f64 - 131_070.0) * (1.732_050_807_568_877_2 / 65_536.0)
    }

    /// Mean 1, falling exponentially.
    #[inline]
    pub fn waiting(&mut self) -> f64 {
        -(1.0 - self.share()).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_their_mean_and_deviation() {
        let mut dice = Dice::seeded(7);
        let drawn: Vec<f64> = (0..100_000).map(|_| dice.normal()).collect();
        let mean = drawn.iter().sum::<f64>() / 1e5;
        let variance = drawn.iter().map(|x| x * x).sum::<f64>() / 1e5;
        // Three standard errors of a hundred thousand draws.
        assert!(mean.abs() < 0.0095, "{mean}");
        assert!((variance - 1.0).abs() < 0.0125, "{variance}");
    }

    #[test]
    fn neighbouring_seeds_are_not_alike() {
        let first = |seed| Dice::seeded(seed).share();
        assert!((0..100).all(|seed| (first(seed) - first(seed + 1)).abs() > 1e-6));
        assert_eq!(first(3), first(3));
    }
}
