//! Score and bottles in, the set and its fills out. No sound is needed to plan.

pub mod fill;
pub mod programme;
pub mod roughness;
pub mod together;
