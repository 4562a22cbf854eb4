//! Published formulas for humid air, typed in from their sources, to hold the gas model against.

/// Cramer, JASA 93 (1993) 2510: sound speed in m/s at `t` °C and `p` Pa with mole fractions `w` of water and `x` of
/// carbon dioxide. For 0 to 30 °C, 75 to 102 kPa, w below 0.06, x below 0.01; uncertainty 300 ppm.
pub fn cramer_sound_speed_m_s(t: f64, p: f64, w: f64, x: f64) -> f64 {
    331.5024 + 0.603055 * t - 0.000528 * t * t
        + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * w
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * x
        - 2.835149 * w * w
        - 2.15e-13 * p * p
        + 29.179762 * x * x
        + 0.000486 * w * p * x
}

/// CIPM-2007 (Picard et al., Metrologia 45 (2008) 149): density of moist air in kg/m³, arguments as above.
pub fn cipm_density_kg_m3(t: f64, p: f64, w: f64, x: f64) -> f64 {
    let kelvin = t + 273.15;
    let dry_kg_mol = 28.96546e-3 + 12.011e-3 * (x - 0.0004);
    let water_kg_mol = 18.01528e-3;
    let z = 1.0
        - p / kelvin
            * (1.58123e-6 - 2.9331e-8 * t
                + 1.1043e-10 * t * t
                + (5.707e-6 - 2.051e-8 * t) * w
                + (1.9898e-4 - 2.376e-6 * t) * w * w)
        + (p / kelvin).powi(2) * (1.83e-11 - 0.765e-8 * w * w);
    p * dry_kg_mol / (z * 8.314472 * kelvin) * (1.0 - w * (1.0 - water_kg_mol / dry_kg_mol))
}

/// ISO 9613-1: sound speed in m/s at `t` °C, whatever the humidity and pressure.
pub fn iso_sound_speed_m_s(t: f64) -> f64 {
    343.2 * ((t + 273.15) / 293.15).sqrt()
}
