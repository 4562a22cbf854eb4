//! How far a gas is from ideal: the second virial coefficient of a mixture and its slopes.
//!
//! The molecules fall into groups that attract alike (nitrogen, oxygen and argon are one). Each pair of groups
//! has one curve in temperature; a pair without one is taken as ideal.

use super::gas::{Mixture, Species};

/// Cubic metres in a cubic centimetre: tables of virial coefficients are in cm³/mol.
const M3_PER_CM3: f64 = 1e-6;

/// Where the power laws below are anchored, K (20 °C).
const ANCHOR_K: f64 = 293.15;

/// The second virial coefficient B, T dB/dT and T² d²B/dT², m³/mol each.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Virial {
    /// B.
    pub value: f64,
    /// T dB/dT.
    pub slope: f64,
    /// T² d²B/dT².
    pub curvature: f64,
}

/// Molecules that attract alike.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Group {
    Air,
    Co2,
    He,
    Water,
    Ethanol,
    Isopropanol,
}

/// A curve of B in cm³/mol over temperature.
#[derive(Clone, Copy, Debug)]
enum Curve {
    /// a - b exp(c/T), the square-well shape; c in K.
    Well { a: f64, b: f64, c: f64 },
    /// a + slope (T - 273.15 K); a constant has no slope.
    Line { a: f64, slope: f64 },
    /// a (293.15 K/T)^n.
    Power { a: f64, n: f64 },
    /// Water with air, Hyland and Wexler: a + b/T + c/T² + d/T⁴.
    Inverse { a: f64, b: f64, c: f64, d: f64 },
}

/// Every pair that is not ideal. Fits are to CoolProp 8.0.0 (largest misfit 0.01 cm³/mol in air and carbon
/// dioxide, 0.5 in water, 2 in ethanol) unless a line says otherwise. The alcohols' cross terms are estimates:
/// all of them together move the pitch by less than half a cent.
const PAIRS: [(Group, Group, Curve); 16] = {
    use Curve::{Inverse, Line, Power, Well};
    use Group::{Air, Co2, Ethanol, He, Isopropanol, Water};
    [
        (
            Air,
            Air,
            Well {
                a: 154.488,
                b: 113.508,
                c: 107.179,
            },
        ),
        (
            Co2,
            Co2,
            Well {
                a: 125.437,
                b: 79.5439,
                c: 339.570,
            },
        ),
        (
            Air,
            Co2,
            Well {
                a: 167.415,
                b: 118.749,
                c: 171.313,
            },
        ),
        (
            Water,
            Water,
            Well {
                a: -89.845,
                b: 3.927_18,
                c: 1693.62,
            },
        ),
        (
            Ethanol,
            Ethanol,
            Well {
                a: 566.298,
                b: 115.027,
                c: 894.874,
            },
        ),
        // A guess: 1.15 times ethanol's.
        (
            Isopropanol,
            Isopropanol,
            Well {
                a: 1.15 * 566.298,
                b: 1.15 * 115.027,
                c: 894.874,
            },
        ),
        (
            He,
            He,
            Line {
                a: 11.95,
                slope: -0.0041,
            },
        ),
        (
            Air,
            He,
            Line {
                a: 21.1,
                slope: 0.0,
            },
        ),
        (
            Co2,
            He,
            Line {
                a: 24.0,
                slope: 0.0,
            },
        ),
        // From memory.
        (
            He,
            Water,
            Line {
                a: 20.0,
                slope: 0.0,
            },
        ),
        // Hyland and Wexler, as used for humid air by ASHRAE.
        (
            Air,
            Water,
            Inverse {
                a: 32.366_097,
                b: -14_113.8,
                c: -1_244_535.0,
                d: -2_348_789_000.0,
            },
        ),
        // From memory.
        (Co2, Water, Power { a: -185.0, n: 2.5 }),
        // Between two binary parameters of Tsonopoulos's correlation.
        (Air, Ethanol, Power { a: -75.0, n: 2.5 }),
        (Air, Isopropanol, Power { a: -90.0, n: 2.5 }),
        (Ethanol, Water, Power { a: -1185.0, n: 3.6 }),
        // A guess beside the line above.
        (Isopropanol, Water, Power { a: -1300.0, n: 3.6 }),
    ]
};

