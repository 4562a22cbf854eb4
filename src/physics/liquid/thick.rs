//! Thick liquids: glycerol and sugar in water, oil, and dish soap.
//!
//! Temperatures in °C, shares by mass from 0 to 1, results in SI.

use std::f64::consts::PI;

use super::polynomial;
use super::water::{WATER_KG_MOL, water_density_kg_m3};
use crate::physics::gas::GAS_CONSTANT_J_MOLK;
use crate::units::ZERO_CELSIUS_K;

/// Molar mass of sucrose, kg/mol.
const SUCROSE_KG_MOL: f64 = 0.342_297;
/// Where the sugar formulas are anchored, °C.
const ANCHOR_C: f64 = 20.0;

/// Glycerol and water, kg/m³: Volk and Kähler 2018, from 15 to 30 °C; within 0.1 % of the CRC Handbook at 20 °C.
pub(super) fn glycerol_density_kg_m3(w: f64, celsius: f64) -> f64 {
    let (glycerol, water) = (1273.3 - 0.6121 * celsius, water_density_kg_m3(celsius));
    if w <= 0.0 {
        return water;
    }
    let shrinkage = polynomial(&[0.0141, -1.82e-4, 1.78e-6], celsius);
    // sin π is a hair below zero in floating point, and has no power of 0.81.
    let bulge = (PI * w.powf(1.31)).sin().max(0.0).powf(0.81);
    let by_volume = water + (glycerol - water) / (1.0 + (glycerol / water) * (1.0 / w - 1.0));
    (1.0 + shrinkage * bulge) * by_volume
}

/// Viscosity of glycerol and water, Pa s: Cheng, Ind. Eng. Chem. Res. 47, 2008, 0 to 100 °C.
///
/// µ = µ_w^α µ_g^(1−α), α = 1 − w + a b w (1−w)/(a w + b (1−w)). Median error 1 %, largest 4 % against the CRC
/// Handbook at 20 °C; differs from Takamura 2012 by up to 17 % at 60 °C.
pub(super) fn glycerol_viscosity_pa_s(w: f64, celsius: f64) -> f64 {
    let t = celsius;
    let ln_glycerol = 12_100f64.ln() + (-1233.0 + t) * t / (9900.0 + 70.0 * t);
    let ln_water = 1.790f64.ln() + (-1230.0 - t) * t / (36_100.0 + 360.0 * t);
    let a = 0.705 - 0.0017 * t;
    let b = (4.9 + 0.036 * t) * a.powf(2.5);
    let alpha = 1.0 - w + a * b * w * (1.0 - w) / (a * w + b * (1.0 - w));
    1e-3 * (alpha * ln_water + (1.0 - alpha) * ln_glycerol).exp()
}

/// Sugar syrup, kg/m³: a polynomial in the mass share fitted to the CRC Handbook at 20 °C within 0.11 kg/m³.
///
/// The slope of −0.26 w a degree beyond water's own comes from a handbook table: ±0.15 % from 0 to 60 °C.
pub(super) fn sugar_density_kg_m3(w: f64, celsius: f64) -> f64 {
    let dissolved = polynomial(&[0.0, 386.623_77, 122.313_85, 75.536_153, -31.424_996], w);
    water_density_kg_m3(celsius) + dissolved - 0.26 * w * (celsius - ANCHOR_C)
}

/// Viscosity of sugar syrup, Pa s: Genotelle's equation, one constant from memory.
///
/// log10 µ(mPa s) = 22.46 x − 0.114 + (30 − t)/(91 + t) (1.1 + 43.1 x^1.25), x the mole fraction of sucrose. Within 4 % of
/// the CRC Handbook at 20 °C up to 70 % by mass; 14 % at 0 °C and 60 %.
pub(super) fn sugar_viscosity_pa_s(w: f64, celsius: f64) -> f64 {
    let x = sugar_mole_fraction(w);
    let cold = (30.0 - celsius) / (91.0 + celsius);
    1e-3 * 10f64.powf(22.46 * x - 0.114 + cold * (1.1 + 43.1 * x.powf(1.25)))
}

/// Mole fraction of sucrose from its mass share.
pub(crate) fn sugar_mole_fraction(w: f64) -> f64 {
    let sugar = w / SUCROSE_KG_MOL;
    sugar / (sugar + (1.0 - w) / WATER_KG_MOL)
}

/// Cooking oil, kg/m³: ±0.5 % covers olive (912 at 20 °C), rapeseed (917) and sunflower or soybean (919).
///
/// Lund's relation of density to saponification and iodine values and the slope, both as quoted by Rodenbush et al.,
/// JAOCS 76, 1999; the values of the oils are from memory.
pub(super) fn oil_density_kg_m3(celsius: f64) -> f64 {
    916.0 - 0.64 * (celsius - ANCHOR_C)
}

/// Viscosity of cooking oil, Pa s: the middle of the 29.6 to 39.8 mPa s at 38 °C and of the 21 to 30 kJ/mol of
/// activation that Diamante and Lan, 2014, found over many oils; ±40 %.
pub(super) fn oil_viscosity_pa_s(celsius: f64) -> f64 {
    const AT_38_C: f64 = 34.7e-3;
    const ACTIVATION_J_MOL: f64 = 25e3;
    let inverse = |celsius: f64| 1.0 / (celsius + ZERO_CELSIUS_K);
    AT_38_C * (ACTIVATION_J_MOL / GAS_CONSTANT_J_MOLK * (inverse(celsius) - inverse(38.0))).exp()
}

/// Hand dish soap, kg/m³: the middle of 1010 to 1060, from memory; no published figure was found.
pub(super) const SOAP_KG_M3: f64 = 1030.0;
/// Viscosity of hand dish soap, Pa s: the middle, in proportion, of 0.1 to 3, from memory; a factor of five either way.
pub(super) const SOAP_PA_S: f64 = 0.5;
