//! Which notes are wanted: typed one by one, or as a scale between two notes.

use crate::tuning::{Key, NoteError, NoteName, PitchClass};

/// Most notes that are planned at once: what a set file can hold.
pub const MAX_NOTES: usize = 1_000;

/// Scales by name, and semitones above their root.
const SCALES: &[(&str, &[u8])] = &[
    ("major", &[0, 2, 4, 5, 7, 9, 11]),
    ("minor", &[0, 2, 3, 5, 7, 8, 10]),
    ("natural minor", &[0, 2, 3, 5, 7, 8, 10]),
    ("harmonic minor", &[0, 2, 3, 5, 7, 8, 11]),
    ("dorian", &[0, 2, 3, 5, 7, 9, 10]),
    ("phrygian", &[0, 1, 3, 5, 7, 8, 10]),
    ("lydian", &[0, 2, 4, 6, 7, 9, 11]),
    ("mixolydian", &[0, 2, 4, 5, 7, 9, 10]),
    ("major pentatonic", &[0, 2, 4, 7, 9]),
    ("minor pentatonic", &[0, 3, 5, 7, 10]),
    ("blues", &[0, 3, 5, 6, 7, 10]),
    ("chromatic", &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
    ("whole tone", &[0, 2, 4, 6, 8, 10]),
];

/// Notes that cannot be wanted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WantedError {
    /// A word that is no note.
    #[error(transparent)]
    Note(#[from] NoteError),
    /// A count with no note before it, or out of range.
    #[error(
        "\"{text}\" is not a number of bottles; write it behind a note, as in \"C4 x3\", 1 to {MAX_NOTES}"
    )]
    Times {
        /// As written.
        text: String,
    },
    /// No notes at all.
    #[error("there are no notes in {from}")]
    None {
        /// Where they were looked for.
        from: String,
    },
    /// More than a set can hold.
    #[error("{count} notes are more than {MAX_NOTES}, the most that a set holds")]
    TooMany {
        /// How many.
        count: usize,
    },
    /// No such scale.
    #[error("there is no scale {name:?}{nearest}; the scales are {}", scale_names().join(", "))]
    Scale {
        /// As written.
        name: String,
        /// A suggestion.
        nearest: String,
    },
    /// The scale's ends are the wrong way round.
    #[error("the scale ends at {to}, below {from} where it begins")]
    Ends {
        /// Where it begins.
        from: NoteName,
        /// Where it ends.
        to: NoteName,
    },
    /// A note leaves the keyboard when transposed.
    #[error("{note} moved by {semitones:+} semitones is outside C-1 to G9")]
    Transposed {
        /// The note before.
        note: NoteName,
        /// How far it was to move.
        semitones: i32,
    },
}

/// The scales that are known by name.
#[must_use]
pub fn scale_names() -> Vec<&'static str> {
    SCALES.iter().map(|(name, _)| *name).collect()
}

/// Notes apart by spaces or commas; `x3` behind one asks for three bottles of it.
///
/// ```
/// use ullage::plan::wanted::parse_wanted;
/// assert_eq!(parse_wanted("C4 x2, F#4-14c")?.len(), 3);
/// # Ok::<(), ullage::plan::wanted::WantedError>(())
/// ```
///
/// # Errors
/// A word that is no note, a count that is none, nothing at all, or too many.
pub fn parse_wanted(text: &str) -> Result<Vec<NoteName>, WantedError> {
    let mut notes: Vec<NoteName> = Vec::new();
    let words = text
        .split(|c: char| c.is_whitespace() || c == ',' || c == ';')
        .filter(|w| !w.is_empty());
    for word in words {
        let Some(times) = times(word) else {
            // C4x3 in one word; an x before the octave is a double sharp and stays with its note.
            match word.rfind(['x', 'X', '×']).map(|at| word.split_at(at)) {
                Some((note, count)) if note.ends_with(|c: char| c.is_ascii_digit()) => {
                    let note: NoteName = note.parse()?;
                    let count = times(count).ok_or_else(|| bad_times(word))?;
                    repeat(&mut notes, note, count, word)?;
                }
                _ => notes.push(word.parse()?),
            }
            continue;
        };
        let last = notes.pop().ok_or_else(|| bad_times(word))?;
        repeat(&mut notes, last, times, word)?;
    }
    checked(notes, "the list")
}