/// B of the mixture: the sum over all pairs of groups of y_i y_j B_ij.
pub(super) fn second_virial(mixture: &Mixture, kelvin: f64) -> Virial {
    let mut total = Virial::default();
    for &(first, second, curve) in &PAIRS {
        // An unequal pair stands in the double sum twice.
        let times = if first == second { 1.0 } else { 2.0 };
        let weight = times * first.share(mixture) * second.share(mixture) * M3_PER_CM3;
        if weight > 0.0 {
            let pair = curve.at(kelvin);
            total.value += weight * pair.value;
            total.slope += weight * pair.slope;
            total.curvature += weight * pair.curvature;
        }
    }
    total
}

impl Group {
    fn share(self, mixture: &Mixture) -> f64 {
        match self {
            Self::Air => [Species::N2, Species::O2, Species::Ar]
                .iter()
                .map(|&s| mixture.fraction(s))
                .sum(),
            Self::Co2 => mixture.fraction(Species::Co2),
            Self::He => mixture.fraction(Species::He),
            Self::Water => mixture.fraction(Species::H2o),
            Self::Ethanol => mixture.fraction(Species::Ethanol),
            Self::Isopropanol => mixture.fraction(Species::Isopropanol),
        }
    }
}

impl Curve {
    /// B, T B' and T² B'', cm³/mol, by exact differentiation.
    fn at(self, kelvin: f64) -> Virial {
        match self {
            Self::Well { a, b, c } => {
                let u = c / kelvin;
                let depth = b * u.exp();
                Virial {
                    value: a - depth,
                    slope: u * depth,
                    curvature: -(2.0 + u) * u * depth,
                }
            }
            Self::Line { a, slope } => {
                let celsius = crate::units::Temperature::from_k(kelvin).c();
                Virial {
                    value: a + slope * celsius,
                    slope: slope * kelvin,
                    curvature: 0.0,
                }
            }
            Self::Power { a, n } => {
                let value = a * (ANCHOR_K / kelvin).powf(n);
                Virial {
                    value,
                    slope: -n * value,
                    curvature: n * (n + 1.0) * value,
                }
            }
            Self::Inverse { a, b, c, d } => {
                let (first, second, fourth) = (b / kelvin, c / kelvin.powi(2), d / kelvin.powi(4));
                Virial {
                    value: a + first + second + fourth,
                    slope: -(first + 2.0 * second + 4.0 * fourth),
                    curvature: 2.0 * first + 6.0 * second + 20.0 * fourth,
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slopes_are_the_derivatives_of_the_value() {
        let step_k = 0.01;
        for (first, second, curve) in PAIRS {
            for kelvin in [263.15, 293.15, 333.15] {
                let [below, here, above] =
                    [-step_k, 0.0, step_k].map(|step| curve.at(kelvin + step));
                let scale = here.value.abs().max(1.0);
                let slope = (above.value - below.value) / (2.0 * step_k) * kelvin;
                let curvature = (above.value - 2.0 * here.value + below.value) / step_k.powi(2)
                    * kelvin.powi(2);
                let pair = format!("{first:?} with {second:?} at {kelvin} K");
                // Central differences over 0.01 K: 1e-8 of truncation for the slope, and 1e-3 at worst of
                // cancellation for the curvature.
                assert!(
                    (here.slope - slope).abs() < 1e-6 * scale,
                    "{pair}: {} against {slope}",
                    here.slope
                );
                assert!(
                    (here.curvature - curvature).abs() < 2e-3 * scale,
                    "{pair}: {} against {curvature}",
                    here.curvature
                );
            }
        }
    }
}
