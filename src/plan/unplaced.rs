//! Why a note got no bottle, in numbers, and what would help.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::plan::{cost::Weights, problem::{Candidate, Limits, Problem, Target}, wanted::{parse_wanted, transposed}};
//! use ullage::{set, tuning::{Key, Tuning}};
//!
//! # let shelf = set::read_shelf(&std::fs::read_to_string("presets/quay/shelf.toml")?)?;
//! # let candidates = shelf.kinds.into_iter().map(|kind| Candidate {
//! #     name: kind.name, bottle: kind.bottle, count: kind.count, keep_empty: false, fits: kind.fits,
//! # });
//! let problem = Problem::new(candidates.collect(), &Conditions::default(), Limits::default(), &|| ())?;
//! let plan = |semitones| -> Result<_, Box<dyn std::error::Error>> {
//!     let notes = transposed(&parse_wanted("B1 G3")?, Key::default(), semitones)?;
//!     let target = |note: &_| Target { note: *note, pitch: Tuning::default().frequency(note) };
//!     let targets: Vec<Target> = notes.iter().map(target).collect();
//!     Ok(problem.pour(&problem.assign(&targets, &[], &Weights::default())?))
//! };
//! // The advice for a note that is too low is the smallest step that helps.
//! assert!(plan(0)?.unplaced[0].remedy.ends_with("--transpose +3"));
//! assert_eq!(plan(2)?.unplaced.len(), 1);
//! assert_eq!(plan(3)?.unplaced.len(), 0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::curve::Curve;
use super::problem::{Candidate, Problem, Target};
use super::search::Assignment;
use crate::index::CandidateIndex;
use crate::units::{Frequency, Volume};

/// Most bottles that a reason names.
const MOST_NAMES: usize = 6;

/// A note without a bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct Unplaced {
    /// The note.
    pub target: Target,
    /// Why.
    pub reason: String,
    /// What would help.
    pub remedy: String,
}

impl Problem {
    /// Why note number `index` of an assignment has no bottle.
    pub(super) fn unplaced(&self, assignment: &Assignment, index: usize) -> Unplaced {
        let target = assignment.targets[index];
        let (reason, remedy) = match assignment.pinned_to[index] {
            Some(bottle) => self.pin_out_of_reach(&target, bottle),
            None => self
                .taken(assignment, &target)
                .unwrap_or_else(|| self.out_of_reach(&target)),
        };
        Unplaced {
            target,
            reason,
            remedy,
        }
    }

    fn pin_out_of_reach(&self, target: &Target, bottle: CandidateIndex) -> (String, String) {
        let candidate = &self.candidates[bottle];
        let blown = self.curves[bottle].as_ref();
        let mut ranges: Vec<String> = blown
            .map(|curve| range(candidate, curve))
            .into_iter()
            .collect();
        let others = self.others[bottle].iter();
        ranges.extend(others.map(|c| {
            let (low, high) = c.range();
            format!("{:.1} to {:.1} Hz {}", low.hz(), high.hz(), c.way)
        }));
        let range = if ranges.is_empty() {
            "does not sound".to_owned()
        } else {
            format!("reaches {}", ranges.join(", "))
        };
        let reason = format!("it is pinned to '{}', which {range}", candidate.name);
        let mut others = CandidateIndex::all(self.candidates.len());
        let others = others.find(|&b| self.reaches(target, b));
        let remedy = others.map_or_else(
            || self.out_of_reach(target).1,
            |other| {
                format!(
                    "pin it to '{}', which reaches it",
                    self.candidates[other].name
                )
            },
        );
        (reason, remedy)
    }

    /// If there are bottles that reach it: who has them.
    fn taken(&self, assignment: &Assignment, target: &Target) -> Option<(String, String)> {
        let reaching: Vec<CandidateIndex> = CandidateIndex::all(self.candidates.len())
            .filter(|&bottle| self.reaches(target, bottle))
            .collect();
        let first = *reaching.first()?;
        let notes_in = |bottle: CandidateIndex| {
            let placed = assignment.targets.iter().zip(&assignment.bottle_of);
            let notes: Vec<String> = placed
                .filter(|(_, b)| **b == Some(bottle))
                .map(|(t, _)| t.note.to_string())
                .collect();
            format!("'{}' ({})", self.candidates[bottle].name, notes.join(", "))
        };
        let total: u32 = reaching.iter().map(|&b| self.candidates[b].count).sum();
        let mut named: Vec<String> = reaching
            .iter()
            .take(MOST_NAMES)
            .map(|&b| notes_in(b))
            .collect();
        if reaching.len() > MOST_NAMES {
            named.push(format!("{} kinds more", reaching.len() - MOST_NAMES));
        }
        let bottles = match total {
            1 => "the only bottle that reaches it is taken".to_owned(),
            total => format!("all {total} bottles that reach it are taken"),
        };
        let reason = format!("{bottles}: {}", named.join(", "));
        let names: Vec<String> = reaching
            .iter()
            .take(MOST_NAMES)
            .map(|&b| format!("'{}'", self.candidates[b].name))
            .collect();
        let remedy = match names.len() {
            1 => format!("one more '{}'", self.candidates[first].name),
            _ => format!("one more of {}", names.join(" or ")),
        };
        Some((reason, remedy))
    }

