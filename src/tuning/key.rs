//! Keys: which sharps or flats a piece is written with, and how its notes are spelled.

use super::{NoteName, PitchClass};
use std::fmt;

/// Most sharps or flats of a key signature.
const MOST_FIFTHS: i8 = 7;
/// Most sharps or flats of a key that is chosen: beyond it the same key is written with fewer of the other kind.
const MOST_CHOSEN: i8 = 6;
/// Fifths below a major tonic that its notes may lie, and with them the eight above: of C, from E♭ to G♯.
///
/// The raised sevenths of the relative minor and of its neighbours are inside. Common practice, no source.
const BELOW: i8 = 3;
/// Ends of the line of fifths without double accidentals: F♭ and B♯.
const SINGLE: (i8, i8) = (-8, 12);

/// How much each step of a major scale belongs to it, semitone by semitone from the tonic.
/// Krumhansl, *Cognitive Foundations of Musical Pitch*, 1990, probe-tone ratings; from memory.
const MAJOR: [f64; 12] = [
    6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88,
];
/// The same of a minor scale.
const MINOR: [f64; 12] = [
    6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17,
];

/// A key of music, such as E flat major.
///
/// ```
/// use ullage::tuning::Key;
/// let key = Key::new(-1, false).ok_or("no key")?;
/// assert_eq!(key.to_string(), "F major");
/// // What a keyboard plays as A sharp is the B flat of this key.
/// assert_eq!(key.spelled(70).to_string(), "Bb4");
/// # Ok::<(), &str>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Key {
    /// Sharps of the signature, flats below 0.
    fifths: i8,
    minor: bool,
}

impl Key {
    /// The key of so many sharps (flats below 0), major or minor; `None` beyond seven.
    #[must_use]
    pub const fn new(fifths: i8, minor: bool) -> Option<Self> {
        if fifths < -MOST_FIFTHS || fifths > MOST_FIFTHS {
            return None;
        }
        Some(Self { fifths, minor })
    }

    /// The key that notes fit best, by how long or how often each of the twelve sounds, from C up: the one that has most of
    /// them, with the fewest accidentals, and of its major and its minor the one whose steps weigh most alike (Krumhansl
    /// 1990). C major if nothing sounds.
    #[must_use]
    pub fn best_for(weights: &[f64; 12]) -> Self {
        let sum: f64 = weights.iter().sum();
        if sum.is_nan() || sum <= 0.0 {
            return Self::default();
        }
        let all = (-MOST_CHOSEN..=MOST_CHOSEN)
            .flat_map(|fifths| [false, true].map(|minor| Self { fifths, minor }));
        // To the hundredth: a passing note is no reason for five more flats.
        let own_share = |key: &Self| {
            let own = (0..12u8).filter(|class| key.has(*class));
            let own: f64 = own.map(|class| weights[usize::from(class)]).sum();
            (100.0 * own / sum).round()
        };
        let likeness = |key: &Self| {
            let profile = if key.minor { &MINOR } else { &MAJOR };
            let tonic = usize::from(key.tonic().number());
            let from_tonic: [f64; 12] = std::array::from_fn(|step| weights[(tonic + step) % 12]);
            correlation(&from_tonic, profile)
        };
        let better = |a: &Self, b: &Self| {
            let by_share = own_share(a).total_cmp(&own_share(b));
            let fewer = b.fifths.abs().cmp(&a.fifths.abs());
            let by_share = by_share.then(fewer);
            by_share
                .then_with(|| likeness(a).total_cmp(&likeness(b)))
                .then(b.fifths.cmp(&a.fifths))
        };
        all.max_by(better).unwrap_or_default()
    }

    /// Whether a pitch class, counted from C, is one of the seven of its signature.
    fn has(self, class: u8) -> bool {
        // The seven lie next to each other in fifths, the first one below the major tonic.
        let from_lowest = 7 * i32::from(class) - i32::from(self.fifths) + 1;
        from_lowest.rem_euclid(12) < 7
    }

    /// The key that a list of notes fits best.
    #[must_use]
    pub fn of_notes(notes: &[NoteName]) -> Self {
        let mut weights = [0.0; 12];
        for note in notes {
            weights[usize::from(note.midi() % 12)] += 1.0;
        }
        Self::best_for(&weights)
    }

    /// Sharps of its signature, flats below 0; -7 to 7.
    #[must_use]
    pub const fn fifths(self) -> i8 {
        self.fifths
    }

    /// Whether it is minor.
    #[must_use]
    pub const fn is_minor(self) -> bool {
        self.minor
    }

    /// The note that it is named after.
    #[must_use]
    pub const fn tonic(self) -> PitchClass {
        PitchClass::at_fifths(self.fifths + if self.minor { 3 } else { 0 })
    }

