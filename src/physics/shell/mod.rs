//! How the wall of a struck bottle moves: a thin shell of revolution with liquid in it and pressure behind it.
//!
//! [`Meridian`] is the wall, [`Shell`] its elements, [`Order`] the shell for one number of waves around under one
//! pressure, and [`Order::modes`] what rings with given [`Contents`]. [`Column`] is liquid up to a level,
//! [`losses`] how long a mode rings, [`strike`] how loud a mallet makes it, [`wall`] the meridian of a described
//! bottle. Thin walls (up to a third of the widest radius at most, meant for a tenth), linear elastic, the same all
//! around: a real bottle splits each mode into two that differ by up to some 20 cents.
//!
//! ```
//! use std::f64::consts::TAU;
//! use ullage::physics::shell::{Contents, Elastic, End, Meridian, Shell};
//! use ullage::units::Pressure;
//! // A tube of steel: radius 40 mm, length 160 mm, wall 2 mm, kept round at both ends.
//! let steel = Elastic { young_pa: 200e9, poisson: 0.3, density_kg_m3: 7850.0, loss_factor: 0.0 };
//! let tube = Meridian::cylinder(0.04, 0.16, 0.002, 100, [End::Diaphragm; 2])?;
//! let two_waves = Shell::new(&tube, steel).order(2, Pressure::default())?;
//! let lowest = &two_waves.modes(&Contents::default(), 1)?[0];
//! // Without dimensions, ω R √(ρ (1 − ν²) / E): 0.121249 by elasticity in three dimensions, as tabulated in Leissa,
//! // Vibration of Shells, NASA SP-288, 1973. A thousandth covers a thin wall's theory and 100 pieces.
//! let omega = TAU * lowest.frequency.hz() * 0.04 * (7850.0 * (1.0 - 0.3_f64.powi(2)) / 200e9).sqrt();
//! assert!((omega / 0.121249 - 1.0).abs() < 1e-3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod banded;
mod bessel;
mod dry;
mod element;
mod lanczos;
mod liquid;
pub mod losses;
mod meridian;
pub mod strike;
pub mod wall;

pub use dry::{Contents, Mode, Order, Shell};
pub use liquid::Column;
pub use meridian::{End, Meridian, MeridianPoint};

/// What a wall is made of, as far as it rings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elastic {
    /// Young's modulus, Pa.
    pub young_pa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Share of the energy lost inside the wall in a radian: the loss factor.
    pub loss_factor: f64,
}

/// Why a shell cannot be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ShellError {
    /// Too few or too many points.
    #[error("a wall of {points} points is outside {least} to {most} points")]
    Points {
        /// How many there were.
        points: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// A point is not a number, has no radius, or lies on the one before it.
    #[error("point {point} of the wall is not a number, has no radius, or lies on the one before")]
    Point {
        /// Counted from one.
        point: usize,
    },
    /// Not a thin wall.
    #[error(
        "a wall of {wall_mm:.2} mm around a radius of {radius_mm:.1} mm is none that this model knows; it must be above 0 and \
         below a third of the radius"
    )]
    Wall {
        /// The wall.
        wall_mm: f64,
        /// The widest radius of the middle surface.
        radius_mm: f64,
    },
    /// Fewer than two waves around, or too many.
    #[error("{n} waves around are outside {least} to {most}")]
    Waves {
        /// As asked.
        n: u32,
        /// Fewest.
        least: u32,
        /// Most.
        most: u32,
    },
    /// The pressure outside crushes it.
    #[error("the wall buckles into {n} waves at {gauge_kpa:.2} kPa")]
    Buckled {
        /// Waves around.
        n: u32,
        /// Pressure inside above that outside, kPa.
        gauge_kpa: f64,
    },
    /// The search for modes did not come to an end.
    #[error("no modes were found for {n} waves around; this should not happen")]
    NoModes {
        /// Waves around.
        n: u32,
    },
    /// The liquid is no liquid, or its level lies outside the bottle.
    #[error(
        "a liquid of {density_kg_m3} kg/m³ up to {level_mm:.1} mm does not fit a bore of {height_mm:.1} mm"
    )]
    Liquid {
        /// Density.
        density_kg_m3: f64,
        /// Level above the inner floor.
        level_mm: f64,
        /// Height of the bore.
        height_mm: f64,
    },
}
