//! Notes as people write them: a letter, accidentals, an octave, and cents if need be.

use super::{KEYS_PER_OCTAVE, PitchClass};
use crate::units::Interval;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How far a written note may be bent from its key, cents: at more, another key is nearer.
const FARTHEST_CENTS: f64 = 100.0;

/// The keys that MIDI counts.
const LAST_KEY: i32 = 127;

/// A text that is no note. Every message ends with one that is.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoteError {
    /// No letter from A to G in front.
    #[error(
        "\"{text}\" does not begin with a letter from A to G; a note looks like F#4 or Bb3-14c"
    )]
    Letter {
        /// What was written.
        text: String,
    },
    /// More than two accidentals, or sharps and flats together.
    #[error(
        "\"{text}\" has accidentals that cancel or pile up; write at most two of one kind, as in F##4 or Bbb3"
    )]
    Accidental {
        /// What was written.
        text: String,
    },
    /// No octave after the letter.
    #[error("\"{text}\" has no octave; middle C is C4, and the A above it is A4")]
    Octave {
        /// What was written.
        text: String,
    },
    /// Something behind the octave that is not cents.
    #[error(
        "\"{rest}\" in \"{text}\" is not a number of cents; write them as in F#4-14c or A4+3.5c"
    )]
    Cents {
        /// What was written.
        text: String,
        /// The part that cannot be read.
        rest: String,
    },
    /// More cents than a semitone.
    #[error(
        "{cents} cents in \"{text}\" is more than {limit_cents} either way; name the nearer note, as in F#4-14c"
    )]
    FarCents {
        /// What was written.
        text: String,
        /// The cents in it.
        cents: f64,
        /// The most that is taken.
        limit_cents: f64,
    },
    /// Above or below every key.
    #[error("\"{text}\" is outside C-1 to G9, the notes that MIDI can send; middle C is C4")]
    Range {
        /// What was written.
        text: String,
    },
    /// A pitch class with something behind it.
    #[error("\"{text}\" is not a note without an octave; write one like D, F# or Bb")]
    Class {
        /// What was written.
        text: String,
    },
}

/// A note by its name: `C4` is middle C, `F#4-14c` is 14 cents below F sharp.
///
/// Reads one or two `#`, `b`, ♯, ♭ (also `x`, 𝄪, 𝄫), letters of either case, octaves from -1 to 9, and
/// cents with `c` or `cents` behind them, at most 100 either way. Prints plain characters. The
/// spelling is kept: B♭3 and A♯3 are the same [key](NoteName::midi) and are not equal.
///
/// ```
/// use ullage::tuning::NoteName;
/// let note: NoteName = "B♭3+3.5c".parse()?;
/// assert_eq!(note.to_string(), "Bb3+3.5c");
/// assert_eq!(note.midi(), 58);
/// # Ok::<(), ullage::tuning::NoteError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[schemars(
    with = "String",
    extend("pattern" = r"^[A-Ga-g][#bx♯♭𝄪𝄫♮]{0,2}-?\d+( ?[+-]\d+(\.\d+)? ?(c|ct|cents?|¢))?$")
)]
pub struct NoteName {
    class: PitchClass,
    octave: i8,
    cents: f64,
}

impl NoteName {
    /// The key's note in MIDI's count, spelled with sharps. Numbers above 127 are taken as 127.
    #[must_use]
    pub fn from_midi(key: u8) -> Self {
        Self::from_key(i32::from(key), false)
    }

    /// The key's number in MIDI's count, 0 to 127; middle C is 60. Cents make no difference.
    #[must_use]
    pub fn midi(&self) -> u8 {
        self.key() as u8
    }

    /// The note without its octave.
    #[must_use]
    pub const fn class(&self) -> PitchClass {
        self.class
    }

    /// The octave of the spelling: B♯3 is in octave 3 and sounds as C4.
    #[must_use]
    pub const fn octave(&self) -> i8 {
        self.octave
    }

    /// Its letter.
    #[must_use]
    pub fn letter(&self) -> char {
        self.class.letter()
    }

