//! Which bottle plays which note: as many notes as can be placed, and of all such plans the cheapest.
//!
//! An assignment problem, solved exactly by the Hungarian method (Kuhn 1955, Munkres 1957) in whole
//! numbers: a placed note is worth more than all the costs together, so that no cheaper plan with fewer
//! notes can win.

use std::collections::BTreeSet;

use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;
use rayon::prelude::*;

use super::cost::{Terms, Weights};
use super::fill::Poured;
use super::problem::{Pin, PlanError, Problem, Target};
use super::unplaced::Unplaced;
use crate::physics::prediction::FillError;
use crate::tuning::NoteName;
use crate::units::Volume;

/// Which bottle plays which note, before anything is poured.
#[derive(Clone, Debug, PartialEq)]
pub struct Assignment {
    /// The notes from low to high.
    pub targets: Vec<Target>,
    /// For each note its bottle, an index into [`Problem::candidates`].
    pub bottle_of: Vec<Option<usize>>,
    /// For each note the bottle that it is pinned to.
    pub pinned_to: Vec<Option<usize>>,
    /// The price of all placed notes.
    pub cost: f64,
}

impl Assignment {
    /// How many notes have a bottle.
    #[must_use]
    pub fn placed(&self) -> usize {
        self.bottle_of.iter().flatten().count()
    }
}

/// One note in its bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The note.
    pub target: Target,
    /// Its bottle, an index into [`Problem::candidates`].
    pub bottle: usize,
    /// How much goes in, and what comes out.
    pub poured: Poured,
}

/// A whole plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// From the lowest note up.
    pub pours: Vec<Placed>,
    /// What got no bottle, and why.
    pub unplaced: Vec<Unplaced>,
    /// The price, as the search saw it.
    pub cost: f64,
}

/// The best choice of one column for each row: the most rows placed, then the least sum.
///
/// `costs[row][column]` is `None` where the row cannot have the column; `counts` says how many rows a
/// column can take. Costs are 0 or more; their largest times the square of the number of rows must fit
/// 63 bits.
#[must_use]
pub fn cheapest(costs: &[Vec<Option<i64>>], counts: &[u32]) -> Vec<Option<usize>> {
    let rows = costs.len();
    let mut seats: Vec<usize> = useful_columns(costs, counts)
        .into_iter()
        .flat_map(|column| {
            let copies = (counts[column] as usize).min(rows);
            std::iter::repeat_n(column, copies)
        })
        .collect();
    if rows == 0 || seats.is_empty() {
        return vec![None; rows];
    }
    let most = costs.iter().flatten().flatten().max().copied().unwrap_or(0);
    let worth = most * rows as i64 + 1;
    // The method wants a seat for each row: seats that nobody can use mean no bottle.
    let width = seats.len().max(rows);
    seats.resize(width, usize::MAX);
    let value = |row: usize, column: usize| {
        let cost = costs[row].get(column).copied().flatten();
        cost.map_or(0, |cost| worth - cost)
    };
    let values: Vec<i64> = (0..rows)
        .flat_map(|row| seats.iter().map(move |&column| (row, column)))
        .map(|(row, column)| value(row, column))
        .collect();
    let matrix = Matrix::from_vec(rows, width, values).expect("rows times width values");
    let (_, seat_of) = kuhn_munkres(&matrix);
    let chosen = seat_of.into_iter().map(|seat| seats[seat]).enumerate();
    chosen
        .map(|(row, column)| (value(row, column) > 0).then_some(column))
        .collect()
}

/// The columns that can be in a best choice: for each row, its cheapest until they seat every row. The
/// other rows can never take all of these, so that no row needs a dearer one.
fn useful_columns(costs: &[Vec<Option<i64>>], counts: &[u32]) -> BTreeSet<usize> {
    let mut useful = BTreeSet::new();
    for row in costs {
        let mut open: Vec<(i64, usize)> = row
            .iter()
            .enumerate()
            .filter_map(|(column, cost)| Some(((*cost)?, column)))
            .collect();
        open.sort_unstable();
        let mut seats = 0;
        for (_, column) in open {
            if seats >= costs.len() {
                break;
            }
            seats += counts[column] as usize;
            useful.insert(column);
        }
    }
    useful
}

impl Problem {
    /// What `target` in bottle number `bottle` is like, if it is in reach.
    #[must_use]
    pub fn terms(&self, target: &Target, bottle: usize) -> Option<Terms> {
        let keep_empty = self.candidates[bottle].keep_empty;
        let curve = self.curves[bottle].as_ref()?;
        curve.terms(target.pitch, self.limits.tolerance_cents, keep_empty)
    }

