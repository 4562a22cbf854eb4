//! Score and bottles in, the set and its fills out. No sound is needed to plan.
//!
//! [`wanted`] reads the notes, [`problem`] measures every bottle of the shelf once, [`search`] gives each
//! note its bottle at the least [`cost`], and [`unplaced`] says why a note got none. Answers do not depend on
//! the order of the bottles.

pub mod check;
pub mod cost;
mod curve;
pub mod fit;
pub mod humanise;
pub mod keys;
pub mod moves;
pub mod piece;
pub mod players;
pub mod practice;
pub mod problem;
pub mod programme;
pub mod roughness;
pub mod search;
pub mod spelling;
pub mod together;
pub mod unplaced;
pub mod wanted;
mod way_curve;