    /// The same key moved by semitones, written with six accidentals or fewer.
    #[must_use]
    pub fn transposed(self, semitones: i32) -> Self {
        if semitones == 0 {
            return self;
        }
        let moved = i32::from(self.fifths) + 7 * semitones.rem_euclid(12);
        let folded = (moved + 5).rem_euclid(12) - 5;
        Self {
            // Of six sharps and six flats, which sound the same, the kind that it was written with.
            fifths: if folded == 6 && self.fifths < 0 {
                -6
            } else {
                folded as i8
            },
            minor: self.minor,
        }
    }

    /// A key of MIDI's count, 0 to 127, as it is spelled here; at most one sharp or flat.
    #[must_use]
    pub fn spelled(self, key: u8) -> NoteName {
        let low = i32::from(self.fifths - BELOW);
        let mut fifths = low + (7 * i32::from(key) - low).rem_euclid(12);
        let (flattest, sharpest) = (i32::from(SINGLE.0), i32::from(SINGLE.1));
        if fifths < flattest {
            fifths += 12;
        } else if fifths > sharpest {
            fifths -= 12;
        }
        NoteName::of_class(PitchClass::at_fifths(fifths as i8), key)
    }
}

impl Key {
    /// `note` moved by semitones into this key, bent as it is; `None` outside C-1 to G9.
    #[must_use]
    pub fn moved(self, note: &NoteName, semitones: i32) -> Option<NoteName> {
        let key = i32::from(note.midi()).checked_add(semitones)?;
        let key = u8::try_from(key).ok().filter(|key| *key < 128)?;
        Some(self.spelled(key).bent_by(note.cents()))
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mode = if self.minor { "minor" } else { "major" };
        write!(f, "{} {mode}", self.tonic().in_words())
    }
}

/// How alike two lists rise and fall, -1 to 1; 0 for one that is level.
fn correlation(a: &[f64; 12], b: &[f64; 12]) -> f64 {
    let mean = |list: &[f64; 12]| list.iter().sum::<f64>() / 12.0;
    let (mean_a, mean_b) = (mean(a), mean(b));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (x - mean_a, y - mean_b);
        (ab, aa, bb) = (ab + x * y, aa + x * x, bb + y * y);
    }
    if aa * bb > 0.0 {
        ab / (aa * bb).sqrt()
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn key(fifths: i8, minor: bool) -> Key {
        Key::new(fifths, minor).unwrap()
    }

    fn notes(text: &str) -> Vec<NoteName> {
        text.split(' ').map(|note| note.parse().unwrap()).collect()
    }

    fn all_of(key: Key) -> String {
        let spelled = (60..72).map(|k| key.spelled(k).to_string());
        spelled.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn every_note_is_spelled_as_the_key_has_it_and_sounds_the_same() {
        assert_eq!(
            all_of(key(0, false)),
            "C4 C#4 D4 Eb4 E4 F4 F#4 G4 G#4 A4 Bb4 B4"
        );
        assert_eq!(
            all_of(key(-1, false)),
            "C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4"
        );
        assert_eq!(
            all_of(key(3, false)),
            "C4 C#4 D4 D#4 E4 E#4 F#4 G4 G#4 A4 A#4 B4"
        );
        for fifths in -7..=7 {
            for minor in [false, true] {
                let key = key(fifths, minor);
                for midi in 0..128 {
                    let note = key.spelled(midi);
                    assert_eq!(note.midi(), midi, "{key}: {note}");
                    assert!(!note.to_string().contains("##") && !note.to_string().contains("bb"));
                }
            }
        }
    }

    #[test]
    fn a_scale_fits_its_own_key_and_a_cadence_says_whether_it_is_minor() {
        for (text, name) in [
            ("F4 G4 A4 Bb4 C5 D5 E5 F5", "F major"),
            ("Eb4 F4 G4 G#4 A#4 C5 D5 D#5", "E flat major"),
            ("E4 F#4 G#4 A4 B4 C#5 D#5 E5", "E major"),
            ("A3 A3 B3 C4 D4 E4 E4 F4 G#4 A4 A4", "A minor"),
            ("D4 E4 F4 G4 A4 A4 Bb4 C#5 D5 D5", "D minor"),
        ] {
            assert_eq!(Key::of_notes(&notes(text)).to_string(), name, "{text}");
        }
        assert_eq!(Key::of_notes(&[]), Key::default());
    }

    #[test]
    fn a_key_moves_with_its_notes() {
        let f = key(-1, false);
        assert_eq!(f.transposed(-2).to_string(), "E flat major");
        assert_eq!(f.transposed(2).to_string(), "G major");
        assert_eq!(f.transposed(1).to_string(), "G flat major");
        assert_eq!(key(-3, true).transposed(12), key(-3, true));
        for fifths in -6..=6 {
            for semitones in -24..=24 {
                let moved = key(fifths, true).transposed(semitones).tonic().number();
                let tonic = i32::from(key(fifths, true).tonic().number());
                assert_eq!(i32::from(moved), (tonic + semitones).rem_euclid(12));
            }
        }
    }
}
