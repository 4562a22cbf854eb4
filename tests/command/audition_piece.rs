//! A piece on the bottles of a set, as a user runs it: the notes are measured on the rendered sound, and
//! what has no bottle is told.

use std::path::{Path, PathBuf};

use serde_json::Value;
use ullage::file::wav::{Wav, read_wav};
use ullage::score::ScoreNote;

use crate::common::command::{Run, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, preset};
use crate::common::pieces::{midi, note, piece, read_midi};

/// The grid that times are kept on, frames.
const BLOCK_FRAMES: f64 = 64.0;

/// Plays a piece on the demo set into a file.
fn run(piece: &Path, out: &Path, more: &[&str]) -> Run {
    let args = ["audition", "--json", "--dry", "--bits", "32f", QUAY_SET];
    let files = ["--piece", arg(piece), "--out", arg(out)];
    ullage(&[&args[..], &files, more].concat())
}

/// The MIDI file of a piece of these notes.
fn written(folder: &Folder, notes: Vec<ScoreNote>) -> PathBuf {
    folder.write("written.mid", midi(&piece(notes)))
}

fn numbers(rows: &Value, key: &str) -> Vec<f64> {
    let rows = rows.as_array().unwrap().iter();
    rows.map(|row| row[key].as_f64().unwrap()).collect()
}

/// Frames where sound begins after digital silence.
fn onsets(wav: &Wav) -> Vec<usize> {
    let left = wav.channel(0);
    let before = std::iter::once(&0.0).chain(&left);
    let sounding = before.zip(&left).enumerate();
    let begins = sounding.filter(|(frame, (_, now))| {
        **now != 0.0
            && left[frame.saturating_sub(64)..*frame]
                .iter()
                .all(|s| *s == 0.0)
    });
    begins.map(|(frame, _)| frame).collect()
}

#[test]
fn every_note_of_the_demo_piece_is_played_and_begins_within_a_block_of_its_time() {
    let folder = Folder::new();
    let stems = folder.at("stems");
    let output = run(
        &preset("quay/piece.mid"),
        &folder.at("piece.wav"),
        &["--stems", arg(&stems)],
    )
    .ended(0);
    let report = output.json();
    assert!(output.err.is_empty(), "{}", output.err);
    assert_eq!(report["missing"].as_array().unwrap().len(), 0);
    let score = read_midi(preset("quay/piece.mid"));
    assert_eq!(report["notes"].as_array().unwrap().len(), score.notes.len());
    let (mut measured, mut worst_frames) = (0, 0.0f64);
    for entry in std::fs::read_dir(&stems).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let name = name.split('-').nth(1).unwrap().replace('s', "#");
        let key = name.parse::<ullage::tuning::NoteName>().unwrap().midi();
        let of_key: Vec<f64> = score
            .notes
            .iter()
            .filter(|n| n.key == key)
            .map(|n| n.start_s)
            .collect();
        for frame in onsets(&read_wav(&path).unwrap()) {
            let frame = frame as f64;
            let off = of_key
                .iter()
                .map(|s| (s * 48_000.0 - frame).abs())
                .fold(f64::MAX, f64::min);
            worst_frames = worst_frames.max(off);
            measured += 1;
        }
    }
    println!("{measured} onsets out of silence, at most {worst_frames:.2} frames off");
    assert!(measured >= 40, "{measured}");
    assert!(worst_frames <= BLOCK_FRAMES, "{worst_frames} frames");
}

#[test]
fn onsets_are_on_the_file_s_time_at_any_tempo_and_from_any_bar() {
    let folder = Folder::new();
    // Bars of 2 s; the notes ring down to digital silence in between.
    let starts_s = [0.25, 4.5, 9.013, 13.75];
    let notes = starts_s.iter().map(|&s| note(62, s, s + 0.4)).collect();
    let piece = written(&folder, notes);
    let cases: [(&[&str], Vec<f64>); 3] = [
        (&[], starts_s.to_vec()),
        (
            &["--tempo-pct", "80"],
            starts_s.iter().map(|s| s / 0.8).collect(),
        ),
        (&["--from-bar", "3", "--to-bar", "5"], vec![0.5, 5.013]),
    ];
    for (number, (more, expected_s)) in cases.into_iter().enumerate() {
        let out = folder.at(format!("{number}.wav"));
        let report = run(&piece, &out, more).ended(0).json();
        let found = onsets(&read_wav(&out).unwrap());
        assert_eq!(found.len(), expected_s.len(), "{more:?}");
        for ((frame, expected_s), told_s) in found
            .iter()
            .zip(expected_s)
            .zip(numbers(&report["notes"], "start_s"))
        {
            let off = *frame as f64 - expected_s * 48_000.0;
            println!("{more:?} {expected_s} s: {off:+.1} frames");
            // The file's grid is 1 ms; a block is 1.3 ms.
            assert!(off.abs() <= BLOCK_FRAMES, "{more:?} {off} frames");
            assert!((told_s - expected_s).abs() < 0.002, "{told_s} {expected_s}");
        }
    }
}

