//! What was heard of a bottle, and what it says: plain data.
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::sounding::Setting;
//! use ullage::tuner::{Judge, ListenFor, Meant, Reading};
//! use ullage::units::{Interval, Volume};
//!
//! // The lowest bottle of the demo set was poured 10 ml too full, and nobody knows.
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let really = set.pours[0].fill.unwrap_or_default() + Volume::from_ml(10.0);
//! let reading = Reading {
//!     frequency: set.source(&set.pours[0]).at(Setting::Fill(really))?.frequency,
//!     plus_minus: Interval::from_cents(0.5),
//! };
//! let judge = Judge::new(set, &ListenFor::new(Meant::Pours(vec![PourIndex::new(0)])));
//! let verdict = judge.of_pitch(reading).expect("it is the one that is meant");
//! let seems = verdict.seems.expect("some fill gives that");
//! assert!((seems.value() - really.ml()).abs() < 0.1, "{seems:?} and not {really:?}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::advice::Advice;
use crate::index::{KindIndex, PourIndex};
use crate::listen::HeardNote;
use crate::listen::together::{Blows, of_one};
use crate::number::signed;
use crate::physics::prediction::PredictionError;
use crate::physics::struck::{ModeKey, StruckError};
use crate::set::Way;
use crate::sounding::{Setting, SoundedError};
use crate::tuning::NoteName;
use crate::units::{Frequency, Interval, Length};

/// Why what was heard says nothing of what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TunerError {
    /// A bottle that gives no note when it is blown as it is.
    #[error(transparent)]
    Blown(#[from] PredictionError),
    /// One that gives none when it is struck.
    #[error(transparent)]
    Struck(#[from] StruckError),
    /// One that gives none as it is set.
    #[error(transparent)]
    Sounded(#[from] SoundedError),
}

/// A pitch that was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The pitch.
    pub frequency: Frequency,
    /// Half the width of the 95 % interval around it.
    pub plus_minus: Interval,
}

impl From<&HeardNote> for Reading {
    fn from(note: &HeardNote) -> Self {
        Self {
            frequency: note.frequency,
            plus_minus: of_one(note),
        }
    }
}

impl From<&Blows> for Reading {
    fn from(blows: &Blows) -> Self {
        Self {
            frequency: blows.frequency,
            plus_minus: blows.plus_minus,
        }
    }
}

/// Which of the partials of a tapped bottle is which of its wall's; indices are of [`Strike::partials`].
///
/// [`Strike::partials`]: crate::listen::strike::Strike::partials
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recognised {
    /// The one that is the note, and which of the wall's that is; nothing if it was not heard.
    pub note: Option<(usize, ModeKey)>,
    /// Those that are known, each with its waves around.
    pub waves: Vec<(usize, u32)>,
}

/// What was heard of a bottle, and what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The pour; nothing for a bottle that has none.
    pub pour: Option<PourIndex>,
    /// The kind of bottle, by its place in the set.
    pub kind: KindIndex,
    /// How it was sounded.
    pub way: Way,
    /// Its note.
    pub note: NoteName,
    /// What was heard; of a tapped bottle the partial that is its note, or the strongest.
    pub frequency: Frequency,
    /// Half the width of the 95 % interval around it.
    pub plus_minus: Interval,
    /// The pitch aimed at, in the room as it is.
    pub aim: Frequency,
    /// How far the room has moved the aim since the bottle was poured.
    pub moved: Interval,
    /// How far what was heard is above the aim.
    pub off: Interval,
    /// The note that is nearest, and how far above it this is.
    pub nearest: (NoteName, Interval),
    /// It is in tune.
    pub in_tune: bool,
    /// What to do, whether it is in tune or not; or why that cannot be said.
    pub advice: Result<Advice, TunerError>,
    /// What the bottle is set to by what was heard, if it is as described.
    pub seems: Option<Setting>,
    /// The level above the inner floor that goes with it.
    pub seems_level: Option<Length>,
    /// Of one that was tapped: which of its partials is which.
    pub recognised: Option<Recognised>,
}

impl Verdict {
    /// What to add in millilitres, bar or millimetres; nothing where that says nothing.
    #[must_use]
    pub fn add(&self) -> Option<Setting> {
        self.advice.as_ref().ok()?.add()
    }

    /// What to do, in words.
    #[must_use]
    pub fn to_do(&self) -> String {
        match &self.advice {
            Err(error) => error.to_string(),
            Ok(Advice::NotItsNote) => Advice::NotItsNote.to_string(),
            Ok(advice @ Advice::AnotherBottle(_)) => {
                let (note, off) = &self.nearest;
                format!("{note} {} cents: {advice}", signed(off.cents(), 0))
            }
            Ok(_) if self.in_tune => "in tune".to_owned(),
            Ok(advice) => advice.to_string(),
        }
    }
}