/// Refuses an empty list, named by where it came `from`, and one that is too long.
///
/// # Errors
/// [`WantedError::None`] or [`WantedError::TooMany`].
pub fn checked(notes: Vec<NoteName>, from: &str) -> Result<Vec<NoteName>, WantedError> {
    match notes.len() {
        0 => Err(WantedError::None { from: from.into() }),
        count if count > MAX_NOTES => Err(WantedError::TooMany { count }),
        _ => Ok(notes),
    }
}

fn bad_times(word: &str) -> WantedError {
    WantedError::Times { text: word.into() }
}

fn times(word: &str) -> Option<usize> {
    word.strip_prefix(['x', 'X', '×'])?.parse().ok()
}

fn repeat(
    notes: &mut Vec<NoteName>,
    note: NoteName,
    times: usize,
    word: &str,
) -> Result<(), WantedError> {
    if !(1..=MAX_NOTES).contains(&times) {
        return Err(bad_times(word));
    }
    notes.extend(std::iter::repeat_n(note, times));
    Ok(())
}

/// The notes of a scale such as "D dorian" from one note to another, both included where they belong to it.
///
/// # Errors
/// A root that is no note, an unknown scale (the nearest is named), or ends the wrong way round.
pub fn scale(text: &str, from: NoteName, to: NoteName) -> Result<Vec<NoteName>, WantedError> {
    let text = text.trim();
    let (root, name) = text
        .split_once(char::is_whitespace)
        .unwrap_or((text, "major"));
    let root: PitchClass = root.parse()?;
    let steps = steps(name)?;
    if to.midi() < from.midi() {
        return Err(WantedError::Ends { from, to });
    }
    // Three semitones up from a minor root is the major key that it is spelled like.
    let minor = steps.contains(&3) && !steps.contains(&4);
    let spelled_like = if minor {
        PitchClass::from_number((root.number() + 3) % 12, true)
    } else {
        root
    };
    let flats = root.prefers_flats() || (spelled_like.prefers_flats() && !sharp(root));
    let belongs = |key: &u8| steps.contains(&((*key + 12 - root.number()) % 12));
    let spelled = |key: u8| {
        let class = PitchClass::from_number(key % 12, flats);
        let octave = i32::from(key) / 12 - 1;
        format!("{class}{octave}").parse::<NoteName>()
    };
    let notes = (from.midi()..=to.midi()).filter(belongs).map(spelled);
    checked(
        notes.collect::<Result<_, _>>()?,
        &format!("{text} from {from} to {to}"),
    )
}

fn sharp(root: PitchClass) -> bool {
    root.to_string().contains('#')
}

fn steps(name: &str) -> Result<&'static [u8], WantedError> {
    let wanted = name.to_lowercase().replace(['-', '_'], " ");
    let wanted = wanted.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some((_, steps)) = SCALES.iter().find(|(known, _)| *known == wanted) {
        return Ok(steps);
    }
    let likeness = |known: &str| strsim::jaro_winkler(known, &wanted);
    let near = scale_names()
        .into_iter()
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    let nearest = near.map_or_else(String::new, |near| format!("; did you mean {near:?}?"));
    Err(WantedError::Scale {
        name: name.trim().into(),
        nearest,
    })
}

/// All of them moved by `semitones`, out of `key` into the key there.
///
/// # Errors
/// [`WantedError::Transposed`] for the first that leaves the keyboard.
pub fn transposed(
    notes: &[NoteName],
    key: Key,
    semitones: i32,
) -> Result<Vec<NoteName>, WantedError> {
    let there = key.transposed(semitones);
    let moved = |note: &NoteName| match semitones {
        // A note that does not move keeps its spelling.
        0 => Ok(*note),
        _ => there.moved(note, semitones).ok_or(WantedError::Transposed {
            note: *note,
            semitones,
        }),
    };
    notes.iter().map(moved).collect()
}
