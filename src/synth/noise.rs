//! Seeds for the breath of each bottle.
//!
//! The dice themselves are rolled in the kernel: a 32-bit xorshift for every bottle, once in two frames. Its period,
//! 2³² − 1 throws, is two days at 48 kHz.

/// A well scattered value for every input: neighbours in, strangers out.
///
/// The finaliser of Steele, Lea & Flood, *Fast splittable pseudorandom number generators*, 2014.
pub(super) fn splitmix64(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// The first state of a bottle's dice, never zero: zero is the one state that xorshift cannot leave.
///
/// Neighbouring seeds must not be neighbouring states: a counter would give one noise, delayed.
pub(super) fn dice(bank_seed: u64, bottle_seed: u64, bottle: usize) -> u32 {
    let mixed = splitmix64(splitmix64(bank_seed ^ splitmix64(bottle_seed)) ^ bottle as u64);
    ((mixed >> 32) as u32).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn white(state: &mut u32) -> f64 {
        *state ^= *state << 13;
        *state ^= *state >> 17;
        *state ^= *state << 5;
        f64::from(state.cast_signed())
    }

    #[test]
    fn the_dice_are_white() {
        const COUNT: usize = 1 << 18;
        let mut state = dice(7, 0, 3);
        let throws: Vec<f64> = (0..COUNT).map(|_| white(&mut state)).collect();
        let norm = COUNT as f64 * (2f64.powi(31)).powi(2) / 3.0;
        for lag in 1..64 {
            let alike: f64 = throws.iter().zip(&throws[lag..]).map(|(a, b)| a * b).sum();
            // Five times the standard deviation of a correlation over so many samples.
            let floor = 5.0 / (COUNT as f64).sqrt();
            assert!((alike / norm).abs() < floor, "lag {lag}");
        }
    }
}
