//! The stream at a lower rate: a blown bottle's note lies below 2 kHz, and every step after this one costs
//! in proportion to the rate.

use std::f64::consts::{FRAC_1_SQRT_2, PI, TAU};

use super::filter::HighPass;

/// The lower rate is at least this, Hz: 2 kHz and its overtone pass.
const LEAST_RATE_HZ: f64 = 11_000.0;
/// Taps on either side of the middle one, in lower samples.
const SIDE_SAMPLES: usize = 8;
/// The pass band ends here, as a share of the lower rate.
const CUT_SHARE: f64 = 0.42;
/// Rumble below this is taken away, Hz.
const RUMBLE_HZ: f64 = 28.0;

/// Takes every few samples one, after a filter that lets nothing fold down.
#[derive(Clone, Debug)]
pub(super) struct Decimator {
    factor: usize,
    rate_hz: f64,
    taps: Vec<f64>,
    /// The last samples, as many as there are taps, written round.
    recent: Vec<f64>,
    place: usize,
    until_next: usize,
    rumble: HighPass,
}

impl Decimator {
    pub(super) fn new(rate_hz: f64) -> Self {
        let factor = ((rate_hz / LEAST_RATE_HZ) as usize).max(1);
        let taps = if factor == 1 {
            vec![1.0]
        } else {
            low_pass(factor)
        };
        let lower_hz = rate_hz / factor as f64;
        Self {
            factor,
            rate_hz: lower_hz,
            recent: vec![0.0; taps.len()],
            taps,
            place: 0,
            until_next: 0,
            rumble: HighPass::new(RUMBLE_HZ, lower_hz, FRAC_1_SQRT_2),
        }
    }

    /// The lower rate.
    pub(super) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// How late its samples are, s.
    pub(super) fn delay_s(&self) -> f64 {
        (self.taps.len() / 2) as f64 / (self.rate_hz * self.factor as f64)
    }

    /// Appends what comes of `block` to `lower`; samples that are no numbers count as silence.
    pub(super) fn push(&mut self, block: &[f32], lower: &mut Vec<f64>) {
        for &sample in block {
            let sample = if sample.is_finite() { sample } else { 0.0 };
            self.recent[self.place] = f64::from(sample);
            self.place = (self.place + 1) % self.recent.len();
            if self.until_next == 0 {
                self.until_next = self.factor;
                let (new, old) = self.recent.split_at(self.place);
                let oldest_first = old.iter().chain(new);
                let sum = oldest_first.zip(&self.taps).map(|(x, tap)| x * tap).sum();
                lower.push(self.rumble.next(sum));
            }
            self.until_next -= 1;
        }
    }
}

/// A windowed sinc with a sum of 1.
fn low_pass(factor: usize) -> Vec<f64> {
    let side = (SIDE_SAMPLES * factor) as f64;
    let cut = TAU * CUT_SHARE / factor as f64;
    let tap = |i: i32| {
        let n = f64::from(i);
        let sinc = if i == 0 { cut } else { (cut * n).sin() / n };
        sinc * (0.5 * PI * n / (side + 1.0)).cos().powi(2)
    };
    let taps: Vec<f64> = (-(side as i32)..=side as i32).map(tap).collect();
    let sum: f64 = taps.iter().sum();
    taps.into_iter().map(|t| t / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(hz: f64, rate_hz: f64) -> f64 {
        let tone: Vec<f32> = (0..rate_hz as usize)
            .map(|n| (TAU * hz * n as f64 / rate_hz).sin() as f32)
            .collect();
        let mut lower = Vec::new();
        Decimator::new(rate_hz).push(&tone, &mut lower);
        let settled = &lower[lower.len() / 2..];
        (settled.iter().map(|x| x * x).sum::<f64>() / settled.len() as f64).sqrt()
    }

    #[test]
    fn notes_pass_and_what_would_fold_down_does_not() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            for hz in [60.0, 200.0, 1500.0] {
                assert!(
                    (level(hz, rate_hz) - 0.5f64.sqrt()).abs() < 0.03,
                    "{hz} at {rate_hz}"
                );
            }
            for hz in [8.0, 10_800.0, 20_000.0] {
                assert!(
                    level(hz, rate_hz) < 0.1,
                    "{hz} at {rate_hz}: {}",
                    level(hz, rate_hz)
                );
            }
        }
    }

    #[test]
    fn blocks_of_any_length_give_the_same_samples() {
        let noise: Vec<f32> = (0..5000).map(|i| (i as f32 * 1.7).sin()).collect();
        let (mut whole, mut pieces) = (Vec::new(), Vec::new());
        Decimator::new(48_000.0).push(&noise, &mut whole);
        let mut decimator = Decimator::new(48_000.0);
        for block in noise.chunks(77) {
            decimator.push(block, &mut pieces);
        }
        assert_eq!(whole, pieces);
    }
}
