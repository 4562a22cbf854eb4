//! How much pressure a bottle may have, and what stands beside every bottle that is struck.
//!
//! ```
//! use ullage::physics::material::Material;
//! use ullage::physics::pressure::{PLAN_BAR, check_pressure};
//! use ullage::units::Pressure;
//! let taken = |material, bar| check_pressure(material, Pressure::from_bar(bar)).is_ok();
//! assert!(taken(Material::Plastic, 1.5 * PLAN_BAR)); // proved full of water at 1.5 times the most that is planned
//! assert!(!taken(Material::Plastic, 8.6 / 2.0)); // half the least at which a new bottle was measured to burst
//! for material in [Material::Glass, Material::Ceramic, Material::Metal] {
//!     assert!(!taken(material, 0.1)); // glass flies in splinters, and nothing else here is made for it
//! }
//! ```

use super::material::Material;
use super::struck::StruckError;
use crate::units::Pressure;

/// Pressure from which a warning is due, bar above the air outside.
pub const WARN_BAR: f64 = 1.5;
/// Most pressure that is planned.
pub const PLAN_BAR: f64 = 2.4;
/// Pressure above which everything is refused.
pub const REFUSE_BAR: f64 = 4.0;

/// What stands beside every pressurised bottle. Bursts were measured at 8.6 to 13 bar in new bottles, creeping at 9.7;
/// a hobby safety code begins at 2.4 bar.
pub const PRESSURE_CAUTION: &str = "only undamaged plastic bottles sold for carbonated drinks; hand pump with a gauge, eye \
protection, nobody in line with cap or base, adults only; prove it first full of water at 1.5 times the pressure; let the \
pressure out slowly; no heat, sun, alcohol or solvents; throw away what is scratched, white or bulged. Local rules and \
licensed practice come first.";
/// What is added from 1.5 bar on: the distance is that of hobby rocketry's rules while filling.
pub const HIGH_PRESSURE_CAUTION: &str = "at 1.5 bar and more: everybody else stays 3 m away while it is filled, and whoever \
strikes it keeps the eye protection on.";
/// What stands beside every struck glass bottle: common practice, no source.
pub const STRIKING_CAUTION: &str = "strike the body, not rim or shoulder, with a soft or wooden mallet; no chipped bottles; \
shoes on, a towel under the row.";
/// Where a metal mallet meets glass: common practice, no source.
pub const METAL_CAUTION: &str = "a metal mallet chips glass: take wood or felt.";
/// What stands beside every floor that slides: common practice, no source.
pub const SLIDING_CAUTION: &str = "a bottle whose floor was cut off has sharp edges: an adult smooths and tapes them before \
anybody plays.";
/// What stands beside every joined pair: common practice, no source.
pub const JOINED_CAUTION: &str = "fasten the hose at both ends; lift the bottle by its body, over a tray, away from sockets and \
not over anybody's head.";

/// Refuses pressure in anything but plastic, and too much of it.
///
/// # Errors
/// As said.
pub fn check_pressure(material: Material, gauge: Pressure) -> Result<(), StruckError> {
    let gauge_bar = gauge.bar();
    if gauge_bar.is_nan() || gauge_bar < 0.0 {
        return Err(StruckError::Pressure {
            gauge_bar,
            limit_bar: REFUSE_BAR,
        });
    }
    if gauge_bar > 0.0 && material != Material::Plastic {
        return Err(StruckError::NeverPressurised { gauge_bar });
    }
    if gauge_bar > REFUSE_BAR {
        return Err(StruckError::TooMuchPressure {
            gauge_bar,
            limit_bar: REFUSE_BAR,
        });
    }
    Ok(())
}