#[test]
fn the_stems_and_the_click_add_up_to_the_mix() {
    let folder = Folder::new();
    let (out, stems) = (folder.at("mix.wav"), folder.at("stems"));
    let more = ["--click", "--to-bar", "6", "--stems", arg(&stems)];
    run(&preset("quay/piece.mid"), &out, &more).ended(0).json();
    let mix = read_wav(&out).unwrap();
    let mut sums = [0, 1].map(|side| vec![0.0f64; mix.channel(side).len()]);
    let mut files = 0;
    for entry in std::fs::read_dir(&stems).unwrap() {
        let stem = read_wav(&entry.unwrap().path()).unwrap();
        files += 1;
        for (side, sum) in (0..).zip(&mut sums) {
            let samples = stem.channel(side);
            assert_eq!(samples.len(), sum.len());
            sum.iter_mut()
                .zip(samples)
                .for_each(|(s, x)| *s += f64::from(x));
        }
    }
    let mut worst = 0.0f64;
    for (side, sum) in (0..).zip(&sums) {
        let both = sum.iter().zip(mix.channel(side));
        worst = both.fold(worst, |w, (s, x)| w.max((s - f64::from(x)).abs()));
    }
    println!("{files} stems, at most {worst:.2e} off");
    assert!(files >= 10, "{files}");
    // Sums of 32-bit samples below 1: a few steps of 6e-8.
    assert!(worst < 1e-6, "{worst}");
    // They are not overwritten unasked.
    let again = run(&preset("quay/piece.mid"), &folder.at("other.wav"), &more);
    again.ended(1).says("--force");
    assert!(!folder.at("other.wav").exists());
}

#[test]
fn missing_notes_are_listed_and_left_silent_and_a_piece_without_any_other_cannot_be_played() {
    let folder = Folder::new();
    let notes = vec![
        note(62, 0.0, 0.5),
        note(61, 0.5, 1.0),
        note(61, 4.5, 5.0),
        note(61, 4.75, 5.0),
        note(90, 6.0, 7.0),
    ];
    let piece = written(&folder, notes);
    let output = run(&piece, &folder.at("a.wav"), &[]).ended(0);
    let report = output.json();
    let missing = report["missing"].as_array().unwrap();
    assert_eq!(missing.len(), 2);
    assert_eq!(missing[0]["note"], "C#4");
    assert_eq!(missing[0]["times"], 3);
    assert_eq!(missing[0]["bars"], serde_json::json!([1, 3]));
    assert_eq!(missing[1]["bars"], serde_json::json!([4]));
    assert_eq!(report["notes"].as_array().unwrap().len(), 1);
    output.says("warning").says("C#4  3 times, bar 1, 3");
    let nothing = run(
        &written(&folder, vec![note(61, 0.0, 0.5)]),
        &folder.at("b.wav"),
        &[],
    );
    nothing.ended(1).says("C#4");
    assert!(!folder.at("b.wav").exists());
}

#[test]
fn the_later_of_two_notes_on_one_bottle_takes_over_and_two_that_begin_together_are_one() {
    let folder = Folder::new();
    let part = |track, n| ScoreNote { track, ..n };
    let notes = vec![
        note(62, 0.0, 2.0),
        part(1, note(62, 1.0, 1.5)),
        note(64, 3.0, 3.5),
        part(1, note(64, 3.0, 4.0)),
    ];
    let piece = written(&folder, notes);
    let both = run(&piece, &folder.at("a.wav"), &[]).ended(0).json();
    assert_eq!(numbers(&both["notes"], "start_s"), [0.0, 1.0, 3.0]);
    assert_eq!(numbers(&both["notes"], "stop_s"), [1.0, 1.5, 4.0]);
    for (place, track) in ["1", "PART 0"].iter().enumerate() {
        let out = folder.at(format!("track{place}.wav"));
        let one = run(&piece, &out, &["--track", track]).ended(0).json();
        assert_eq!(numbers(&one["notes"], "stop_s"), [2.0, 3.5]);
    }
}

#[test]
fn bottles_are_muted_and_heard_alone_by_note_and_by_name() {
    let folder = Folder::new();
    let piece = written(
        &folder,
        vec![note(62, 0.0, 0.5), note(64, 0.5, 1.0), note(72, 1.0, 1.5)],
    );
    let cases: [(&[&str], &[&str]); 4] = [
        (&["--mute", "E4"], &["D4", "C5"]),
        (&["--solo", "E4", "--solo", "syrup"], &["E4", "C5"]),
        (&["--mute", "cordial"], &["E4", "C5"]),
        (&["--solo", "E4", "--solo", "D4", "--mute", "D4"], &["E4"]),
    ];
    for (number, (more, expected)) in cases.into_iter().enumerate() {
        let out = folder.at(format!("{number}.wav"));
        let report = run(&piece, &out, more).ended(0).json();
        let notes = report["notes"].as_array().unwrap().iter();
        let heard: Vec<&str> = notes.map(|n| n["note"].as_str().unwrap()).collect();
        assert_eq!(heard, expected, "{more:?}");
    }
    run(&piece, &folder.at("x.wav"), &["--solo", "G2"]).ended(1);
}

#[test]
fn a_broken_file_names_its_byte_and_bad_options_are_refused_with_what_would_do() {
    let folder = Folder::new();
    let out = folder.at("x.wav");
    let piece = preset("quay/piece.mid");
    let bytes = std::fs::read(&piece).unwrap();
    let end = bytes.len() - 40;
    let cut = folder.write("cut.mid", &bytes[..end]);
    run(&cut, &out, &[]).ended(2).says(&format!("byte {end}"));
    let cases: [(&[&str], &str); 7] = [
        (&["--tempo-pct", "24"], "25 to 400"),
        (&["--tempo-pct", "NaN"], "25 to 400"),
        (&["--from-bar", "0"], "1 to 24"),
        (&["--to-bar", "25"], "1 to 24"),
        (&["--from-bar", "5", "--to-bar", "4"], "1 to 24"),
        (&["--track", "brass"], "answer"),
        (&["--mute", "C#4"], "G2 D3"),
    ];
    for (more, expected) in cases {
        run(&piece, &out, more).ended(2).says(expected);
    }
    assert!(!out.exists());
}
