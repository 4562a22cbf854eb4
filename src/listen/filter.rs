//! Filters of the second order.

use std::f64::consts::PI;

/// A high-pass of the second order.
#[derive(Clone, Debug)]
pub(super) struct HighPass {
    b0: f64,
    a: [f64; 2],
    x: [f64; 2],
    y: [f64; 2],
}

impl HighPass {
    /// Of this quality: √½ is Butterworth's shape.
    pub(super) fn new(cut_hz: f64, rate_hz: f64, quality: f64) -> Self {
        let k = (PI * cut_hz / rate_hz).tan();
        let norm = 1.0 / (1.0 + k / quality + k * k);
        Self {
            b0: norm,
            a: [
                2.0 * (k * k - 1.0) * norm,
                (1.0 - k / quality + k * k) * norm,
            ],
            x: [0.0; 2],
            y: [0.0; 2],
        }
    }

    pub(super) fn next(&mut self, x: f64) -> f64 {
        let y = self.b0 * (x - 2.0 * self.x[0] + self.x[1])
            - self.a[0] * self.y[0]
            - self.a[1] * self.y[1];
        self.x = [x, self.x[0]];
        // Below the smallest normal number there is nothing to hear and much to wait for.
        let y = if y.abs() < 1e-30 { 0.0 } else { y };
        self.y = [y, self.y[0]];
        y
    }
}
