//! Planning.

pub mod roughness;
pub mod together;
