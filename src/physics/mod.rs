//! What a bottle sounds like: pure functions in double precision, with no state, no clock and no dice.

pub mod gas;
pub mod losses;
pub mod mouth;
pub mod profile;
pub mod resonance;
