//! Score and bottles in, the set and its fills out. No sound is needed to plan.
//!
//! [`wanted`] reads the notes, [`problem`] measures every bottle of the shelf once, [`search`] gives each
//! note its bottle at the least [`cost`], [`unplaced`] says why a note got none, and [`drift`] how far a
//! poured set moves when the room changes. [`calibrate`] fits a bottle to what was heard
//! from it before any of this. Answers do not depend on the order of the bottles.

pub mod calibrate;
pub mod calibrate_struck;
pub mod check;
pub mod cost;
mod curve;
pub mod drift;
pub mod fill;
pub mod fit;
pub mod humanise;
mod least_squares;
pub mod moves;
pub mod piece;
pub mod players;
pub mod practice;
pub mod problem;
pub mod programme;
pub mod roughness;
pub mod search;
pub mod sounded;
mod source;
pub mod together;
pub mod unplaced;
mod wall_doubt;
pub mod wanted;
mod way_curve;

pub use wall_doubt::Doubted;
