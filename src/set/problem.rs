//! What can be wrong with one bottle, one note or one pair: the inner half of a [`SetError`](super::SetError), which says
//! where it stands.
//!
//! ```
//! use ullage::set::problem::BottleProblem;
//! use ullage::set::{SetError, read_shelf};
//!
//! let refused = read_shelf("[[bottle]]\nname = \"tall\"\ncapacity_ml = 500\nmaterial = \"glas\"\nmouth_bore_mm = 18\n");
//! let Err(SetError::Value { name, source: BottleProblem::Material { nearest, .. } }) = refused else {
//!     panic!("there is no such material");
//! };
//! assert_eq!((name.as_str(), nearest.name()), ("tall", Some("glass")));
//! ```

use std::fmt;

use super::Way;
use super::kinds::{FEWEST_OUTLINE, HEARD_RANGE_C, HEARD_RANGE_HZ, MAX_COUNT};
use super::read::nearest;
use crate::physics::joined::JoinedError;
use crate::physics::pressure::REFUSE_BAR;
use crate::physics::profile::ProfileError;
use crate::physics::sliding::SlidingError;
use crate::physics::struck::StruckError;

/// The known name that is nearest to what was written, if one is near; printed behind a message.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DidYouMean(Option<String>);

impl DidYouMean {
    pub(super) fn of<'a>(text: &str, known: impl Iterator<Item = &'a str>) -> Self {
        Self(nearest(text, known))
    }

    /// The name.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.0.as_deref()
    }
}

impl fmt::Display for DidYouMean {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0 {
            Some(name) => write!(f, "; did you mean {name:?}?"),
            None => Ok(()),
        }
    }
}

/// What is wrong with a bottle as it is written.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BottleProblem {
    /// None, or more than anybody has.
    #[error("count = {count} is outside 1 to {MAX_COUNT}")]
    Count {
        /// As written.
        count: u32,
    },
    /// Nothing says how wide its mouth is.
    #[error("mouth_bore_mm is missing: the inner diameter of the mouth decides the pitch")]
    NoMouth,
    /// A number is out of range.
    #[error("{key} = {value} is outside 0 to {most}")]
    Outside {
        /// Its key.
        key: &'static str,
        /// As written.
        value: f64,
        /// The most that is taken.
        most: f64,
    },
    /// Its bore is given twice.
    #[error("give profile_mm or poured, not both")]
    ProfileAndPoured,
    /// Its bore is none.
    #[error("profile_mm: {0}")]
    Profile(#[from] ProfileError),
    /// Its outline is given beside its bore or its readings.
    #[error("give outline_mm alone, without profile_mm or poured")]
    OutlineAndOther,
    /// An outline of a few points.
    #[error("outline_mm has {points} points; at least {FEWEST_OUTLINE} make a shape")]
    OutlineFew {
        /// How many there were.
        points: usize,
    },
    /// Its outline is none.
    #[error("outline_mm: {0}")]
    Outline(#[source] ProfileError),
    /// Readings that do not rise.
    #[error(
        "poured: reading {number}, {} g at {} mm, does not lie above the one before it, {} g at {} mm; list them as they \
         were poured", reading[0], reading[1], before[0], before[1]
    )]
    ReadingOrder {
        /// Counted from one.
        number: usize,
        /// Grams, and mm above the table.
        reading: [f64; 2],
        /// The same of the one before it.
        before: [f64; 2],
    },
    /// A reading above the mouth.
    #[error(
        "poured: reading {number} at {level_mm} mm is above the mouth at height_mm = {height_mm}"
    )]
    ReadingTooHigh {
        /// Counted from one.
        number: usize,
        /// As written.
        level_mm: f64,
        /// As written.
        height_mm: f64,
    },
    /// No such material.
    #[error("material = {material:?} is not one of glass, plastic, ceramic, metal{nearest}")]
    Material {
        /// As written.
        material: String,
        /// A suggestion.
        nearest: DidYouMean,
    },
    /// A floor is to slide where none can.
    #[error("way = \"sliding\": {0}")]
    Sliding(#[from] SlidingError),
    /// A pitch heard from it cannot be.
    #[error("heard {0}")]
    Heard(#[from] HeardProblem),
}

/// What is wrong with a pitch that was heard.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum HeardProblem {
    /// So much does not go in.
    #[error("fill_ml = {fill_ml} is outside 0 to {capacity_ml:.1} ml")]
    Fill {
        /// As written.
        fill_ml: f64,
        /// What the bottle holds.
        capacity_ml: f64,
    },
    /// Nobody hears that.
    #[error("hz = {hz} is outside {} to {} Hz", HEARD_RANGE_HZ.0, HEARD_RANGE_HZ.1)]
    Pitch {
        /// As written.
        hz: f64,
    },
    /// Nobody listens there.
    #[error("temp_c = {temp_c} is outside {} to {} °C", HEARD_RANGE_C.0, HEARD_RANGE_C.1)]
    Temperature {
        /// As written.
        temp_c: f64,
    },
    /// Its pressure cannot be.
    #[error(transparent)]
    Gauge(#[from] GaugeProblem),
    /// Its pressure is missing.
    #[error("hz = {hz} with way = \"pressurised\" needs its gauge_bar")]
    NoGauge {
        /// As written.
        hz: f64,
    },
    /// What slides or is lifted is not fitted.
    #[error("hz = {hz} has way = \"{way}\"; what is heard is blown, struck or pressurised")]
    Way {
        /// As written.
        hz: f64,
        /// As written.
        way: Way,
    },
}

/// What is wrong with a pressure.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GaugeProblem {
    /// The bottle does not take it.
    #[error("gauge_bar = {gauge_bar}: {source}")]
    Refused {
        /// As written.
        gauge_bar: f64,
        /// Why not.
        source: Box<StruckError>,
    },
    /// It stands where nothing is pumped up.
    #[error("gauge_bar = {gauge_bar} belongs to way = \"pressurised\", and this is {way}")]
    Misplaced {
        /// As written.
        gauge_bar: f64,
        /// As written.
        way: Way,
    },
}

