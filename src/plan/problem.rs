//! The shelf, measured once, and the notes and rules that a plan must keep to.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::curve::Curve;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::PredictionError;
use crate::tuning::NoteName;
use crate::units::Frequency;

/// How far below an empty bottle, or from one that must stay empty, a note is still taken, cents: about
/// the smallest step that is heard.
pub const TOLERANCE_CENTS: f64 = 5.0;

/// Why there is nothing to plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// No bottles.
    #[error("there are no bottles on the shelf")]
    NoBottles,
    /// No notes.
    #[error("there are no notes to place")]
    NoNotes,
    /// Not one of the bottles sounds.
    #[error("not one of the {kinds} kinds of bottle sounds; {name:?}: {source}")]
    NoneSounds {
        /// How many kinds.
        kinds: usize,
        /// The first of them.
        name: String,
        /// What is wrong with it.
        source: PredictionError,
    },
    /// The highest fill allowed is no share.
    #[error("a highest fill of {percent} % is outside 0 to 100 %")]
    MaxFill {
        /// As given.
        percent: f64,
    },
    /// The tolerance is none.
    #[error("a tolerance of {cents} cents is outside 0 to 100 cents")]
    Tolerance {
        /// As given.
        cents: f64,
    },
    /// A rule names a bottle that is not there.
    #[error("there is no bottle {name:?}; the shelf has {}", known.join(", "))]
    NoSuchBottle {
        /// As given.
        name: String,
        /// Those that are there, the nearest first.
        known: Vec<String>,
    },
    /// A pin names a note that is not wanted, or more often than it is wanted.
    #[error("{pins} pins hold {note}, which is wanted {wanted} times")]
    PinnedNote {
        /// The note.
        note: NoteName,
        /// How many pins.
        pins: usize,
        /// How often it is wanted.
        wanted: usize,
    },
    /// More pins on a bottle than there are of it.
    #[error("{pins} notes are pinned to {name:?}, but there are only {count} of it")]
    PinnedBottle {
        /// The bottle.
        name: String,
        /// How many pins.
        pins: usize,
        /// How many bottles.
        count: u32,
    },
}

/// A kind of bottle that may be used.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Its name, unique.
    pub name: String,
    /// Its shape.
    pub bottle: Bottle,
    /// How many there are.
    pub count: u32,
    /// No liquid may go in.
    pub keep_empty: bool,
}

/// A note that is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    /// Its name.
    pub note: NoteName,
    /// Its pitch.
    pub pitch: Frequency,
}

/// A note that must be played by one kind of bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// The note.
    pub note: NoteName,
    /// Name of the bottle.
    pub bottle: String,
}

/// What holds for every bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Highest fill, as a share of the capacity.
    pub max_share: f64,
    /// How far off an empty bottle may be, cents.
    pub tolerance_cents: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_share: 1.0,
            tolerance_cents: TOLERANCE_CENTS,
        }
    }
}

/// A shelf whose bottles have been worked out, in the order of their names.
#[derive(Clone, Debug)]
pub struct Problem {
    pub(super) candidates: Vec<Candidate>,
    /// What each of them does; `None` for one that does not sound.
    pub(super) curves: Vec<Option<Curve>>,
    pub(super) conditions: Conditions,
    pub(super) limits: Limits,
}

impl Problem {
    /// Works out every bottle, alike ones once, on all cores; `step` is called after each.
    ///
    /// # Errors
    /// No bottles, none that sounds, or limits out of range.
    pub fn new(
        mut candidates: Vec<Candidate>,
        conditions: &Conditions,
        limits: Limits,
        step: &(dyn Fn() + Sync),
    ) -> Result<Self, PlanError> {
        if candidates.is_empty() {
            return Err(PlanError::NoBottles);
        }
        let percent = 100.0 * limits.max_share;
        if !(0.0..=100.0).contains(&percent) {
            return Err(PlanError::MaxFill { percent });
        }
        let cents = limits.tolerance_cents;
        if !(0.0..=100.0).contains(&cents) {
            return Err(PlanError::Tolerance { cents });
        }
        // Names are unique, so that nothing below depends on the order that the bottles came in.
        candidates.sort_by(|a, b| a.name.cmp(&b.name));
        let curves = curves(&candidates, conditions, limits.max_share, step)?;
        Ok(Self {
            candidates,
            curves,
            conditions: conditions.clone(),
            limits,
        })
    }

    /// The bottles, in the order of their names.
    #[must_use]
    pub fn candidates(&self) -> &[Candidate] {
        &self.candidates
    }

    /// The conditions that it was worked out for.
    #[must_use]
    pub fn conditions(&self) -> &Conditions {
        &self.conditions
    }

    /// Index of the bottle called `name`.
    pub(super) fn named(&self, name: &str) -> Result<usize, PlanError> {
        let found = self.candidates.iter().position(|c| c.name == name);
        found.ok_or_else(|| {
            let mut known: Vec<String> = self.candidates.iter().map(|c| c.name.clone()).collect();
            let likeness = |known: &String| strsim::jaro_winkler(known, name);
            known.sort_by(|a, b| likeness(b).total_cmp(&likeness(a)));
            known.truncate(12);
            PlanError::NoSuchBottle {
                name: name.into(),
                known,
            }
        })
    }
}

/// One curve for each candidate, alike bottles sharing one.
fn curves(
    candidates: &[Candidate],
    conditions: &Conditions,
    max_share: f64,
    step: &(dyn Fn() + Sync),
) -> Result<Vec<Option<Curve>>, PlanError> {
    let (kinds, kind_of) = unlike(candidates);
    let computed: Vec<Result<Curve, PredictionError>> = kinds
        .par_iter()
        .map(|&index| {
            let curve = Curve::new(&candidates[index].bottle, conditions, max_share);
            step();
            curve
        })
        .collect();
    if let Some(Err(source)) = computed.first()
        && computed.iter().all(Result::is_err)
    {
        return Err(PlanError::NoneSounds {
            kinds: candidates.len(),
            name: candidates[0].name.clone(),
            source: source.clone(),
        });
    }
    let curve_of = |kind: usize| computed[kind].as_ref().ok().cloned();
    Ok(kind_of.into_iter().map(curve_of).collect())
}

/// The first of each group of equal bottles, and the group of each candidate.
fn unlike(candidates: &[Candidate]) -> (Vec<usize>, Vec<usize>) {
    let mut firsts: Vec<usize> = Vec::new();
    let mut buckets: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    let mut group_of = Vec::with_capacity(candidates.len());
    for (index, candidate) in candidates.iter().enumerate() {
        let capacity_m3 = candidate.bottle.bore().capacity().m3();
        let bucket = buckets.entry(capacity_m3.to_bits()).or_default();
        let alike = |&&group: &&usize| candidates[firsts[group]].bottle == candidate.bottle;
        let group = bucket.iter().find(alike).copied();
        group_of.push(group.unwrap_or_else(|| {
            bucket.push(firsts.len());
            firsts.push(index);
            firsts.len() - 1
        }));
    }
    (firsts, group_of)
}
