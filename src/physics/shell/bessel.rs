//! Bessel functions of whole order and positive argument, as far as radiation needs them.

use std::f64::consts::FRAC_2_PI;

/// Euler's constant.
const EULER: f64 = 0.577_215_664_901_532_9;

/// |H'ₙ(x)|², H = J + iY, for x above 0 and up to some 50.
///
/// J by Miller's downward recurrence; Y₀ and Y₁ by Neumann's series in J (Abramowitz & Stegun 9.1.88 and 9.1.89), then upwards.
pub(super) fn hankel_slope_squared(n: u32, x: f64) -> f64 {
    let n = n as usize;
    let j = first_kind(x, n + 2);
    let log = (0.5 * x).ln() + EULER;
    let sign = |k: usize| if k.is_multiple_of(2) { 1.0 } else { -1.0 };
    let (mut series_0, mut series_1) = (0.0, 0.0);
    for k in 1..j.len() / 2 - 1 {
        let count = k as f64;
        series_0 += sign(k) * j[2 * k] / count;
        series_1 += sign(k) * (2.0 * count + 1.0) / (count * (count + 1.0)) * j[2 * k + 1];
    }
    let y0 = FRAC_2_PI * log * j[0] - 2.0 * FRAC_2_PI * series_0;
    let y1 = -FRAC_2_PI * j[0] / x + FRAC_2_PI * (log - 1.0) * j[1] - FRAC_2_PI * series_1;
    let mut y = vec![y0, y1];
    for k in 1..=n {
        y.push(2.0 * k as f64 / x * y[k] - y[k - 1]);
    }
    let slope = |f: &[f64]| {
        if n == 0 {
            -f[1]
        } else {
            0.5 * (f[n - 1] - f[n + 1])
        }
    };
    slope(&j).powi(2) + slope(&y).powi(2)
}

/// J₀, J₁, … up to at least `order`.
fn first_kind(x: f64, order: usize) -> Vec<f64> {
    let top = 2 * ((order.max(x as usize) + 24 + x as usize / 2) / 2);
    let mut j = vec![0.0; top + 2];
    j[top] = 1e-280;
    for k in (1..=top).rev() {
        j[k - 1] = 2.0 * k as f64 / x * j[k] - j[k + 1];
        if j[k - 1].abs() > 1e200 {
            j.iter_mut().for_each(|value| *value *= 1e-200);
        }
    }
    let whole = j[0] + 2.0 * j.iter().skip(2).step_by(2).sum::<f64>();
    j.iter_mut().for_each(|value| *value /= whole);
    j
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// Abramowitz & Stegun, tables 9.1 and 9.2: J₂(2) = 0.352834, J₁(2) = 0.576725, J₃(2) = 0.128943;
    /// Y₁(2) = −0.107032, Y₂(2) = −0.617408, Y₃(2) = −1.127784; from memory, six digits.
    #[test]
    fn the_slope_of_hankels_function_is_the_tables() {
        let j = 0.5 * (0.576_725 - 0.128_943);
        let y = 0.5 * (-0.107_032 + 1.127_784);
        let ours = hankel_slope_squared(2, 2.0);
        let table: f64 = j * j + y * y;
        assert!((ours / table - 1.0).abs() < 1e-5, "{ours} {table}");
    }

    /// Values of a general library of special functions, ten digits. At n = 2, x = 2 above, the slope happens not to depend on Y₁.
    #[test]
    fn the_slope_agrees_with_a_general_library_at_other_places() {
        for (n, x, expected) in [
            (2, 0.5, 411.861_245_2),
            (3, 6.0, 0.094_475_391_44),
            (2, 40.0, 0.015_899_351_33),
        ] {
            let ratio = hankel_slope_squared(n, x) / expected;
            assert!((ratio - 1.0).abs() < 1e-8, "n {n}, x {x}: {ratio}");
        }
    }

    #[test]
    fn far_away_it_is_a_plane_wave() {
        // |H'|² → 2/(πx) (1 + …/x²).
        let ours = hankel_slope_squared(2, 40.0) * 0.5 * PI * 40.0;
        assert!((ours - 1.0).abs() < 5e-3, "{ours}");
    }
}