    /// Gives each note its bottle.
    ///
    /// Pinned notes take their bottles first; a pin out of its bottle's reach stays unplaced.
    ///
    /// # Errors
    /// No notes, or pins that contradict the notes, the shelf or each other.
    pub fn assign(
        &self,
        targets: &[Target],
        pins: &[Pin],
        weights: &Weights,
    ) -> Result<Assignment, PlanError> {
        if targets.is_empty() {
            return Err(PlanError::NoNotes);
        }
        let mut targets = targets.to_vec();
        targets.sort_by(|a, b| a.pitch.hz().total_cmp(&b.pitch.hz()));
        let pinned_to = self.pinned(&targets, pins)?;
        let cost = |target: &Target, bottle| Some(self.terms(target, bottle)?.millionths(weights));
        let mut counts: Vec<u32> = self.candidates.iter().map(|c| c.count).collect();
        let mut bottle_of = vec![None; targets.len()];
        for (index, bottle) in pinned_to.iter().enumerate() {
            if let Some(bottle) = *bottle
                && self.terms(&targets[index], bottle).is_some()
            {
                bottle_of[index] = Some(bottle);
                counts[bottle] -= 1;
            }
        }
        let free: Vec<usize> = (0..targets.len())
            .filter(|&index| pinned_to[index].is_none())
            .collect();
        let row = |&index: &usize| {
            let seat = |bottle: usize| {
                (counts[bottle] > 0)
                    .then(|| cost(&targets[index], bottle))
                    .flatten()
            };
            (0..counts.len()).map(seat).collect()
        };
        let costs: Vec<Vec<Option<i64>>> = free.iter().map(row).collect();
        for (index, bottle) in free.into_iter().zip(cheapest(&costs, &counts)) {
            bottle_of[index] = bottle;
        }
        let placed = targets.iter().zip(&bottle_of);
        let millionths: i64 = placed
            .filter_map(|(target, bottle)| cost(target, (*bottle)?))
            .sum();
        Ok(Assignment {
            targets,
            bottle_of,
            pinned_to,
            cost: millionths as f64 / 1e6,
        })
    }

    /// The pinned bottle of each target.
    fn pinned(&self, targets: &[Target], pins: &[Pin]) -> Result<Vec<Option<usize>>, PlanError> {
        let mut pins: Vec<(NoteName, usize)> = pins
            .iter()
            .map(|pin| Ok((pin.note, self.named(&pin.bottle)?)))
            .collect::<Result<_, PlanError>>()?;
        // Pins of one note are alike but for their bottles; their order must not matter.
        pins.sort_by_key(|(_, bottle)| *bottle);
        let mut pinned_to = vec![None; targets.len()];
        for &(note, bottle) in &pins {
            let same = |other: &NoteName| same_note(other, &note);
            let slot = (0..targets.len())
                .find(|&index| pinned_to[index].is_none() && same(&targets[index].note));
            let slot = slot.ok_or_else(|| PlanError::PinnedNote {
                note,
                pins: pins.iter().filter(|(other, _)| same(other)).count(),
                wanted: targets.iter().filter(|t| same(&t.note)).count(),
            })?;
            pinned_to[slot] = Some(bottle);
        }
        for (bottle, candidate) in self.candidates.iter().enumerate() {
            let pins = pinned_to.iter().filter(|p| **p == Some(bottle)).count();
            if pins > candidate.count as usize {
                return Err(PlanError::PinnedBottle {
                    name: candidate.name.clone(),
                    pins,
                    count: candidate.count,
                });
            }
        }
        Ok(pinned_to)
    }

    /// Works out the exact fill of every placed note, and the reason for every other.
    #[must_use]
    pub fn pour(&self, assignment: &Assignment) -> Plan {
        let targets = &assignment.targets;
        let solved: Vec<Option<Result<Placed, FillError>>> = targets
            .par_iter()
            .zip(&assignment.bottle_of)
            .map(|(target, bottle)| Some(self.placed(target, (*bottle)?)))
            .collect();
        let mut plan = Plan {
            pours: Vec::new(),
            unplaced: Vec::new(),
            cost: assignment.cost,
        };
        for (index, result) in solved.into_iter().enumerate() {
            match result {
                Some(Ok(placed)) => plan.pours.push(placed),
                Some(Err(error)) => plan.unplaced.push(Unplaced {
                    target: targets[index],
                    reason: error.to_string(),
                    remedy: "another bottle".to_owned(),
                }),
                None => plan.unplaced.push(self.unplaced(assignment, index)),
            }
        }
        plan
    }

    fn placed(&self, target: &Target, bottle: usize) -> Result<Placed, FillError> {
        let candidate = &self.candidates[bottle];
        let lowest = self.curves[bottle].as_ref().map(|curve| curve.empty);
        let stays_empty = candidate.keep_empty || lowest.is_some_and(|f| target.pitch <= f);
        let poured = if stays_empty {
            let none = Volume::default();
            Poured::with_fill(&candidate.bottle, target.pitch, none, &self.conditions)?
        } else {
            Poured::solved(&candidate.bottle, target.pitch, &self.conditions)?
        };
        Ok(Placed {
            target: *target,
            bottle,
            poured,
        })
    }
}

/// The same key, bent alike, however it is spelled.
fn same_note(one: &NoteName, other: &NoteName) -> bool {
    one.midi() == other.midi() && one.cents() == other.cents()
}
