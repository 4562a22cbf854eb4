//! A bottle described as people describe one: question by question, with what is known of it after each answer.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::set::describe::{Known, Question, known};
//! use ullage::set::written;
//!
//! let mut bottle = written::Bottle::default();
//! Question::Name.take(&mut bottle, "tall green")?;
//! Question::Capacity.take(&mut bottle, "12 fl oz")?;
//! let room = Conditions::default();
//! assert!(matches!(known(&bottle, &room)?, Known::Little));
//! Question::Mouth.take(&mut bottle, "3/4 in")?;
//! Question::Height.take(&mut bottle, "9 in")?;
//! Question::Neck.take(&mut bottle, "3 in")?;
//! let Known::Enough(kind, reach) = known(&bottle, &room)? else { return Err("it has a mouth and a neck".into()) };
//! // Water only raises its note, and a bottle of these sizes has its lowest between C3 and C4.
//! assert!(reach.highest > reach.lowest && (130.0..262.0).contains(&reach.lowest.hz()));
//! assert_eq!(kind.name, "tall green");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::{Kind, SetError, read_shelf_in, written};
use crate::fit::shape::ShapeError;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, Prediction, PredictionError};
use crate::sounding::Way;
use crate::units::text::{QuantityError, length, volume};
use crate::units::{Frequency, Interval, Volume};

/// Materials that a bottle can be of, the usual one first.
pub const MATERIALS: [&str; 4] = ["glass", "plastic", "ceramic", "metal"];

/// Why an answer is not one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AnswerError {
    /// No length or volume.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// No such material.
    #[error("{text:?} is not glass, plastic, ceramic or metal")]
    Material {
        /// As answered.
        text: String,
    },
    /// No pitch.
    #[error("{text:?} is not a pitch in hertz; ullage listen measures it")]
    Pitch {
        /// As answered.
        text: String,
    },
    /// No count.
    #[error("{text:?} is not a count")]
    Count {
        /// As answered.
        text: String,
    },
}

