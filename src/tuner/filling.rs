//! One pour of a set, followed by ear from the empty bottle to the blown note.
//!
//! [`Filling`] takes the sound of the pour and says what to do: keep quiet, pour, slower, stop, let the bubbles rise, blow.
//! What it hears is a coarse guide: the scale and the blown note decide, and from there on the tuner has the word.
//!
//! ```
//! use ullage::pouring::Hearing;
//! use ullage::tuner::filling::{Filling, FillingError, HowFilled, Step};
//! use ullage::units::{SampleRate, Volume};
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let rate = SampleRate::from_hz(16_000.0);
//! let mut filling = Filling::new(&set, &set.pours[1], &HowFilled::default(), rate)?;
//! // A second of a quiet room, and it is ready.
//! filling.hear(&vec![0.0; 20_000]);
//! assert_eq!(filling.step(), Step::Pour);
//! assert_eq!(filling.reading().expect("it listens").state, Hearing::Waiting);
//! // There is more in it than the note wants.
//! let full = HowFilled { start: Some(Volume::from_ml(4_900.0)), ..HowFilled::default() };
//! assert!(matches!(Filling::new(&set, &set.pours[0], &full, rate), Err(FillingError::Over { .. })));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::aims::{AimAt, aim, set_to};
use crate::pouring::{
    Call, Hearing, Mark, Modes, ModesError, PourSpec, PouringError, Reading, Tracker,
};
use crate::set::{Pour, Set, Way};
use crate::sounding::{Setting, SoundedError};
use crate::units::{Duration, Frequency, Interval, SampleRate, Volume};

/// A bottle that was not fitted to anything heard is known no better than this, cents (95 %).
const UNFITTED_CENTS: f64 = 80.0;
/// The bubbles are given so long after the stream has ended, s: common practice, no source.
const BUBBLES_S: f64 = 2.0;
/// A stream that goes on is waited for no longer than this after the word, s.
const RUNS_ON_S: f64 = 5.0;
/// A pause of this length is the end of a pour that was not called off, s.
const GIVEN_UP_S: f64 = 8.0;

/// What everybody is told who pours by ear.
pub const COARSE: &str = "a coarse guide: the scale and the blown note decide";

/// Why a pour cannot be followed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FillingError {
    /// A floor that slides, or a joined pair.
    #[error("a {way} bottle is not filled for its note")]
    Way {
        /// How it is sounded.
        way: Way,
    },
    /// Nobody says how much.
    #[error("the set does not say how much goes into it")]
    NoFill,
    /// It holds as much already.
    #[error("there are {start_ml:.0} ml in it, and its mark is at {mark_ml:.0} ml")]
    Over {
        /// What is in it.
        start_ml: f64,
        /// Where to stop.
        mark_ml: f64,
    },
    /// The note is out of its reach.
    #[error(transparent)]
    Sounded(#[from] SoundedError),
    /// It has no modes to listen for.
    #[error(transparent)]
    Modes(#[from] ModesError),
    /// It cannot be listened to so.
    #[error(transparent)]
    Pouring(#[from] PouringError),
}

/// How a bottle is filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HowFilled {
    /// What a blown bottle aims at.
    pub aim: AimAt,
    /// Stop at the millilitres that are planned, whatever is heard of the note.
    pub by_ml: bool,
    /// What is in it already; nothing if nobody knows.
    pub start: Option<Volume>,
    /// It is poured through a funnel.
    pub funnel: bool,
    /// The first second is the room before the pour.
    pub room_first: bool,
    /// Stop early, as a share of the mark.
    pub early: f64,
    /// From the word to the end of the stream.
    pub reaction: Duration,
    /// How far the bottle sounded above its model when it was last poured into, and the ± of that.
    pub learnt: Option<(Interval, Interval)>,
}

impl Default for HowFilled {
    fn default() -> Self {
        let spec = PourSpec::new(Mark::Fill(Volume::default()));
        Self {
            aim: AimAt::default(),
            by_ml: false,
            start: spec.start,
            funnel: spec.funnel,
            room_first: spec.room_first,
            early: spec.early,
            reaction: spec.reaction,
            learnt: None,
        }
    }
}

/// What is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Be quiet: the room is listened to.
    Quiet,
    /// Pour.
    Pour,
    /// Pour more slowly.
    Slower,
    /// Stop.
    Stop,
    /// Let the bubbles rise.
    Bubbles,
    /// Blow it: the tuner says the rest.
    Blow,
}

impl Step {
    /// In a word or a few, as it is shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Quiet => "quiet: listening to the room",
            Self::Pour => "pour",
            Self::Slower => "slower",
            Self::Stop => "STOP",
            Self::Bubbles => "let the bubbles rise",
            Self::Blow => "blow it",
        }
    }
}

/// What is said in place of a fill that cannot be said.
#[must_use]
pub const fn unheard(state: Hearing) -> Option<&'static str> {
    match state {
        Hearing::Deaf => Some("I cannot hear it: go by the scale"),
        Hearing::Room | Hearing::Waiting => Some("I hear no pour yet"),
        Hearing::Pouring | Hearing::Paused => None,
    }
}

/// Follows one pour.
#[derive(Debug)]
pub struct Filling {
    tracker: Tracker,
    reading: Option<Reading>,
    step: Step,
    /// When the word was said, and since when nothing is poured, s.
    stopped_s: Option<f64>,
    still_since_s: Option<f64>,
}

