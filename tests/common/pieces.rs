//! Pieces of music made for tests.

use std::path::Path;

use ullage::file::smf::{Percussion, from_smf, to_smf};
use ullage::score::{Score, ScoreNote, Track};

/// A note of the first track, neither loud nor soft.
pub fn note(key: u8, start_s: f64, stop_s: f64) -> ScoreNote {
    ScoreNote {
        start_s,
        stop_s,
        key,
        velocity: 80,
        track: 0,
        channel: 0,
    }
}

/// A piece of these notes, in as many tracks as they name: `part 0`, `part 1` and so on.
pub fn piece(notes: Vec<ScoreNote>) -> Score {
    let tracks = notes.iter().map(|n| n.track).max().unwrap_or(0) + 1;
    let part = |number| Track {
        name: format!("part {number}"),
    };
    let mut score = Score {
        notes,
        tracks: (0..tracks).map(part).collect(),
        ..Score::default()
    };
    score.sort();
    score
}

/// The bytes of the MIDI file of a piece.
pub fn midi(score: &Score) -> Vec<u8> {
    to_smf(score).unwrap()
}

/// The piece in a MIDI file, without its drums.
pub fn read_midi(path: impl AsRef<Path>) -> Score {
    from_smf(&std::fs::read(path).unwrap(), Percussion::Skip).unwrap()
}
