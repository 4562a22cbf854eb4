//! How much a whitened spectrum speaks for a mode at each place of the axis, against none.
//!
//! A periodogram of noise is exponential, and of a broad mode exponential round its line: μ = 1 + g / (1 + (2 Δf / B)²), B the
//! width of a mode of Q 16 as the window shows it. The logarithm of the likelihood ratio of one place is
//! w (P (1 − 1/μ) − ln μ), and the evidence for a mode is their sum over 500 cents either way, its height g integrated out
//! over three values. For one centre and one height that is a product with a fixed row of weights.

use super::modes::{PLACES_PER_OCTAVE, hz_of};
use super::spectrum::{PLACES, independent, width_hz};

/// Heights of a mode over the noise, as ratios of powers.
const HEIGHTS: [f64; 3] = [1.5, 5.0, 15.0];
/// Half the width that is looked at, places: 500 cents.
const HALF: usize = 50;
/// One place says no more than this, as a whitened power: a line is not a mode.
const LOUDEST: f64 = 12.0;

/// Evidence over the axis.
pub(super) struct Evidence {
    /// Weights, by centre, height and offset. Single precision: they are read 50 times a second, and half as long.
    kernels: Vec<f32>,
    /// What each centre and height loses for being looked for.
    losses: Vec<f64>,
    shares: Vec<f64>,
    padded: Vec<f32>,
    /// The logarithm of the likelihood ratio at each place.
    pub at: Vec<f64>,
}

impl Evidence {
    pub fn new() -> Self {
        let taps = 2 * HALF + 1;
        let mut kernels = Vec::with_capacity(PLACES * HEIGHTS.len() * taps);
        let mut losses = Vec::with_capacity(PLACES * HEIGHTS.len());
        for centre in 0..PLACES {
            let hz = hz_of(centre as f64);
            let width_hz = width_hz(hz);
            for height in HEIGHTS {
                let mut loss = 0.0;
                for tap in 0..taps {
                    let offset = tap as f64 - HALF as f64;
                    let away_hz = hz * ((offset / PLACES_PER_OCTAVE).exp2() - 1.0);
                    let line = 1.0 + height / (1.0 + (2.0 * away_hz / width_hz).powi(2));
                    kernels.push((1.0 - 1.0 / line) as f32);
                    let place = centre + tap;
                    if (HALF..HALF + PLACES).contains(&place) {
                        loss += independent(place - HALF) * line.ln();
                    }
                }
                losses.push(loss);
            }
        }
        Self {
            kernels,
            losses,
            shares: (0..PLACES).map(independent).collect(),
            padded: vec![0.0; PLACES + 2 * HALF],
            at: vec![0.0; PLACES],
        }
    }

    /// Works out the evidence of a frame.
    pub fn weigh(&mut self, powers: &[f64]) {
        for ((to, power), share) in self.padded[HALF..].iter_mut().zip(powers).zip(&self.shares) {
            *to = (share * power.min(LOUDEST)) as f32;
        }
        let taps = 2 * HALF + 1;
        for (centre, evidence) in self.at.iter_mut().enumerate() {
            let near = &self.padded[centre..centre + taps];
            let mut ratio = 0.0;
            for height in 0..HEIGHTS.len() {
                let row = centre * HEIGHTS.len() + height;
                let kernel = &self.kernels[row * taps..(row + 1) * taps];
                ratio += (product(near, kernel) - self.losses[row]).exp();
            }
            *evidence = (ratio / HEIGHTS.len() as f64).ln();
        }
    }
}

/// The sum of products, in eight lanes.
fn product(a: &[f32], b: &[f32]) -> f64 {
    const LANES: usize = 8;
    let mut lanes = [0.0f32; LANES];
    let (mut a, mut b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    for (a, b) in a.by_ref().zip(b.by_ref()) {
        for ((lane, x), y) in lanes.iter_mut().zip(a).zip(b) {
            *lane += x * y;
        }
    }
    let rest = a.remainder().iter().zip(b.remainder());
    f64::from(lanes.iter().sum::<f32>() + rest.map(|(x, y)| x * y).sum::<f32>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mode_speaks_for_itself_and_a_flat_spectrum_against_any() {
        let mut evidence = Evidence::new();
        let mut powers = vec![1.0; PLACES];
        evidence.weigh(&powers);
        assert!(evidence.at.iter().all(|at| *at < 0.0));
        let centre = 300;
        for (place, power) in powers.iter_mut().enumerate() {
            let hz = hz_of(centre as f64);
            let away_hz = hz_of(place as f64) - hz;
            *power += 8.0 / (1.0 + (2.0 * away_hz / width_hz(hz)).powi(2));
        }
        evidence.weigh(&powers);
        let best = (0..PLACES).max_by(|a, b| evidence.at[*a].total_cmp(&evidence.at[*b]));
        assert!(
            best.is_some_and(|best| best.abs_diff(centre) <= 1),
            "{best:?}"
        );
        assert!(evidence.at[centre] > 4.0, "{}", evidence.at[centre]);
        assert!(evidence.at[centre + 60] < 0.0);
    }
}
