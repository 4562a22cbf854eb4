//! The set file of a plan.

use super::plan::Given;
use crate::plan::problem::Problem;
use crate::plan::search::{Placed, Plan};
use crate::set::ShelfOrSet;
use crate::set::edit::{EditError, PlannedPour, PlannedSet, planned};

/// The text of the set, for the shelf's own text `source`.
pub(super) fn set_file(
    source: &str,
    (title, transpose): (Option<&str>, i32),
    given: &Given,
    (problem, plan): (&Problem, &Plan),
) -> Result<String, EditError> {
    let heard_at = match &given.preset {
        ShelfOrSet::Set(before) => Some(before.conditions.temperature()),
        ShelfOrSet::Shelf(_) => None,
    };
    let set = PlannedSet {
        title,
        transpose,
        conditions: &given.conditions,
        tuning: &given.tuning,
        striking: given.striking,
        heard_at,
        pours: plan
            .pours
            .iter()
            .map(|placed| pour(problem, placed))
            .collect(),
    };
    planned(source, &set)
}

fn pour<'a>(problem: &'a Problem, placed: &'a Placed) -> PlannedPour<'a> {
    PlannedPour {
        note: placed.target.note,
        bottle: &problem.candidates()[placed.bottle].name,
        sounded: &placed.sounded,
    }
}
