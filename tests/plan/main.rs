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
use ullage::plan::problem::{Candidate, Target};
use ullage::plan::wanted::parse_wanted;
use ullage::set::{Kind, Shelf};
use ullage::tuning::Tuning;

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

/// Best by trying everything: most rows placed, and the least sum for that.
fn brute(costs: &[Vec<Option<i64>>], left: &mut [u32]) -> (usize, i64) {
    let Some((row, rest)) = costs.split_first() else {
        return (0, 0);
    };
    let mut best = brute(rest, left);
    for (column, cost) in row.iter().enumerate() {
        if let Some(cost) = cost
            && left[column] > 0
        {
            left[column] -= 1;
            let (placed, sum) = brute(rest, left);
            left[column] += 1;
            let found = (placed + 1, sum + cost);
            if (found.0, -found.1) > (best.0, -best.1) {
                best = found;
            }
        }
    }
    best
}

/// Notes as they are typed, each with its pitch.
fn targets(text: &str) -> Vec<Target> {
    let target = |note| Target {
        note,
        pitch: Tuning::default().frequency(&note),
    };
    parse_wanted(text)
        .unwrap()
        .into_iter()
        .map(target)
        .collect()
}

/// Fails unless both are within `tolerance` of each other.
#[track_caller]
fn close(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} is not within {tolerance} of {expected}"
    );
}
