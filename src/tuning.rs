//! Notes by name, and what pitch each of them has: temperaments around a reference A.
//!
//! A [`NoteName`] is what people write (`F#4`, `Bb3-14c`); a [`Tuning`] turns it into a frequency and
//! turns a frequency back into the nearest note. The reference is always the A above middle C: A4
//! sounds at `a4_hz` in every temperament and every key, and the other eleven notes move around it.
//!
//! A temperament here is twelve pitches to the octave, so that F♯ and G♭ are one and the same pitch,
//! however they are spelled.

/// Lets serde read and write a type as the text that people write.
macro_rules! as_string {
    ($type:ty) => {
        impl TryFrom<String> for $type {
            type Error = crate::tuning::NoteError;
            fn try_from(text: String) -> Result<Self, Self::Error> {
                text.parse()
            }
        }
        impl From<$type> for String {
            fn from(value: $type) -> Self {
                value.to_string()
            }
        }
    };
}
use as_string;

mod class;
mod key;
mod names;
mod note;
mod temperament;

pub use class::PitchClass;
pub use key::Key;
pub use names::{NoteNames, Speller};
pub use note::{NoteError, NoteName};
pub use temperament::{Temperament, TemperamentError};

use crate::units::{CENTS_PER_OCTAVE, Frequency, Interval};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Keys in an octave.
pub(crate) const KEYS_PER_OCTAVE: i32 = 12;

/// The key number of A4 in MIDI's count.
const A4_KEY: i32 = 69;

/// Lowest and highest reference A, Hz. Historic pitches from French baroque (about 392) to high
/// Chorton (about 466) lie inside. Common practice, no source.
const A4_RANGE_HZ: (f64, f64) = (380.0, 500.0);

/// The concert pitch that is meant when nobody says. ISO 16:1975.
const A4_HZ: f64 = 440.0;

/// A tuning that cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TuningError {
    /// The reference A is far from anything that was ever played.
    #[error("a4_hz = {a4_hz} is outside {min_hz} to {max_hz} Hz; concert pitch is 440")]
    Reference {
        /// What was asked for, Hz.
        a4_hz: f64,
        /// The lowest that is taken, Hz.
        min_hz: f64,
        /// The highest that is taken, Hz.
        max_hz: f64,
    },
}

/// How the notes are tuned: the pitch of A4, the temperament, and the note that it is built on.
///
/// ```
/// use ullage::tuning::{NoteName, Tuning};
/// let piano = Tuning::default();
/// let middle_c: NoteName = "C4".parse()?;
/// assert!((piano.frequency(&middle_c).hz() - 261.6256).abs() < 1e-4);
/// # Ok::<(), ullage::tuning::NoteError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "Written", into = "Written")]
pub struct Tuning {
    a4: Frequency,
    temperament: Temperament,
    tonic: PitchClass,
    /// Cents above the tonic of each of the twelve keys from it, worked out once.
    steps_cents: [f64; 12],
}

/// A tuning as it stands in a file.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
#[schemars(rename = "Tuning")]
struct Written {
    /// The pitch of the A above middle C, in hertz, 380 to 500.
    #[schemars(range(min = 380.0, max = 500.0))]
    a4_hz: f64,
    /// "equal", "just", "pythagorean", "meantone", or a list of twelve cents above the tonic.
    temperament: Temperament,
    /// The note that the temperament is built on. It makes no difference to "equal".
    tonic: PitchClass,
}

impl Default for Written {
    fn default() -> Self {
        Tuning::default().into()
    }
}

impl TryFrom<Written> for Tuning {
    type Error = TuningError;
    fn try_from(written: Written) -> Result<Self, TuningError> {
        Self::new(
            Frequency::from_hz(written.a4_hz),
            written.temperament,
            written.tonic,
        )
    }
}

impl From<Tuning> for Written {
    fn from(tuning: Tuning) -> Self {
        Self {
            a4_hz: tuning.a4.hz(),
            temperament: tuning.temperament,
            tonic: tuning.tonic,
        }
    }
}

