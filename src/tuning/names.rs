//! How notes are called: in English, in German, or with the syllables of solmisation.

use std::fmt;

use super::{Key, NoteName, PitchClass};

/// Naturals from C up, as they are sung; fixed do has Si where movable do has Ti.
const SYLLABLES: [&str; 7] = ["do", "re", "mi", "fa", "sol", "la", "ti"];
/// The same raised and lowered by a semitone; nothing where there is no syllable of its own.
/// Choksy, *The Kodály Method*, 1999, and common practice.
const RAISED: [Option<&str>; 7] = [
    Some("di"),
    Some("ri"),
    None,
    Some("fi"),
    Some("si"),
    Some("li"),
    None,
];
const LOWERED: [Option<&str>; 7] = [
    None,
    Some("ra"),
    Some("me"),
    None,
    Some("se"),
    Some("le"),
    Some("te"),
];

/// A way of calling notes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum NoteNames {
    /// C D E F G A B, with # and b: as they are typed and written in every file.
    #[default]
    English,
    /// C D E F G A H, with -is and -es; B is the note below H.
    German,
    /// Do Re Mi Fa Sol La Si, do being C.
    DoFixed,
    /// do re mi fa sol la ti, do being the tonic of a major key, and la that of a minor one.
    DoMovable,
}

impl NoteNames {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::English, Self::German, Self::DoFixed, Self::DoMovable];

    /// Its name, as it is chosen.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::English => "english",
            Self::German => "german",
            Self::DoFixed => "do-fixed",
            Self::DoMovable => "do-movable",
        }
    }
}

impl fmt::Display for NoteNames {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Says notes as their readers call them. Octaves are counted as in English names, whatever the name: middle C is in octave 4.
///
/// ```
/// use ullage::tuning::{Key, NoteName, NoteNames, Speller};
/// let b_flat: NoteName = "Bb3".parse()?;
/// let f_major = Key::new(-1, false).ok_or("no key")?;
/// let said = |names| Speller::new(names, f_major).note(&b_flat);
/// let all = NoteNames::ALL.map(said);
/// assert_eq!(all, ["Bb3", "B3", "Sib3", "fa3"]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Speller {
    names: NoteNames,
    key: Key,
}

impl Speller {
    /// With these names, in `key`, which tells where a movable do is.
    #[must_use]
    pub const fn new(names: NoteNames, key: Key) -> Self {
        Self { names, key }
    }

    /// A note.
    #[must_use]
    pub fn note(&self, note: &NoteName) -> String {
        if self.names == NoteNames::English {
            return note.to_string();
        }
        // What stands behind the letter and its accidentals is the same in every language.
        let written = note.to_string();
        let rest = &written[note.class().to_string().len()..];
        self.class(note.class()) + rest
    }

    /// A note without its octave.
    #[must_use]
    pub fn class(&self, class: PitchClass) -> String {
        match self.names {
            NoteNames::English => class.to_string(),
            NoteNames::German => german(class),
            NoteNames::DoFixed => fixed(class),
            NoteNames::DoMovable => movable(class, self.key),
        }
    }

    /// `text` with every note in it that has an octave, such as the two of `A3 or Bb3`.
    #[must_use]
    pub fn text(&self, text: &str) -> String {
        if self.names == NoteNames::English {
            return text.to_owned();
        }
        let between = |c: char| c.is_whitespace() || "(),;:\"".contains(c);
        let said = |piece: &str| {
            let word = piece.trim_end_matches(between);
            let capital = word.starts_with(|c: char| c.is_ascii_uppercase());
            match word.parse::<NoteName>() {
                Ok(note) if capital => self.note(&note) + &piece[word.len()..],
                _ => piece.to_owned(),
            }
        };
        text.split_inclusive(between).map(said).collect()
    }

    /// A key: `E flat major`, `Es-Dur`. A movable do leaves it as it is.
    #[must_use]
    pub fn key(&self, key: Key) -> String {
        let tonic = self.class(key.tonic());
        match (self.names, key.is_minor()) {
            (NoteNames::English | NoteNames::DoMovable, _) => key.to_string(),
            (NoteNames::German, false) => format!("{tonic}-Dur"),
            (NoteNames::German, true) => format!("{}-Moll", tonic.to_lowercase()),
            (NoteNames::DoFixed, false) => format!("{tonic} major"),
            (NoteNames::DoFixed, true) => format!("{tonic} minor"),
        }
    }
}

