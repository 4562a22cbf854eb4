//! Power spectra of short pieces.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};

/// The way to the power spectra of pieces of one length: each under a Hann window, with zeros to four times its length or more.
pub(super) struct Windowed {
    size: usize,
    padded: usize,
    forward: Arc<dyn RealToComplex<f64>>,
}

impl Windowed {
    pub(super) fn new(size: usize) -> Self {
        let padded = (4 * size).next_power_of_two();
        let forward = RealFftPlanner::new().plan_fft_forward(padded);
        Self {
            size,
            padded,
            forward,
        }
    }

    /// From one bin of a spectrum to the next, Hz.
    pub(super) fn bin_hz(&self, rate_hz: f64) -> f64 {
        rate_hz / self.padded as f64
    }

    /// Bins of a spectrum.
    pub(super) fn bins(&self) -> usize {
        self.padded / 2 + 1
    }

    /// The power of each bin of a piece.
    pub(super) fn power(&self, piece: &[f64]) -> Option<Vec<f64>> {
        let mut input = self.forward.make_input_vec();
        let mut output = self.forward.make_output_vec();
        for (i, (slot, x)) in input.iter_mut().zip(piece).enumerate() {
            let turn = TAU * (i as f64 + 0.5) / self.size as f64;
            *slot = x * (0.5 - 0.5 * turn.cos());
        }
        self.forward.process(&mut input, &mut output).ok()?;
        Some(output.iter().map(|z| z.norm_sqr()).collect())
    }
}
