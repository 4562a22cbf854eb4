//! Absurd amounts are refused with the limit named, and what may be had is had without harm to ears or files.

use std::f64::consts::TAU;
use std::fs;
use std::process::Command;

use ullage::file::wav::read_wav;
use ullage::synth::{BlownVoice, Command as Ask, Engine, EngineSpec, PlayedBottle};
use ullage::units::{Frequency, Interval, Level, SampleRate};

use crate::common::command::{binary, run, ullage};
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg};

const ONE_BOTTLE: &str = "[[bottle]]\nname = \"x\"\ncapacity_ml = 500\nmouth_bore_mm = 19\nneck_length_mm = 60\n\
                          body_diameter_mm = 66\n";

#[track_caller]
fn refused(args: &[&str], words: &[&str]) {
    let run = ullage(args);
    assert!(matches!(run.code, Some(1 | 2)), "{args:?}: {}", run.err);
    words.iter().fold(run, |run, word| run.says(word));
}

#[test]
fn absurd_options_are_refused_with_their_limits() {
    let (set, shelf) = (QUAY_SET, QUAY_SHELF);
    for (args, words) in [
        (
            ["audition", set, "--rate-hz", "1"].as_slice(),
            ["1 is outside 8000 to 192000"].as_slice(),
        ),
        (
            &["audition", set, "--rate-hz", "10000000"],
            &["10000000 is outside 8000 to 192000"],
        ),
        (
            &["export", set, "--out", "x", "--rate-hz", "1"],
            &["8000..=192000"],
        ),
        (&["audition", set, "--breath", "inf"], &["1.1 to 6"]),
        (&["audition", set, "--lufs", "nan"], &["-40 to -9"]),
        (&["audition", set, "--level-db", "1e9"], &["-60 to 20"]),
        (
            &["plan", "--shelf", shelf, "--notes", "C5x1000000000000"],
            &["1 to 1000"],
        ),
        (
            &[
                "plan",
                "--shelf",
                shelf,
                "--notes",
                "C5",
                "--transpose",
                "9999999999",
            ],
            &["-127"],
        ),
        (
            &["predict", shelf, "--sweep", "fill-ml=0..9/1000000000000"],
            &["2 to 1001"],
        ),
        (
            &["predict", shelf, "--sweep", "temp-c=nan..inf"],
            &["KEY=LOW..HIGH"],
        ),
        (
            &["predict", shelf, "--bottle", "cordial", "--fill-ml", "nan"],
            &["NaN ml is outside 0 to"],
        ),
        (
            &["predict", shelf, "--bottle", "cordial", "--fill-ml", "1e12"],
            &["is outside 0 to"],
        ),
        (&["predict", shelf, "--temp-c", "1e9"], &["-10 to 60"]),
        (
            &[
                "check",
                set,
                "--piece",
                "presets/quay/piece.mid",
                "--players",
                "1000000000",
            ],
            &["--players"],
        ),
    ] {
        refused(args, words);
    }
}

