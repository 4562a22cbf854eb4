//! A plan that is worked out on a thread of its own: wanted, followed, stopped, and what came of it.

use std::ops::RangeInclusive;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::thread;

use super::derived::Derived;
use super::document::Document;
use super::trouble::Trouble;
use crate::physics::conditions::Conditions;
use crate::plan::cost::Weights;
use crate::plan::keys::{Moved, Tried, tried};
use crate::plan::problem::{Allowed, Candidate, Limits, PlanError, Problem};
use crate::plan::search::Plan;
use crate::set::edit::{PlannedPour, PlannedSet, planned};
use crate::set::{Kind, Set, Way};
use crate::tuning::Tuning;
use crate::units::Temperature;

/// Keys that are tried, semitones either way of the one that is written.
const KEYS: RangeInclusive<i32> = -6..=6;
/// Keys that are offered.
const OFFERED: usize = 6;

/// What a plan is worked out from.
#[derive(Clone)]
pub(super) struct Task {
    /// The text whose bottles are planned with.
    pub(super) source: String,
    /// They, as they were read from it.
    pub(super) set: Arc<Set>,
    /// Where they are poured and heard.
    pub(super) conditions: Conditions,
    /// What the notes mean.
    pub(super) tuning: Tuning,
    /// Ways that may be chosen.
    pub(super) ways: Vec<Way>,
    /// The notes.
    pub(super) wanted: Moved,
    /// What to call the set.
    pub(super) title: String,
    /// It is a piece that is planned for: it moves with its notes.
    pub(super) is_piece: bool,
}

/// How far a plan has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Bottles that have been worked out.
    pub done: usize,
    /// Of so many.
    pub of: usize,
}

/// A note that got no bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// The note.
    pub note: String,
    /// Why.
    pub reason: String,
    /// What would help.
    pub remedy: String,
}

/// A key that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct InKey {
    /// Its name.
    pub name: String,
    /// How far it is from the key that was wanted, semitones.
    pub semitones: i32,
    /// Notes that have a bottle.
    pub placed: usize,
    /// Of so many.
    pub wanted: usize,
}

/// What came of a plan.
pub struct Planned {
    /// The set; it has no file yet.
    pub document: Document,
    /// What it gives.
    pub derived: Derived,
    /// What got no bottle.
    pub left_out: Vec<LeftOut>,
    /// The best keys, the best first.
    pub keys: Vec<InKey>,
    /// The name of the key that it is in.
    pub key: String,
    /// How far that is from the one that was wanted, semitones.
    pub semitones: i32,
    task: Task,
    problem: Arc<Problem>,
    tried: Arc<Vec<Tried>>,
}

impl std::fmt::Debug for Planned {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let count = self.document.model.pours.len();
        write!(f, "Planned({count} notes in {})", self.key)
    }
}

/// How it ended: nothing where it was stopped.
pub(super) type Ended = Result<Option<Box<Planned>>, Trouble>;

/// A plan on its thread.
pub(super) struct Planning {
    ended: Receiver<Ended>,
    is_stopped: Arc<AtomicBool>,
    done: Arc<AtomicUsize>,
    of: usize,
}

impl Planning {
    /// Works out `task`.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(super) fn begin(task: Task) -> std::io::Result<Self> {
        let of = task.set.kinds.len();
        Self::on_thread(of, move |go_on| {
            let made = problem(&task, go_on);
            let problem = match made {
                Err(PlanError::Stopped) => return Ok(None),
                Err(error) => return Err(cannot(&error)),
                Ok(problem) => Arc::new(problem),
            };
            let meaning = (&task.tuning, &Weights::default());
            let keys = tried(&problem, &task.wanted, KEYS, meaning, &|| !go_on());
            let keys = match keys {
                Err(PlanError::Stopped) => return Ok(None),
                Err(error) => return Err(cannot(&error)),
                Ok(keys) => Arc::new(keys),
            };
            // As it was wanted; other keys are offered.
            let semitones = 0;
            worked_out(task, problem, keys, semitones)
        })
    }

    /// The same notes in another key.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(super) fn in_key(planned: &Planned, semitones: i32) -> std::io::Result<Self> {
        let task = planned.task.clone();
        let (problem, keys) = (Arc::clone(&planned.problem), Arc::clone(&planned.tried));
        Self::on_thread(1, move |_| worked_out(task, problem, keys, semitones))
    }

    fn on_thread(
        of: usize,
        work: impl FnOnce(&(dyn Fn() -> bool + Sync)) -> Ended + Send + 'static,
    ) -> std::io::Result<Self> {
        let (tell, ended) = mpsc::channel();
        let is_stopped = Arc::new(AtomicBool::new(false));
        let done = Arc::new(AtomicUsize::new(0));
        let (stopped, counted) = (Arc::clone(&is_stopped), Arc::clone(&done));
        let run = move || {
            let go_on = move || {
                counted.fetch_add(1, Ordering::Relaxed);
                !stopped.load(Ordering::Relaxed)
            };
            // The window may be gone by now.
            let _ = tell.send(work(&go_on));
        };
        thread::Builder::new()
            .name("ullage-plan".to_owned())
            .spawn(run)?;
        Ok(Self {
            ended,
            is_stopped,
            done,
            of,
        })
    }

    /// Asks it to stop; does not wait for it.
    pub(super) fn stop(&self) {
        self.is_stopped.store(true, Ordering::Relaxed);
    }

    /// How far it has come.
    pub(super) fn progress(&self) -> Progress {
        Progress {
            done: self.done.load(Ordering::Relaxed).min(self.of),
            of: self.of,
        }
    }

    /// How it ended, once it has.
    pub(super) fn ended(&self) -> Option<Ended> {
        match self.ended.try_recv() {
            Ok(ended) => Some(ended),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => {
                Some(Err(Trouble::cannot("plan", "its thread has ended")))
            }
        }
    }
}

