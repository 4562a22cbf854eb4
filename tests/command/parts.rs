//! Parts for players: a page each that is complete in itself, a MIDI file each, and together the piece.

use std::path::{Path, PathBuf};
use std::process::Output;

use crate::common::command::report;
use assert_cmd::Command;
use ullage::file::smf::{Percussion, from_smf, to_smf};
use ullage::score::{Metre, Score, ScoreNote, Track};

fn preset(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("presets/quay")
        .join(file)
}

fn parts(piece: &Path, out: &Path, more: &[&str]) -> Output {
    Command::cargo_bin("ullage")
        .unwrap()
        .args(["parts", "--json"])
        .arg(preset("set.toml"))
        .arg("--piece")
        .arg(piece)
        .arg("--out")
        .arg(out)
        .args(more)
        .output()
        .unwrap()
}

fn score(path: &Path) -> Score {
    from_smf(&std::fs::read(path).unwrap(), Percussion::Skip).unwrap()
}

/// What is played when, whoever plays it, in ticks.
fn played(score: &Score) -> Vec<(u64, u64, u8, u8)> {
    let tick = |s: f64| (score.quarter_at(s) * f64::from(score.ticks_per_quarter)).round() as u64;
    let notes = score.notes.iter();
    let notes = notes.map(|n| (tick(n.start_s), tick(n.stop_s), n.key, n.velocity));
    let mut notes: Vec<_> = notes.collect();
    notes.sort_unstable();
    notes
}

#[test]
fn the_parts_of_enough_players_are_together_the_whole_piece() {
    let folder = tempfile::tempdir().unwrap();
    let report = report(&parts(&preset("piece.mid"), folder.path(), &[]));
    assert_eq!(report["lost"], serde_json::json!([]));
    assert_eq!(report["exact"], true);
    let players = report["players"].as_array().unwrap();
    assert_eq!(players.len(), 11);
    let whole = played(&score(&preset("piece.mid")));
    assert_eq!(played(&score(&folder.path().join("everybody.mid"))), whole);
    let mut together = Vec::new();
    for (number, player) in (1..).zip(players) {
        let own = score(&folder.path().join(format!("player-{number:02}.mid")));
        assert_eq!(own.notes.len() as u64, player["notes"].as_u64().unwrap());
        together.extend(played(&own));
    }
    together.sort_unstable();
    assert_eq!(together, whole);
    for file in report["files"].as_array().unwrap() {
        assert!(Path::new(file.as_str().unwrap()).exists(), "{file}");
    }
}

#[test]
fn five_players_keep_the_whole_tune_and_are_told_what_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let more = ["--players", "5", "--keep", "tune", "--shorten-pct", "50"];
    let report = report(&parts(&preset("piece.mid"), folder.path(), &more));
    let lost = report["lost"].as_array().unwrap();
    println!("{} of 189 notes are lost with 5 players", lost.len());
    let everybody = score(&folder.path().join("everybody.mid"));
    assert_eq!(everybody.notes.len() + lost.len(), 189);
    assert_eq!(everybody.tracks.len(), 5);
    let whole = score(&preset("piece.mid"));
    let tune = whole.tracks.iter().position(|t| t.name == "tune").unwrap();
    let begins: Vec<(u64, u8)> = played(&everybody).iter().map(|n| (n.0, n.2)).collect();
    let grid = f64::from(whole.ticks_per_quarter);
    for note in whole.notes.iter().filter(|n| n.track == tune) {
        let at = (whole.quarter_at(note.start_s) * grid).round() as u64;
        assert!(begins.contains(&(at, note.key)), "{note:?}");
    }
    let page = std::fs::read_to_string(folder.path().join("conductor.html")).unwrap();
    assert!(page.contains("Nobody plays"));
}

#[test]
fn what_is_written_for_five_can_be_played_by_five_as_it_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let more = ["--players", "5", "--keep", "tune", "--shorten-pct", "50"];
    report(&parts(&preset("piece.mid"), folder.path(), &more));
    // What was cut short to reach the other bottle is short in the file: no more has to be cut.
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .args(["check", "--json", "--players", "5"])
        .arg(preset("set.toml"))
        .arg("--piece")
        .arg(folder.path().join("everybody.mid"))
        // A tick of the file is 1.3 ms or less; times are rounded to it.
        .args(["--change-s", "0.348"])
        .output()
        .unwrap();
    let report = report(&output);
    assert_eq!(report["players"]["given"]["lost_notes"], 0);
    assert_eq!(report["players"]["fewest"], 5);
}

