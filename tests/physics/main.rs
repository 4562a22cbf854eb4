//! What a bottle sounds like: models against closed forms, tables and measurements, and the laws that each one keeps.

#![allow(clippy::unwrap_used)]

mod air_column;
mod calibrate;
mod described;
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
