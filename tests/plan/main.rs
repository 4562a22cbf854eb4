//! Notes, tunings, and which bottle plays what: plans against trying every way.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod plans;
mod players;
mod rehearsal;
mod together;
mod tuning;
mod ways;
