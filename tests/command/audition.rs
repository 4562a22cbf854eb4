//! The main job, as a user runs it: a set in, a WAV and a table out, and the WAV measured by code that
//! shares nothing with the voice.

use std::path::Path;

use crate::common::measure;
use assert_cmd::Command;
use serde_json::Value;
use ullage::file::wav::{Wav, read_wav};

fn audition(set: &Path, out: &Path, more: &[&str]) -> Value {
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .args(["audition", "--json", "--out"])
        .args([out, set])
        .args(more)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(output.stderr.is_empty(), "a pipe gets no progress bar");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn quay() -> &'static Path {
    Path::new(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/presets/quay/set.toml"
    ))
}

fn stretch(wav: &Wav, from_s: f64, to_s: f64) -> Vec<f32> {
    let rate_hz = wav.rate.hz();
    wav.mono()[(from_s * rate_hz) as usize..(to_s * rate_hz) as usize].to_vec()
}

#[test]
fn every_bottle_of_the_demo_set_sounds_at_its_pitch_and_rings_with_its_q() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("quay.wav");
    let report = audition(quay(), &out, &["--dry", "--bits", "32f"]);
    let wav = read_wav(&out).unwrap();
    let notes = report["notes"].as_array().unwrap();
    assert!(notes.len() >= 13, "{}", notes.len());
    for note in notes {
        let number = |key: &str| note[key].as_f64().unwrap();
        let (hz, q) = (number("hz"), number("q"));
        let steady = stretch(&wav, number("stop_s") - 0.8, number("stop_s") - 0.05);
        let off = measure::cents(measure::pitch_hz(&steady, wav.rate.hz(), hz), hz);
        let ringing = stretch(&wav, number("stop_s") + 0.05, number("end_s") + 0.2);
        let measured_q = measure::ring_down_q(&ringing, wav.rate.hz(), hz, 3.0, 30.0);
        println!(
            "{} {hz:8.3} Hz {off:+.2} cents, Q {q:.1} measured {measured_q:.1}",
            note["note"]
        );
        // 1 cent for the breath's fluctuation over 0.75 s; 2 % of Q for the noise under the decay.
        assert!(off.abs() < 1.0, "{note}: {off:+.2} cents");
        assert!(
            (measured_q / q - 1.0).abs() < 0.02,
            "{note}: Q {measured_q:.2}"
        );
        assert!((number("error_cents")).abs() < 0.5, "{note}");
    }
    for key in ["wav", "rate_hz", "together", "chords", "drift", "version"] {
        assert!(!report[key].is_null(), "{key}");
    }
    let pairs = report["together"].as_array().unwrap().len();
    assert_eq!(pairs, notes.len() * (notes.len() - 1) / 2);
}

#[test]
fn the_file_has_its_loudness_below_the_ceiling_and_one_seed_gives_one_file() {
    let folder = tempfile::tempdir().unwrap();
    let paths = ["a.wav", "b.wav", "c.wav"].map(|name| folder.path().join(name));
    let report = audition(
        quay(),
        &paths[0],
        &["--lufs=-23", "--bits", "16", "--rate-hz", "44100"],
    );
    let measured = ullage::file::loudness::measure(&read_wav(&paths[0]).unwrap()).unwrap();
    assert!((measured.lufs.unwrap() + 23.0).abs() < 0.1, "{measured:?}");
    assert!(measured.true_peak_db().unwrap() <= -1.0, "{measured:?}");
    assert_eq!(report["rate_hz"], 44_100);
    audition(
        quay(),
        &paths[1],
        &["--lufs=-23", "--bits", "16", "--rate-hz", "44100"],
    );
    audition(
        quay(),
        &paths[2],
        &[
            "--lufs=-23",
            "--bits",
            "16",
            "--rate-hz",
            "44100",
            "--seed",
            "2",
        ],
    );
    let bytes = paths.map(|path| std::fs::read(path).unwrap());
    assert!(bytes[0] == bytes[1], "one seed, one result");
    assert!(bytes[0] != bytes[2], "another seed, another breath");
}

#[test]
fn loud_settings_stay_under_the_ceiling_and_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("loud.wav");
    let report = audition(quay(), &out, &["--lufs=-9", "--level-db", "4"]);
    let measured = ullage::file::loudness::measure(&read_wav(&out).unwrap()).unwrap();
    assert!(measured.true_peak_db().unwrap() <= -1.0, "{measured:?}");
    assert_eq!(report["mastered"]["held_by_peak"], true);
}

#[test]
fn a_file_that_is_there_is_kept_and_a_bad_set_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("kept.wav");
    std::fs::write(&out, "precious").unwrap();
    let mut run = Command::cargo_bin("ullage").unwrap();
    let output = run
        .args(["audition", "--out"])
        .args([&out, &quay().to_path_buf()])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(std::fs::read(&out).unwrap(), b"precious");
    assert!(String::from_utf8_lossy(&output.stderr).contains("--force"));
    let bad = folder.path().join("bad.toml");
    std::fs::write(&bad, "[[bottle]]\nname = 3").unwrap();
    let missing = folder.path().join("none.wav");
    let mut run = Command::cargo_bin("ullage").unwrap();
    let output = run
        .args(["audition", "--out"])
        .args([&missing, &bad])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(!missing.exists());
    assert_eq!(
        ullage::file::atomic::leftovers(folder.path())
            .unwrap()
            .len(),
        0
    );
}
