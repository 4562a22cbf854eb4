//! A set ready to be played: its bottles' voices, what slides in it, and the engine that plays it live.

mod engine;
mod error;
mod rails;
mod voices;

pub use engine::{EngineOptions, Played, played};
pub use error::{RailError, StageError};
pub use rails::{Rider, SetRail, SetRails};
pub use voices::{from_low_to_high, partials, place_name, sounding, spoken, voices};