#[test]
fn absurd_files_are_refused_with_their_limits() {
    let folder = Folder::new();
    let with = |from: &str, to: &str| ONE_BOTTLE.replace(from, to);
    let kinds: String = (0..10_001)
        .map(|i| with("\"x\"", &format!("\"{i}\"")))
        .collect();
    for (name, text, words) in [
        (
            "many",
            format!("{ONE_BOTTLE}count = 1000000000\n"),
            ["1000000000 is outside 1 to 10000"].as_slice(),
        ),
        (
            "kinds",
            kinds,
            &["10001 kinds of bottle are more than 10000"],
        ),
        ("nan", with("500", "nan"), &["capacity_ml = NaN is outside"]),
        (
            "inf",
            with("500", "-inf"),
            &["capacity_ml = -inf is outside"],
        ),
        ("huge", with("500", "1e300"), &["is outside 5 to 100000"]),
        (
            "deep",
            format!("a = {}{}", "[".repeat(100_000), "]".repeat(100_000)),
            &["recursion"],
        ),
        (
            "dots",
            format!("a{} = 1", ".a".repeat(100_000)),
            &["recursion limit"],
        ),
        (
            "long",
            "#".repeat((16 << 20) + 1),
            &["16777217 bytes are more than 16777216"],
        ),
        ("zeros", "\0".repeat(1000), &["line 1"]),
    ] {
        refused(&["predict", arg(&folder.write(name, text))], words);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_device_without_an_end_is_no_file() {
    refused(&["predict", "/dev/zero"], &["more than 16777216"]);
    refused(
        &["check", QUAY_SET, "--piece", "/dev/zero"],
        &["more than 16777216"],
    );
    refused(
        &["listen", "/dev/zero"],
        &["not a recording of a kind that is known"],
    );
    refused(
        &["fill", QUAY_SET, "--out", "/dev/null", "--force"],
        &["device or a pipe"],
    );
}

/// What a disk that fills up does to a write, by the system's limit on the size of a file.
#[cfg(target_os = "linux")]
#[test]
fn where_no_more_bytes_go_the_old_file_stays_and_nothing_else_is_left() {
    let folder = Folder::new();
    let out = folder.write("old.wav", b"old");
    let script = "ulimit -f 16; trap '' XFSZ; exec \"$0\" audition \"$1\" --rate-hz 8000 --force --out \"$2\"";
    let files = [binary(), QUAY_SET.into(), out.clone()];
    run(Command::new("sh").args(["-c", script]).args(files))
        .ended(1)
        .says("cannot write")
        .says("old.wav");
    assert_eq!(fs::read(&out).unwrap(), b"old");
    assert_eq!(folder.count(), 1);
}

#[test]
fn no_sample_passes_the_ceiling_even_in_a_file_that_could_hold_it() {
    let folder = Folder::new();
    let out = folder.at("loud.wav");
    ullage(&[
        "audition",
        QUAY_SET,
        "--bits",
        "32f",
        "--rate-hz",
        "11025",
        "--level-db",
        "15",
        "--lufs",
        "-20",
        "--breath",
        "6",
        "--out",
        arg(&out),
    ])
    .ended(0);
    let most = read_wav(&out)
        .unwrap()
        .samples
        .iter()
        .fold(0.0f32, |most, s| {
            if s.is_finite() {
                most.max(s.abs())
            } else {
                f32::INFINITY
            }
        });
    // −1 dBFS, and loud enough to have met it.
    assert!(most <= 0.891_26 && most > 0.5, "{most}");
}

/// The largest bend of a curve: what a click makes large.
fn sharpest(sound: &[f32]) -> f64 {
    let bend = |w: &[f32]| (f64::from(w[0]) - 2.0 * f64::from(w[1]) + f64::from(w[2])).abs();
    sound.windows(3).map(bend).fold(0.0, f64::max)
}

#[test]
fn every_gain_steps_without_a_click() {
    const HZ: f64 = 300.0;
    let rate = SampleRate::from_hz(48_000.0);
    let bottle = PlayedBottle {
        bend_down: Interval::from_cents(100.0),
        bend_up: Interval::from_cents(25.0),
        ..PlayedBottle::new(
            BlownVoice::new(Frequency::from_hz(196.0), 30.0).unwrap(),
            55,
        )
    };
    let midi = |controller: u8, value: u8| Ask::Midi {
        bytes: [0xb0, controller, value],
    };
    let tone = |hz: Option<f64>| Ask::Tone {
        frequency: hz.map(Frequency::from_hz),
    };
    for (what, step) in [
        ("level down", Ask::Level(Level::from_db(-60.0))),
        ("level up", Ask::Level(Level::from_db(-3.0))),
        ("volume down", midi(7, 0)),
        ("expression down", midi(11, 0)),
        ("dry", Ask::Wet(0.0)),
        ("wet", Ask::Wet(1.0)),
        ("silence", Ask::Silence),
        ("tone off", tone(None)),
        ("tone elsewhere", tone(Some(2.0 * HZ))),
    ] {
        let spec = EngineSpec {
            level: Level::from_db(-9.0),
            ..EngineSpec::new(vec![bottle.clone()])
        };
        let mut engine = Engine::new(&spec, rate).unwrap();
        engine.push(0, tone(Some(HZ))).unwrap();
        let (mut left, mut right) = (vec![0.0f32; 48_000], vec![0.0f32; 48_000]);
        engine.process(&mut left, &mut right);
        let before = left[40_000..].iter().fold(0.0f32, |m, s| m.max(s.abs()));
        assert!(before > 0.01, "the tone is not heard: {before}");
        engine.push(engine.now_frames() + 37, step).unwrap();
        engine.process(&mut left, &mut right);
        let loudest = left.iter().fold(before, |m, s| m.max(s.abs()));
        // A pure tone of this loudness and an octave above the first bends by its amplitude times ω²; the steepest
        // gain, 5 ms long, may add half of that. A step from one sample to the next would bend by the amplitude itself.
        let bend = f64::from(loudest) * (TAU * 2.0 * HZ / rate.hz()).powi(2);
        let sharpest = sharpest(&left);
        assert!(sharpest < 1.5 * bend, "{what}: {sharpest} against {bend}");
    }
}

#[test]
fn all_mistakes_of_a_file_are_shown_at_once_each_where_it_stands() {
    let folder = Folder::new();
    let jar = "capacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66\n";
    let text = format!(
        "[[bottle]]\nname = \"jar\"\n{jar}[[bottle]]\nname = \"tin\"\nmaterial = \"tinn\"\n{jar}[[pour]]\nnote = \"C4\"\n\
         bottle = \"jra\"\n[[pour]]\nnote = \"D4\"\nbottle = \"jar\"\nfill_ml = 600\n"
    );
    let file = folder.write("wrong.toml", text);
    let run = ullage(&["fill", arg(&file)]).ended(2);
    for words in [
        "material = \"tinn\"\n      | ^^^^^^^^^^^^^^^^^",
        "did you mean \"jar\"?",
        "fill_ml = 600\n       | ^^^^^^^^^^^^^",
        "is outside 0 to 500.0 ml",
        "line 9, column 1",
    ] {
        assert!(run.err.contains(words), "no {words:?}: {}", run.err);
    }
    // One alone is shown in the same way.
    let file = folder.write(
        "one.toml",
        format!("[[bottle]]\nname = \"jar\"\ncount = 0\n{jar}"),
    );
    ullage(&["predict", arg(&file)])
        .ended(2)
        .says("3 | count = 0");
}
