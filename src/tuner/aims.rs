//! The pitch that each bottle of a set should have in the room as it is now.
//!
//! A warm room makes every bottle sharp alike, and pouring would put them out of tune again when it cools. So a bottle aims
//! at its note as the room has moved it, and what is in it, since it was poured: by as much as the pitch that is predicted for
//! it. A wall that is struck does not feel the room itself, but the liquid on it, which swells and grows lighter.
//!
//! ```
//! use ullage::tuner::aims::{AimAt, aims};
//! use ullage::units::Temperature;
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let mut now = set.conditions.clone();
//! now.room.temperature = Temperature::from_c(29.0);
//! let set = set.heard_in(now);
//! for aim in aims(&set, AimAt::MovedNote) {
//!     // It was poured at 19 °C: some 3 cents a kelvin, and more where there is much in it that swells.
//!     assert!(aim.moved().cents() > 25.0, "{aim:?}");
//! }
//! # Ok::<(), ullage::set::OpenError>(())
//! ```

use crate::physics::conditions::Conditions;
use crate::set::{Pour, Set, Way};
use crate::sounding::Setting;
use crate::units::{Frequency, Interval, Volume};

/// What the bottles of a set aim at.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum AimAt {
    /// Their notes as the room has moved them since they were poured.
    #[default]
    MovedNote,
    /// Their notes themselves, for playing with instruments that do not move with the room.
    NoteItself,
    /// This pitch, whatever their notes are.
    Pitch(Frequency),
}

/// The pitch that a bottle should have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// Where it was poured.
    pub planned: Frequency,
    /// In the room as it is.
    pub now: Frequency,
}

impl Aim {
    /// How far the room has moved it.
    #[must_use]
    pub fn moved(&self) -> Interval {
        self.now.interval_above(self.planned)
    }
}

/// The aims of all pours of a set, in their order, where it is heard.
#[must_use]
pub fn aims(set: &Set, at: AimAt) -> Vec<Aim> {
    set.pours.iter().map(|pour| aim(set, pour, at)).collect()
}

/// The aim of one pour into a bottle of `set`, which need not be one of the set's own. Where it gives no sound in one of the
/// rooms, its note is not moved.
#[must_use]
pub fn aim(set: &Set, pour: &Pour, at: AimAt) -> Aim {
    let note = set.target(pour);
    let unmoved = |pitch| Aim {
        planned: pitch,
        now: pitch,
    };
    match at {
        AimAt::Pitch(pitch) => unmoved(pitch),
        AimAt::NoteItself => unmoved(note),
        AimAt::MovedNote if set.poured_at == set.conditions => unmoved(note),
        AimAt::MovedNote => {
            let moved = as_poured(set, pour).and_then(|setting| {
                let pitch = |room: &Conditions| {
                    let there = setting.moved(&set.poured_at, room);
                    let found = set.source_under(pour, room).at(there).ok()?;
                    Some(found.frequency)
                };
                let before = pitch(&set.poured_at)?;
                Some(pitch(&set.conditions)?.interval_above(before))
            });
            Aim {
                planned: note,
                now: note.raised_by(moved.unwrap_or_default()),
            }
        }
    }
}

/// What a pour is set to where it is heard, as its set says or as its note needs. A bottle that is tuned by liquid and cannot
/// reach its note is empty; of the others there is nothing to say then.
#[must_use]
pub fn set_to(set: &Set, pour: &Pour) -> Option<Setting> {
    Some(as_poured(set, pour)?.moved(&set.poured_at, &set.conditions))
}

/// The same where it was poured.
fn as_poured(set: &Set, pour: &Pour) -> Option<Setting> {
    let needed = || {
        let source = set.source_under(pour, &set.poured_at);
        Some(source.solved(set.target(pour)).ok()?.setting)
    };
    let empty = match pour.way {
        Way::Blown | Way::Struck => Some(Setting::Fill(Volume::default())),
        Way::Pressurised | Way::Sliding | Way::Joined => None,
    };
    pour.setting().or_else(needed).or(empty)
}