    /// Semitones that it is raised above its letter; below 0 lowered.
    #[must_use]
    pub const fn alteration(&self) -> i8 {
        self.class.alteration()
    }

    /// How far the note is bent from its key.
    #[must_use]
    pub const fn cents(&self) -> Interval {
        Interval::from_cents(self.cents)
    }

    /// The same note, not bent.
    #[must_use]
    pub const fn plain(self) -> Self {
        Self { cents: 0.0, ..self }
    }

    /// As [`NoteName::midi`], for counting.
    pub(super) fn key(&self) -> i32 {
        let in_octave = i32::from(self.class.above_c());
        (i32::from(self.octave) + 1) * KEYS_PER_OCTAVE + in_octave
    }

    /// The key `key` spelled as `class`, which sounds like it.
    pub(super) fn of_class(class: PitchClass, key: u8) -> Self {
        let octave = (i32::from(key) - i32::from(class.above_c())).div_euclid(KEYS_PER_OCTAVE) - 1;
        Self {
            class,
            octave: octave as i8,
            cents: 0.0,
        }
    }

    /// The same note bent so far.
    pub(super) fn bent_by(self, cents: Interval) -> Self {
        Self {
            cents: cents.cents(),
            ..self
        }
    }

    /// A key's note, spelled with flats or with sharps; keys outside 0 to 127 are moved to the end.
    pub(super) fn from_key(key: i32, flats: bool) -> Self {
        let key = key.clamp(0, LAST_KEY);
        Self {
            class: PitchClass::from_number((key % KEYS_PER_OCTAVE) as u8, flats),
            octave: (key / KEYS_PER_OCTAVE - 1) as i8,
            cents: 0.0,
        }
    }
}

impl std::str::FromStr for NoteName {
    type Err = NoteError;
    fn from_str(text: &str) -> Result<Self, NoteError> {
        let trimmed = text.trim();
        let text = || trimmed.to_owned();
        let (class, rest) = PitchClass::read_front(trimmed)?;
        let sign = usize::from(rest.starts_with(['-', '−']));
        let digits_from = rest
            .char_indices()
            .nth(sign)
            .map_or(rest.len(), |(at, _)| at);
        let digits = rest[digits_from..]
            .bytes()
            .take_while(u8::is_ascii_digit)
            .count();
        let (octave, rest) = rest.split_at(digits_from + digits);
        if digits == 0 {
            return Err(NoteError::Octave { text: text() });
        }
        let octave = octave
            .replace('−', "-")
            .parse()
            .map_err(|_| NoteError::Range { text: text() })?;
        let cents = read_cents(trimmed, rest.trim_start())?;
        let note = Self {
            class,
            octave,
            cents,
        };
        if !(0..=LAST_KEY).contains(&note.key()) {
            return Err(NoteError::Range { text: text() });
        }
        Ok(note)
    }
}

/// The cents behind an octave: nothing, or a sign, a number and their unit.
fn read_cents(text: &str, rest: &str) -> Result<f64, NoteError> {
    if rest.is_empty() {
        return Ok(0.0);
    }
    let unreadable = || NoteError::Cents {
        text: text.to_owned(),
        rest: rest.to_owned(),
    };
    let number = ["cents", "cent", "ct", "c", "¢"]
        .iter()
        .find_map(|unit| rest.strip_suffix(unit))
        .ok_or_else(unreadable)?
        .trim_end()
        .replace('−', "-");
    // Rust's own reader would also take "inf" and "1e9".
    let plain = number
        .strip_prefix(['+', '-'])
        .is_some_and(|n| n.chars().all(|c| c.is_ascii_digit() || c == '.'));
    let cents: f64 = number
        .parse()
        .ok()
        .filter(|_| plain)
        .ok_or_else(unreadable)?;
    if cents.abs() > FARTHEST_CENTS {
        return Err(NoteError::FarCents {
            text: text.to_owned(),
            cents,
            limit_cents: FARTHEST_CENTS,
        });
    }
    Ok(cents)
}

impl fmt::Display for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.class, self.octave)?;
        if self.cents == 0.0 {
            return Ok(());
        }
        write!(f, "{:+}c", self.cents)
    }
}

super::as_string!(NoteName);