impl Filling {
    /// A pour into the bottle of `pour`, in the room in which `set` stands, heard at `rate`.
    ///
    /// # Errors
    /// A way that is not filled; no fill where one is needed; a note out of reach; a start at or over the mark; and what
    /// [`Modes::of_bottle`] and [`Tracker::new`] refuse.
    pub fn new(
        set: &Set,
        pour: &Pour,
        how: &HowFilled,
        rate: SampleRate,
    ) -> Result<Self, FillingError> {
        let (mark, plus_minus) = marked(set, pour, how)?;
        let modes = Modes::of_bottle(&set.kind_of(pour).bottle, &set.conditions)?;
        let mut spec = PourSpec {
            start: how.start,
            plus_minus,
            funnel: how.funnel,
            room_first: how.room_first,
            early: how.early,
            reaction: how.reaction,
            ..PourSpec::new(mark)
        };
        if let Some((off, plus_minus)) = how.learnt {
            (spec.off, spec.plus_minus) = (off, plus_minus);
        }
        let mark = match mark {
            Mark::Fill(fill) => fill,
            Mark::Note(note) => modes.fill_for(note, spec.off),
        };
        let start = how.start.unwrap_or_default();
        if how.start.is_some() && start.ml() >= mark.ml() {
            return Err(FillingError::Over {
                start_ml: start.ml(),
                mark_ml: mark.ml(),
            });
        }
        Ok(Self {
            tracker: Tracker::new(modes, spec, rate)?,
            reading: None,
            step: if how.room_first {
                Step::Quiet
            } else {
                Step::Pour
            },
            stopped_s: None,
            still_since_s: None,
        })
    }

    /// Takes the next samples, mono, full scale 1. Allocates nothing.
    pub fn hear(&mut self, samples: &[f32]) {
        self.hear_each(samples, |_| {});
    }

    /// The same, and gives each reading of them, one every 20 ms.
    pub fn hear_each(&mut self, samples: &[f32], mut tell: impl FnMut(&Reading)) {
        let Self {
            tracker,
            reading,
            step,
            stopped_s,
            still_since_s,
        } = self;
        tracker.hear(samples, |now| {
            let at_s = now.at.s();
            let is_still = matches!(now.state, Hearing::Paused);
            *still_since_s = is_still.then(|| still_since_s.unwrap_or(at_s));
            if now.call == Call::Stop && stopped_s.is_none() {
                *stopped_s = Some(at_s);
            }
            *step = next_step(now, *stopped_s, *still_since_s);
            *reading = Some(*now);
            tell(now);
        });
    }

    /// What is to be done now.
    #[must_use]
    pub fn step(&self) -> Step {
        self.step
    }

    /// What was heard last.
    #[must_use]
    pub fn reading(&self) -> Option<&Reading> {
        self.reading.as_ref()
    }

    /// The follower itself.
    #[must_use]
    pub fn tracker(&self) -> &Tracker {
        &self.tracker
    }

    /// What the blown note says of the bottle and of what is in it, with what was heard of the pour.
    pub fn blown(&mut self, note: Frequency) -> Reading {
        let reading = self.tracker.blown(note);
        self.reading = Some(reading);
        reading
    }
}

fn next_step(now: &Reading, stopped_s: Option<f64>, still_since_s: Option<f64>) -> Step {
    let at_s = now.at.s();
    let still_s = still_since_s.map_or(0.0, |since_s| at_s - since_s);
    if let Some(stopped_s) = stopped_s {
        let is_settled = still_s >= BUBBLES_S || at_s - stopped_s >= RUNS_ON_S;
        return match (is_settled, still_since_s) {
            (true, _) => Step::Blow,
            (false, Some(_)) => Step::Bubbles,
            (false, None) => Step::Stop,
        };
    }
    match (now.state, now.call) {
        (Hearing::Room, _) => Step::Quiet,
        (Hearing::Paused, _) if still_s >= GIVEN_UP_S => Step::Blow,
        (_, Call::Slower) => Step::Slower,
        (_, Call::Pour | Call::Stop) => Step::Pour,
    }
}

/// Where to stop, and how well the bottle is known.
fn marked(set: &Set, pour: &Pour, how: &HowFilled) -> Result<(Mark, Interval), FillingError> {
    let way = pour.way;
    let planned = || match set_to(set, pour) {
        Some(Setting::Fill(fill)) if fill.ml() > 0.0 => Ok(fill),
        _ => pour
            .fill
            .filter(|fill| fill.ml() > 0.0)
            .ok_or(FillingError::NoFill),
    };
    let aimed = aim(set, pour, how.aim).now;
    let kind = set.kind_of(pour);
    // The air of a bottle that is struck is listened to as well, though its wall gives the note.
    let blown = Pour {
        way: Way::Blown,
        ..pour.clone()
    };
    let sounded = |fill: Option<Volume>| {
        set.source(&blown)
            .planned_or_solved(aimed, fill.map(Setting::Fill))
    };
    let (mark, sounded) = match way {
        Way::Sliding | Way::Joined => return Err(FillingError::Way { way }),
        Way::Blown if !how.by_ml => (Mark::Note(aimed), sounded(None)?),
        Way::Blown | Way::Struck | Way::Pressurised => {
            let fill = planned()?;
            (Mark::Fill(fill), sounded(Some(fill))?)
        }
    };
    let plus_minus = sounded.plus_minus();
    Ok(match kind.air_fit {
        Some(_) => (mark, plus_minus),
        None => (mark, plus_minus.max(Interval::from_cents(UNFITTED_CENTS))),
    })
}