/// Why nothing can be said of a bottle.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DescribeError {
    /// A measure that cannot be, or some that contradict each other.
    #[error(transparent)]
    Set(#[from] SetError),
    /// It gives no note.
    #[error(transparent)]
    Silent(#[from] PredictionError),
    /// It cannot be written down.
    #[error(transparent)]
    Form(#[from] toml::ser::Error),
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Question {
    /// Its name.
    Name,
    /// What it is made of.
    Material,
    /// What it holds.
    Capacity,
    /// How wide the mouth is.
    Mouth,
    /// How high it is.
    Height,
    /// How wide the body is.
    Body,
    /// How long the neck is.
    Neck,
    /// What it gives when it is blown empty.
    Heard,
    /// How many there are.
    Count,
}

impl Question {
    /// All of them, in the order in which they are asked.
    pub const ALL: [Self; 9] = [
        Self::Name,
        Self::Material,
        Self::Capacity,
        Self::Mouth,
        Self::Height,
        Self::Body,
        Self::Neck,
        Self::Heard,
        Self::Count,
    ];

    /// What is asked.
    #[must_use]
    pub const fn asks(self) -> &'static str {
        match self {
            Self::Name => "What do you call it?",
            Self::Material => "Glass, plastic, ceramic or metal?",
            Self::Capacity => "How much does it hold, filled to the brim?",
            Self::Mouth => "How wide is the mouth inside?",
            Self::Height => "How high is it?",
            Self::Body => "How wide is the body outside?",
            Self::Neck => "How long is the neck, from the end of the shoulder to the mouth?",
            Self::Heard => "Have you blown it empty? Which pitch, Hz?",
            Self::Count => "How many of it are there?",
        }
    }

    /// How an answer looks.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Name => "tall green",
            Self::Material => "glass",
            Self::Capacity => "330 ml, 12 fl oz",
            Self::Mouth => "18.5 mm, 3/4 in",
            Self::Height => "230 mm, 9 in",
            Self::Body => "61 mm, 2 3/8 in",
            Self::Neck => "70 mm, 2 3/4 in",
            Self::Heard => "196.5",
            Self::Count => "1",
        }
    }

    /// Without an answer there is nothing to work with.
    #[must_use]
    pub const fn is_needed(self) -> bool {
        matches!(self, Self::Name | Self::Capacity | Self::Mouth)
    }

    /// Takes the answer to it. A pitch that was heard when empty replaces the one before.
    ///
    /// # Errors
    /// See [`AnswerError`]; the bottle is as it was.
    pub fn take(self, bottle: &mut written::Bottle, text: &str) -> Result<(), AnswerError> {
        let text = text.trim();
        let mm = |digits| Ok::<_, AnswerError>(Some(rounded(length(text)?.mm(), digits)));
        match self {
            Self::Name => text.clone_into(&mut bottle.name),
            Self::Material => {
                let material = text.to_lowercase();
                if !MATERIALS.contains(&material.as_str()) {
                    let text = material;
                    return Err(AnswerError::Material { text });
                }
                bottle.material = Some(material);
            }
            Self::Capacity => bottle.capacity_ml = Some(rounded(volume(text)?.ml(), 1)),
            Self::Mouth => bottle.mouth_bore_mm = mm(2)?,
            Self::Height => bottle.height_mm = mm(1)?,
            Self::Body => bottle.body_diameter_mm = mm(1)?,
            Self::Neck => bottle.neck_length_mm = mm(1)?,
            Self::Heard => {
                let hz = hertz(text)?;
                bottle.heard.retain(|heard| !is_of_empty(heard));
                bottle.heard.push(written::Heard {
                    fill_ml: 0.0,
                    hz,
                    temp_c: None,
                    way: Way::Blown,
                    gauge_bar: None,
                });
            }
            Self::Count => {
                let count = text.parse().map_err(|_| AnswerError::Count {
                    text: text.to_owned(),
                })?;
                bottle.count = Some(count);
            }
        }
        Ok(())
    }

    /// No answer to it after all.
    pub fn pass_over(self, bottle: &mut written::Bottle) {
        match self {
            Self::Name => bottle.name.clear(),
            Self::Material => bottle.material = None,
            Self::Capacity => bottle.capacity_ml = None,
            Self::Mouth => bottle.mouth_bore_mm = None,
            Self::Height => bottle.height_mm = None,
            Self::Body => bottle.body_diameter_mm = None,
            Self::Neck => bottle.neck_length_mm = None,
            Self::Heard => bottle.heard.retain(|heard| !is_of_empty(heard)),
            Self::Count => bottle.count = None,
        }
    }

    /// The answer that `bottle` has to it, as it may be typed; nothing where it has none.
    #[must_use]
    pub fn answer(self, bottle: &written::Bottle) -> String {
        let number = |value: Option<f64>, unit: &str| {
            value.map_or(String::new(), |value| format!("{value} {unit}"))
        };
        match self {
            Self::Name => bottle.name.clone(),
            Self::Material => bottle.material.clone().unwrap_or_default(),
            Self::Capacity => number(bottle.capacity_ml, "ml"),
            Self::Mouth => number(bottle.mouth_bore_mm, "mm"),
            Self::Height => number(bottle.height_mm, "mm"),
            Self::Body => number(bottle.body_diameter_mm, "mm"),
            Self::Neck => number(bottle.neck_length_mm, "mm"),
            Self::Heard => {
                let heard = bottle.heard.iter().find(|heard| is_of_empty(heard));
                number(heard.map(|heard| heard.hz), "Hz")
            }
            Self::Count => bottle
                .count
                .map_or(String::new(), |count| count.to_string()),
        }
    }
}

fn is_of_empty(heard: &written::Heard) -> bool {
    heard.fill_ml == 0.0 && heard.way == Way::Blown
}

fn hertz(text: &str) -> Result<f64, AnswerError> {
    let bare = text
        .trim_end_matches(['z', 'Z'])
        .trim_end_matches(['h', 'H']);
    let hz = bare.trim().replace(',', ".").parse();
    hz.map_err(|_| AnswerError::Pitch {
        text: text.to_owned(),
    })
}

/// The notes that a bottle can give, and how sure that is.
#[derive(Clone, Debug, PartialEq)]
pub struct Reach {
    /// Empty.
    pub lowest: Frequency,
    /// With as much in it as it still sounds with.
    pub highest: Frequency,
    /// So much.
    pub fullest: Volume,
    /// How sure the lowest is (95 %).
    pub plus_minus: Interval,
    /// What makes it unsure most, by its key in a file.
    pub least_sure: &'static str,
    /// What would help most, with keys as they are in a file.
    pub remedy: &'static str,
}

