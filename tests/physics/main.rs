//! What a bottle sounds like: models against closed forms, tables and measurements, and the laws that each one keeps.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod air_column;
mod calibrate;
mod described;
mod flares;
mod gas_laws;
mod gas_oracles;
mod gas_pitch;
mod gas_recipes;
mod gases;
mod headspace;
mod joined;
mod laws;
mod liquids;
mod published;
mod shell_liquid;
mod shell_published;
mod sliding;
mod struck_bottle;
mod struck_pressure;
mod users;

use ullage::physics::gas::{Mixture, Species};
use ullage::units::Pressure;

const ATMOSPHERE: Pressure = Pressure::from_pa(101_325.0);

/// The air of the reference tables, which has no carbon dioxide (Lemmon et al. 2000).
fn lemmon_air() -> Mixture {
    Mixture::new(&[
        (Species::N2, 0.7812),
        (Species::O2, 0.2096),
        (Species::Ar, 0.0092),
    ])
    .unwrap()
}

/// Fails unless what we have is within `tolerance` of what is printed.
#[track_caller]
fn close(what: &str, ours: f64, printed: f64, tolerance: f64) {
    println!("{what}: {ours:.3} against {printed}");
    assert!(
        (ours - printed).abs() <= tolerance,
        "{what}: {ours:.4} against {printed} ± {tolerance}"
    );
}
