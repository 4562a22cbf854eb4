//! What is listened for: which bottle may be meant, what it aims at, and what counts as in tune.
//!
//! ```
//! use ullage::tuner::{AimAt, Judge, ListenFor, Meant};
//! use ullage::units::Interval;
//!
//! // Any bottle of the set, for playing with a piano, in tune within 3 cents.
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let listen_for = ListenFor {
//!     aim: AimAt::NoteItself,
//!     within: Interval::from_cents(3.0),
//!     ..ListenFor::new(Meant::by_breath(&set))
//! };
//! assert_eq!(Judge::new(set, &listen_for).expected().len(), 15);
//! # Ok::<(), ullage::set::OpenError>(())
//! ```

use super::aims::AimAt;
use crate::index::{KindIndex, PourIndex};
use crate::set::{Set, Way};
use crate::units::{Interval, Volume};

/// How far off counts as in tune where nobody says, cents.
const WITHIN_CENTS: f64 = 5.0;

/// Which bottle may be meant.
#[derive(Clone, Debug, PartialEq)]
pub enum Meant {
    /// Whichever of these pours is nearest to what is heard.
    Pours(Vec<PourIndex>),
    /// The same, but none of them where all are more than three and a half semitones off.
    NearPours(Vec<PourIndex>),
    /// A bottle of this kind that has no pour; its note is the one that is nearest to what is heard.
    Unpoured(KindIndex),
}

/// What is listened for.
#[derive(Clone, Debug, PartialEq)]
pub struct ListenFor {
    /// Which bottle.
    pub meant: Meant,
    /// What it aims at.
    pub aim: AimAt,
    /// How far off still counts as in tune.
    pub within: Interval,
    /// Sounded this way, whatever the set says.
    pub way: Option<Way>,
    /// The liquid that is surely in it, whatever the set says.
    pub fill: Option<Volume>,
}

impl ListenFor {
    /// This bottle as its set has it, in tune within 5 cents of its note as the room has moved it.
    #[must_use]
    pub fn new(meant: Meant) -> Self {
        Self {
            meant,
            aim: AimAt::MovedNote,
            within: Interval::from_cents(WITHIN_CENTS),
            way: None,
            fill: None,
        }
    }
}

impl Meant {
    /// The pours of `set` that are sounded by breath.
    #[must_use]
    pub fn by_breath(set: &Set) -> Self {
        let pours = PourIndex::all(set.pours.len());
        Self::Pours(
            pours
                .filter(|pour| !set.pours[*pour].way.is_struck())
                .collect(),
        )
    }
}
