//! The same notes in every key: which of them the bottles can play best.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::plan::{cost::Weights, keys::{Moved, tried}, problem::{Candidate, Limits, Problem}, wanted::parse_wanted};
//! use ullage::{set, tuning::Tuning};
//!
//! # let shelf = set::read_shelf(&std::fs::read_to_string("presets/quay/shelf.toml")?)?;
//! # let candidates = shelf.kinds.into_iter().map(|kind| Candidate {
//! #     name: kind.name, bottle: kind.bottle, count: kind.count, keep_empty: false, fits: kind.fits,
//! # });
//! let problem = Problem::new(candidates.collect(), &Conditions::default(), Limits::default(), &|| ())?;
//! let low = Moved::of(parse_wanted("B1 G3")?);
//! let keys = tried(&problem, &low, -3..=3, (&Tuning::default(), &Weights::default()), &|| false)?;
//! // B1 is below the largest bottle of this crate; three semitones up it has one.
//! assert_eq!((keys[0].moved.transpose, keys[0].assignment.placed()), (3, 2));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::cmp::Ordering;
use std::ops::RangeInclusive;

use super::cost::Weights;
use super::problem::{PlanError, Problem, Target};
use super::search::Assignment;
use super::wanted::{WantedError, transposed};
use crate::tuning::{Key, NoteName, Tuning};

/// Notes in a key, and how far they have been moved into it.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// The notes, as they are spelled in the key.
    pub notes: Vec<NoteName>,
    /// The key.
    pub key: Key,
    /// How far they have been moved, semitones.
    pub transpose: i32,
}

impl Moved {
    /// Notes as they are written, in the key that they fit best.
    #[must_use]
    pub fn of(notes: Vec<NoteName>) -> Self {
        Self {
            key: Key::of_notes(&notes),
            notes,
            transpose: 0,
        }
    }

    /// The same moved by semitones.
    ///
    /// # Errors
    /// [`WantedError::Transposed`]: a note leaves the keyboard.
    pub fn by(&self, semitones: i32) -> Result<Self, WantedError> {
        Ok(Self {
            notes: transposed(&self.notes, self.key, semitones)?,
            key: self.key.transposed(semitones),
            transpose: self.transpose + semitones,
        })
    }

    /// What is aimed at, in a tuning.
    #[must_use]
    pub fn targets(&self, tuning: &Tuning) -> Vec<Target> {
        let target = |&note: &NoteName| Target {
            note,
            pitch: tuning.frequency(&note),
        };
        self.notes.iter().map(target).collect()
    }
}

/// One key that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// The notes there.
    pub moved: Moved,
    /// Which bottle plays which.
    pub assignment: Assignment,
}

impl Tried {
    /// Most notes first, then the cheapest, then the nearest to the key as written.
    fn order(&self, other: &Self) -> Ordering {
        let placed = other.assignment.placed().cmp(&self.assignment.placed());
        let (here, there) = (self.moved.transpose, other.moved.transpose);
        placed
            .then(self.assignment.cost.total_cmp(&other.assignment.cost))
            .then(here.abs().cmp(&there.abs()))
            .then(here.cmp(&there))
    }
}

/// Every transposition within `semitones` that stays on the keyboard, the best first.
///
/// # Errors
/// As [`Problem::assign`], or [`PlanError::Stopped`] once `stop` says so.
pub fn tried(
    problem: &Problem,
    written: &Moved,
    semitones: RangeInclusive<i32>,
    (tuning, weights): (&Tuning, &Weights),
    stop: &dyn Fn() -> bool,
) -> Result<Vec<Tried>, PlanError> {
    let mut tried = Vec::new();
    for by in semitones {
        if stop() {
            return Err(PlanError::Stopped);
        }
        // A key that leaves the keyboard is no key.
        if let Ok(moved) = written.by(by) {
            let assignment = problem.assign(&moved.targets(tuning), &[], weights)?;
            tried.push(Tried { moved, assignment });
        }
    }
    tried.sort_by(Tried::order);
    Ok(tried)
}
