//! Round a set, hands free: waits for a note, says which bottle it was, moves on when it is in tune.
//!
//! Driven by notes, so that a recording and a microphone run the same course.

use crate::units::{Frequency, Interval};

/// Farther than this from every note of the set it is none of its bottles, cents.
pub(super) const FARTHEST_CENTS: f64 = 350.0;
/// A bottle out of turn must be so much nearer than the one that is waited for, cents: a bottle that was
/// poured a semitone wrong would otherwise be taken for its neighbour.
const OUT_OF_TURN_CENTS: f64 = 60.0;
/// One that is in tune already must be nearer still, cents.
const DONE_CENTS: f64 = 100.0;

/// Where a bottle stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Standing {
    /// Not heard yet.
    Unheard,
    /// Heard last so far above its note.
    Off(Interval),
    /// In tune, so far above its note.
    InTune(Interval),
}

/// What a note came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The bottle that it was, by its place in the walk; `None` if it was none of them.
    pub place: Option<usize>,
    /// How far above its note.
    pub off: Interval,
    /// It is in tune.
    pub in_tune: bool,
    /// The place of the bottle that is waited for now; `None` when all are in tune.
    pub next: Option<usize>,
}

/// A walk round a set, in the order of its targets.
///
/// ```
/// use ullage::tuner::walk::Walk;
/// use ullage::units::{Frequency, Interval};
/// let targets = [196.0, 220.0].map(Frequency::from_hz);
/// let mut walk = Walk::new(&targets, Interval::from_cents(5.0));
/// let step = walk.hear(Frequency::from_hz(199.0));
/// assert!(step.place == Some(0) && !step.in_tune && step.next == Some(0));
/// let step = walk.hear(Frequency::from_hz(196.1));
/// assert!(step.in_tune && step.next == Some(1));
/// ```
#[derive(Clone, Debug)]
pub struct Walk {
    targets: Vec<Frequency>,
    standings: Vec<Standing>,
    tolerance: Interval,
    awaited: Option<usize>,
}

impl Walk {
    /// Round bottles that aim at `targets`, each in tune within `tolerance`.
    #[must_use]
    pub fn new(targets: &[Frequency], tolerance: Interval) -> Self {
        Self {
            targets: targets.to_vec(),
            standings: vec![Standing::Unheard; targets.len()],
            tolerance,
            awaited: (!targets.is_empty()).then_some(0),
        }
    }

    /// The bottle that is waited for; `None` when all are in tune.
    #[must_use]
    pub fn awaited(&self) -> Option<usize> {
        self.awaited
    }

    /// Where each bottle stands.
    #[must_use]
    pub fn standings(&self) -> &[Standing] {
        &self.standings
    }

    /// Takes a pitch.
    pub fn hear(&mut self, pitch: Frequency) -> Step {
        let Some(bottle) = self.which(pitch) else {
            return Step {
                place: None,
                off: Interval::default(),
                in_tune: false,
                next: self.awaited,
            };
        };
        let off = pitch.interval_above(self.targets[bottle]);
        let in_tune = off.cents().abs() <= self.tolerance.cents();
        self.standings[bottle] = if in_tune {
            Standing::InTune(off)
        } else {
            Standing::Off(off)
        };
        self.awaited = if in_tune {
            self.next_after(bottle)
        } else {
            Some(bottle)
        };
        Step {
            place: Some(bottle),
            off,
            in_tune,
            next: self.awaited,
        }
    }

    fn is_done(&self, bottle: usize) -> bool {
        matches!(self.standings[bottle], Standing::InTune(_))
    }

    /// The bottle that a pitch is most likely of.
    fn which(&self, pitch: Frequency) -> Option<usize> {
        let cents = |bottle: &usize| pitch.interval_above(self.targets[*bottle]).cents().abs();
        let doubt = |bottle: &usize| {
            let turn = if self.awaited == Some(*bottle) {
                0.0
            } else if self.is_done(*bottle) {
                DONE_CENTS
            } else {
                OUT_OF_TURN_CENTS
            };
            cents(bottle) + turn
        };
        (0..self.targets.len())
            .filter(|bottle| cents(bottle) <= FARTHEST_CENTS)
            .min_by(|a, b| doubt(a).total_cmp(&doubt(b)))
    }

    /// The next bottle that is not in tune, round from `bottle`.
    fn next_after(&self, bottle: usize) -> Option<usize> {
        let count = self.targets.len();
        (1..=count)
            .map(|step| (bottle + step) % count)
            .find(|next| !self.is_done(*next))
    }
}
