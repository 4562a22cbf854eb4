//! What `ullage listen` promises on the command line: formats, keys, keeping, walking, the room, and bad recordings.
#![allow(clippy::unwrap_used, missing_docs)]

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use ullage::set::{read_set, read_shelf};

const QUAY: &str = "presets/quay/set.toml";

struct Run {
    code: Option<i32>,
    out: String,
    err: String,
}

fn listen(args: &[&str]) -> Run {
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .arg("listen")
        .args(args)
        .output()
        .unwrap();
    Run {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

fn json(args: &[&str]) -> Value {
    let mut all = args.to_vec();
    all.push("--json");
    let run = listen(&all);
    assert_eq!(run.code, Some(0), "{}", run.err);
    serde_json::from_str(&run.out).unwrap()
}

fn cents(hz: f64, reference: f64) -> f64 {
    1200.0 * (hz / reference).log2()
}

struct Sound {
    rate_hz: u32,
    channels: u16,
    bits: u16,
    gain: f64,
}

const PLAIN: Sound = Sound {
    rate_hz: 48_000,
    channels: 1,
    bits: 16,
    gain: 0.3,
};

/// Notes of a second with breath in them, 0.4 s apart, as a WAV file.
fn wav(path: &Path, notes_hz: &[f64], sound: &Sound) -> PathBuf {
    let spec = hound::WavSpec {
        channels: sound.channels,
        sample_rate: sound.rate_hz,
        bits_per_sample: sound.bits,
        sample_format: if sound.bits == 32 {
            hound::SampleFormat::Float
        } else {
            hound::SampleFormat::Int
        },
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    let rate_hz = f64::from(sound.rate_hz);
    let mut dice = 1u64;
    let mut put = |x: f64| {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let noise = (dice >> 33) as f64 / f64::from(1u32 << 30) - 1.0;
        let x = (sound.gain * (x + 0.01 * noise)).clamp(-0.999, 0.999);
        for channel in 0..sound.channels {
            // The second channel is the same, the other way round: a mean of both would be silence.
            let x = if channel == 1 { -x } else { x };
            if sound.bits == 32 {
                writer.write_sample(x as f32).unwrap();
            } else {
                let full = f64::from(1i32 << (sound.bits - 1));
                writer.write_sample((x * full) as i32).unwrap();
            }
        }
    };
    let quiet = |put: &mut dyn FnMut(f64)| (0..(0.4 * rate_hz) as usize).for_each(|_| put(0.0));
    quiet(&mut put);
    for hz in notes_hz {
        for n in 0..rate_hz as usize {
            let t = n as f64 / rate_hz;
            let swell = (t / 0.08).min(1.0) * ((1.0 - t) / 0.05).min(1.0);
            put(swell * ((TAU * hz * t).sin() + 0.05 * (2.0 * TAU * hz * t).sin()));
        }
        quiet(&mut put);
    }
    writer.finalize().unwrap();
    path.to_owned()
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn every_usual_format_of_recording_is_heard_alike() {
    let folder = folder();
    println!("rate     channels  bits  gain   cents     ±");
    let (mut of, mut covered) = (0, 0);
    for rate_hz in [44_100, 48_000, 96_000] {
        for channels in [1, 2] {
            for bits in [16, 24, 32] {
                for (gain, hz) in [(0.3, 196.37), (4.0, 329.2), (0.004, 98.6), (0.3, 1043.1)] {
                    let sound = Sound {
                        rate_hz,
                        channels,
                        bits,
                        gain,
                    };
                    let path = wav(&folder.path().join("tone.wav"), &[hz], &sound);
                    let told = json(&[text(&path)]);
                    let off = cents(told["hz"].as_f64().unwrap(), hz);
                    let plus_minus = told["plus_minus_cents"].as_f64().unwrap();
                    println!(
                        "{rate_hz:6}  {channels:8}  {bits:4}  {gain:5}  {off:+6.3}  {plus_minus:6.3}"
                    );
                    of += 1;
                    covered += u32::from(off.abs() <= plus_minus);
                    assert!(off.abs() < 0.5, "{off} cents");
                }
            }
        }
    }
    println!("{covered} of {of} covered");
    assert!(covered * 20 >= of * 19);
}

#[test]
fn bad_recordings_are_errors_with_a_way_out_and_never_a_panic() {
    let folder = folder();
    let path = |name: &str| folder.path().join(name);
    let good = std::fs::read(wav(&path("good.wav"), &[196.0], &PLAIN)).unwrap();
    std::fs::write(path("empty.wav"), b"").unwrap();
    std::fs::write(
        path("text.wav"),
        b"this is no sound at all, it only says so",
    )
    .unwrap();
    std::fs::write(path("head.wav"), &good[..30]).unwrap();
    wav(&path("silence.wav"), &[], &PLAIN);
    let short = Sound { gain: 0.0, ..PLAIN };
    wav(&path("nothing.wav"), &[196.0], &short);
    for (name, code) in [
        ("empty.wav", 2),
        ("text.wav", 2),
        ("head.wav", 2),
        ("missing.wav", 2),
        ("silence.wav", 1),
        ("nothing.wav", 1),
    ] {
        for way in ["blown", "struck"] {
            let run = listen(&[text(&path(name)), "--way", way]);
            assert_eq!(run.code, Some(code), "{name} {way}: {}", run.err);
            assert!(
                run.err.starts_with("error: cannot listen to"),
                "{}",
                run.err
            );
            assert!(run.err.contains("because:"), "{}", run.err);
            assert!(run.out.is_empty() && !run.err.contains("panicked"));
        }
    }
    // Cut off in the middle, as by a full card: what is there is heard, or refused, and never wrong.
    std::fs::write(path("cut.wav"), &good[..good.len() * 6 / 10]).unwrap();
    let run = listen(&[text(&path("cut.wav")), "--json"]);
    if run.code == Some(0) {
        let told: Value = serde_json::from_str(&run.out).unwrap();
        assert!(cents(told["hz"].as_f64().unwrap(), 196.0).abs() < 1.0);
    } else {
        assert_eq!(run.code, Some(2), "{}", run.err);
    }
    let run = listen(&[]);
    assert_eq!(run.code, Some(2));
    assert!(run.err.contains("--live"), "{}", run.err);
    let good = path("good.wav");
    let run = listen(&[text(&good), "--set", QUAY, "--note", "C#1"]);
    assert_eq!(run.code, Some(2));
    assert!(run.err.contains("try: --note with one of"), "{}", run.err);
}

#[test]
fn the_keys_of_the_object_are_these() {
    let folder = folder();
    let path = wav(&folder.path().join("g3.wav"), &[196.0], &PLAIN);
    let told = json(&[text(&path), "--set", QUAY, "--note", "G3"]);
    for key in [
        "version",
        "way",
        "hz",
        "note",
        "cents",
        "plus_minus_cents",
        "blows",
        "bottle",
        "target_hz",
    ] {
        assert!(!told[key].is_null(), "{key} is missing: {told}");
    }
    for key in [
        "add_ml",
        "add_g",
        "plus_minus_ml",
        "repeat_ml",
        "fill_now_ml",
    ] {
        assert!(told["advice"][key].is_number(), "{key}: {told}");
    }
    assert_eq!(
        (&told["note"], &told["way"]),
        (&"G3".into(), &"blown".into())
    );
    // In the room of the plan nothing moves.
    assert!(told["room_cents"].is_null());
    let alone = json(&[text(&path)]);
    assert!(alone["advice"].is_null() && alone["note"] == "G3");
}

#[test]
fn a_warm_room_is_not_poured_away_unless_asked() {
    let folder = folder();
    let set = std::fs::read_to_string(QUAY).unwrap();
    let set = read_set(&set).unwrap();
    let pour = set
        .pours
        .iter()
        .find(|p| p.note.to_string() == "G3")
        .unwrap();
    let planned = set.target(pour).hz();
    // What the bottle does at 29 °C, as the program predicts it for the same fill.
    let run = Command::cargo_bin("ullage")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["predict", QUAY, "--json", "--temp-c", "29"])
        .output()
        .unwrap();
    let told: Value = serde_json::from_slice(&run.stdout).unwrap();
    let rows: Vec<&Value> = match &told {
        Value::Array(rows) => rows.iter().collect(),
        object => object["rows"]
            .as_array()
            .or(object["predictions"].as_array())
            .unwrap()
            .iter()
            .collect(),
    };
    let near = |row: &&&Value| {
        let hz = row["resonances"][0]["hz"].as_f64().unwrap();
        (0.0..60.0).contains(&cents(hz, planned))
    };
    let hz = rows.iter().find(near).unwrap()["resonances"][0]["hz"]
        .as_f64()
        .unwrap();
    let path = wav(&folder.path().join("warm.wav"), &[hz], &PLAIN);
    let args = [text(&path), "--set", QUAY, "--note", "G3", "--temp-c", "29"];
    let told = json(&args);
    assert!(told["cents"].as_f64().unwrap().abs() < 2.0, "{told}");
    let moved = told["room_cents"].as_f64().unwrap();
    // 3 cents a kelvin by the air, and more since what is in it has swollen.
    let predicted = cents(hz, planned);
    assert!(
        moved > 30.0 && (moved - predicted).abs() < 0.5,
        "{moved} cents for 10 K, and {predicted} by what is predicted"
    );
    let run = listen(&args);
    assert!(run.out.contains("in tune"), "{}", run.out);
    assert!(
        run.out
            .contains("planned for 19.0 °C, and it is 29.0 °C now"),
        "{}",
        run.out
    );
    let mut asked = args.to_vec();
    asked.push("--for-this-room");
    let told = json(&asked);
    assert!(told["cents"].as_f64().unwrap() > 25.0, "{told}");
    assert!(told["advice"]["add_ml"].as_f64().unwrap() < -1.0, "{told}");
}

#[test]
fn keeping_leaves_every_comment_and_says_what_it_changed() {
    let folder = folder();
    let set = folder.path().join("set.toml");
    let before = std::fs::read_to_string(QUAY).unwrap();
    std::fs::write(&set, &before).unwrap();
    let parsed = read_set(&before).unwrap();
    let pour = parsed
        .pours
        .iter()
        .find(|p| p.note.to_string() == "G3")
        .unwrap();
    let name = parsed.kind_of(pour).name.clone();
    let path = wav(&folder.path().join("g3.wav"), &[197.7], &PLAIN);
    let args = [text(&path), "--set", text(&set), "--note", "G3", "--keep"];
    let told = json(&args);
    let kept = &told["kept"];
    for key in [
        "before_hz",
        "before_plus_minus_cents",
        "after_hz",
        "after_plus_minus_cents",
    ] {
        assert!(kept[key].is_number(), "{key}: {told}");
    }
    let wider = kept["after_plus_minus_cents"].as_f64().unwrap()
        > kept["before_plus_minus_cents"].as_f64().unwrap() + 0.5;
    assert_eq!(kept["wider_because"].is_string(), wider, "{kept}");
    // The fit lies between what was planned and what was heard once, and nearer to that.
    assert!(
        cents(kept["after_hz"].as_f64().unwrap(), 197.7).abs() < 3.0,
        "{kept}"
    );
    let after = std::fs::read_to_string(&set).unwrap();
    for line in before.lines().filter(|line| line.contains('#')) {
        assert!(after.contains(line), "lost: {line}");
    }
    let kept = read_set(&after).unwrap();
    let kind = kept.kinds.iter().find(|kind| kind.name == name).unwrap();
    let old = parsed.kinds.iter().find(|kind| kind.name == name).unwrap();
    assert_eq!(kind.heard.len(), old.heard.len() + 1);
    let heard = kind.heard.last().unwrap();
    assert!(cents(heard.frequency.hz(), 197.7).abs() < 0.5);
    assert_eq!(heard.temp_c, Some(19.0));
    // In words, with the reason if the ± grew.
    let run = listen(&args);
    assert!(
        run.out.contains("kept: ") && run.out.contains("was predicted at"),
        "{}",
        run.out
    );
    // A pitch that cannot be this bottle's leaves the file as it was.
    let far = wav(&folder.path().join("far.wav"), &[71.0], &PLAIN);
    let whole = std::fs::read_to_string(&set).unwrap();
    let run = listen(&[text(&far), "--set", text(&set), "--note", "G3", "--keep"]);
    assert_ne!(run.code, Some(0), "{}", run.out);
    assert_eq!(std::fs::read_to_string(&set).unwrap(), whole);
}

#[test]
fn a_walk_names_each_bottle_and_sums_up() {
    let folder = folder();
    let set = read_set(&std::fs::read_to_string(QUAY).unwrap()).unwrap();
    let hz: Vec<f64> = set.pours.iter().map(|pour| set.target(pour).hz()).collect();
    let off = 2f64.powf(20.0 / 1200.0);
    let path = wav(
        &folder.path().join("walk.wav"),
        &[hz[0], hz[1] * off, hz[1], hz[2]],
        &PLAIN,
    );
    let told = json(&[text(&path), "--set", QUAY, "--walk"]);
    let heard = told["heard"].as_array().unwrap();
    let tuned: Vec<bool> = heard
        .iter()
        .map(|row| row["in_tune"].as_bool().unwrap())
        .collect();
    assert_eq!(tuned, [true, false, true, true]);
    for (row, place) in heard.iter().zip([0, 1, 1, 2]) {
        assert_eq!(row["note"], set.pours[place].note.to_string());
        for key in ["start_s", "hz", "plus_minus_cents", "cents"] {
            assert!(row[key].is_number(), "{row}");
        }
    }
    assert_eq!(heard[1]["next"], set.pours[1].note.to_string());
    let summary = told["summary"].as_array().unwrap();
    assert_eq!(summary.len(), set.pours.len());
    let in_tune = summary.iter().filter(|row| row["in_tune"] == true).count();
    assert_eq!(in_tune, 3);
    let run = listen(&[text(&path), "--set", QUAY, "--walk"]);
    assert!(
        run.out
            .contains(&format!("3 of {} in tune", set.pours.len())),
        "{}",
        run.out
    );
}

#[test]
fn a_bottle_that_stands_in_no_file_becomes_a_table_for_a_shelf() {
    let folder = folder();
    let path = wav(&folder.path().join("found.wav"), &[146.2], &PLAIN);
    let args = [
        text(&path),
        "--unknown",
        "--capacity-ml",
        "512",
        "--mouth-bore-mm",
        "19",
        "--name",
        "a \"found\" one",
    ];
    let run = listen(&args);
    assert_eq!(run.code, Some(0), "{}", run.err);
    println!("{}", run.out);
    let shelf = read_shelf(&run.out).unwrap();
    let kind = &shelf.kinds[0];
    assert_eq!(kind.name, "a \"found\" one");
    assert!(cents(kind.heard[0].frequency.hz(), 146.2).abs() < 0.5);
    let told = json(&args);
    for key in ["neck_length", "neck_bore", "body_diameter", "height"] {
        let (mm, plus_minus) = (
            told[key]["mm"].as_f64().unwrap(),
            told[key]["plus_minus_mm"].as_f64().unwrap(),
        );
        assert!(
            mm > 5.0 && plus_minus > 0.5 && plus_minus < mm,
            "{key}: {told}"
        );
    }
    assert_eq!(told["toml"].as_str().unwrap(), run.out);
    // Pasted, it says of the empty bottle what was heard.
    let pasted = folder.path().join("shelf.toml");
    std::fs::write(&pasted, &run.out).unwrap();
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .arg("predict")
        .arg(&pasted)
        .arg("--json")
        .output()
        .unwrap();
    let text_out = String::from_utf8(output.stdout).unwrap();
    let hz: f64 = text_out
        .split("\"hz\": ")
        .nth(1)
        .unwrap()
        .split(',')
        .next()
        .unwrap()
        .trim()
        .parse()
        .unwrap();
    assert!(cents(hz, 146.2).abs() < 6.0, "{hz}");
    // A pitch that no such bottle has.
    let high = wav(&folder.path().join("high.wav"), &[1900.0], &PLAIN);
    let run = listen(&[
        text(&high),
        "--unknown",
        "--capacity-ml",
        "512",
        "--mouth-bore-mm",
        "19",
    ]);
    assert_eq!(run.code, Some(1), "{}", run.out);
    assert!(run.err.contains("try:"), "{}", run.err);
    let run = listen(&[text(&path), "--unknown"]);
    assert_eq!(run.code, Some(2));
}

#[test]
fn a_tapped_bottle_has_its_partials_told() {
    let folder = folder();
    let path = folder.path().join("taps.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for n in 0..3 * 44_100 {
        let t = f64::from(n) / 44_100.0;
        let since = (t - 0.3).rem_euclid(0.9);
        let ring =
            |hz: f64, a: f64, t60: f64| a * (-6.908 * since / t60).exp() * (TAU * hz * since).sin();
        let x = if t < 0.3 {
            0.0
        } else {
            ring(1702.0, 0.3, 0.6) + ring(1710.5, 0.2, 0.6) + ring(2161.0, 0.1, 0.8)
        };
        writer.write_sample((x * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
    let told = json(&[text(&path), "--way", "struck"]);
    assert_eq!(
        (&told["way"], told["taps"].as_u64()),
        (&"struck".into(), Some(3))
    );
    let doublet = &told["doublet"];
    assert!(
        (doublet["low_hz"].as_f64().unwrap() - 1702.0).abs() < 0.5,
        "{told}"
    );
    assert!(
        (doublet["beats_per_s"].as_f64().unwrap() - 8.5).abs() < 0.5,
        "{told}"
    );
    assert!(
        (told["t60_s"].as_f64().unwrap() - 0.6).abs() < 0.1,
        "{told}"
    );
    assert_eq!(told["partials"].as_array().unwrap().len(), 2, "{told}");
    let run = listen(&[text(&path), "--way", "struck"]);
    assert!(run.out.contains("that beat 8."), "{}", run.out);
    // With a bottle of the set: what to pour, or that none of it is its note.
    let run = listen(&[
        text(&path),
        "--way",
        "struck",
        "--set",
        QUAY,
        "--note",
        "G3",
    ]);
    assert_eq!(run.code, Some(0), "{}", run.err);
}

#[cfg(feature = "live")]
#[test]
fn without_a_microphone_there_is_one_error_and_the_microphone_is_never_opened_unasked() {
    let run = listen(&["--live", "--host", "gramophone"]);
    assert_eq!(run.code, Some(1), "{}", run.err);
    assert_eq!(run.err.matches("error:").count(), 1, "{}", run.err);
    assert!(
        run.err.contains("gramophone") && run.err.contains("try:"),
        "{}",
        run.err
    );
    for args in [
        &["--live", "x.wav"][..],
        &["x.wav", "--input", "hw"],
        &["--live", "--rate-hz", "1"],
        &["--live", "--unknown"],
    ] {
        assert_eq!(listen(args).code, Some(2), "{args:?}");
    }
    let folder = folder();
    let path = wav(&folder.path().join("g3.wav"), &[196.0], &PLAIN);
    let run = listen(&[text(&path)]);
    assert!(!run.err.contains("listening"), "{}", run.err);
}
