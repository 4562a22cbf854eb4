//! Round a set, bottle by bottle, as they are blown.
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::listen::HeardNote;
//! use ullage::tuner::{ListenFor, Meant, Round};
//! use ullage::units::{Duration, Interval, Level};
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let first = set.target(&set.pours[0]);
//! let mut round = Round::new(set.clone(), &ListenFor::new(Meant::by_breath(&set)));
//! assert_eq!(round.awaited(), Some(PourIndex::new(0)));
//! let note = HeardNote {
//!     frequency: first.raised_by(Interval::from_cents(2.0)),
//!     plus_minus: Interval::from_cents(0.5),
//!     start: Duration::from_s(0.0),
//!     end: Duration::from_s(1.0),
//!     level: Level::from_db(-20.0),
//!     clarity: 1.0,
//!     ring: None,
//!     by_expectation: false,
//! };
//! let heard = round.hear(&note).expect("it is clear");
//! assert!(heard.verdict.is_some_and(|verdict| verdict.pour == Some(PourIndex::new(0)) && verdict.in_tune));
//! assert_eq!(heard.next, Some(PourIndex::new(1)));
//! # Ok::<(), ullage::set::OpenError>(())
//! ```

use super::judge::Judge;
use super::meant::{ListenFor, Meant};
use super::verdict::{Reading, Verdict};
use super::walk::{Standing, Walk};
use crate::index::PourIndex;
use crate::listen::HeardNote;
use crate::set::Set;
use crate::units::Interval;

/// What a note of the round came to.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardOnRound {
    /// Of which bottle it was, and what it says; nothing if it was none of the set's.
    pub verdict: Option<Verdict>,
    /// The pour that is waited for now; nothing when all are in tune.
    pub next: Option<PourIndex>,
}

/// A round of a set.
#[derive(Clone, Debug)]
pub struct Round {
    judge: Judge,
    pours: Vec<PourIndex>,
    walk: Walk,
}

impl Round {
    /// Round the pours that are listened for, in their order.
    #[must_use]
    pub fn new(set: Set, listen_for: &ListenFor) -> Self {
        let pours = match &listen_for.meant {
            Meant::Pours(pours) | Meant::NearPours(pours) => pours.clone(),
            Meant::Unpoured(_) => Vec::new(),
        };
        let judge = Judge::new(set, listen_for);
        let walk = Walk::new(&judge.expected(), listen_for.within);
        Self { judge, pours, walk }
    }

    /// Whose notes are listened for.
    #[must_use]
    pub fn judge(&self) -> &Judge {
        &self.judge
    }

    /// The pour that is waited for; nothing when all are in tune.
    #[must_use]
    pub fn awaited(&self) -> Option<PourIndex> {
        Some(self.pours[self.walk.awaited()?])
    }

    /// Takes a note; nothing if it is not clear enough to go on by.
    pub fn hear(&mut self, note: &HeardNote) -> Option<HeardOnRound> {
        if !note.is_clear() {
            return None;
        }
        let step = self.walk.hear(note.frequency);
        let reading = Reading::from(note);
        let verdict = step.place.map(|at| self.judge.of_bottle(at, reading));
        Some(HeardOnRound {
            verdict,
            next: self.awaited(),
        })
    }

    /// How each pour of the round stands.
    pub fn standings(&self) -> impl Iterator<Item = (PourIndex, Standing)> + '_ {
        let standings = self.walk.standings().iter().copied();
        self.pours.iter().copied().zip(standings)
    }
}

impl Standing {
    /// It was heard, and so far above its note last.
    #[must_use]
    pub fn off(self) -> Option<Interval> {
        match self {
            Self::Unheard => None,
            Self::Off(off) | Self::InTune(off) => Some(off),
        }
    }

    /// It is in tune.
    #[must_use]
    pub fn is_in_tune(self) -> bool {
        matches!(self, Self::InTune(_))
    }
}
