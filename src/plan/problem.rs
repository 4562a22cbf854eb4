//! The shelf, measured once, and the notes and rules that a plan must keep to.
//!
//! ```
//! use ullage::index::CandidateIndex;
//! use ullage::physics::conditions::Conditions;
//! use ullage::plan::problem::{Candidate, Limits, Problem, Target};
//! use ullage::sounding::{Setting, Way};
//! use ullage::{set, units::{Frequency, Volume}};
//!
//! let shelf = set::read_shelf(&std::fs::read_to_string("presets/quay/shelf.toml")?)?;
//! let candidates = shelf.kinds.into_iter().map(|kind| Candidate {
//!     name: kind.name, bottle: kind.bottle, count: kind.count, keep_empty: false, fits: kind.fits,
//! });
//! let problem = Problem::new(candidates.collect(), &Conditions::default(), Limits::default(), &|| ())?;
//! // Water only raises a bottle's note: what is above A3 when empty never comes down to it, and the rest can be filled to it.
//! let target = Target { note: "A3".parse()?, pitch: Frequency::from_hz(220.0) };
//! for bottle in CandidateIndex::all(problem.candidates().len()) {
//!     let empty = problem.source(bottle, Way::Blown).at(Setting::Fill(Volume::default()))?.frequency;
//!     assert_eq!(problem.options(&target, bottle).is_empty(), empty > target.pitch);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::curve::{Curve, Surroundings};
use super::way_curve::WayCurve;
use crate::index::CandidateIndex;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::wall_fits::WallFits;
use crate::sounding::{SoundedError, Source, Striking, Wall, Way};
use crate::tuning::NoteName;
use crate::units::{Frequency, Volume};

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
        source: SoundedError,
    },
    /// Somebody asked to stop.
    #[error("the plan was stopped")]
    Stopped,
    /// A way that a plan cannot choose, or none at all.
    #[error(
        "a plan cannot use {} bottles; it can use blown, struck, pressurised and sliding ones",
        not_planned(given)
    )]
    Ways {
        /// As given.
        given: Vec<Way>,
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
    /// The room is out of range.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
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
    /// What was learnt of its wall.
    pub fits: WallFits,
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

/// How the bottles of a plan may be sounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Allowed {
    /// The ways to choose from; joined pairs are not planned.
    pub ways: Vec<Way>,
    /// What strikes them.
    pub striking: Striking,
}

impl Default for Allowed {
    /// Blown only.
    fn default() -> Self {
        Self {
            ways: vec![Way::Blown],
            striking: Striking::default(),
        }
    }
}

impl Allowed {
    /// Whether a way may be chosen.
    #[must_use]
    pub fn has(&self, way: Way) -> bool {
        self.ways.contains(&way)
    }
}

/// A shelf whose bottles have been worked out, in the order of their names.
#[derive(Clone, Debug)]
pub struct Problem {
    pub(super) candidates: Vec<Candidate>,
    /// What each of them does when it is blown; `None` for one that does not sound, or may not be.
    pub(super) curves: Vec<Option<Curve>>,
    /// What each of them does in other ways.
    pub(super) others: Vec<Vec<WayCurve>>,
    pub(super) allowed: Allowed,
    pub(super) conditions: Conditions,
    pub(super) limits: Limits,
}

/// The ways that a plan cannot use.
fn not_planned(given: &[Way]) -> String {
    let names: Vec<&str> = given
        .iter()
        .filter(|way| **way == Way::Joined)
        .map(|way| way.name())
        .collect();
    if names.is_empty() {
        "no".to_owned()
    } else {
        names.join(", ")
    }
}

impl Problem {
    /// Works out every bottle blown, alike ones once, on all cores; `step` is called after each.
    ///
    /// # Errors
    /// No bottles, none that sounds, or limits out of range.
    pub fn new(
        candidates: Vec<Candidate>,
        conditions: &Conditions,
        limits: Limits,
        step: &(dyn Fn() + Sync),
    ) -> Result<Self, PlanError> {
        Self::with_ways(candidates, conditions, limits, Allowed::default(), step)
    }

    /// The same for any ways of sounding them.
    ///
    /// # Errors
    /// As [`Self::new`], or ways that are not planned.
    pub fn with_ways(
        candidates: Vec<Candidate>,
        conditions: &Conditions,
        limits: Limits,
        allowed: Allowed,
        step: &(dyn Fn() + Sync),
    ) -> Result<Self, PlanError> {
        let go_on = || {
            step();
            true
        };
        Self::while_wanted(candidates, conditions, limits, allowed, &go_on)
    }

