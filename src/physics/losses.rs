//! Losses of sound to the walls: the viscous and thermal boundary layers of a round tube.
//!
//! In a wide neck the layer is thin beside the radius (Kirchhoff); in a capillary it is all there is, and what remains is
//! Poiseuille's drag, 8 μ / r².
//!
//! ```
//! use num_complex::Complex64;
//! use ullage::physics::losses::BoundaryLayer;
//! let omega = std::f64::consts::TAU * 200.0;
//! let air_m2_s = 1.5e-5; // kinematic viscosity at 20 °C
//! let layer = BoundaryLayer::new(Complex64::from(omega), air_m2_s);
//! let neck_m = 9e-3;
//! let depth_m = (2.0 * air_m2_s / omega).sqrt(); // 0.15 mm
//! let thin = Complex64::new(1.0, -1.0) * depth_m / neck_m;
//! assert!((layer.share(neck_m) / thin - 1.0).norm() < 0.01); // the next term is half of depth over radius
//! let capillary_m = 1e-5;
//! let drag = Complex64::I * omega / (1.0 - layer.share(capillary_m)) * capillary_m.powi(2) / air_m2_s;
//! assert!((drag.re - 8.0).abs() < 0.001);
//! ```

use num_complex::Complex64;

/// Below this size of the argument the continued fraction is used, above it the asymptotic series,
/// whose first left-out term is then under 1e-8.
const SERIES_FROM: f64 = 16.0;

/// The boundary-layer function of a tube as seen at one frequency, for one diffusivity.
///
/// F(r, D) = 2 J1(z) / (z J0(z)) with z = r √(−iω/D), after Zwikker & Kosten, *Sound Absorbing
/// Materials*, 1949. It runs from 1 (the layer fills the tube) to 0 (no layer). Written with modified
/// Bessel functions it is 2 I1(x) / (x I0(x)), x = r √(iω/D), which has no cancelling growth.
#[derive(Clone, Copy, Debug)]
pub struct BoundaryLayer {
    /// √(iω/D), 1/m.
    wave_number: Complex64,
    /// Its inverse, m.
    depth_m: Complex64,
}

impl BoundaryLayer {
    /// The layer of a diffusivity in m²/s (kinematic viscosity, or thermal diffusivity) at the complex
    /// angular frequency `omega` in rad/s.
    #[must_use]
    pub fn new(omega: Complex64, diffusivity_m2_s: f64) -> Self {
        let wave_number = (Complex64::I * omega / diffusivity_m2_s).sqrt();
        Self {
            wave_number,
            depth_m: wave_number.inv(),
        }
    }

    /// F for a tube of inner radius `radius_m`, and x dF/dx = 2 − 2F − x²F²/2: half of it, over the angular frequency, is
    /// how fast F moves with that.
    ///
    /// From the derivatives of the modified Bessel functions, Abramowitz & Stegun 9.6.26.
    #[must_use]
    pub fn share_and_steepness(&self, radius_m: f64) -> (Complex64, Complex64) {
        let share = self.share(radius_m);
        let half = self.wave_number * radius_m * share;
        (share, 2.0 - 2.0 * share - 0.5 * half * half)
    }

    /// The depth of the layer, complex, m: the series run in powers of it over the radius.
    pub(super) fn depth_m(&self) -> Complex64 {
        self.depth_m
    }

    /// Whether the layer is so thin in such a tube that the series hold.
    pub(super) fn is_thin_in(&self, radius_m: f64) -> bool {
        self.wave_number.norm_sqr() * radius_m * radius_m >= SERIES_FROM * SERIES_FROM
    }

    /// F for a tube of inner radius `radius_m`.
    #[must_use]
    pub fn share(&self, radius_m: f64) -> Complex64 {
        let x = self.wave_number * radius_m;
        if x.norm_sqr() < SERIES_FROM * SERIES_FROM {
            return continued_fraction(x);
        }
        let y = self.depth_m / radius_m;
        // I1/I0 for large argument, Abramowitz & Stegun 9.7.1 divided term by term.
        let ratio = 1.0
            - y * (0.5
                + y * (0.125
                    + y * (0.125
                        + y * (25.0 / 128.0 + y * (13.0 / 32.0 + y * (1073.0 / 1024.0))))));
        2.0 * y * ratio
    }
}

/// Terms of the two series in the depth over the radius; the first left out is under 1e-8 where they are used.
pub(super) const TERMS: usize = 8;
/// F in powers of y = 1/x: [`BoundaryLayer::share`]'s asymptotic series multiplied out.
pub(super) const SHARE: [f64; TERMS] = [
    0.0,
    2.0,
    -1.0,
    -0.25,
    -0.25,
    -25.0 / 64.0,
    -13.0 / 16.0,
    -1073.0 / 512.0,
];
/// 1/(1 − F) likewise, term by term from the one above.
pub(super) const HEAVIER: [f64; TERMS] = heavier();

