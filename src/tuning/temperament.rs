//! The steps of a temperament: twelve pitches above the tonic.

use crate::units::Interval;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Names that a file may use.
const NAMES: [&str; 4] = ["equal", "just", "pythagorean", "meantone"];

/// How far a written step may be from its place in equal temperament, cents. A semitone: beyond it
/// the step would be nearer to another key than to its own.
const FARTHEST_CENTS: f64 = 100.0;

/// Just intonation to the limit of 5: numerator and denominator of each step above the tonic.
///
/// The usual twelve: pure major triads on I, IV and V, their minor mirror images, the augmented fourth
/// as a major third above the major second, the minor seventh as a minor third above the fifth.
const JUST: [(u32, u32); 12] = [
    (1, 1),
    (16, 15),
    (9, 8),
    (6, 5),
    (5, 4),
    (4, 3),
    (45, 32),
    (3, 2),
    (8, 5),
    (5, 3),
    (9, 5),
    (15, 8),
];

/// Fifths below and above the tonic in a chain of twelve: E♭ to G♯ on C, the common practice of
/// keyboards with one wolf fifth, G♯ to E♭.
const FIFTHS_BELOW: i32 = 3;

/// A list of cents that is no temperament, or a name that nobody knows.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TemperamentError {
    /// The name is not in the list.
    #[error("there is no temperament \"{name}\"; the nearest is \"{nearest}\" of {}, or write twelve cents above the tonic", NAMES.join(", "))]
    Unknown {
        /// What was written.
        name: String,
        /// The known name most like it.
        nearest: &'static str,
    },
    /// Something between the commas of a list that is not a number.
    #[error(
        "{text:?} is not a number of cents; a list of twelve looks like 0,112,204,316,386,498,590,702,814,884,996,1088"
    )]
    Number {
        /// What was written.
        text: String,
    },
    /// Too few or too many steps.
    #[error("a temperament has 12 steps in cents above the tonic, and this list has {count}")]
    Count {
        /// How many there are.
        count: usize,
    },
    /// The list does not begin at the tonic.
    #[error("the first step is the tonic itself and must be 0 cents, not {cents}")]
    Tonic {
        /// What was written, cents.
        cents: f64,
    },
    /// A step is not higher than the one before.
    #[error(
        "step {step} of {cents} cents is not above the step before, {before_cents} cents; the list counts up \
         from the tonic, as 0, 100, 200, … does, and is not a list of deviations"
    )]
    Falling {
        /// Counted from 0, the tonic.
        step: usize,
        /// What was written, cents.
        cents: f64,
        /// The step below, cents.
        before_cents: f64,
    },
    /// A step is nearer to another key.
    #[error(
        "step {step} of {cents} cents is more than {limit_cents} cents from its key at {key_cents} cents"
    )]
    Far {
        /// Counted from 0, the tonic.
        step: usize,
        /// What was written, cents.
        cents: f64,
        /// Where equal temperament has it, cents.
        key_cents: f64,
        /// How far it may be, cents.
        limit_cents: f64,
    },
}

/// What the twelve notes of an octave are tuned to, from the tonic up.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "Written", into = "Written")]
#[non_exhaustive]
pub enum Temperament {
    /// Twelve equal semitones.
    #[default]
    Equal,
    /// Whole-number ratios of 2, 3 and 5 above the tonic:
    /// 1, 16/15, 9/8, 6/5, 5/4, 4/3, 45/32, 3/2, 8/5, 5/3, 9/5, 15/8.
    Just,
    /// A chain of pure fifths, three below the tonic and eight above.
    Pythagorean,
    /// A chain of fifths narrowed by a quarter of the syntonic comma, so that major thirds are pure;
    /// three below the tonic and eight above.
    Meantone,
    /// Steps in cents above the tonic, rising from 0. Made by [`Temperament::from_cents`].
    Cents([f64; 12]),
}

