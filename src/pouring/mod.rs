//! Hearing the fill of a bottle while it is poured into.

mod dice;
mod evidence;
mod gate;
mod modes;
mod particles;
mod reading;
mod recording;
mod spectrum;
mod tracker;
mod trust;

pub use modes::{MODES, Modes, ModesError};
pub use reading::{Band, Call, Hearing, Mark, Reading};
pub use recording::room_comes_first;
pub use tracker::{PourSpec, PouringError, Tracker};
