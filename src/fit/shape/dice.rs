//! Draws from a bell curve that cover it evenly: one from each of as many slices, shuffled by a seed.

/// A small generator of numbers; the same every time.
#[derive(Clone, Debug)]
pub(super) struct Dice(u64);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed ^ 0x9e37_79b9_7f4a_7c15)
    }

    /// SplitMix64: Steele, Lea & Flood 2014.
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(super) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// `count` draws of a bell curve, one from each slice of equal chance, in any order.
    pub(super) fn bell(&mut self, count: usize) -> Vec<f64> {
        let mut draws: Vec<f64> = (0..count)
            .map(|slice| quantile((slice as f64 + 0.1 + 0.8 * self.unit()) / count as f64))
            .collect();
        for last in (1..count).rev() {
            draws.swap(last, (self.unit() * (last + 1) as f64) as usize);
        }
        draws
    }
}

/// The bell curve's quantile to 2e-9: Acklam's rational approximation, 2003.
#[allow(clippy::excessive_precision)]
pub(super) fn quantile(p: f64) -> f64 {
    const A: [f64; 6] = [
        -3.969683028665376e1,
        2.209460984245205e2,
        -2.759285104469687e2,
        1.383577518672690e2,
        -3.066479806614716e1,
        2.506628277459239,
    ];
    const B: [f64; 5] = [
        -5.447609879822406e1,
        1.615858368580409e2,
        -1.556989798598866e2,
        6.680131188771972e1,
        -1.328068155288572e1,
    ];
    const C: [f64; 6] = [
        -7.784894002430293e-3,
        -3.223964580411365e-1,
        -2.400758277161838,
        -2.549732539343734,
        4.374664141464968,
        2.938163982698783,
    ];
    const D: [f64; 4] = [
        7.784695709041462e-3,
        3.224671290700398e-1,
        2.445134137142996,
        3.754408661907416,
    ];
    let horner = |c: &[f64], x: f64| c.iter().fold(0.0, |sum, c| sum * x + c);
    let tail = |p: f64| {
        let q = (-2.0 * p.ln()).sqrt();
        horner(&C, q) / (horner(&D, q) * q + 1.0)
    };
    if p < 0.02425 {
        tail(p)
    } else if p > 1.0 - 0.02425 {
        -tail(1.0 - p)
    } else {
        let q = p - 0.5;
        let r = q * q;
        horner(&A, r) * q / (horner(&B, r) * r + 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantiles_are_those_of_the_tables_and_the_draws_cover_them() {
        for (share, z) in [
            (0.5, 0.0),
            (0.975, 1.959_964),
            (0.025, -1.959_964),
            (0.8413, 0.999_815),
        ] {
            assert!(
                (quantile(share) - z).abs() < 1e-5,
                "{share}: {}",
                quantile(share)
            );
        }
        let draws = Dice::new(3).bell(200);
        let mean = draws.iter().sum::<f64>() / 200.0;
        let square = draws.iter().map(|d| d * d).sum::<f64>() / 200.0;
        // One from each slice: a hundredth, where 200 free draws would miss by 7 and 10.
        assert!(
            mean.abs() < 0.01 && (square - 1.0).abs() < 0.03,
            "{mean} {square}"
        );
        assert_eq!(draws, Dice::new(3).bell(200));
    }
}
