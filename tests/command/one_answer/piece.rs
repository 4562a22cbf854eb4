//! A piece that is opened in the window.

use std::path::Path;

use ullage::app::{Document, PracticeAsk, Session};
use ullage::file::piece::{WhenBroken, open, open_with};
use ullage::file::smf::to_smf;

use super::*;
use crate::common::window::silent_session;

/// A grace note, which no bottle plays, before a note that one does.
const GRACE: &str = "<score-partwise><part-list><score-part id=\"P\"/></part-list><part id=\"P\"><measure number=\"1\">\
    <attributes><divisions>1</divisions></attributes>\
    <note><grace/><pitch><step>C</step><octave>4</octave></pitch></note>\
    <note><pitch><step>D</step><octave>4</octave></pitch><duration>4</duration></note>\
    </measure></part></score-partwise>";

fn opened(piece: &Path) -> Session {
    let mut session = silent_session(Document::open(Path::new("presets/quay/set.toml")).unwrap());
    session.apply(PracticeAsk::Open(piece.to_owned()));
    session
}

/// The words after dashes, such as `--up-to-break`: they are of no use to who has no command line.
fn options(note: &str) -> Vec<&str> {
    let words = note.split(|c: char| c.is_whitespace() || "`,;:()".contains(c));
    words.filter(|word| word.starts_with("--")).collect()
}

#[test]
fn what_of_a_piece_is_not_played_as_written_is_said_in_the_window() {
    let (_folder, piece) = file("grace.musicxml", GRACE);
    let session = opened(&piece);
    assert!(session.state.practice.is_some());
    let note = &session.state.note.as_ref().unwrap().text;
    assert!(note.contains("grace notes are left out"), "{note:?}");
    assert_eq!(options(note), Vec::<&str>::new());
}

#[test]
fn a_broken_piece_is_told_in_the_window_without_options_that_only_a_command_has() {
    let whole = to_smf(&piece_of(&[62, 64])).unwrap();
    let (_folder, piece) = file("cut.mid", &whole[..whole.len() - 12]);
    let session = opened(&piece);
    let note = &session.state.note.as_ref().unwrap().text;
    assert!(note.contains("can be read"), "{note:?}");
    assert_eq!(options(note), Vec::<&str>::new(), "{note:?}");
}

/// As `play --piece` gives it to the window.
#[test]
fn what_of_a_piece_is_not_played_as_written_is_said_in_a_window_that_opens_with_it() {
    let (_folder, piece) = file("grace.musicxml", GRACE);
    let inside = opened(&piece).state.note.unwrap();
    let mut session = silent_session(Document::open(Path::new("presets/quay/set.toml")).unwrap());
    session.open_piece(open(&piece).unwrap());
    let note = session.state.note.clone().unwrap();
    assert!(note.text.contains("grace notes are left out"), "{note:?}");
    assert_eq!(note, inside);
}

#[test]
fn a_broken_piece_that_is_played_up_to_the_break_is_said_to_be_broken_in_the_window() {
    let whole = to_smf(&piece_of(&[62, 64])).unwrap();
    let (_folder, piece) = file("cut.mid", &whole[..whole.len() - 12]);
    let mut session = silent_session(Document::open(Path::new("presets/quay/set.toml")).unwrap());
    session.open_piece(open_with(&piece, WhenBroken::UpToBreak).unwrap());
    let note = &session.state.note.as_ref().unwrap().text;
    assert!(note.contains("broken and not whole"), "{note:?}");
    assert_eq!(options(note), Vec::<&str>::new(), "{note:?}");
}

#[test]
fn a_piece_with_a_grace_note_is_opened() {
    let (_folder, piece) = file("grace.musicxml", GRACE);
    assert!(opened(&piece).state.practice.is_some());
}

#[test]
fn opening_a_piece_in_the_window_prints_nothing() {
    let mut this = std::process::Command::new(std::env::current_exe().unwrap());
    let opens = "one_answer::piece::a_piece_with_a_grace_note_is_opened";
    let output = this
        .args([opens, "--exact", "--nocapture"])
        .output()
        .unwrap();
    let (out, err) = (&output.stdout, String::from_utf8_lossy(&output.stderr));
    let out = String::from_utf8_lossy(out);
    assert!(
        output.status.success() && out.contains("1 passed"),
        "{out}{err}"
    );
    assert_eq!(err, "");
    assert!(!out.contains("grace notes"), "{out}");
}
