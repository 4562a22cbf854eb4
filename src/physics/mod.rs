//! What a bottle sounds like: pure functions in f64, with no state, no clock and no dice.

pub mod air;
mod alcohol;
pub mod gas;
pub mod liquid;
pub mod recipe;
mod transport;
pub mod vapour;
mod virial;