const fn heavier() -> [f64; TERMS] {
    let mut series = [0.0; TERMS];
    series[0] = 1.0;
    let mut n = 1;
    while n < TERMS {
        let mut k = 1;
        while k <= n {
            series[n] += SHARE[k] * series[n - k];
            k += 1;
        }
        n += 1;
    }
    series
}

/// 2 I1(x) / (x I0(x)) by its continued fraction, Abramowitz & Stegun 9.1.73 with imaginary argument.
fn continued_fraction(x: Complex64) -> Complex64 {
    // Evaluated from the tail; the depth that 15 digits need grows with the argument.
    let depth = 12 + (1.5 * x.norm()) as u32;
    let half_square = x * x;
    let mut tail = Complex64::from(2.0 * f64::from(depth));
    for level in (1..depth).rev() {
        tail = 2.0 * f64::from(level) + half_square / tail;
    }
    2.0 / tail
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Power series of I0 and I1, plain and slow.
    fn by_series(x: Complex64) -> Complex64 {
        let quarter_square = x * x / 4.0;
        let (mut i0, mut i1_over_half_x) = (Complex64::from(0.0), Complex64::from(0.0));
        let mut term = Complex64::from(1.0);
        for k in 0..80 {
            i0 += term;
            i1_over_half_x += term / f64::from(k + 1);
            term = term * quarter_square / f64::from((k + 1) * (k + 1));
        }
        i1_over_half_x / i0
    }

    #[test]
    fn the_layer_function_agrees_with_its_power_series_on_both_sides_of_the_switch() {
        for (x, tolerance) in [
            (0.01, 1e-12),
            (1.0, 1e-12),
            (5.0, 1e-12),
            (12.0, 1e-9),
            (15.9, 1e-7),
            (16.1, 1e-7),
            (20.0, 1e-5),
        ] {
            let diffusivity_m2_s = 1.5e-5;
            let omega = Complex64::new(2.0 * std::f64::consts::PI * 200.0, 20.0);
            let layer = BoundaryLayer::new(omega, diffusivity_m2_s);
            let radius_m = x / layer.wave_number.norm();
            let difference =
                (layer.share(radius_m) - by_series(layer.wave_number * radius_m)).norm();
            assert!(difference < tolerance, "x {x}: {difference:e}");
        }
    }

    #[test]
    fn the_steepness_is_that_of_a_small_step() {
        let omega = Complex64::new(2.0 * std::f64::consts::PI * 200.0, 20.0);
        for radius_m in [1e-5, 1e-4, 1e-3, 1e-2, 5e-2] {
            let step = 1e-5 * omega;
            let share = |omega| BoundaryLayer::new(omega, 1.5e-5).share(radius_m);
            let by_step = (share(omega + step) - share(omega - step)) / (2.0 * step);
            let (_, steepness) = BoundaryLayer::new(omega, 1.5e-5).share_and_steepness(radius_m);
            let slope = 0.5 * steepness / omega;
            // Both lose digits to cancelling: the step's square is 1e-10, F itself good to 1e-8 beyond the switch.
            let off = (slope - by_step).norm() / by_step.norm();
            assert!(off < 1e-4, "radius {radius_m} m: {off:e}");
        }
    }

    #[test]
    fn the_series_multiplied_out_are_the_layer_function() {
        let layer = BoundaryLayer::new(Complex64::new(1000.0, 10.0), 1.5e-5);
        for at in [1.0, 1.5, 4.0, 20.0] {
            let radius_m = at * SERIES_FROM / layer.wave_number.norm();
            let y = layer.depth_m() / radius_m;
            let sum = |series: [f64; TERMS]| {
                let terms = series.iter().rev();
                terms.fold(Complex64::from(0.0), |sum, term| sum * y + term)
            };
            let share = layer.share(radius_m);
            assert!((sum(SHARE) - share).norm() < 1e-12, "at {at}");
            // The first term left out is 16⁻⁸ of a few.
            let off = sum(HEAVIER) - (1.0 - share).inv();
            assert!(off.norm() < 1e-8, "at {at}: {off}");
        }
    }

    #[test]
    fn the_two_forms_meet_at_the_switch() {
        let layer = BoundaryLayer::new(Complex64::new(1000.0, 10.0), 1.5e-5);
        let radius_m = SERIES_FROM / layer.wave_number.norm();
        let step = layer.share(radius_m * 1.000_001) - layer.share(radius_m * 0.999_999);
        let expected = layer.share(radius_m * 1.000_002) - layer.share(radius_m * 1.000_000_1);
        assert!((step - expected).norm() < 1e-7, "{step} {expected}");
    }
}