fn cannot(error: &PlanError) -> Trouble {
    let trouble = Trouble::cannot("plan with these bottles", error);
    match error {
        PlanError::NoneSounds { .. } => trouble.or_try("describe another bottle"),
        _ => trouble,
    }
}

fn problem(task: &Task, go_on: &(dyn Fn() -> bool + Sync)) -> Result<Problem, PlanError> {
    let candidate = |kind: &Kind| Candidate {
        name: kind.name.clone(),
        bottle: kind.bottle.clone(),
        count: kind.count,
        keep_empty: false,
        fits: kind.fits.clone(),
    };
    let candidates = task.set.kinds.iter().map(candidate).collect();
    let allowed = Allowed {
        ways: task.ways.clone(),
        striking: task.set.striking,
    };
    let limits = Limits::default();
    Problem::while_wanted(candidates, &task.conditions, limits, allowed, go_on)
}

/// The set in the key that is so many semitones from the one that is wanted, or in the best if that was not tried.
fn worked_out(task: Task, problem: Arc<Problem>, tried: Arc<Vec<Tried>>, semitones: i32) -> Ended {
    let is_it = |tried: &&Tried| tried.moved.transpose == semitones;
    let Some(chosen) = tried.iter().find(is_it).or(tried.first()) else {
        return Err(Trouble::cannot("plan", "the notes leave the keyboard"));
    };
    let plan = problem.pour(&chosen.assignment);
    let left_out = plan.unplaced.iter().map(|note| LeftOut {
        note: note.target.note.to_string(),
        reason: note.reason.replace('\'', "\""),
        remedy: in_window(&note.remedy),
    });
    let left_out: Vec<LeftOut> = left_out.collect();
    if plan.pours.is_empty() {
        let because = left_out
            .first()
            .map_or("no note has a bottle", |l| &l.reason);
        return Err(Trouble::cannot("place a single note", because)
            .or_try("choose other notes, or other bottles"));
    }
    let text = text(&task, &problem, &plan, chosen.moved.transpose)?;
    let document = Document::unsaved(&text).map_err(Trouble::from)?;
    let derived = Derived::new(&document.model, &document.fixed);
    let offered = tried.iter().take(OFFERED).map(|tried| InKey {
        name: tried.moved.key.to_string(),
        semitones: tried.moved.transpose,
        placed: tried.assignment.placed(),
        wanted: tried.assignment.targets.len(),
    });
    Ok(Some(Box::new(Planned {
        left_out,
        keys: offered.collect(),
        key: chosen.moved.key.to_string(),
        semitones: chosen.moved.transpose,
        document,
        derived,
        task,
        problem,
        tried,
    })))
}

fn text(task: &Task, problem: &Problem, plan: &Plan, transpose: i32) -> Result<String, Trouble> {
    let heard_at: Option<Temperature> = (!task.set.pours.is_empty()
        || task.set.conditions != Conditions::default())
    .then(|| task.set.conditions.temperature());
    let title = match (transpose, task.is_piece) {
        (0, _) | (_, true) => task.title.clone(),
        _ => format!(
            "{}, moved to {}",
            task.title,
            task.wanted.key.transposed(transpose)
        ),
    };
    let pours = plan.pours.iter().map(|placed| PlannedPour {
        note: placed.target.note,
        bottle: &problem.candidates()[placed.bottle].name,
        sounded: &placed.sounded,
    });
    let set = PlannedSet {
        title: Some(&title),
        // A scale is written as it is meant to be; a piece is moved as its notes were.
        transpose: if task.is_piece { transpose } else { 0 },
        conditions: &task.conditions,
        tuning: &task.tuning,
        striking: task.set.striking,
        heard_at,
        pours: pours.collect(),
    };
    planned(&task.source, &set).map_err(|error| Trouble::cannot("write the set down", error))
}

/// A remedy without options of the command line.
fn in_window(remedy: &str) -> String {
    let remedy = remedy
        .replace("more ways after --ways", "more ways of playing")
        .replace('\'', "\"");
    match remedy.split_once(", or --transpose ") {
        None => remedy,
        Some((before, by)) => {
            let semitones = by.trim_start_matches(['+', '-']);
            let way = if by.starts_with('-') { "down" } else { "up" };
            let s = if semitones == "1" { "" } else { "s" };
            format!("{before}, or move everything {semitones} semitone{s} {way}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_remedy_speaks_of_the_command_line() {
        assert_eq!(
            in_window("a bottle of about 3 l would do, or --transpose +3"),
            "a bottle of about 3 l would do, or move everything 3 semitones up"
        );
        assert_eq!(
            in_window("another bottle, or more ways after --ways, or --transpose -1"),
            "another bottle, or more ways of playing, or move everything 1 semitone down"
        );
        assert_eq!(in_window("one more 'flask'"), "one more \"flask\"");
    }
}
