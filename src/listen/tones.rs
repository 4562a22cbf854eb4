//! The two loudest tones of a short frame.

use std::f64::consts::TAU;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

use super::coarse::RANGE_HZ;

/// Hann's lobe is so many over its length wide, on either side.
const LOBE: f64 = 2.0;

/// A tone of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FrameTone {
    pub(super) hz: f64,
    /// Of the frame's power.
    pub(super) share: f64,
}

/// Looks at one frame after the other.
pub(super) struct FrameTones {
    bin_hz: f64,
    lobe: usize,
    window: Vec<f64>,
    forward: Arc<dyn RealToComplex<f64>>,
    input: Vec<f64>,
    output: Vec<Complex<f64>>,
    power: Vec<f64>,
}

impl FrameTones {
    pub(super) fn new(frame: usize, rate_hz: f64) -> Self {
        let size = (4 * frame).next_power_of_two();
        let forward = RealFftPlanner::<f64>::new().plan_fft_forward(size);
        let bin_hz = rate_hz / size as f64;
        Self {
            bin_hz,
            lobe: (LOBE * rate_hz / frame as f64 / bin_hz).ceil() as usize,
            window: (0..frame)
                .map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / frame as f64).cos())
                .collect(),
            input: forward.make_input_vec(),
            output: forward.make_output_vec(),
            power: vec![0.0; size / 2 + 1],
            forward,
        }
    }

    /// The loudest, and the loudest beside it.
    pub(super) fn loudest(&mut self, frame: &[f64]) -> [Option<FrameTone>; 2] {
        self.input.fill(0.0);
        for ((slot, x), w) in self.input.iter_mut().zip(frame).zip(&self.window) {
            *slot = x * w;
        }
        if self
            .forward
            .process(&mut self.input, &mut self.output)
            .is_err()
        {
            return [None; 2];
        }
        for (power, z) in self.power.iter_mut().zip(&self.output) {
            *power = z.norm_sqr();
        }
        let all: f64 = self.power.iter().sum();
        let first = self.take(all);
        let second = first.and_then(|_| self.take(all));
        [first, second]
    }

    /// The loudest that is left; nothing of it is left then.
    fn take(&mut self, all: f64) -> Option<FrameTone> {
        let from = ((RANGE_HZ.0 / self.bin_hz) as usize).max(1);
        let to = ((RANGE_HZ.1 / self.bin_hz) as usize).min(self.power.len() - 1);
        let top = (from..to).max_by(|a, b| self.power[*a].total_cmp(&self.power[*b]))?;
        let ln = |i: usize| self.power[i].max(1e-300).ln();
        let bend = ln(top - 1) - 2.0 * ln(top) + ln(top + 1);
        let off = if bend < 0.0 {
            0.5 * (ln(top - 1) - ln(top + 1)) / bend
        } else {
            0.0
        };
        let end = (top + self.lobe + 1).min(self.power.len());
        let lobe = &mut self.power[top.saturating_sub(self.lobe)..end];
        let share = lobe.iter().sum::<f64>() / all;
        lobe.fill(0.0);
        share.is_finite().then_some(FrameTone {
            hz: (top as f64 + off.clamp(-0.5, 0.5)) * self.bin_hz,
            share,
        })
    }
}