    /// No bottle reaches it: the nearest range below and above, and the bottle that would do.
    fn out_of_reach(&self, target: &Target) -> (String, String) {
        let pitch = target.pitch;
        if self.others.iter().any(|others| !others.is_empty()) {
            return self.out_of_every_reach(pitch);
        }
        let sounding = || {
            let all = self.candidates.iter().zip(&self.curves);
            all.filter_map(|(candidate, curve)| Some((candidate, curve.as_ref()?)))
        };
        let above = sounding()
            .filter(|(_, curve)| curve.empty > pitch)
            .min_by(|a, b| a.1.empty.hz().total_cmp(&b.1.empty.hz()));
        let below = sounding()
            .filter(|(c, curve)| top(c, curve) < pitch)
            .max_by(|a, b| top(a.0, a.1).hz().total_cmp(&top(b.0, b.1).hz()));
        match (below, above) {
            (None, Some((candidate, curve))) => (
                format!(
                    "the lowest this shelf reaches is {:.1} Hz with '{}' empty",
                    curve.empty.hz(),
                    candidate.name
                ),
                larger(pitch, candidate, curve),
            ),
            (Some((candidate, curve)), None) => (
                format!(
                    "the highest this shelf reaches is {:.1} Hz with '{}' {}",
                    top(candidate, curve).hz(),
                    candidate.name,
                    fullest(candidate, curve)
                ),
                smaller(pitch, candidate, curve),
            ),
            (Some((low, low_curve)), Some((high, high_curve))) => (
                format!(
                    "it is between the {:.1} Hz of '{}' {} and the {:.1} Hz of '{}' empty",
                    top(low, low_curve).hz(),
                    low.name,
                    fullest(low, low_curve),
                    high_curve.empty.hz(),
                    high.name
                ),
                larger(pitch, high, high_curve),
            ),
            (None, None) => (
                "no bottle of this shelf sounds there".to_owned(),
                "add a bottle".to_owned(),
            ),
        }
    }
}

impl Problem {
    /// The same where bottles may be sounded in several ways: the nearest range below and above.
    fn out_of_every_reach(&self, pitch: Frequency) -> (String, String) {
        let mut below: Option<(Frequency, String)> = None;
        let mut above: Option<(Frequency, String)> = None;
        let mut seen = |low: Frequency, high: Frequency, who: String| {
            if high < pitch && below.as_ref().is_none_or(|(best, _)| high > *best) {
                below = Some((high, who));
            } else if low > pitch && above.as_ref().is_none_or(|(best, _)| low < *best) {
                above = Some((low, who));
            }
        };
        for (bottle, candidate) in CandidateIndex::each(&self.candidates) {
            if let Some(curve) = &self.curves[bottle] {
                seen(
                    curve.empty,
                    top(candidate, curve),
                    format!("'{}' blown", candidate.name),
                );
            }
            for curve in &self.others[bottle] {
                let (low, high) = curve.range();
                seen(low, high, format!("'{}' {}", candidate.name, curve.way));
            }
        }
        let told = |what: &str, end: &Option<(Frequency, String)>| {
            let end = end.as_ref();
            end.map(|(f, who)| format!("{what} {:.1} Hz with {who}", f.hz()))
        };
        let ends: Vec<String> = [told("below it are", &below), told("above it are", &above)]
            .into_iter()
            .flatten()
            .collect();
        let reason = if ends.is_empty() {
            "only where a bottle's strongest partial jumps over it does this shelf come near"
                .to_owned()
        } else {
            format!(
                "no bottle reaches it in the ways allowed: {}",
                ends.join(", ")
            )
        };
        let cents = |end: &Option<(Frequency, String)>| {
            end.as_ref().map(|(f, _)| pitch.interval_above(*f).cents())
        };
        let nearest = [cents(&below), cents(&above)].into_iter().flatten();
        let nearest = nearest.min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let remedy = format!(
            "another bottle, or more ways after --ways{}",
            nearest.map_or_else(String::new, transpose)
        );
        (reason, remedy)
    }
}

fn top(candidate: &Candidate, curve: &Curve) -> Frequency {
    if candidate.keep_empty {
        curve.empty
    } else {
        curve.highest
    }
}

fn fullest(candidate: &Candidate, curve: &Curve) -> String {
    if candidate.keep_empty {
        "kept empty".to_owned()
    } else {
        format!("with {:.0} ml in it", curve.full.ml())
    }
}

fn range(candidate: &Candidate, curve: &Curve) -> String {
    if candidate.keep_empty {
        return format!("{:.1} Hz and is kept empty", curve.empty.hz());
    }
    format!("{:.1} to {:.1} Hz", curve.empty.hz(), curve.highest.hz())
}

/// A larger bottle with this one's neck: f² V is nearly constant.
fn larger(pitch: Frequency, candidate: &Candidate, curve: &Curve) -> String {
    let factor = (curve.empty / pitch).powi(2);
    let volume = candidate.bottle.bore().capacity() * factor;
    format!(
        "a bottle of about {} with the same neck would do{}",
        litres(volume),
        transpose(pitch.interval_above(curve.empty).cents())
    )
}

/// A smaller bottle with this one's neck, filled as far.
fn smaller(pitch: Frequency, candidate: &Candidate, curve: &Curve) -> String {
    let reached = top(candidate, curve);
    let factor = (reached / pitch).powi(2);
    let volume = candidate.bottle.bore().capacity() * factor;
    format!(
        "a bottle of about {} with the same neck, or a wider mouth, would do{}",
        litres(volume),
        transpose(pitch.interval_above(reached).cents())
    )
}

/// Transposing that would bring a note into reach that is `cents` away from it.
fn transpose(cents: f64) -> String {
    let semitones = -(cents / 100.0);
    let semitones = if semitones > 0.0 {
        semitones.ceil()
    } else {
        semitones.floor()
    };
    format!(", or --transpose {semitones:+.0}")
}

fn litres(volume: Volume) -> String {
    if volume.l() < 1.0 {
        format!("{:.0} ml", volume.ml())
    } else {
        format!("{:.1} l", volume.l())
    }
}
