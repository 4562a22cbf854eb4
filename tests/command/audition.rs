//! The main job, as a user runs it: a set in, a WAV and a table out, and the WAV measured by code that
//! shares nothing with the voice.

use std::path::Path;

use serde_json::Value;
use ullage::file::wav::read_wav;

use crate::common::command::ullage;
use crate::common::files::{Folder, QUAY_SET, arg, stretch};
use crate::common::measure;

/// Plays the demo set into a file.
fn audition(out: &Path, more: &[&str]) -> Value {
    let args = ["audition", "--json", "--out", arg(out), QUAY_SET];
    let run = ullage(&[&args, more].concat()).ended(0);
    assert!(
        run.err.is_empty(),
        "a pipe gets no progress bar: {}",
        run.err
    );
    run.json()
}

#[test]
fn every_bottle_of_the_demo_set_sounds_at_its_pitch_and_rings_with_its_q() {
    let folder = Folder::new();
    let out = folder.at("quay.wav");
    let report = audition(&out, &["--dry", "--steady", "--bits", "32f"]);
    let wav = read_wav(&out).unwrap();
    let notes = report["notes"].as_array().unwrap();
    assert!(notes.len() >= 13, "{}", notes.len());
    for note in notes {
        let number = |key: &str| note[key].as_f64().unwrap();
        let (hz, q) = (number("hz"), number("q"));
        let steady = stretch(&wav, number("stop_s") - 0.8, number("stop_s") - 0.05);
        let off = measure::cents(measure::pitch_hz(&steady, wav.rate.hz(), hz), hz);
        // The breath takes 0.22 s to end.
        let ringing = stretch(&wav, number("stop_s") + 0.23, number("end_s") + 0.2);
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
fn the_file_has_its_loudness_below_the_ceiling() {
    let folder = Folder::new();
    let out = folder.at("quay.wav");
    let report = audition(&out, &["--lufs=-23", "--bits", "16", "--rate-hz", "44100"]);
    let measured = ullage::file::loudness::measure(&read_wav(&out).unwrap()).unwrap();
    assert!((measured.lufs.unwrap() + 23.0).abs() < 0.1, "{measured:?}");
    assert!(measured.true_peak_db().unwrap() <= -1.0, "{measured:?}");
    assert_eq!(report["rate_hz"], 44_100);
}

/// In the room, dithered, with all bottles of the set; two bars, since the room is most of the work and a second minute of it
/// comes from the same seeds as the first.
#[test]
fn one_seed_gives_one_file_and_another_another() {
    let folder = Folder::new();
    let heard = |name: &str, seed: &str| {
        let out = folder.at(name);
        let bars = ["--piece", "presets/quay/piece.mid", "--to-bar", "2"];
        let file = ["--lufs=-23", "--bits", "16", "--rate-hz", "44100"];
        audition(&out, &[&bars[..], &file, &["--seed", seed]].concat());
        std::fs::read(out).unwrap()
    };
    let bytes = heard("a.wav", "1");
    // Two bytes of each of two channels, and more than a second of them.
    assert!(bytes.len() > 4 * 44_100, "{} bytes", bytes.len());
    assert!(bytes == heard("b.wav", "1"), "one seed, one result");
    assert!(bytes != heard("c.wav", "2"), "another seed, another breath");
}

#[test]
fn loud_settings_stay_under_the_ceiling_and_say_so() {
    let folder = Folder::new();
    let out = folder.at("loud.wav");
    let report = audition(&out, &["--lufs=-9", "--level-db", "4"]);
    let measured = ullage::file::loudness::measure(&read_wav(&out).unwrap()).unwrap();
    assert!(measured.true_peak_db().unwrap() <= -1.0, "{measured:?}");
    assert_eq!(report["mastered"]["held_by_peak"], true);
}

#[test]
fn a_file_that_is_there_is_kept_and_a_bad_set_leaves_no_file() {
    let folder = Folder::new();
    let out = folder.at("kept.wav");
    std::fs::write(&out, "precious").unwrap();
    ullage(&["audition", "--out", arg(&out), QUAY_SET])
        .ended(1)
        .says("--force");
    assert_eq!(std::fs::read(&out).unwrap(), b"precious");
    let bad = folder.write("bad.toml", "[[bottle]]\nname = 3");
    let missing = folder.at("none.wav");
    ullage(&["audition", "--out", arg(&missing), arg(&bad)]).ended(2);
    assert!(!missing.exists());
    assert_eq!(
        ullage::file::atomic::leftovers(folder.path())
            .unwrap()
            .len(),
        0
    );
}
