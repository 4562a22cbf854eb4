//! One question has one answer, whoever is asked: a set that is heard in another room than it was poured in, a bottle that is
//! listened to, and a piece that is opened, by every command and by the window.

mod heard;
#[cfg(feature = "window")]
mod piece;
mod poured;
mod room;
mod sound;
mod taps;
#[cfg(feature = "window")]
mod window;

use std::path::PathBuf;

use serde_json::Value;
use ullage::score::{Score, ScoreNote, Track};

use crate::common::command::json;
use crate::common::files::{Folder, arg as text};
use crate::common::measure::cents;

/// Two answers that differ by less are one: JSON has pitches to 1e-4 Hz, which is 0.002 cents at 100 Hz.
const SAME_CENTS: f64 = 0.01;

/// A folder with a file of this content in it.
fn file(name: &str, content: impl AsRef<[u8]>) -> (Folder, PathBuf) {
    let folder = Folder::new();
    let path = folder.write(name, content);
    (folder, path)
}

/// The number under `key` of the row of `note`.
#[track_caller]
fn of_note(rows: &Value, note: &str, key: &str) -> f64 {
    let mut rows = rows.as_array().unwrap().iter();
    let row = rows.find(|row| row["note"] == note);
    let found = row.and_then(|row| row[key].as_f64());
    found.unwrap_or_else(|| panic!("no {key} of {note}"))
}

/// The note's pitch in a row of `predict`.
fn first_hz(row: &Value) -> f64 {
    row["resonances"][0]["hz"].as_f64().unwrap()
}

/// A piece in which these keys sound at once.
fn piece_of(keys: &[u8]) -> Score {
    let note = |key: &u8| ScoreNote {
        start_s: 0.0,
        stop_s: 2.0,
        key: *key,
        velocity: 80,
        track: 0,
        channel: 0,
    };
    Score {
        notes: keys.iter().map(note).collect(),
        tracks: vec![Track::default()],
        ..Score::default()
    }
}