impl Reach {
    /// Of a kind of bottle in a room, with what fills it there and how it is blown.
    ///
    /// # Errors
    /// [`PredictionError`]: it gives no note.
    pub fn of(kind: &Kind, room: &Conditions) -> Result<Self, PredictionError> {
        let blown = Blown::new(&kind.bottle, room)?;
        let low = Prediction::new(&kind.bottle, Volume::default(), room)?;
        let (fullest, high) = blown.fullest()?;
        let lowest = low.resonances.first();
        let dominant = low.uncertainty.dominant();
        Ok(Self {
            lowest: lowest.map_or(high.frequency, |r| r.frequency),
            highest: high.frequency,
            fullest,
            plus_minus: low.uncertainty.plus_minus,
            least_sure: dominant.what,
            remedy: dominant.remedy,
        })
    }
}

/// What is known of a bottle.
#[derive(Clone, Debug)]
pub enum Known {
    /// Not enough to say which notes it gives.
    Little,
    /// Its shape, fitted to what was heard, and its notes.
    Enough(Box<Kind>, Reach),
}

/// What is known of a bottle as it is described so far, if it was heard and is blown in `room`.
///
/// # Errors
/// See [`DescribeError`].
pub fn known(bottle: &written::Bottle, room: &Conditions) -> Result<Known, DescribeError> {
    let is_seen = bottle.profile_mm.is_some() || bottle.outline_mm.is_some();
    if bottle.mouth_bore_mm.is_none() && !is_seen {
        return Ok(Known::Little);
    }
    let mut named = bottle.clone();
    if named.name.trim().is_empty() {
        "the new one".clone_into(&mut named.name);
    }
    let shelf = match read_shelf_in(&shelf_of(&named)?, room) {
        Ok(shelf) => shelf,
        // The next answers may be enough.
        Err(SetError::Bottle {
            source: ShapeError::NoSize,
            ..
        }) => return Ok(Known::Little),
        Err(error) => return Err(error.into()),
    };
    let Some(kind) = shelf.kinds.into_iter().next() else {
        return Ok(Known::Little);
    };
    let reach = Reach::of(&kind, room)?;
    Ok(Known::Enough(Box::new(kind), reach))
}

/// The text of a shelf with this bottle alone.
///
/// # Errors
/// What the writer of TOML says; it writes to memory, so nothing is expected.
pub fn shelf_of(bottle: &written::Bottle) -> Result<String, toml::ser::Error> {
    toml::to_string(&written::Shelf {
        version: super::read::FORMAT_VERSION,
        title: String::new(),
        remark: String::new(),
        bottle: vec![bottle.clone()],
    })
}

/// The text of a shelf or a set, which may be an empty one, with the bottle behind its last one.
///
/// # Errors
/// As [`shelf_of`].
pub fn with_bottle(text: &str, bottle: &written::Bottle) -> Result<String, toml::ser::Error> {
    let alone = shelf_of(bottle)?;
    let table = alone
        .find("[[bottle]]")
        .map_or(alone.as_str(), |at| &alone[at..]);
    Ok(format!("{}\n\n{table}", text.trim_end()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn every_answer_is_given_back_as_it_may_be_typed() {
        let mut bottle = written::Bottle::default();
        let answers = [
            "tall green",
            "plastic",
            "354.9 ml",
            "19.05 mm",
            "228.6 mm",
            "61 mm",
            "76.2 mm",
            "196.5 Hz",
            "3",
        ];
        for (question, text) in Question::ALL.into_iter().zip(answers) {
            question.take(&mut bottle, text).unwrap();
            assert_eq!(question.answer(&bottle), text);
        }
        for question in Question::ALL {
            question.pass_over(&mut bottle);
            assert_eq!(question.answer(&bottle), "", "{question:?}");
        }
    }

    #[test]
    fn an_answer_that_is_none_leaves_the_bottle_as_it_was() {
        let mut bottle = written::Bottle::default();
        for (question, text) in [
            (Question::Material, "jelly"),
            (Question::Capacity, "12 in"),
            (Question::Heard, "loud"),
            (Question::Count, "some"),
        ] {
            assert!(question.take(&mut bottle, text).is_err());
            assert_eq!(question.answer(&bottle), "");
        }
    }
}
