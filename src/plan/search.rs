//! Which bottle plays which note: as many notes as can be placed, and of all such plans the cheapest.
//!
//! An assignment problem, solved exactly by the Hungarian method (Kuhn 1955, Munkres 1957) in whole
//! numbers: a placed note is worth more than all the costs together, so that no cheaper plan with fewer
//! notes can win.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::plan::{cost::Weights, problem::{Candidate, Limits, Problem, Target}, wanted::scale};
//! use ullage::{set, tuning::{NoteName, Tuning}};
//!
//! # let shelf = set::read_shelf(&std::fs::read_to_string("presets/quay/shelf.toml")?)?;
//! # let candidates = shelf.kinds.into_iter().map(|kind| Candidate {
//! #     name: kind.name, bottle: kind.bottle, count: kind.count, keep_empty: false, fits: kind.fits,
//! # });
//! let problem = Problem::new(candidates.collect(), &Conditions::default(), Limits::default(), &|| ())?;
//! let target = |note: &NoteName| Target { note: *note, pitch: Tuning::default().frequency(note) };
//! let notes: Vec<Target> = scale("D major", "D4".parse()?, "D5".parse()?)?.iter().map(target).collect();
//! let plan = problem.pour(&problem.assign(&notes, &[], &Weights::default())?);
//! assert_eq!(plan.pours.len(), 8);
//! for (index, low) in plan.pours.iter().enumerate() {
//!     // What is to be poured is heard as the note, and a higher note in an equal bottle wants more liquid.
//!     let heard = problem.source(low.bottle, low.sounded.way).at(low.sounded.setting)?.frequency;
//!     assert!(heard.interval_above(low.target.pitch).cents().abs() < 0.1);
//!     let mut alike = plan.pours[index + 1..].iter().filter(|high| high.bottle == low.bottle);
//!     assert!(alike.all(|high| high.sounded.fill > low.sounded.fill));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeSet;

use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;
use rayon::prelude::*;

use super::cost::{FLOOR_PRICE, Terms, Weights, in_millionths};
use super::problem::{Pin, PlanError, Problem, Target};
use super::unplaced::Unplaced;
use crate::index::CandidateIndex;
use crate::sounding::Way;
use crate::sounding::{Setting, Sounded, SoundedError};
use crate::tuning::NoteName;
use crate::units::Volume;

/// Which bottle plays which note, before anything is poured.
#[derive(Clone, Debug, PartialEq)]
pub struct Assignment {
    /// The notes from low to high.
    pub targets: Vec<Target>,
    /// For each note its bottle, one of [`Problem::candidates`].
    pub bottle_of: Vec<Option<CandidateIndex>>,
    /// For each note how its bottle is sounded.
    pub way_of: Vec<Option<Way>>,
    /// For each note the bottle that it is pinned to.
    pub pinned_to: Vec<Option<CandidateIndex>>,
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
    /// Its bottle, one of [`Problem::candidates`].
    pub bottle: CandidateIndex,
    /// What it is set to, and what comes out. Those of way sliding in one kind share one bottle.
    pub sounded: Sounded,
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
    /// What `target` in a bottle is like, each way that reaches it.
    #[must_use]
    pub fn options(&self, target: &Target, bottle: CandidateIndex) -> Vec<(Way, Terms)> {
        let keep_empty = self.candidates[bottle].keep_empty;
        let (pitch, tolerance) = (target.pitch, self.limits.tolerance_cents);
        let blown = self.curves[bottle].as_ref();
        let blown = blown.and_then(|curve| curve.terms(pitch, tolerance, keep_empty));
        let others = self.others[bottle].iter();
        let others = others.filter_map(|c| Some((c.way, c.terms(pitch, tolerance, keep_empty)?)));
        blown
            .map(|terms| (Way::Blown, terms))
            .into_iter()
            .chain(others)
            .collect()
    }

    /// The first of [`Self::options`]: blown, where that is allowed and in reach.
    #[must_use]
    pub fn terms(&self, target: &Target, bottle: CandidateIndex) -> Option<Terms> {
        self.options(target, bottle)
            .into_iter()
            .next()
            .map(|(_, terms)| terms)
    }

