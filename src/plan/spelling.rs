//! How the notes of a piece are spelled, and the piece in another key.
//!
//! ```
//! use ullage::plan::spelling::{key_of, moved};
//!
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let there = moved(&piece.score, -4);
//! // What is a major third lower is so in name, too: of G it is E flat, not D sharp.
//! let (key, lower) = (key_of(&piece.score), key_of(&there));
//! assert_eq!((key.to_string(), lower.to_string()), ("G major".to_owned(), "E flat major".to_owned()));
//! assert_eq!(lower.spelled(63).to_string(), "Eb4");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::score::{Score, Signature};
use crate::tuning::Key;

/// The key of a piece: that of its first signature, or the one that its notes fit best, by how long they sound.
#[must_use]
pub fn key_of(score: &Score) -> Key {
    let signed = score.signature.and_then(|s| Key::new(s.fifths, s.minor));
    signed.unwrap_or_else(|| {
        let mut weights = [0.0; 12];
        for note in &score.notes {
            weights[usize::from(note.key % 12)] += note.held_s();
        }
        Key::best_for(&weights)
    })
}

/// The piece moved by semitones, its signature with it. A note that would leave the keyboard of MIDI stays at its end.
#[must_use]
pub fn moved(score: &Score, semitones: i32) -> Score {
    let mut there = score.clone();
    if semitones == 0 {
        return there;
    }
    for note in &mut there.notes {
        // In range after the clamp.
        note.key = (i32::from(note.key) + semitones).clamp(0, 127) as u8;
    }
    let key = key_of(score).transposed(semitones);
    there.signature = score.signature.map(|_| Signature {
        fifths: key.fifths(),
        minor: key.is_minor(),
    });
    there.sort();
    there
}