    /// The same for as long as `go_on`, which is called after each bottle, says so.
    ///
    /// # Errors
    /// As [`Self::with_ways`], or [`PlanError::Stopped`].
    pub fn while_wanted(
        mut candidates: Vec<Candidate>,
        conditions: &Conditions,
        limits: Limits,
        allowed: Allowed,
        go_on: &(dyn Fn() -> bool + Sync),
    ) -> Result<Self, PlanError> {
        if candidates.is_empty() {
            return Err(PlanError::NoBottles);
        }
        if allowed.ways.is_empty() || allowed.has(Way::Joined) {
            return Err(PlanError::Ways {
                given: allowed.ways,
            });
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
        let (curves, others) = curves(&candidates, conditions, limits.max_share, &allowed, go_on)?;
        Ok(Self {
            candidates,
            curves,
            others,
            allowed,
            conditions: conditions.clone(),
            limits,
        })
    }

    /// A bottle sounded one of the ways that are planned.
    #[must_use]
    pub fn source(&self, bottle: CandidateIndex, way: Way) -> Source<'_> {
        let candidate = &self.candidates[bottle];
        source_of(candidate, &self.conditions, &self.allowed, way)
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

    /// The lowest and the highest pitch that a bottle gives one of the ways that are planned, within the limits; nothing if it
    /// does not sound so.
    #[must_use]
    pub fn reach(&self, bottle: CandidateIndex, way: Way) -> Option<[Frequency; 2]> {
        if way == Way::Blown {
            let curve = self.curves[bottle].as_ref()?;
            let keep_empty = self.candidates[bottle].keep_empty;
            return Some([
                curve.empty,
                if keep_empty {
                    curve.empty
                } else {
                    curve.highest
                },
            ]);
        }
        let mut others = self.others[bottle].iter();
        let (low, high) = others.find(|curve| curve.way == way)?.range();
        Some([low, high])
    }

    /// The bottle called `name`.
    pub(super) fn named(&self, name: &str) -> Result<CandidateIndex, PlanError> {
        let found = self.candidates.iter().position(|c| c.name == name);
        found.map(CandidateIndex::new).ok_or_else(|| {
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

fn source_of<'a>(
    candidate: &'a Candidate,
    conditions: &'a Conditions,
    allowed: &Allowed,
    way: Way,
) -> Source<'a> {
    let bottle = &candidate.bottle;
    let wall = Wall {
        striking: allowed.striking,
        fits: &candidate.fits,
    };
    match way {
        Way::Struck => Source::struck(bottle, conditions, wall),
        Way::Pressurised => Source::pressurised(bottle, conditions, wall, Volume::default()),
        Way::Sliding => Source::sliding(bottle, conditions),
        Way::Blown | Way::Joined => Source::blown(bottle, conditions),
    }
}

type Curves = (Vec<Option<Curve>>, Vec<Vec<WayCurve>>);

/// What each candidate does in every way that is allowed, alike bottles sharing it.
fn curves(
    candidates: &[Candidate],
    conditions: &Conditions,
    max_share: f64,
    allowed: &Allowed,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Result<Curves, PlanError> {
    let is_stopped = AtomicBool::new(false);
    let (kinds, kind_of) = unlike(candidates);
    let surroundings = Surroundings::new(conditions, max_share)?;
    let one = |&index: &CandidateIndex| {
        let candidate = &candidates[index];
        let mut refused = None;
        if is_stopped.load(Ordering::Relaxed) {
            return (None, Vec::new(), None);
        }
        let blown = allowed.has(Way::Blown).then(|| {
            let curve = Curve::new(&candidate.bottle, &surroundings);
            curve
                .map_err(|error| refused = Some(SoundedError::from(error)))
                .ok()
        });
        let mut others = Vec::new();
        for way in allowed.ways.iter().filter(|way| **way != Way::Blown) {
            let source = source_of(candidate, conditions, allowed, *way);
            match WayCurve::new(&source, max_share) {
                Ok(curve) => others.push(curve),
                Err(error) => refused = refused.take().or(Some(error)),
            }
        }
        if !go_on() {
            is_stopped.store(true, Ordering::Relaxed);
        }
        (blown.flatten(), others, refused)
    };
    let computed: Vec<_> = kinds.par_iter().map(one).collect();
    if is_stopped.into_inner() {
        return Err(PlanError::Stopped);
    }
    let silent = |(blown, others, _): &(Option<Curve>, Vec<WayCurve>, _)| {
        blown.is_none() && others.is_empty()
    };
    if let Some((_, _, Some(source))) = computed.first()
        && computed.iter().all(silent)
    {
        return Err(PlanError::NoneSounds {
            kinds: candidates.len(),
            name: candidates[0].name.clone(),
            source: source.clone(),
        });
    }
    Ok(kind_of
        .into_iter()
        .map(|kind| (computed[kind].0.clone(), computed[kind].1.clone()))
        .unzip())
}

/// The first of each group of equal bottles, and the group of each candidate.
fn unlike(candidates: &[Candidate]) -> (Vec<CandidateIndex>, Vec<usize>) {
    let mut firsts: Vec<CandidateIndex> = Vec::new();
    let mut buckets: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    let mut group_of = Vec::with_capacity(candidates.len());
    for (index, candidate) in CandidateIndex::each(candidates) {
        let capacity_m3 = candidate.bottle.bore().capacity().m3();
        let bucket = buckets.entry(capacity_m3.to_bits()).or_default();
        let alike = |&&group: &&usize| {
            let first = &candidates[firsts[group]];
            first.bottle == candidate.bottle && first.fits == candidate.fits
        };
        let group = bucket.iter().find(alike).copied();
        group_of.push(group.unwrap_or_else(|| {
            bucket.push(firsts.len());
            firsts.push(index);
            firsts.len() - 1
        }));
    }
    (firsts, group_of)
}
