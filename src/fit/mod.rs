//! A bottle fitted to what was heard of it: its air when it was blown, its wall when it was tapped.

pub mod air;
mod least_squares;
pub mod wall;