/// A temperament as it stands in a file.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "the name of a temperament, or a list of twelve cents above the tonic"
)]
#[schemars(rename = "Temperament")]
enum Written {
    /// "equal", "just", "pythagorean" or "meantone".
    Name(String),
    /// Twelve steps in cents above the tonic, rising from 0.
    Cents(#[schemars(length(equal = 12))] Vec<f64>),
}

impl TryFrom<Written> for Temperament {
    type Error = TemperamentError;
    fn try_from(written: Written) -> Result<Self, TemperamentError> {
        match written {
            Written::Name(name) => name.parse(),
            Written::Cents(cents) => Self::from_cents(&cents),
        }
    }
}

impl From<Temperament> for Written {
    fn from(temperament: Temperament) -> Self {
        match temperament {
            Temperament::Cents(cents) => Self::Cents(cents.to_vec()),
            named => Self::Name(named.name().to_owned()),
        }
    }
}

impl std::str::FromStr for Temperament {
    type Err = TemperamentError;
    fn from_str(name: &str) -> Result<Self, TemperamentError> {
        match name.trim().to_lowercase().as_str() {
            "equal" => Ok(Self::Equal),
            "just" => Ok(Self::Just),
            "pythagorean" => Ok(Self::Pythagorean),
            "meantone" => Ok(Self::Meantone),
            list if list.contains(',') => Self::from_cents(&cents_in(list)?),
            other => Err(TemperamentError::Unknown {
                name: name.to_owned(),
                nearest: nearest_name(other),
            }),
        }
    }
}

/// A list of cents between commas, in brackets or not: `0, 112, 204, …`.
fn cents_in(text: &str) -> Result<Vec<f64>, TemperamentError> {
    let inside = text.trim().trim_start_matches('[').trim_end_matches(']');
    let number = |text: &str| {
        let number = text.trim().parse::<f64>().ok().filter(|c| c.is_finite());
        number.ok_or_else(|| TemperamentError::Number {
            text: text.trim().to_owned(),
        })
    };
    inside.split(',').map(number).collect()
}

fn nearest_name(name: &str) -> &'static str {
    let likeness = |known: &str| strsim::jaro_winkler(known, name);
    NAMES
        .into_iter()
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        .expect("there are names")
}

impl Temperament {
    /// A temperament of twelve steps in cents above the tonic: the first 0, each above the one before,
    /// none more than 100 cents from its key.
    ///
    /// # Errors
    /// [`TemperamentError`] says which step breaks which rule.
    pub fn from_cents(cents: &[f64]) -> Result<Self, TemperamentError> {
        let steps: [f64; 12] = cents
            .try_into()
            .map_err(|_| TemperamentError::Count { count: cents.len() })?;
        if steps[0] != 0.0 {
            return Err(TemperamentError::Tonic { cents: steps[0] });
        }
        for step in 1..steps.len() {
            check_step(step, steps[step - 1], steps[step])?;
        }
        Ok(Self::Cents(steps))
    }

    /// The name in a file; a list of cents has none and says `custom`.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Equal => "equal",
            Self::Just => "just",
            Self::Pythagorean => "pythagorean",
            Self::Meantone => "meantone",
            Self::Cents(_) => "custom",
        }
    }

    /// The twelve steps above the tonic, the tonic first.
    #[must_use]
    pub fn steps(&self) -> [Interval; 12] {
        match self {
            Self::Equal => std::array::from_fn(|step| Interval::from_semitones(step as f64)),
            Self::Just => {
                JUST.map(|(upper, lower)| Interval::from_ratio(f64::from(upper) / f64::from(lower)))
            }
            Self::Pythagorean => chain_of(Interval::from_ratio(1.5)),
            // Four such fifths make two octaves and a pure major third.
            Self::Meantone => chain_of(Interval::from_ratio(5f64.powf(0.25))),
            Self::Cents(cents) => cents.map(Interval::from_cents),
        }
    }
}

fn check_step(step: usize, before_cents: f64, cents: f64) -> Result<(), TemperamentError> {
    let key_cents = Interval::from_semitones(step as f64).cents();
    let limit_cents = FARTHEST_CENTS;
    // Asked this way round so that NaN is refused too.
    if cents.partial_cmp(&before_cents) != Some(std::cmp::Ordering::Greater) {
        return Err(TemperamentError::Falling {
            step,
            cents,
            before_cents,
        });
    }
    if (cents - key_cents).abs() > limit_cents || cents >= crate::units::CENTS_PER_OCTAVE {
        return Err(TemperamentError::Far {
            step,
            cents,
            key_cents,
            limit_cents,
        });
    }
    Ok(())
}

/// Steps of a chain of equal fifths from three below the tonic to eight above, folded into an octave.
fn chain_of(fifth: Interval) -> [Interval; 12] {
    let mut steps = [Interval::default(); 12];
    for position in -FIFTHS_BELOW..12 - FIFTHS_BELOW {
        let key = (position * 7).rem_euclid(12) as usize;
        let cents =
            (f64::from(position) * fifth.cents()).rem_euclid(crate::units::CENTS_PER_OCTAVE);
        steps[key] = Interval::from_cents(cents);
    }
    steps
}
