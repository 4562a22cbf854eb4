//! How fast a mode of a wall dies away: in the wall, in the liquid, into the air.
//!
//! ```
//! use ullage::physics::struck::{Struck, StruckSpec};
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/struck/set.toml")?;
//! let rung = |spec| Struck::with_waves(&set.kinds[1].bottle, spec, [2])?.note(Volume::from_ml(400.0));
//! let water = StruckSpec::default();
//! let in_water = rung(water)?;
//! let in_thicker = rung(StruckSpec { viscosity_pa_s: 4.0 * water.viscosity_pa_s, ..water })?;
//! // Stokes: friction in a thin layer at a wall grows as the root of the viscosity, so that four times the viscosity takes
//! // twice as much. The liquid's friction farther in adds less than 1 % to that.
//! assert!((in_thicker.losses.viscous / in_water.losses.viscous - 2.0).abs() < 0.02);
//! assert!(in_thicker.decay() < in_water.decay());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::{PI, TAU};

use super::bessel::hankel_slope_squared;
use super::{Column, Elastic, Mode, Order};

/// Points of the integral over the wave numbers that radiate.
const WAVE_NUMBERS: usize = 40;

/// What surrounds a mode and takes its energy.
#[derive(Clone, Copy, Debug)]
pub struct Around<'a> {
    /// The wall's material.
    pub elastic: Elastic,
    /// Loss factor of what holds the bottle.
    pub support: f64,
    /// The liquid, with its viscosity in Pa s.
    pub liquid: Option<(&'a Column, f64)>,
    /// Density of the air outside, kg/m³.
    pub air_kg_m3: f64,
    /// Speed of sound outside, m/s.
    pub sound_m_s: f64,
}

/// Loss factors of a mode: shares of its energy lost in a radian.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Losses {
    /// In the wall and where it stands.
    pub wall: f64,
    /// In the liquid.
    pub viscous: f64,
    /// As sound.
    pub radiated: f64,
}

impl Losses {
    /// Of `mode`, which is one of `order`'s.
    #[must_use]
    pub fn of(order: &Order, mode: &Mode, around: &Around<'_>) -> Self {
        Self {
            wall: around.elastic.loss_factor + around.support,
            viscous: viscous(order, mode, around),
            radiated: radiated(order, mode, around),
        }
    }

    /// All together.
    #[must_use]
    pub fn sum(&self) -> f64 {
        self.wall + self.viscous + self.radiated
    }

    /// Q.
    #[must_use]
    pub fn quality(&self) -> f64 {
        1.0 / self.sum()
    }
}

/// The boundary layer at the wall and the liquid's own friction, of a flow like rⁿ:
/// η = ∫ [√(ρμω/2)(1−1/n)²/2 + μ(n−1)/R] w² dA over ½ω times the moving mass.
///
/// The wall slides by 1/n of its normal speed one way and the liquid by as much the other; holds while the layer is
/// thin against the radius.
fn viscous(order: &Order, mode: &Mode, around: &Around<'_>) -> f64 {
    let Some((column, viscosity_pa_s)) = around.liquid else {
        return 0.0;
    };
    let omega = TAU * mode.frequency.hz();
    let n = f64::from(mode.n);
    let layer = (column.density_kg_m3() * viscosity_pa_s * omega / 2.0).sqrt()
        * (1.0 - 1.0 / n).powi(2)
        / 2.0;
    let mut taken = 0.0;
    for (index, piece) in order.pieces().iter().enumerate() {
        let Some((from, to)) = column.wet_shares(piece) else {
            continue;
        };
        let (w, radius_m) = mode.normal_at(piece, index, 0.5 * (from + to));
        let area = PI * radius_m * piece.length_m() * (to - from);
        taken += (layer + viscosity_pa_s * (n - 1.0) / radius_m) * w * w * area;
    }
    taken / (0.5 * omega * mode.mass_kg)
}

/// Sound from a cylinder as wide as the wall where it moves: every wave along it slower than k = ω/c radiates as the
/// endless cylinder, η = 2ρ / (π k_r² R |H'ₙ(k_r R)|² m), k_r² = k² − k_z².
///
/// Junger & Feit, *Sound, Structures, and Their Interaction*, ch. 6 (the endless cylinder; from memory).
fn radiated(order: &Order, mode: &Mode, around: &Around<'_>) -> f64 {
    let k = TAU * mode.frequency.hz() / around.sound_m_s;
    let mut moving = Vec::new();
    let (mut weight, mut weighted_m) = (0.0, 0.0);
    for (index, piece) in order.pieces().iter().enumerate() {
        let rise_m = piece.to[0] - piece.from[0];
        // The floor faces the table.
        if rise_m <= 1e-9 {
            continue;
        }
        let (w, radius_m) = mode.normal_at(piece, index, 0.5);
        moving.push((0.5 * (piece.from[0] + piece.to[0]), w * rise_m));
        weight += w * w * rise_m;
        weighted_m += w * w * rise_m * radius_m;
    }
    if weight == 0.0 {
        return 0.0;
    }
    let radius_m = weighted_m / weight;
    let mut sum = 0.0;
    for step in 0..WAVE_NUMBERS {
        // k_z = k sin of evenly spread angles: finer where k_r vanishes.
        let angle = PI / 2.0 * (step as f64 + 0.5) / WAVE_NUMBERS as f64;
        let (along, across) = (k * angle.sin(), k * angle.cos());
        let (mut real, mut imaginary) = (0.0, 0.0);
        for &(height_m, w) in &moving {
            let (sin, cos) = (along * height_m).sin_cos();
            real += w * cos;
            imaginary += w * sin;
        }
        let slope = hankel_slope_squared(mode.n, across * radius_m);
        let share = 2.0 * around.air_kg_m3 / (PI * across * across * radius_m * slope);
        // Both signs of k_z; dk_z = k cos dφ.
        sum += 2.0 * (real * real + imaginary * imaginary) / TAU * share * across * PI
            / (2.0 * WAVE_NUMBERS as f64);
    }
    PI * radius_m * sum / mode.mass_kg
}
