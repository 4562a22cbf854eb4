//! Plan, hear and pour bottle sets.

pub mod cli;
pub mod file;
pub mod physics;
pub mod plan;
pub mod preset;
pub mod report;
pub mod score;
pub mod synth;
pub mod tuning;
pub mod units;
