//! The rest of a piece beside the bottles: plain tones, measured on what was rendered.

use std::path::Path;

use ullage::file::wav::read_wav;
use ullage::score::{Score, ScoreNote, Track};

use crate::common::command::{Run, program, ullage};
use crate::common::files::{Folder, QUAY_SET, arg};
use crate::common::{measure, pieces};

const RATE_HZ: f64 = 48_000.0;

/// Plays a piece on the demo set into a file.
fn run(piece: &Path, out: &Path, more: &[&str]) -> Run {
    let args = ["audition", "--json", "--dry", "--bits", "32f", QUAY_SET];
    let files = ["--piece", arg(piece), "--out", arg(out)];
    ullage(&[&args[..], &files, more].concat()).ended(0)
}

fn note(track: usize, key: u8, start_s: f64, stop_s: f64) -> ScoreNote {
    ScoreNote {
        velocity: 127,
        track,
        channel: track as u8,
        ..pieces::note(key, start_s, stop_s)
    }
}

/// The bytes of a piece in two tracks, one for the bottles and one for the piano.
fn written(notes: Vec<ScoreNote>) -> Vec<u8> {
    let track = |name: &str| Track {
        name: name.to_owned(),
    };
    pieces::midi(&Score {
        tracks: vec![track("bottles"), track("piano")],
        ..pieces::piece(notes)
    })
}

#[test]
fn the_tracks_that_are_not_the_bottles_sound_plain_quiet_and_in_the_middle() {
    let folder = Folder::new();
    let at = |name: &str| folder.at(name);
    // D4 has a bottle; in the piano C6 has none and E4 has, and both are plain tones.
    let notes = vec![
        note(0, 62, 0.0, 1.0),
        note(1, 84, 1.0, 3.0),
        note(1, 64, 4.0, 9.0),
    ];
    let piece = folder.write("piece.mid", written(notes));
    let stems = at("stems");
    let more = ["--track", "bottles", "--others", "--stems", arg(&stems)];
    let told = run(&piece, &at("mix.wav"), &more).json();
    assert_eq!(
        (&told["others"], told["notes"].as_array().unwrap().len()),
        (&2.into(), 1)
    );
    let others = read_wav(&stems.join("others.wav")).unwrap();
    let (left, right) = (others.channel(0), others.channel(1));
    assert_eq!(left, right);
    for (hz, from_s, to_s) in [(1046.502, 1.1, 2.9), (329.6276, 4.1, 8.9)] {
        let part = &left[(from_s * RATE_HZ) as usize..(to_s * RATE_HZ) as usize];
        let off = measure::cents(measure::pitch_hz(part, RATE_HZ, hz), hz);
        println!("{hz} Hz: {off:+.4} cents");
        assert!(off.abs() < 0.05, "{hz} Hz: {off} cents");
        // A sine and nothing else: what is left of its power beside its own is noise of the samples.
        let power = part.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / part.len() as f64;
        let (re, im) = measure::demodulate(part, RATE_HZ, hz, 1.0).value[0];
        assert!(((re * re + im * im) / 2.0 / power - 1.0).abs() < 1e-3);
    }
    let first = left.iter().position(|s| *s != 0.0).unwrap();
    assert!(
        (first as f64 - RATE_HZ).abs() <= 2.0,
        "begins at frame {first}"
    );
    let end = (9.03 * RATE_HZ) as usize;
    assert!(left[end + 2..].iter().all(|s| *s == 0.0) && left.len() > end);
    // The bottle is the louder.
    let peak = |samples: &[f32]| samples.iter().fold(0.0f32, |p, s| p.max(s.abs()));
    let mix = read_wav(&at("mix.wav")).unwrap();
    let mixed = mix.channel(0);
    assert!(
        peak(&left) < 0.5 * peak(&mixed[..48_000]),
        "{} {}",
        peak(&left),
        peak(&mixed)
    );
    let bottle = std::fs::read_dir(&stems)
        .unwrap()
        .map(|e| e.unwrap().path());
    let bottle = bottle
        .filter(|p| !p.ends_with("others.wav"))
        .map(|p| read_wav(&p).unwrap().channel(0));
    let bottle: Vec<Vec<f32>> = bottle.collect();
    assert_eq!(bottle.len(), 1);
    for (frame, sample) in mixed.iter().enumerate() {
        assert!((bottle[0][frame] + left[frame] - sample).abs() < 1e-6);
    }
    // Unasked they are silent.
    let told = run(&piece, &at("alone.wav"), &["--track", "bottles"]).json();
    assert!(told["others"].is_null());
    let alone = read_wav(&at("alone.wav")).unwrap().channel(0);
    assert!(alone.len() < mixed.len());
}

#[test]
fn without_chosen_tracks_the_notes_without_a_bottle_are_the_others() {
    let folder = Folder::new();
    let notes = vec![
        note(0, 62, 0.0, 1.0),
        note(1, 61, 1.0, 2.0),
        note(1, 64, 2.0, 3.0),
    ];
    let piece = folder.write("piece.mid", written(notes));
    let output = run(
        &piece,
        &folder.at("a.wav"),
        &["--others", "--tempo-pct", "50"],
    );
    let told = output.json();
    assert_eq!(
        (&told["others"], told["notes"].as_array().unwrap().len()),
        (&1.into(), 2)
    );
    output.says("sounded as plain tones");
    let sound = read_wav(&folder.at("a.wav")).unwrap().channel(0);
    // C#4 at half the tempo: from 2 s to 4 s.
    let part = &sound[(2.5 * RATE_HZ) as usize..(3.9 * RATE_HZ) as usize];
    let off = measure::cents(measure::pitch_hz(part, RATE_HZ, 277.1826), 277.1826);
    assert!(off.abs() < 0.5, "{off} cents");
}

/// The most memory that a run has held, kB, as Linux tells it.
#[cfg(target_os = "linux")]
fn peak_kb(piece: &Path, out: &Path) -> u64 {
    let mut child = program()
        .args(["audition", QUAY_SET, "--dry", "--others"])
        .args(["--track", "bottles"])
        .args(["--piece", arg(piece), "--out", arg(out)])
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let mut most = 0;
    while child.try_wait().unwrap().is_none() {
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id()));
        let status = status.unwrap_or_default();
        let line = status.lines().find(|line| line.starts_with("VmHWM:"));
        let kb = line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok());
        most = most.max(kb.unwrap_or(0));
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    assert!(child.wait().unwrap().success());
    most
}

#[test]
#[cfg(target_os = "linux")]
fn memory_is_flat_in_the_length_of_the_others() {
    let folder = Folder::new();
    let peak = |seconds: u32| {
        let mut notes = vec![note(0, 62, 0.0, 0.5)];
        notes.extend(
            (0..seconds).map(|s| note(1, 72 + (s % 12) as u8, s.into(), f64::from(s) + 0.9)),
        );
        let piece = folder.write(&format!("{seconds}.mid"), written(notes));
        peak_kb(&piece, &folder.at(format!("{seconds}.wav")))
    };
    let (short, long) = (peak(10), peak(240));
    println!("10 s: {short} kB, 240 s: {long} kB");
    assert!(short > 1_000, "nothing was measured");
    // 240 s of two channels of 32 bits are 92,000 kB.
    assert!(long < short + 8_000, "{short} kB and {long} kB");
}
