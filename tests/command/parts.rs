//! Parts for players: a page each that is complete in itself, a MIDI file each, and together the piece.

use std::path::{Path, PathBuf};

use serde_json::Value;
use ullage::score::{Metre, Score};

use crate::common::command::{Run, json, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, preset, read};
use crate::common::pieces::{self, midi, note, read_midi};

fn demo() -> PathBuf {
    preset("quay/piece.mid")
}

fn typed(piece: &Path, out: &Path, more: &[&str]) -> Run {
    let args = ["parts", "--json", QUAY_SET, "--piece", arg(piece)];
    ullage(&[&args[..], &["--out", arg(out)], more].concat())
}

/// Writes the parts of a piece for the demo set; what is said of them.
fn parts(piece: &Path, out: &Path, more: &[&str]) -> Value {
    let more = [&["--leave-out"], more].concat();
    typed(piece, out, &more).ended(0).json()
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
    let folder = Folder::new();
    let report = parts(&demo(), folder.path(), &[]);
    assert_eq!(report["lost"], serde_json::json!([]));
    assert_eq!(report["exact"], true);
    let players = report["players"].as_array().unwrap();
    assert_eq!(players.len(), 11);
    let whole = played(&read_midi(demo()));
    assert_eq!(played(&read_midi(folder.at("everybody.mid"))), whole);
    let mut together = Vec::new();
    for (number, player) in (1..).zip(players) {
        let own = read_midi(folder.at(format!("player-{number:02}.mid")));
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
    let folder = Folder::new();
    let more = ["--players", "5", "--keep", "tune", "--shorten-pct", "50"];
    let report = parts(&demo(), folder.path(), &more);
    let lost = report["lost"].as_array().unwrap();
    println!("{} of 189 notes are lost with 5 players", lost.len());
    let everybody = read_midi(folder.at("everybody.mid"));
    assert_eq!(everybody.notes.len() + lost.len(), 189);
    assert_eq!(everybody.tracks.len(), 5);
    let whole = read_midi(demo());
    let tune = whole.tracks.iter().position(|t| t.name == "tune").unwrap();
    let begins: Vec<(u64, u8)> = played(&everybody).iter().map(|n| (n.0, n.2)).collect();
    let grid = f64::from(whole.ticks_per_quarter);
    for note in whole.notes.iter().filter(|n| n.track == tune) {
        let at = (whole.quarter_at(note.start_s) * grid).round() as u64;
        assert!(begins.contains(&(at, note.key)), "{note:?}");
    }
    let page = read(folder.at("conductor.html"));
    assert!(page.contains("Nobody plays"));
}

#[test]
fn what_is_written_for_five_can_be_played_by_five_as_it_is_written() {
    let folder = Folder::new();
    let more = ["--players", "5", "--keep", "tune", "--shorten-pct", "50"];
    parts(&demo(), folder.path(), &more);
    // What was cut short to reach the other bottle is short in the file: no more has to be cut.
    let everybody = folder.at("everybody.mid");
    let report = json(&[
        "check",
        QUAY_SET,
        "--players",
        "5",
        "--piece",
        arg(&everybody),
        // A tick of the file is 1.3 ms or less; times are rounded to it.
        "--change-s",
        "0.348",
    ]);
    assert_eq!(report["players"]["given"]["lost_notes"], 0);
    assert_eq!(report["players"]["fewest"], 5);
}

#[test]
fn a_page_is_whole_in_itself_and_says_what_a_player_must_know() {
    let folder = Folder::new();
    let title = "Tide & <Time>";
    let report = parts(&demo(), folder.path(), &["--title", title]);
    let two = report["players"].as_array().unwrap().iter();
    let two = two.filter(|p| p["bottles"].as_array().unwrap().len() == 2);
    let two = two.map(|p| p["player"].as_u64().unwrap()).next().unwrap();
    let page = folder.at(format!("player-{two:02}.html"));
    let page = read(page);
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
    let folder = Folder::new();
    parts(&demo(), folder.path(), &["--players", "2"]);
    let ways = |page: &str| {
        let page = read(folder.at(page));
        page.matches(r#"<line class="change""#).count()
    };
    assert!(ways("player-01.html") > 0);
    assert_eq!(ways("conductor.html"), 0);
}

/// One player's page of a piece of these notes in beats of 4/4 and the same bottle.
fn page_of(beats: &[(f64, f64)], metres: Vec<Metre>) -> String {
    let at = |&(from, to): &(f64, f64)| note(67, 0.5 * from, 0.5 * to);
    let score = Score {
        metres,
        ..pieces::piece(beats.iter().map(at).collect())
    };
    let folder = Folder::new();
    let piece = folder.write("written.mid", midi(&score));
    parts(&piece, folder.path(), &[]);
    read(folder.at("player-01.html"))
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
    let folder = Folder::new();
    folder.write("conductor.html", "mine");
    typed(&demo(), folder.path(), &[])
        .ended(1)
        .says("conductor.html")
        .says("--force");
    assert_eq!(folder.count(), 1);
    parts(&demo(), folder.path(), &["--force"]);
    let page = read(folder.at("conductor.html"));
    assert!(page.contains("everybody"));
}

#[test]
fn a_piece_without_a_bottle_for_any_note_gives_no_parts() {
    let folder = Folder::new();
    let high = pieces::piece(vec![note(120, 0.0, 1.0)]);
    let piece = folder.write("high.mid", midi(&high));
    let out = folder.at("out");
    typed(&piece, &out, &[]).ended(1);
    assert!(!out.exists());
}

#[test]
fn parts_that_would_leave_notes_out_are_not_written_unless_that_is_asked_for() {
    let folder = Folder::new();
    let two = ["--players", "2"];
    let refused = typed(&demo(), folder.path(), &two).ended(1);
    refused.says("that nobody plays").says("--leave-out");
    assert_eq!(folder.count(), 0);
    parts(&demo(), folder.path(), &two);
    assert!(folder.count() > 2);
}

#[test]
fn a_player_has_the_same_number_and_the_same_bottles_wherever_players_are_counted() {
    let folder = Folder::new();
    let report = parts(&demo(), &folder.at("parts"), &[]);
    let notes = |player: &Value| {
        let bottles = player["bottles"].as_array().unwrap().iter();
        let notes = bottles.map(|b| b["note"].as_str().unwrap().to_owned());
        notes.collect::<Vec<_>>().join(" ")
    };
    let of_parts: Vec<String> = report["players"]
        .as_array()
        .unwrap()
        .iter()
        .map(notes)
        .collect();
    let piece = demo();
    let checked = json(&["check", QUAY_SET, "--piece", arg(&piece)]);
    let who = checked["players"]["who"].as_array().unwrap();
    assert_eq!(who.iter().map(notes).collect::<Vec<_>>(), of_parts);
    let (wav, stems) = (folder.at("mix.wav"), folder.at("stems"));
    let some = [
        "--to-bar",
        "24",
        "--rate-hz",
        "8000",
        "--dry",
        "--stems-by",
        "player",
    ];
    let args = [
        "audition",
        QUAY_SET,
        "--piece",
        arg(&piece),
        "--out",
        arg(&wav),
        "--stems",
        arg(&stems),
    ];
    ullage(&[&args[..], &some].concat()).ended(0);
    let files = std::fs::read_dir(&stems).unwrap();
    let mut names: Vec<String> = files
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    let of_stems: Vec<String> = names
        .iter()
        .map(|name| {
            name.trim_end_matches(".wav")
                .split_once("-player-")
                .unwrap()
                .1
        })
        .map(|notes| notes.replace('-', " ").replace('s', "#"))
        .collect();
    assert_eq!(of_stems, of_parts);
}

#[test]
fn a_piece_is_played_in_the_key_that_the_set_remembers_or_that_is_asked_for() {
    let folder = Folder::new();
    let set = folder.write("set.toml", format!("transpose = 2\n{}", read(QUAY_SET)));
    let piece = folder.write(
        "f.mid",
        midi(&pieces::piece(vec![note(65, 0.0, 1.0), note(72, 1.0, 2.0)])),
    );
    let checked = |more: &[&str]| {
        let args = ["check", arg(&set), "--piece", arg(&piece), "--json"];
        ullage(&[&args[..], more].concat())
    };
    // G4 and D5 are in the set; F4 and C5 are not all.
    let moved = checked(&[]).ended(0).json();
    assert_eq!(
        (&moved["transpose"], &moved["range"]["piece"][0]),
        (&Value::from(2), &Value::from("G4"))
    );
    let written = checked(&["--transpose", "0"]).json();
    assert_eq!(
        (&written["transpose"], &written["range"]["piece"][0]),
        (&Value::from(0), &Value::from("F4"))
    );
    let wav = folder.at("moved.wav");
    let args = [
        "audition",
        arg(&set),
        "--piece",
        arg(&piece),
        "--out",
        arg(&wav),
        "--rate-hz",
        "8000",
    ];
    let heard: Vec<Value> = json(&args)["notes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n["note"].clone())
        .collect();
    assert_eq!(heard, ["G4", "D5"]);
    let far = folder.write("far.toml", format!("transpose = 49\n{}", read(QUAY_SET)));
    ullage(&["check", arg(&far), "--piece", arg(&piece)])
        .ended(2)
        .says("-48 to 48");
}
