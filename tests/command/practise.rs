//! Practising and playing like people: recorded passes are judged, players have stems of their own, and
//! humanised timing is bounded and the same for the same seed.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;
use ullage::file::wav::{Wav, read_wav};
use ullage::plan::piece::{bar_at, bars};
use ullage::score::{Score, ScoreNote};

use crate::common::command::{self, Run};
use crate::common::files::{Folder, QUAY_SET, arg, preset};
use crate::common::pieces::{midi, note, piece, read_midi};

const RATE_HZ: f64 = 48_000.0;
const PIECE5: &str = "presets/quay/piece5.mid";

fn piece5() -> Score {
    read_midi(preset("quay/piece5.mid"))
}

/// A command about a piece and the demo set.
fn ullage(command: &str, piece: &str, more: &[&str]) -> Run {
    let args = [command, "--json", QUAY_SET, "--piece", piece];
    command::ullage(&[&args, more].concat())
}

fn audition(piece: &str, out: &Path, more: &[&str]) -> Value {
    let fixed = ["--dry", "--bits", "32f", "--out", arg(out)];
    ullage("audition", piece, &[&fixed, more].concat())
        .ended(0)
        .json()
}

/// What `practise` says of a pass of piece5, after `change` has been at its notes.
fn pass(change: impl Fn(usize, &mut ScoreNote) -> bool, more: &[&str]) -> (Value, Vec<ScoreNote>) {
    let folder = Folder::new();
    let mut score = piece5();
    let mut number = 0;
    score.notes.retain_mut(|note| {
        number += 1;
        change(number - 1, note)
    });
    score.sort();
    let played = folder.write("played.mid", midi(&score));
    let more = [&["--played", arg(&played)], more].concat();
    let told = ullage("practise", PIECE5, &more).ended(0).json();
    (told, score.notes)
}

fn sum(report: &Value, key: &str) -> usize {
    let bars = report["bars"].as_array().unwrap().iter();
    bars.map(|b| b[key].as_u64().unwrap() as usize).sum()
}

#[test]
fn a_perfect_pass_is_all_in_time_and_a_late_one_all_late_by_as_much() {
    let all = piece5().notes.len();
    let (perfect, _) = pass(|_, _| true, &[]);
    assert_eq!(
        (sum(&perfect, "written"), sum(&perfect, "fine")),
        (all, all)
    );
    assert_eq!(
        sum(&perfect, "early")
            + sum(&perfect, "late")
            + sum(&perfect, "missed")
            + sum(&perfect, "wrong"),
        0
    );
    let later = |by_s: f64| {
        move |_: usize, n: &mut ScoreNote| {
            n.start_s += by_s;
            n.stop_s += by_s;
            true
        }
    };
    let (late, _) = pass(later(0.08), &[]);
    assert_eq!((sum(&late, "late"), sum(&late, "fine")), (all, 0));
    for bar in late["bars"].as_array().unwrap() {
        let ms = bar["mean_late_ms"].as_f64().unwrap();
        // The file's grid is about a millisecond.
        assert!((ms - 80.0).abs() < 1.5, "{bar}");
    }
    let (fine, _) = pass(later(0.08), &["--fine-ms", "90"]);
    assert_eq!(sum(&fine, "fine"), all);
}

#[test]
fn what_is_left_out_and_what_is_played_wrong_is_counted_in_its_bar() {
    let (left_out, wrong) = (7, 20);
    let score = piece5();
    let (told, _) = pass(
        |n, note| {
            if n == wrong {
                // No note of the piece is so high.
                note.key = 120;
            }
            n != left_out
        },
        &[],
    );
    assert_eq!((sum(&told, "missed"), sum(&told, "wrong")), (2, 1));
    let bars = bars(&score);
    let at = |n: usize| bar_at(&bars, score.notes[n].start_s);
    let row = |bar: u64| {
        let rows = told["bars"].as_array().unwrap();
        rows.iter().find(|r| r["bar"] == bar).unwrap().clone()
    };
    assert_ne!(at(left_out), at(wrong));
    assert_eq!(
        (&row(at(left_out))["missed"], &row(at(left_out))["wrong"]),
        (&1.into(), &0.into())
    );
    assert_eq!(
        (&row(at(wrong))["missed"], &row(at(wrong))["wrong"]),
        (&1.into(), &1.into())
    );
}

#[test]
fn one_player_is_judged_by_their_own_notes() {
    let of = |player: &str| {
        let (told, _) = pass(|_, _| true, &["--players", "5", "--player", player]);
        sum(&told, "written")
    };
    let written: Vec<usize> = ["1", "2", "3", "4", "5"].map(of).to_vec();
    assert!(written.iter().all(|n| *n > 0), "{written:?}");
    assert_eq!(written.iter().sum::<usize>(), piece5().notes.len());
    let refused = |more: &[&str]| {
        let played = ["--played", PIECE5];
        ullage("practise", PIECE5, &[&played[..], more].concat()).ended(2)
    };
    refused(&["--players", "5", "--player", "6"]).says("no player 6");
    refused(&["--fine-ms", "400"]);
}

