//! Notes without their octave: letters and accidentals.

use super::NoteError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A note without its octave, as it is spelled: a tonic, the root of a chord.
///
/// Two spellings of one key are different pitch classes; compare [`PitchClass::number`] to ask whether
/// they sound the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String", extend("pattern" = "^[A-Ga-g](#{0,2}|b{0,2}|♯{0,2}|♭{0,2}|x|𝄪|𝄫|♮)$"))]
pub struct PitchClass {
    letter: Letter,
    /// Semitones, -2 to 2.
    accidental: i8,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Letter {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Letter {
    fn read(c: char) -> Option<Self> {
        Some(match c.to_ascii_uppercase() {
            'C' => Self::C,
            'D' => Self::D,
            'E' => Self::E,
            'F' => Self::F,
            'G' => Self::G,
            'A' => Self::A,
            'B' => Self::B,
            _ => return None,
        })
    }

    /// Semitones above C.
    const fn semitones(self) -> i8 {
        match self {
            Self::C => 0,
            Self::D => 2,
            Self::E => 4,
            Self::F => 5,
            Self::G => 7,
            Self::A => 9,
            Self::B => 11,
        }
    }
}

impl Default for PitchClass {
    /// C.
    fn default() -> Self {
        Self {
            letter: Letter::C,
            accidental: 0,
        }
    }
}

impl PitchClass {
    /// Semitones above C, 0 to 11.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.above_c().rem_euclid(12) as u8
    }

    /// The pitch class `number` semitones above C, with a sharp or a flat where it needs one.
    #[must_use]
    pub const fn from_number(number: u8, flats: bool) -> Self {
        let (sharp_letter, flat_letter) = match number % 12 {
            0 => (Letter::C, Letter::C),
            1 => (Letter::C, Letter::D),
            2 => (Letter::D, Letter::D),
            3 => (Letter::D, Letter::E),
            4 => (Letter::E, Letter::E),
            5 => (Letter::F, Letter::F),
            6 => (Letter::F, Letter::G),
            7 => (Letter::G, Letter::G),
            8 => (Letter::G, Letter::A),
            9 => (Letter::A, Letter::A),
            10 => (Letter::A, Letter::B),
            _ => (Letter::B, Letter::B),
        };
        let letter = if flats { flat_letter } else { sharp_letter };
        Self {
            letter,
            accidental: (number % 12) as i8 - letter.semitones(),
        }
    }

    /// The pitch class so many fifths above C (below if negative): 1 is G, -1 is F, 6 is F♯, -2 is B♭.
    pub(super) const fn at_fifths(fifths: i8) -> Self {
        let letter = match (fifths + 1).rem_euclid(7) {
            0 => Letter::F,
            1 => Letter::C,
            2 => Letter::G,
            3 => Letter::D,
            4 => Letter::A,
            5 => Letter::E,
            _ => Letter::B,
        };
        let accidental = (fifths + 1).div_euclid(7);
        Self { letter, accidental }
    }

    /// Fifths above C, below if negative; the other way round than [`Self::at_fifths`].
    pub(super) const fn fifths(self) -> i8 {
        let natural = match self.letter {
            Letter::F => -1,
            Letter::C => 0,
            Letter::G => 1,
            Letter::D => 2,
            Letter::A => 3,
            Letter::E => 4,
            Letter::B => 5,
        };
        natural + 7 * self.accidental
    }

    /// Its letter.
    pub(super) fn letter(self) -> char {
        match self.letter {
            Letter::C => 'C',
            Letter::D => 'D',
            Letter::E => 'E',
            Letter::F => 'F',
            Letter::G => 'G',
            Letter::A => 'A',
            Letter::B => 'B',
        }
    }

    /// Semitones above its letter.
    pub(super) const fn alteration(self) -> i8 {
        self.accidental
    }

    /// Its name as it is said: E flat, F sharp.
    pub(super) fn in_words(self) -> String {
        let accidental = match self.accidental {
            ..=-2 => " double flat",
            -1 => " flat",
            0 => "",
            1 => " sharp",
            2.. => " double sharp",
        };
        format!("{:?}{accidental}", self.letter)
    }

    /// Whether the major key on this note is written with flats.
    #[must_use]
    pub const fn prefers_flats(self) -> bool {
        self.accidental < 0 || (self.accidental == 0 && matches!(self.letter, Letter::F))
    }

    /// Semitones above the C of its octave, as it is spelled: -1 for C♭, 12 for B♯.
    pub(super) const fn above_c(self) -> i8 {
        self.letter.semitones() + self.accidental
    }

    /// Reads a letter and its accidentals, and returns what follows them.
    pub(super) fn read_front(text: &str) -> Result<(Self, &str), NoteError> {
        let mut chars = text.chars();
        let letter = chars
            .next()
            .and_then(Letter::read)
            .ok_or_else(|| NoteError::Letter {
                text: text.to_owned(),
            })?;
        let mut rest = chars.as_str();
        let (mut sharps, mut flats) = (0, 0);
        while let Some(c) = rest.chars().next() {
            match c {
                '#' | '♯' => sharps += 1,
                'x' | '𝄪' => sharps += 2,
                'b' | '♭' => flats += 1,
                '𝄫' => flats += 2,
                '♮' => {}
                _ => break,
            }
            if sharps > 2 || flats > 2 || (sharps > 0 && flats > 0) {
                return Err(NoteError::Accidental {
                    text: text.to_owned(),
                });
            }
            rest = &rest[c.len_utf8()..];
        }
        let accidental = sharps - flats;
        Ok((Self { letter, accidental }, rest))
    }
}

impl std::str::FromStr for PitchClass {
    type Err = NoteError;
    fn from_str(text: &str) -> Result<Self, NoteError> {
        let text = text.trim();
        match Self::read_front(text)? {
            (class, "") => Ok(class),
            _ => Err(NoteError::Class {
                text: text.to_owned(),
            }),
        }
    }
}

impl fmt::Display for PitchClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.accidental < 0 { "b" } else { "#" };
        let count = usize::from(self.accidental.unsigned_abs());
        write!(f, "{:?}{}", self.letter, sign.repeat(count))
    }
}

super::as_string!(PitchClass);