    /// Gives each note its bottle and its way.
    ///
    /// Pinned notes take their bottles first; a pin out of its bottle's reach stays unplaced. Bottles with a sliding
    /// floor take any number of notes: they are opened one after another, as long as another lowers the price.
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
        let mut asked = Asked {
            targets: &targets,
            pinned_to: &pinned_to,
            weights,
            refused: BTreeSet::new(),
        };
        // Between two settings the strongest partial of a wall may be another one: what only seemed in reach is taken out,
        // and the rest is seated anew, so that a way more never costs a note.
        let best = loop {
            let best = self.best_seats(&asked);
            let jumped = self.jumped(&asked, &best);
            if jumped.is_empty() {
                break best;
            }
            asked.refused.extend(jumped);
        };
        let seats = best.seats.into_iter();
        let (bottle_of, way_of) = seats
            .map(|seat| (seat.map(|s| s.0), seat.map(|s| s.1)))
            .unzip();
        Ok(Assignment {
            targets,
            bottle_of,
            way_of,
            pinned_to,
            cost: best.millionths as f64 / 1e6,
        })
    }

    /// The best seats, with as many sliding floors as lower the price.
    fn best_seats(&self, asked: &Asked<'_>) -> Seated {
        let mut open = BTreeSet::new();
        let mut best = self.seated(asked, &open);
        loop {
            let slides = |&bottle: &CandidateIndex| !open.contains(&bottle) && self.slides(bottle);
            let all = CandidateIndex::all(self.candidates.len());
            let tried = all.filter(slides).map(|bottle| {
                let mut open = open.clone();
                open.insert(bottle);
                (self.seated(asked, &open), open)
            });
            let better = tried.min_by(|(a, _), (b, _)| rank(a).cmp(&rank(b)));
            match better {
                Some((seated, wider)) if rank(&seated) < rank(&best) => {
                    (best, open) = (seated, wider);
                }
                _ => return best,
            }
        }
    }

    /// The seats whose bottle, worked out exactly, does not give the note. A blown bottle's reach is exact from the start.
    fn jumped(&self, asked: &Asked<'_>, seated: &Seated) -> Vec<Seat> {
        let seats = seated.seats.par_iter().enumerate();
        let jumps = |(note, seat): (usize, &Option<(CandidateIndex, Way)>)| {
            let (bottle, way) = (*seat)?;
            (!self.gives(&asked.targets[note], bottle, way)).then_some((note, bottle, way))
        };
        seats.filter_map(jumps).collect()
    }

    /// Whether a bottle that seems to reach `target` in this way does so when it is worked out exactly.
    fn gives(&self, target: &Target, bottle: CandidateIndex, way: Way) -> bool {
        way == Way::Blown || self.placed(target, bottle, way).is_ok()
    }

    /// Whether a bottle gives `target` in any of the ways that are allowed.
    pub(super) fn reaches(&self, target: &Target, bottle: CandidateIndex) -> bool {
        let mut options = self.options(target, bottle).into_iter();
        options.any(|(way, _)| self.gives(target, bottle, way))
    }

    fn slides(&self, bottle: CandidateIndex) -> bool {
        self.others[bottle].iter().any(|c| c.way == Way::Sliding)
    }

    /// The cheapest of the ways of note number `note` in a bottle, sliding or not.
    fn cheapest_way(
        &self,
        asked: &Asked<'_>,
        note: usize,
        bottle: CandidateIndex,
        sliding: bool,
    ) -> Option<(i64, Way)> {
        let options = self.options(&asked.targets[note], bottle).into_iter();
        options
            .filter(|(way, _)| (*way == Way::Sliding) == sliding)
            .filter(|(way, _)| !asked.refused.contains(&(note, bottle, *way)))
            .map(|(way, terms)| (terms.millionths(asked.weights), way))
            .min()
    }

    /// The best seats, with one bottle of each kind in `open` given a sliding floor.
    fn seated(&self, asked: &Asked<'_>, open: &BTreeSet<CandidateIndex>) -> Seated {
        let Asked {
            targets,
            pinned_to,
            weights,
            ..
        } = asked;
        let kinds = self.candidates.len();
        // Columns: the kinds as they are, then the floors, which seat everybody.
        let floors: Vec<CandidateIndex> = open.iter().copied().collect();
        let mut counts: Vec<u32> = self.candidates.iter().map(|c| c.count).collect();
        for &bottle in open {
            counts[bottle] -= 1;
        }
        counts.extend(floors.iter().map(|_| targets.len() as u32));
        let bottle_of = |column: usize| {
            if column < kinds {
                CandidateIndex::new(column)
            } else {
                floors[column - kinds]
            }
        };
        let price = |note: usize, column: usize| {
            self.cheapest_way(asked, note, bottle_of(column), column >= kinds)
        };
        let mut column_of: Vec<Option<usize>> = vec![None; targets.len()];
        for (index, bottle) in pinned_to.iter().enumerate() {
            let Some(bottle) = *bottle else { continue };
            let columns = (0..counts.len()).filter(|&c| bottle_of(c) == bottle && counts[c] > 0);
            let priced = columns.filter_map(|c| Some((price(index, c)?, c)));
            column_of[index] = priced.min().map(|(_, column)| column);
            if let Some(column) = column_of[index] {
                counts[column] -= 1;
            }
        }
        let free: Vec<usize> = (0..targets.len())
            .filter(|&index| pinned_to[index].is_none())
            .collect();
        let row = |&index: &usize| {
            let seat = |column: usize| {
                let open = counts[column] > 0;
                open.then(|| price(index, column))
                    .flatten()
                    .map(|(cost, _)| cost)
            };
            (0..counts.len()).map(seat).collect()
        };
        let costs: Vec<Vec<Option<i64>>> = free.par_iter().map(row).collect();
        for (index, column) in free.into_iter().zip(cheapest(&costs, &counts)) {
            column_of[index] = column;
        }
        let floor = in_millionths(weights.pour * FLOOR_PRICE);
        let mut seated = Seated {
            seats: Vec::with_capacity(targets.len()),
            millionths: floor * open.len() as i64,
        };
        for (note, column) in column_of.into_iter().enumerate() {
            let found = column.and_then(|c| Some((c, price(note, c)?)));
            seated.millionths += found.map_or(0, |(_, (cost, _))| cost);
            seated
                .seats
                .push(found.map(|(column, (_, way))| (bottle_of(column), way)));
        }
        seated
    }

    /// The pinned bottle of each target.
    fn pinned(
        &self,
        targets: &[Target],
        pins: &[Pin],
    ) -> Result<Vec<Option<CandidateIndex>>, PlanError> {
        let mut pins: Vec<(NoteName, CandidateIndex)> = pins
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
        for (bottle, candidate) in CandidateIndex::each(&self.candidates) {
            let pins = pinned_to.iter().filter(|p| **p == Some(bottle)).count();
            if pins > candidate.count as usize && !self.slides(bottle) {
                return Err(PlanError::PinnedBottle {
                    name: candidate.name.clone(),
                    pins,
                    count: candidate.count,
                });
            }
        }
        Ok(pinned_to)
    }

    /// Works out the exact setting of every placed note, and the reason for every other.
    #[must_use]
    pub fn pour(&self, assignment: &Assignment) -> Plan {
        let targets = &assignment.targets;
        let seats = assignment.bottle_of.par_iter().zip(&assignment.way_of);
        let solved: Vec<Option<Result<Placed, SoundedError>>> = targets
            .par_iter()
            .zip(seats)
            .map(|(target, (bottle, way))| Some(self.placed(target, (*bottle)?, (*way)?)))
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

    fn placed(
        &self,
        target: &Target,
        bottle: CandidateIndex,
        way: Way,
    ) -> Result<Placed, SoundedError> {
        let candidate = &self.candidates[bottle];
        let others = self.others[bottle].iter();
        let stays_empty = match way {
            Way::Blown => {
                let lowest = self.curves[bottle].as_ref().map(|curve| curve.empty);
                candidate.keep_empty || lowest.is_some_and(|f| target.pitch <= f)
            }
            _ => {
                let empty = others.filter(|c| c.way == way).find_map(|c| c.empty());
                empty.is_some_and(|f| candidate.keep_empty || target.pitch >= f)
            }
        };
        let source = self.source(bottle, way);
        let empty = Setting::Fill(Volume::default());
        Ok(Placed {
            target: *target,
            bottle,
            sounded: source.planned_or_solved(target.pitch, stays_empty.then_some(empty))?,
        })
    }
}

/// A note, by its place among those asked for, in a bottle sounded one way.
type Seat = (usize, CandidateIndex, Way);

/// What is to be seated.
struct Asked<'a> {
    targets: &'a [Target],
    pinned_to: &'a [Option<CandidateIndex>],
    weights: &'a Weights,
    /// What was found to be out of reach after all.
    refused: BTreeSet<Seat>,
}

/// Seats for the notes, in their order, and what they cost.
struct Seated {
    seats: Vec<Option<(CandidateIndex, Way)>>,
    millionths: i64,
}

/// Less is better: notes left standing, then the price.
fn rank(seated: &Seated) -> (usize, i64) {
    let standing = seated.seats.iter().filter(|s| s.is_none()).count();
    (standing, seated.millionths)
}

/// The same key, bent alike, however it is spelled.
fn same_note(one: &NoteName, other: &NoteName) -> bool {
    one.midi() == other.midi() && one.cents() == other.cents()
}