fn german(class: PitchClass) -> String {
    let letter = class.letter();
    let sharps = |count: i8| "is".repeat(usize::from(count.unsigned_abs()));
    match (letter, class.alteration()) {
        ('B', 0) => "H".to_owned(),
        ('B', -1) => "B".to_owned(),
        ('B', -2) => "Heses".to_owned(),
        ('B', up) => format!("H{}", sharps(up)),
        // A and E drop the vowel of -es.
        ('A' | 'E', -1) => format!("{letter}s"),
        ('A', -2) => "Asas".to_owned(),
        ('E', -2) => "Eses".to_owned(),
        (_, down) if down < 0 => {
            format!("{letter}{}", "es".repeat(usize::from(down.unsigned_abs())))
        }
        (_, up) => format!("{letter}{}", sharps(up)),
    }
}

fn fixed(class: PitchClass) -> String {
    let name = match class.letter() {
        'C' => "Do",
        'D' => "Re",
        'E' => "Mi",
        'F' => "Fa",
        'G' => "Sol",
        'A' => "La",
        _ => "Si",
    };
    name.to_owned() + &signs(class.alteration())
}

fn movable(class: PitchClass, key: Key) -> String {
    // Fifths above do, each of the seven letters being a fifth further than the one before it.
    let steps = class.fifths() - key.fifths();
    // F is -1 fifths from C, and so is fa from do.
    let degree = match (steps + 1).rem_euclid(7) {
        0 => 3,
        1 => 0,
        2 => 4,
        3 => 1,
        4 => 5,
        5 => 2,
        _ => 6,
    };
    let alteration = (steps + 1).div_euclid(7);
    let own = match alteration {
        0 => Some(SYLLABLES[degree]),
        1 => RAISED[degree],
        -1 => LOWERED[degree],
        _ => None,
    };
    match own {
        Some(syllable) => syllable.to_owned(),
        None => SYLLABLES[degree].to_owned() + &signs(alteration),
    }
}

fn signs(alteration: i8) -> String {
    let sign = if alteration < 0 { "b" } else { "#" };
    sign.repeat(usize::from(alteration.unsigned_abs()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn key(fifths: i8, minor: bool) -> Key {
        Key::new(fifths, minor).unwrap()
    }

    fn said(names: NoteNames, key: Key, text: &str) -> String {
        Speller::new(names, key).text(text)
    }

    #[test]
    fn german_has_h_and_b_and_its_own_endings() {
        let all =
            "C4 C#4 Db4 D4 D#4 Eb4 E4 F#4 Gb4 G#4 Ab4 A4 A#4 Bb4 B4 Cb5 B#3 Bbb3 F##3 Ebb4 Abb4";
        let german = "C4 Cis4 Des4 D4 Dis4 Es4 E4 Fis4 Ges4 Gis4 As4 A4 Ais4 B4 H4 Ces5 His3 Heses3 Fisis3 Eses4 Asas4";
        assert_eq!(said(NoteNames::German, key(0, false), all), german);
    }

    #[test]
    fn a_fixed_do_is_c_and_a_movable_one_is_the_tonic() {
        let c = key(0, false);
        assert_eq!(
            said(NoteNames::DoFixed, c, "C4 F#4 Bb3 B3"),
            "Do4 Fa#4 Sib3 Si3"
        );
        let scale = "Eb4 F4 G4 Ab4 Bb4 C5 D5 Eb5";
        let sung = "do4 re4 mi4 fa4 sol4 la5 ti5 do5";
        assert_eq!(said(NoteNames::DoMovable, key(-3, false), scale), sung);
        // A minor scale begins on la, and its raised seventh is si.
        assert_eq!(
            said(NoteNames::DoMovable, key(0, true), "A3 B3 C4 G#4 A4"),
            "la3 ti3 do4 si4 la4"
        );
        assert_eq!(
            said(NoteNames::DoMovable, c, "C#4 Db4 E#4 Fb4 Cb4 F##4"),
            "di4 ra4 mi#4 fab4 dob4 fa##4"
        );
    }

    #[test]
    fn only_notes_with_an_octave_are_said_in_a_text_and_what_is_around_them_stays() {
        let text = "Missing Bb3: 2 times, bar 3; nearest is A3-14c (+1), as \"B4\" or D (b3)";
        let german = "Missing B3: 2 times, bar 3; nearest is A3-14c (+1), as \"H4\" or D (b3)";
        assert_eq!(said(NoteNames::German, key(0, false), text), german);
        assert_eq!(said(NoteNames::English, key(0, false), text), text);
    }

    #[test]
    fn keys_are_called_as_their_notes_are() {
        let said = |names, key| Speller::new(names, key).key(key);
        assert_eq!(said(NoteNames::German, key(-3, false)), "Es-Dur");
        assert_eq!(said(NoteNames::German, key(2, true)), "h-Moll");
        assert_eq!(said(NoteNames::DoFixed, key(-2, false)), "Sib major");
        assert_eq!(said(NoteNames::DoMovable, key(-2, false)), "B flat major");
    }
}