#[test]
fn the_demo_piece_for_five_is_playable_by_five_with_the_demo_set() {
    let told = ullage("check", PIECE5, &["--players", "5"]).ended(0).json();
    assert_eq!(told["playable"], true);
    assert_eq!(told["reasons"], serde_json::json!([]));
    for key in ["missing", "too_fast", "two_at_once"] {
        assert_eq!(told[key], serde_json::json!([]), "{key}");
    }
    assert_eq!(told["players"]["given"]["lost_notes"], 0);
    assert_eq!(told["players"]["given"]["who"].as_array().unwrap().len(), 5);
    // The first of what could be played is the piece as it is.
    let first = &told["moves"][0];
    assert_eq!(
        (&first["semitones"], &first["lost_notes"]),
        (&0.into(), &0.into())
    );
    assert_eq!(first["affected"], serde_json::json!([]));
}

/// The samples of both sides, one after the other.
fn both(wav: &Wav) -> Vec<f32> {
    [wav.channel(0), wav.channel(1)].concat()
}

#[test]
fn the_players_stems_hold_their_own_bottles_and_add_up_to_the_mix() {
    let folder = Folder::new();
    let (out, stems) = (folder.at("mix.wav"), folder.at("stems"));
    let more = [
        "--to-bar",
        "4",
        "--stems-by",
        "player",
        "--stems",
        arg(&stems),
    ];
    let told = audition(PIECE5, &out, &more);
    let mut sum = vec![0.0f64; both(&read_wav(&out).unwrap()).len()];
    let mut notes: Vec<String> = Vec::new();
    for entry in std::fs::read_dir(&stems).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        assert!(name.contains("player"), "{name}");
        let own: Vec<String> = name
            .split('-')
            .skip(2)
            .map(|n| n.replace('s', "#"))
            .collect();
        assert!((1..=2).contains(&own.len()), "{name}");
        notes.extend(own);
        let samples = both(&read_wav(&path).unwrap());
        assert!(samples.iter().any(|s| *s != 0.0), "{name} is silent");
        sum.iter_mut()
            .zip(samples)
            .for_each(|(s, x)| *s += f64::from(x));
    }
    let rows = told["notes"].as_array().unwrap().iter();
    let played: BTreeSet<String> = rows
        .map(|n| n["note"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(notes.iter().cloned().collect::<BTreeSet<_>>(), played);
    assert_eq!(
        notes.len(),
        played.len(),
        "no bottle is in two pairs of hands"
    );
    let mix = both(&read_wav(&out).unwrap());
    let worst = mix
        .iter()
        .zip(&sum)
        .fold(0.0f64, |w, (m, s)| w.max((s - f64::from(*m)).abs()));
    println!("{} bottles, at most {worst:.1e} off", notes.len());
    assert!(worst < 1e-6, "{worst}");
}

#[test]
fn humanised_timing_is_bounded_seeded_and_on_the_rendered_sound() {
    let folder = Folder::new();
    // Far apart, so that each begins in digital silence.
    let at = |n: u32| note(62, 1.0 + 3.0 * f64::from(n), 1.4 + 3.0 * f64::from(n));
    let score = piece((0..10).map(at).collect());
    let written = folder.write("piece.mid", midi(&score));
    let spread_ms = 15.0;
    let run = |name: &str, seed: &str| {
        let out = folder.at(name);
        let told = audition(
            arg(&written),
            &out,
            &["--humanise-ms", "15", "--seed", seed],
        );
        let starts = told["notes"].as_array().unwrap().iter();
        let starts: Vec<f64> = starts.map(|n| n["start_s"].as_f64().unwrap()).collect();
        (
            starts,
            std::fs::read(&out).unwrap(),
            read_wav(&out).unwrap(),
        )
    };
    let (a, a_bytes, wav) = run("a.wav", "3");
    let (b, b_bytes, _) = run("b.wav", "3");
    let (c, c_bytes, _) = run("c.wav", "4");
    assert!(a == b && a_bytes == b_bytes, "one seed, one rendering");
    assert!(a != c && a_bytes != c_bytes);
    let off_ms: Vec<f64> = a
        .iter()
        .zip(&score.notes)
        .map(|(s, n)| 1000.0 * (s - n.start_s))
        .collect();
    println!("{off_ms:.1?} ms");
    assert!(
        off_ms.iter().all(|off| off.abs() <= 2.0 * spread_ms + 0.6),
        "{off_ms:?}"
    );
    assert!(off_ms.iter().any(|off| off.abs() > 3.0) && off_ms.iter().any(|off| *off < 0.0));
    // The sound begins where the report says, to a block of 64 frames.
    let left = wav.channel(0);
    for start_s in a {
        let frame = (start_s * RATE_HZ).round() as usize;
        assert!(
            left[frame - 4_000..frame].iter().all(|s| *s == 0.0),
            "{start_s}"
        );
        let first = left[frame..].iter().position(|s| *s != 0.0).unwrap();
        assert!(first <= 64, "{start_s} s: {first} frames late");
    }
}

#[test]
fn every_bar_of_the_demo_piece_has_its_notes_within_a_block_of_the_file() {
    let folder = Folder::new();
    let told = audition(PIECE5, &folder.at("a.wav"), &["--rate-hz", "48000"]);
    let mut asked: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for n in piece5().notes {
        let name = ullage::tuning::NoteName::from_midi(n.key).to_string();
        asked.entry(name).or_default().push(n.start_s);
    }
    let rows = told["notes"].as_array().unwrap();
    assert_eq!(rows.len(), piece5().notes.len());
    for row in rows {
        let (name, start_s) = (
            row["note"].as_str().unwrap(),
            row["start_s"].as_f64().unwrap(),
        );
        let off = asked[name]
            .iter()
            .map(|s| (s - start_s).abs())
            .fold(f64::MAX, f64::min);
        assert!(off * RATE_HZ <= 64.0, "{name} at {start_s}: {off} s");
    }
}

#[test]
fn a_pass_that_runs_away_is_said_to_rush_from_the_bar_where_it_begins() {
    let from_s = bars(&piece5())[8].start_s;
    // Half a percent: by the end of the piece the notes are still within reach.
    let sooner = |at_s: f64| at_s - 0.005 * (at_s - from_s).max(0.0);
    let (rushed, _) = pass(
        |_, note| {
            note.start_s = sooner(note.start_s);
            note.stop_s = sooner(note.stop_s);
            true
        },
        &[],
    );
    let drift = &rushed["drift"];
    // The first notes of the bar are late by less than the grid of the file.
    assert!(
        (8..=11).contains(&drift["from_bar"].as_u64().unwrap()),
        "{drift}"
    );
    assert!(
        (drift["share"].as_f64().unwrap() - 0.005).abs() < 0.001,
        "{drift}"
    );
    let (steady, _) = pass(|_, _| true, &[]);
    assert!(steady["drift"].is_null());
    let folder = Folder::new();
    let mut score = piece5();
    for note in &mut score.notes {
        note.start_s = sooner(note.start_s);
        note.stop_s = sooner(note.stop_s);
    }
    let played = folder.write("played.mid", midi(&score));
    command::ullage(&[
        "practise",
        QUAY_SET,
        "--piece",
        PIECE5,
        "--played",
        arg(&played),
    ])
    .ended(0)
    .prints("you rush from bar ");
}

/// A tune on one bottle at a time, its notes 0.6 s apart, from so many seconds on.
fn tune(from_s: f64) -> Score {
    let keys = [
        55, 57, 59, 60, 62, 62, 59, 64, 62, 60, 59, 57, 67, 66, 64, 55,
    ];
    let notes = (0..).zip(keys).map(|(n, key)| {
        let at_s = from_s + 0.6 * f64::from(n);
        note(key, at_s, at_s + 0.5)
    });
    piece(notes.collect())
}

#[test]
fn a_recorded_pass_is_laid_over_the_piece_wherever_it_begins_and_however_fast_it_goes() {
    let folder = Folder::new();
    let written = folder.write("tune.mid", midi(&tune(0.0)));
    let later = folder.write("later.mid", midi(&tune(2.5)));
    let take = folder.at("take.wav");
    let slow = ["--out", arg(&take), "--tempo-pct", "80"];
    ullage("audition", arg(&later), &slow).ended(0);
    let judged = |piece: &Path| ullage("practise", arg(piece), &["--played", arg(&take)]);
    let told = judged(&written).ended(0).json();
    let tempo_pct = told["tempo_pct"].as_f64().unwrap();
    assert!((tempo_pct - 80.0).abs() < 1.0, "{tempo_pct} %");
    println!("{told}");
    // A breath begins as softly as it does: a low bottle speaks later than a high one.
    assert_eq!(sum(&told, "written"), 16);
    assert_eq!((sum(&told, "missed"), sum(&told, "wrong")), (0, 0));
    assert!(sum(&told, "fine") >= 12, "{told}");
    // Another piece, none of whose notes is in it.
    let other = folder.write("other.mid", midi(&piece(vec![note(76, 0.0, 0.5)])));
    let run = judged(&other);
    assert_eq!(run.code, Some(1), "{}", run.err);
    assert!(run.err.contains("none of the 16 notes"), "{}", run.err);
}