impl Default for Tuning {
    /// Equal temperament at 440 Hz.
    fn default() -> Self {
        Self::new(
            Frequency::from_hz(A4_HZ),
            Temperament::Equal,
            PitchClass::default(),
        )
        .expect("concert pitch is in range")
    }
}

impl Tuning {
    /// A tuning with A4 at `a4` and `temperament` built on `tonic`.
    ///
    /// # Errors
    /// [`TuningError::Reference`] when `a4` is outside 380 to 500 Hz or not a number.
    pub fn new(
        a4: Frequency,
        temperament: Temperament,
        tonic: PitchClass,
    ) -> Result<Self, TuningError> {
        let (min_hz, max_hz) = A4_RANGE_HZ;
        let a4_hz = a4.hz();
        if !(min_hz..=max_hz).contains(&a4_hz) {
            return Err(TuningError::Reference {
                a4_hz,
                min_hz,
                max_hz,
            });
        }
        let steps_cents = temperament.steps().map(Interval::cents);
        Ok(Self {
            a4,
            temperament,
            tonic,
            steps_cents,
        })
    }

    /// The pitch of A4.
    #[must_use]
    pub const fn a4(&self) -> Frequency {
        self.a4
    }

    /// The temperament.
    #[must_use]
    pub const fn temperament(&self) -> &Temperament {
        &self.temperament
    }

    /// The note that the temperament is built on.
    #[must_use]
    pub const fn tonic(&self) -> PitchClass {
        self.tonic
    }

    /// The pitch of `note`, its own cents included.
    #[must_use]
    pub fn frequency(&self, note: &NoteName) -> Frequency {
        let above_a4 = self.key_cents(note.key()) + note.cents().cents();
        self.a4.raised_by(Interval::from_cents(above_a4))
    }

    /// The note nearest to `pitch` in this tuning, and how far `pitch` is above it.
    ///
    /// Notes are spelled with flats when the tonic is on the flat side (F, B♭, E♭, A♭, D♭, G♭) and
    /// with sharps otherwise. The answer is always one of the 128 keys of MIDI, C-1 to G9, however
    /// far `pitch` lies beyond them; the interval of a pitch that is zero or negative is not finite.
    ///
    /// ```
    /// use ullage::{tuning::Tuning, units::Frequency};
    /// let (note, off) = Tuning::default().nearest(Frequency::from_hz(372.0));
    /// assert_eq!(note.to_string(), "F#4");
    /// assert!((off.cents() - 9.36).abs() < 0.01);
    /// ```
    #[must_use]
    pub fn nearest(&self, pitch: Frequency) -> (NoteName, Interval) {
        let above_a4_cents = pitch.interval_above(self.a4).cents();
        // The cast saturates, so that the clamp also catches what is not finite.
        let guess = A4_KEY.saturating_add((above_a4_cents / 100.0).round() as i32);
        let off_cents = |key: i32| above_a4_cents - self.key_cents(key);
        // No step is more than a semitone from its equal-tempered place, and A4 may itself have been
        // moved by as much against the tonic, so that the nearest key is at most two away.
        let nearest = (guess.saturating_sub(2)..=guess.saturating_add(2))
            .map(|key| key.clamp(0, 127))
            .min_by(|&a, &b| off_cents(a).abs().total_cmp(&off_cents(b).abs()))
            .expect("five candidates");
        let note = NoteName::from_key(nearest, self.tonic.prefers_flats());
        (note, Interval::from_cents(off_cents(nearest)))
    }

    /// Cents from A4 up to a key.
    fn key_cents(&self, key: i32) -> f64 {
        self.above_tonic_cents(key) - self.above_tonic_cents(A4_KEY)
    }

    /// Cents from the tonic below key 0 up to a key.
    fn above_tonic_cents(&self, key: i32) -> f64 {
        let from_tonic = key - i32::from(self.tonic.number());
        let octaves = from_tonic.div_euclid(KEYS_PER_OCTAVE);
        let step = from_tonic.rem_euclid(KEYS_PER_OCTAVE) as usize;
        f64::from(octaves) * CENTS_PER_OCTAVE + self.steps_cents[step]
    }
}