/// What is wrong with a note of a set, beside its name and its bottle.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PourProblem {
    /// Its pressure cannot be.
    #[error(transparent)]
    Gauge(#[from] GaugeProblem),
    /// Only plastic is pressurised.
    #[error(
        "way = \"pressurised\" is refused for {bottle:?}, which is not plastic: glass is never pressurised; write \
         material = \"plastic\" if it is a bottle sold for carbonated drinks, 0 to {REFUSE_BAR} bar"
    )]
    NotPlastic {
        /// The bottle.
        bottle: String,
    },
    /// A setting that another way has.
    #[error("{key} = {value} belongs to way = \"{owner}\", and this is {way}")]
    Misplaced {
        /// Its key.
        key: &'static str,
        /// As written.
        value: f64,
        /// The way that has it.
        owner: Way,
        /// As written.
        way: Way,
    },
    /// A setting that is out of range.
    #[error("{key} = {value} is outside {least_mm:.0} to {most_mm:.0} mm")]
    Outside {
        /// Its key.
        key: &'static str,
        /// As written.
        value: f64,
        /// The least, mm.
        least_mm: f64,
        /// The most, mm.
        most_mm: f64,
    },
    /// A fill where the lift decides it.
    #[error(
        "fill_ml = {fill_ml} is not for way = \"joined\": the lift decides it; the pair has liquid_ml"
    )]
    FillOfJoined {
        /// As written.
        fill_ml: f64,
    },
    /// A joined bottle of no pair.
    #[error(
        "way = \"joined\" needs joined = \"the pair's name\"; {}",
        known_pairs(known)
    )]
    NoPair {
        /// The names of the pairs that there are.
        known: Vec<String>,
    },
    /// A pair that another way has.
    #[error("joined = {pair:?} belongs to way = \"joined\", and this is {way}")]
    MisplacedPair {
        /// As written.
        pair: String,
        /// As written.
        way: Way,
    },
    /// No pair of that name.
    #[error("there is no joined pair {pair:?}{nearest}")]
    NoSuchPair {
        /// As written.
        pair: String,
        /// A suggestion.
        nearest: DidYouMean,
    },
    /// The bottle belongs to another pair, or to none.
    #[error("{bottle:?} does not belong to the pair {pair:?}, which joins {:?} and {:?}", joins[0], joins[1])]
    NotOfPair {
        /// The bottle.
        bottle: String,
        /// The pair.
        pair: String,
        /// The bottles of the pair.
        joins: [String; 2],
    },
}

fn known_pairs(known: &[String]) -> String {
    if known.is_empty() {
        "add a [[joined]] table".to_owned()
    } else {
        format!("the pairs are {}", known.join(", "))
    }
}

/// What is wrong with a pair.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PairProblem {
    /// It has no name.
    #[error("it has no name; give it one")]
    Unnamed,
    /// Another has its name.
    #[error("two pairs have this name")]
    SameName,
    /// It joins a bottle that is not there.
    #[error("{key}: there is no bottle {bottle:?}{nearest}")]
    NoSuchBottle {
        /// Which of the two: first or second.
        key: &'static str,
        /// As written.
        bottle: String,
        /// A suggestion.
        nearest: DidYouMean,
    },
    /// Its hose cannot be.
    #[error(transparent)]
    Hose(JoinedError),
    /// Its liquid cannot be.
    #[error("liquid_ml = {liquid_ml}: {source}")]
    Liquid {
        /// As written.
        liquid_ml: f64,
        /// Why not.
        source: JoinedError,
    },
}
