//! What the test programs share.
#![allow(dead_code, reason = "each program uses its own part")]

pub mod command;
pub mod dice;
pub mod files;
pub mod hard;
pub mod measure;
#[cfg(feature = "photographs")]
pub mod photograph;
pub mod pieces;
pub mod pours;
pub mod voices;
#[cfg(feature = "window")]
pub mod window;
