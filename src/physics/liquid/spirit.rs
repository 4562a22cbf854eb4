//! Viscosity of alcohol and water; their density is in [`super::alcohol`].
//!
//! Temperatures in °C, shares by mass from 0 to 1, results in SI.

use super::alcohol::monotone_cubic;
use super::polynomial;
use super::water::{WATER_KG_MOL, water_viscosity_pa_s};
use crate::units::ZERO_CELSIUS_K;

/// Where the formulas are anchored, K.
const ANCHOR_K: f64 = 293.15;
/// Molar masses of ethanol and 2-propanol, kg/mol.
const ETHANOL_KG_MOL: f64 = 0.046_068_44;
const ISOPROPANOL_KG_MOL: f64 = 0.060_095_02;

/// Viscosity of isopropanol and water at 20 °C, mass share and mPa s: the CRC Handbook up to 0.2, pure as on
/// Wikipedia's data page, and the value at 70 % by volume from memory, ±15 %.
const ISOPROPANOL_AT_20_C: [(f64, f64); 8] = [
    (0.00, 1.0016),
    (0.02, 1.112),
    (0.05, 1.287),
    (0.10, 1.629),
    (0.14, 1.970),
    (0.20, 2.550),
    (0.627, 3.500),
    (1.00, 2.3703),
];

/// Mole fraction of an alcohol from its mass share.
fn mole_fraction(w: f64, molar_kg_mol: f64) -> f64 {
    let alcohol = w / molar_kg_mol;
    alcohol / (alcohol + (1.0 - w) / WATER_KG_MOL)
}

/// How much more than its parts ethanol and water resist as they warm or cool: x y J1 (293.15/T − 1).
fn warming_bulge(x: f64, kelvin: f64) -> f64 {
    let y = 1.0 - x;
    let slope = polynomial(&[24.6851, -74.8899, 160.9838, -42.139], y - x);
    x * y * slope * (ANCHOR_K / kelvin - 1.0)
}

/// Viscosity of ethanol and water, Pa s, 0 to 40 °C.
///
/// ln µ = y ln µ_w + x ln µ_e + x y (J + J1 (293.15/T − 1)) with J and J1 cubic in y − x; x is the mole fraction of ethanol.
/// Fitted to the CRC Handbook at 20 °C within 3 % and to CoolProp elsewhere within 6.4 %.
pub(super) fn ethanol_viscosity_pa_s(w: f64, celsius: f64) -> f64 {
    let kelvin = celsius + ZERO_CELSIUS_K;
    let x = mole_fraction(w, ETHANOL_KG_MOL);
    let y = 1.0 - x;
    let ln_water = (1e3 * water_viscosity_pa_s(celsius)).ln();
    let ln_ethanol = -7.371_46 + 2770.25 / (kelvin + 74.6787);
    let bulge = x * y * polynomial(&[2.7105, 2.9642, 3.9376, 2.5069], y - x);
    1e-3 * (y * ln_water + x * ln_ethanol + bulge + warming_bulge(x, kelvin)).exp()
}

/// Viscosity of isopropanol and water, Pa s, 0 to 40 °C.
///
/// A curve through the table at 20 °C: 1 % up to 20 % by mass and for pure, ±15 % between, where no table was found.
/// Away from 20 °C the two parts follow their own, and their mixture bulges as ethanol's does: a guess, ±25 %.
pub(super) fn isopropanol_viscosity_pa_s(w: f64, celsius: f64) -> f64 {
    let kelvin = celsius + ZERO_CELSIUS_K;
    let x = mole_fraction(w, ISOPROPANOL_KG_MOL);
    let ln_water = (water_viscosity_pa_s(celsius) / water_viscosity_pa_s(20.0)).ln();
    // A parabola through the pure values 4.5646, 2.3703 and 1.3311 mPa s at 0, 20 and 40 °C.
    let step = (celsius - 20.0) / 20.0;
    let (cold, warm) = ((4.5646f64 / 2.3703).ln(), (1.3311f64 / 2.3703).ln());
    let ln_pure = 0.5 * step * ((warm - cold) + step * (warm + cold));
    let warming = (1.0 - x) * ln_water + x * ln_pure + warming_bulge(x, kelvin);
    1e-3 * monotone_cubic(&ISOPROPANOL_AT_20_C, w) * warming.exp()
}