#[test]
fn a_page_is_whole_in_itself_and_says_what_a_player_must_know() {
    let folder = tempfile::tempdir().unwrap();
    let title = "Tide & <Time>";
    let report = report(&parts(
        &preset("piece.mid"),
        folder.path(),
        &["--title", title],
    ));
    let two = report["players"].as_array().unwrap().iter();
    let two = two.filter(|p| p["bottles"].as_array().unwrap().len() == 2);
    let two = two.map(|p| p["player"].as_u64().unwrap()).next().unwrap();
    let page = folder.path().join(format!("player-{two:02}.html"));
    let page = std::fs::read_to_string(page).unwrap();
    for words in [
        "dizzy",
        "One mouth for each bottle",
        "0.35 s",
        "Tide &#38; &#60;Time&#62;",
    ] {
        assert!(page.contains(words), "{words}");
    }
    for foreign in ["<script", "src=", "href=", "url(", "@import"] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

#[test]
fn the_way_to_the_other_bottle_is_drawn_in_a_part_and_not_between_two_players() {
    let folder = tempfile::tempdir().unwrap();
    report(&parts(
        &preset("piece.mid"),
        folder.path(),
        &["--players", "2"],
    ));
    let ways = |page: &str| {
        let page = std::fs::read_to_string(folder.path().join(page)).unwrap();
        page.matches(r#"<line class="change""#).count()
    };
    assert!(ways("player-01.html") > 0);
    assert_eq!(ways("conductor.html"), 0);
}

/// One player's page of a piece of these notes in beats of 4/4 and the same bottle.
fn page_of(beats: &[(f64, f64)], metres: Vec<Metre>) -> String {
    let note = |&(from, to): &(f64, f64)| ScoreNote {
        start_s: 0.5 * from,
        stop_s: 0.5 * to,
        key: 67,
        velocity: 80,
        track: 0,
        channel: 0,
    };
    let score = Score {
        notes: beats.iter().map(note).collect(),
        tracks: vec![Track::default()],
        metres,
        ..Score::default()
    };
    let folder = tempfile::tempdir().unwrap();
    let piece = folder.path().join("written.mid");
    std::fs::write(&piece, to_smf(&score).unwrap()).unwrap();
    report(&parts(&piece, folder.path(), &[]));
    std::fs::read_to_string(folder.path().join("player-01.html")).unwrap()
}

/// The count of each box of silent bars.
fn rests(page: &str) -> Vec<&str> {
    let after = page.split(r#"<text class="count""#).skip(1);
    after.map(|t| t.split(['>', '<']).nth(1).unwrap()).collect()
}

#[test]
fn silent_bars_are_counted_and_a_held_note_is_no_rest() {
    let page = page_of(
        &[(0.0, 1.0), (36.0, 42.0), (44.0, 45.0)],
        vec![Metre::default()],
    );
    assert_eq!(rests(&page), ["8"]);
    assert!(page.contains(">2 to 9<"), "the bars of the rest");
    let blocks = page.matches(r#"<rect class="blown""#).count();
    assert_eq!(blocks, 4, "the held note is drawn in both its bars");
}

#[test]
fn a_change_of_metre_is_told_where_it_comes() {
    let three = Metre {
        start_quarter: 8.0,
        beats: 3,
        unit: 4,
    };
    let page = page_of(&[(0.0, 12.0)], vec![Metre::default(), three]);
    assert!(page.contains(">1 (4/4)<") && page.contains(">3 (3/4)<"));
    assert!(!page.contains(">2 ("));
}

#[test]
fn nothing_is_overwritten_or_left_half_done() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("conductor.html"), "mine").unwrap();
    let output = parts(&preset("piece.mid"), folder.path(), &[]);
    assert_eq!(output.status.code(), Some(1));
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        told.contains("conductor.html") && told.contains("--force"),
        "{told}"
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    report(&parts(&preset("piece.mid"), folder.path(), &["--force"]));
    let page = std::fs::read_to_string(folder.path().join("conductor.html")).unwrap();
    assert!(page.contains("everybody"));
}

#[test]
fn a_piece_without_a_bottle_for_any_note_gives_no_parts() {
    let folder = tempfile::tempdir().unwrap();
    let high = ScoreNote {
        start_s: 0.0,
        stop_s: 1.0,
        key: 120,
        velocity: 80,
        track: 0,
        channel: 0,
    };
    let score = Score {
        notes: vec![high],
        tracks: vec![Track::default()],
        ..Score::default()
    };
    let piece = folder.path().join("high.mid");
    std::fs::write(&piece, to_smf(&score).unwrap()).unwrap();
    let out = folder.path().join("out");
    let output = parts(&piece, &out, &[]);
    assert_eq!(output.status.code(), Some(1));
    assert!(!out.exists());
}
