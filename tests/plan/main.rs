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

use ullage::physics::wall_fits::WallFits;
use ullage::plan::problem::Candidate;
use ullage::set::{Kind, Shelf};

/// The bottles of a shelf, none kept empty and none fitted to taps.
fn candidates(shelf: Shelf) -> Vec<Candidate> {
    let candidate = |kind: Kind| Candidate {
        name: kind.name,
        bottle: kind.bottle,
        count: kind.count,
        keep_empty: false,
        fits: WallFits::default(),
    };
    shelf.kinds.into_iter().map(candidate).collect()
}

/// Fails unless both are within `tolerance` of each other.
#[track_caller]
fn close(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} is not within {tolerance} of {expected}"
    );
}
