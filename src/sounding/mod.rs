//! One bottle in one of its ways: what to set, and what comes of it.
//!
//! [`Source`] is a bottle and how it is sounded; [`Sounded`] is that source set for a note. Blown bottles, sliding
//! floors and joined pairs are columns of air and rest on [`Poured`]; struck ones, pressurised or not, are walls.
//! [`drift`] says what a change of the room does to one as it was poured.

mod doubt;
pub mod drift;
mod poured;
mod sounded;
mod source;
mod way;

pub use doubt::Doubted;
pub use poured::Poured;
pub use sounded::{OtherSide, Partials, Setting, Sounded};
pub use source::{How, PairOf, SoundedError, Source};
pub use way::{Striking, Way, struck_spec};
