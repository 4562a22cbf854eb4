//! The noise that makes rounding to 16 bits harmless.

/// From one draw to the next.
const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// Noise of two steps' width and triangular distribution, added before rounding to 16 bits: the error
/// then has no trace of the sound in it, whether in its mean or in its power. Two uniform numbers make
/// one. Lipshitz, Wannamaker & Vanderkooy, JAES 40, 1992.
#[derive(Clone, Debug)]
pub(super) struct Dither {
    state: u64,
}

impl Dither {
    pub(super) const fn seeded(seed: u64) -> Self {
        Self { state: seed }
    }

    /// Two uniform numbers from −0.5 to 0.5 from one draw of the splitmix64 generator (Steele, Lea &
    /// Flood, OOPSLA 2014).
    fn next_pair(&mut self) -> (f32, f32) {
        self.state = self.state.wrapping_add(STEP);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        let uniform = |bits: u32| bits as f32 / u32::MAX as f32 - 0.5;
        (uniform(z as u32), uniform((z >> 32) as u32))
    }

    /// As if it had been asked for so many samples.
    pub(super) const fn pass_over(&mut self, samples: u64) {
        self.state = self.state.wrapping_add(STEP.wrapping_mul(samples));
    }

    /// One step of a 16-bit file is 2⁻¹⁵ of full scale. Silence stays silent: where the sound is
    /// exactly zero there is nothing to protect from rounding.
    pub(super) fn next_int16(&mut self, x: f32) -> i16 {
        let (a, b) = self.next_pair();
        if x == 0.0 {
            return 0;
        }
        // `as` saturates.
        (x * 32_768.0 + a + b).round_ties_even() as i16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dither_is_triangular_two_steps_wide_and_without_bias() {
        let mut dither = Dither::seeded(7);
        let count = 200_000;
        let noise: Vec<f64> = (0..count)
            .map(|_| dither.next_pair())
            .map(|(a, b)| f64::from(a) + f64::from(b))
            .collect();
        let mean = noise.iter().sum::<f64>() / f64::from(count);
        let power = noise.iter().map(|x| x * x).sum::<f64>() / f64::from(count);
        // The variance of the sum of two uniform numbers of width 1 is 2/12. The mean of 200,000 has a
        // standard error of 0.0009, their power one of 0.0005: five of each.
        assert!(mean.abs() < 0.005, "mean {mean} steps");
        assert!((power - 1.0 / 6.0).abs() < 0.0025, "power {power}");
        assert!(noise.iter().all(|x| x.abs() <= 1.0));
    }

    #[test]
    fn a_sound_below_one_step_survives_16_bits_through_the_dither() {
        // 0.3 of a step would round to nothing; with dither its mean is kept.
        let mut dither = Dither::seeded(3);
        let count = 100_000;
        let sum: f64 = (0..count)
            .map(|_| f64::from(dither.next_int16(0.3 / 32_768.0)))
            .sum();
        let mean = sum / f64::from(count);
        // Noise power 1/6 + 1/12 of a step squared: standard error 0.0016; six of them.
        assert!((mean - 0.3).abs() < 0.01, "mean {mean} steps");
    }
}
