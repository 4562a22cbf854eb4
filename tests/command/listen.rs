//! What `ullage listen` promises on the command line: formats, keys, keeping, walking, the room, and bad recordings.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use serde_json::Value;
use ullage::set::{read_set, read_shelf};

use crate::common::command::{self, Run, ullage};
use crate::common::dice::Dice;
use crate::common::files::{Folder, QUAY_SET, arg, read, set};
use crate::common::measure::cents;

fn listen(args: &[&str]) -> Run {
    ullage(&[&["listen"], args].concat())
}

fn json(args: &[&str]) -> Value {
    command::json(&[&["listen"], args].concat())
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

/// So many seconds of a sound as it is at each moment, as a WAV file of one channel and 16 bits.
fn drawn(path: &Path, seconds: u32, at_s: impl Fn(f64) -> f64) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for n in 0..seconds * 44_100 {
        let x = at_s(f64::from(n) / 44_100.0);
        writer.write_sample((x * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
}

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
    let mut dice = Dice(1);
    let mut put = |x: f64| {
        let x = (sound.gain * (x + 0.01 * dice.roll())).clamp(-0.999, 0.999);
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

#[test]
fn every_usual_format_of_recording_is_heard_alike() {
    let folder = Folder::new();
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
                    let path = wav(&folder.at("tone.wav"), &[hz], &sound);
                    let told = json(&[arg(&path)]);
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
    let folder = Folder::new();
    let path = |name: &str| folder.at(name);
    let good = std::fs::read(wav(&path("good.wav"), &[196.0], &PLAIN)).unwrap();
    folder.write("empty.wav", b"");
    folder.write("text.wav", b"this is no sound at all, it only says so");
    folder.write("head.wav", &good[..30]);
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
            let run = listen(&[arg(&path(name)), "--way", way]).ended(code);
            assert!(
                run.err.starts_with("error: cannot listen to"),
                "{}",
                run.err
            );
            let run = run.says("because:");
            assert!(run.out.is_empty() && !run.err.contains("panicked"));
        }
    }
    // Cut off in the middle, as by a full card: what is there is heard, or refused, and never wrong.
    let cut = folder.write("cut.wav", &good[..good.len() * 6 / 10]);
    let run = listen(&[arg(&cut), "--json"]);
    if run.code == Some(0) {
        let told = run.json();
        assert!(cents(told["hz"].as_f64().unwrap(), 196.0).abs() < 1.0);
    } else {
        run.ended(2);
    }
    listen(&[]).ended(2).says("--live");
    let good = path("good.wav");
    listen(&[arg(&good), "--set", QUAY_SET, "--note", "C#1"])
        .ended(2)
        .says("try: give --note one of");
}

#[test]
fn the_keys_of_the_object_are_these() {
    let folder = Folder::new();
    let path = wav(&folder.at("g3.wav"), &[196.0], &PLAIN);
    let told = json(&[arg(&path), "--set", QUAY_SET, "--note", "G3"]);
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
    let alone = json(&[arg(&path)]);
    assert!(alone["advice"].is_null() && alone["note"] == "G3");
}

#[test]
fn a_warm_room_is_not_poured_away_unless_asked() {
    let folder = Folder::new();
    let set = set("quay");
    let pour = set
        .pours
        .iter()
        .find(|p| p.note.to_string() == "G3")
        .unwrap();
    let planned = set.target(pour).hz();
    // What the bottle does at 29 °C, as the program predicts it for the same fill.
    let told = command::json(&["predict", QUAY_SET, "--temp-c", "29"]);
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
    let path = wav(&folder.at("warm.wav"), &[hz], &PLAIN);
    let args = [
        arg(&path),
        "--set",
        QUAY_SET,
        "--note",
        "G3",
        "--temp-c",
        "29",
    ];
    let told = json(&args);
    assert!(told["cents"].as_f64().unwrap().abs() < 2.0, "{told}");
    let moved = told["room_cents"].as_f64().unwrap();
    // 3 cents a kelvin by the air, and more since what is in it has swollen.
    let predicted = cents(hz, planned);
    assert!(
        moved > 30.0 && (moved - predicted).abs() < 0.5,
        "{moved} cents for 10 K, and {predicted} by what is predicted"
    );
    listen(&args)
        .prints("in tune")
        .prints("planned for 19.0 °C, and it is 29.0 °C now");
    let mut asked = args.to_vec();
    asked.push("--for-this-room");
    let told = json(&asked);
    assert!(told["cents"].as_f64().unwrap() > 25.0, "{told}");
    assert!(told["advice"]["add_ml"].as_f64().unwrap() < -1.0, "{told}");
}

#[test]
fn keeping_leaves_every_comment_and_says_what_it_changed() {
    let folder = Folder::new();
    let before = read(QUAY_SET);
    let set = folder.write("set.toml", &before);
    let parsed = read_set(&before).unwrap();
    let pour = parsed
        .pours
        .iter()
        .find(|p| p.note.to_string() == "G3")
        .unwrap();
    let name = parsed.kind_of(pour).name.clone();
    let path = wav(&folder.at("g3.wav"), &[197.7], &PLAIN);
    let args = [arg(&path), "--set", arg(&set), "--note", "G3", "--keep"];
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
    let off = |key: &str| cents(kept[key].as_f64().unwrap(), 197.7);
    let (before_off, after_off) = (off("before_hz"), off("after_hz"));
    assert!(before_off < after_off && after_off < 0.0, "{kept}");
    assert!(after_off.abs() < 0.5 * before_off.abs(), "{kept}");
    let after = read(&set);
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
    listen(&args).prints("kept: ").prints("was predicted at");
    // A pitch that cannot be this bottle's leaves the file as it was.
    let far = wav(&folder.at("far.wav"), &[71.0], &PLAIN);
    let whole = read(&set);
    let run = listen(&[arg(&far), "--set", arg(&set), "--note", "G3", "--keep"]);
    assert_ne!(run.code, Some(0), "{}", run.out);
    assert_eq!(read(&set), whole);
}

#[test]
fn a_walk_names_each_bottle_and_sums_up() {
    let folder = Folder::new();
    let set = set("quay");
    let hz: Vec<f64> = set.pours.iter().map(|pour| set.target(pour).hz()).collect();
    let off = 2f64.powf(20.0 / 1200.0);
    let path = wav(
        &folder.at("walk.wav"),
        &[hz[0], hz[1] * off, hz[1], hz[2]],
        &PLAIN,
    );
    let told = json(&[arg(&path), "--set", QUAY_SET, "--walk"]);
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
    listen(&[arg(&path), "--set", QUAY_SET, "--walk"])
        .prints(&format!("3 of {} in tune", set.pours.len()));
}

#[test]
fn a_bottle_that_stands_in_no_file_becomes_a_table_for_a_shelf() {
    let folder = Folder::new();
    let path = wav(&folder.at("found.wav"), &[146.2], &PLAIN);
    let args = [
        arg(&path),
        "--unknown",
        "--capacity-ml",
        "512",
        "--mouth-bore-mm",
        "19",
        "--name",
        "a \"found\" one",
    ];
    let run = listen(&args).ended(0);
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
    let pasted = folder.write("shelf.toml", &run.out);
    let told = command::json(&["predict", arg(&pasted)]);
    let hz = told["resonances"][0]["hz"].as_f64().unwrap();
    assert!(cents(hz, 146.2).abs() < 6.0, "{hz}");
    // A pitch that no such bottle has.
    let high = wav(&folder.at("high.wav"), &[1900.0], &PLAIN);
    let sizes = ["--capacity-ml", "512", "--mouth-bore-mm", "19"];
    listen(&[&[arg(&high), "--unknown"][..], &sizes].concat())
        .ended(1)
        .says("try:");
    listen(&[arg(&path), "--unknown"]).ended(2);
}

#[test]
fn a_tapped_bottle_has_its_partials_told() {
    let folder = Folder::new();
    let path = folder.at("taps.wav");
    drawn(&path, 3, |t| {
        let since = (t - 0.3).rem_euclid(0.9);
        let ring =
            |hz: f64, a: f64, t60: f64| a * (-6.908 * since / t60).exp() * (TAU * hz * since).sin();
        if t < 0.3 {
            0.0
        } else {
            ring(1702.0, 0.3, 0.6) + ring(1710.5, 0.2, 0.6) + ring(2161.0, 0.1, 0.8)
        }
    });
    let told = json(&[arg(&path), "--way", "struck"]);
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
    listen(&[arg(&path), "--way", "struck"]).prints("that beat 8.");
    // With a bottle of the set: what to pour, or that none of it is its note.
    let of = ["--way", "struck", "--set", QUAY_SET, "--note", "G3"];
    listen(&[&[arg(&path)][..], &of].concat()).ended(0);
}

#[cfg(feature = "live")]
#[test]
fn without_a_microphone_there_is_one_error_and_the_microphone_is_never_opened_unasked() {
    let run = listen(&["--live", "--host", "gramophone"]).ended(1);
    assert_eq!(run.err.matches("error:").count(), 1, "{}", run.err);
    run.says("gramophone").says("try:");
    for args in [
        &["--live", "x.wav"][..],
        &["x.wav", "--input", "hw"],
        &["--live", "--rate-hz", "1"],
        &["--live", "--unknown"],
    ] {
        listen(args).ended(2);
    }
    let folder = Folder::new();
    let path = wav(&folder.at("g3.wav"), &[196.0], &PLAIN);
    let run = listen(&[arg(&path)]);
    assert!(!run.err.contains("listening"), "{}", run.err);
}

#[test]
fn two_bottles_at_once_are_both_told() {
    let folder = Folder::new();
    let path = folder.at("two.wav");
    drawn(&path, 2, |t| {
        0.2 * (t / 0.1).min(1.0) * ((TAU * 196.0 * t).sin() + 0.8 * (TAU * 247.0 * t).sin())
    });
    let told = json(&[arg(&path)]);
    let other = &told["others"][0];
    assert!(
        cents(told["hz"].as_f64().unwrap(), 196.0).abs() < 1.0,
        "{told}"
    );
    assert!(
        cents(other["hz"].as_f64().unwrap(), 247.0).abs() < 1.0,
        "{told}"
    );
    assert_eq!(
        (&other["note"], &other["at_once"]),
        (&"B3".into(), &true.into())
    );
    listen(&[arg(&path)]).prints("another bottle at the same time: 247.0");
    // The set says which of the two is meant, though the other one is louder.
    let meant = json(&[arg(&path), "--target-hz", "247"]);
    assert!(
        cents(meant["hz"].as_f64().unwrap(), 247.0).abs() < 1.0,
        "{meant}"
    );
    assert_eq!(meant["by_expectation"], true);
}

#[test]
fn another_bottle_is_named_and_nothing_is_poured_into_it() {
    let folder = Folder::new();
    let path = wav(&folder.at("a4.wav"), &[440.0], &PLAIN);
    let of = [arg(&path), "--set", QUAY_SET, "--note", "G3"];
    listen(&of).prints("A4 +0 cents: this is not that bottle: it sounds 1400 cents above its note");
    let advice = &json(&of)["advice"];
    assert!(
        advice["add_ml"].is_null() && advice["cannot"].is_string(),
        "{advice}"
    );
}

#[test]
fn the_help_says_which_recordings_are_read() {
    let run = listen(&["--help"]).ended(0);
    // Lines are broken where the terminal is full.
    let words: Vec<&str> = run.out.split_whitespace().collect();
    let help = words.join(" ");
    assert!(help.contains(ullage::file::recording::READS), "{help}");
}

#[test]
fn a_recording_of_another_kind_is_heard_or_says_why_not() {
    let folder = Folder::new();
    let data = |name: &str| crate::common::files::data(&format!("recordings/{name}"));
    let run = listen(&[arg(&data("tone.m4a"))]);
    if cfg!(feature = "recordings") {
        let told = json(&[arg(&data("tone.m4a"))]);
        assert!(
            cents(told["hz"].as_f64().unwrap(), 196.0).abs() < 1.0,
            "{told}"
        );
    } else {
        run.ended(2)
            .says("this build reads WAV only")
            .says("--features recordings");
    }
    listen(&[arg(&data("tone.opus"))])
        .ended(2)
        .says("Opus is not read");
    let taps = folder.at("tap.wav");
    drawn(&taps, 1, |t| {
        let t = t - 0.2;
        if t < 0.0 {
            0.0
        } else {
            0.5 * (-23.0 * t).exp() * (TAU * 2_230.0 * t).sin()
        }
    });
    listen(&[arg(&taps)])
        .ended(1)
        .says("was tapped")
        .says("--way struck");
    listen(&[arg(&taps), "--way", "struck"]).ended(0);
}
