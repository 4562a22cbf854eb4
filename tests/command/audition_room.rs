//! Where a set is heard from, and what stands where in it: rooms, distances, one bottle alone, two of one key.

use serde_json::Value;
use ullage::file::wav::{Wav, read_wav};

use crate::common::command::ullage;
use crate::common::files::{Folder, arg, stretch};
use crate::common::measure;

/// So many half-litre bottles, each with its note, its filling and its way.
fn set(pours: &[(&str, f64)], room: &str) -> String {
    let pours = pours.iter().map(|(note, fill_ml)| {
        format!("[[pour]]\nnote = \"{note}\"\nbottle = \"half litre\"\nfill_ml = {fill_ml}\n")
    });
    format!(
        "{room}\n[[bottle]]\nname = \"half litre\"\ncount = 9\ncapacity_ml = 500\nmouth_bore_mm = 18\n\
         neck_length_mm = 60\nbody_diameter_mm = 66\n{}",
        pours.collect::<String>()
    )
}

/// The report, and the sound.
fn heard(folder: &Folder, name: &str, text: &str, more: &[&str]) -> (Value, Wav) {
    let file = folder.write(&format!("{name}.toml"), text);
    let out = folder.at(format!("{name}.wav"));
    let args = [
        "audition",
        arg(&file),
        "--json",
        "--bits",
        "32f",
        "--out",
        arg(&out),
    ];
    let run = ullage(&[&args[..], more].concat()).ended(0);
    (run.json(), read_wav(&out).unwrap())
}

fn sides_db(wav: &Wav) -> f64 {
    20.0 * (measure::rms(&wav.channel(0)) / measure::rms(&wav.channel(1))).log10()
}

#[test]
fn a_bottle_alone_stands_in_the_middle_and_two_on_either_side() {
    let folder = Folder::new();
    let (_, one) = heard(&folder, "one", &set(&[("A3", 200.0)], ""), &["--dry"]);
    assert!(sides_db(&one).abs() < 1e-4, "{} dB", sides_db(&one));
    let pours = [("A3", 200.0), ("C4", 300.0)];
    let (report, two) = heard(&folder, "two", &set(&pours, ""), &["--dry"]);
    let sides = report["notes"].as_array().unwrap().iter().map(|note| {
        let s = |key: &str| note[key].as_f64().unwrap();
        let at = |s: f64| (s * two.rate.hz()) as usize;
        let [left, right] = [0, 1]
            .map(|side| measure::rms(&two.channel(side)[at(s("start_s") + 0.5)..at(s("stop_s"))]));
        20.0 * (left / right).log10()
    });
    let sides: Vec<f64> = sides.collect();
    // 0.7 of the way to the side, at constant power: 20 log tan(π/4 · 1.7) = 12.4 dB.
    assert!(
        (sides[0] - 12.4).abs() < 0.1 && (sides[1] + 12.4).abs() < 0.1,
        "{sides:?}"
    );
}

#[test]
fn two_bottles_of_one_key_are_heard_together_and_beat() {
    let folder = Folder::new();
    let text = set(&[("A3", 200.0), ("A3", 203.0), ("C4", 300.0)], "");
    let (report, wav) = heard(&folder, "unison", &text, &["--dry", "--steady"]);
    let pairs = report["unisons"].as_array().unwrap();
    assert_eq!(pairs.len(), 1);
    // Two of a kind with one note are told apart.
    assert_ne!(pairs[0]["a"], pairs[0]["b"]);
    let beats_hz = pairs[0]["beats"]["beats_per_s"].as_f64().unwrap();
    let parts = report["parts"].as_array().unwrap().iter();
    let title = |part: &&Value| part["title"].as_str().unwrap().starts_with("unison: ");
    let part = parts.clone().find(title).unwrap();
    assert_eq!(parts.filter(title).count(), 1);
    let (start_s, end_s) = (
        part["start_s"].as_f64().unwrap(),
        part["end_s"].as_f64().unwrap(),
    );
    // From when both speak to when their breath ends.
    let sound = stretch(&wav, start_s + 0.8, end_s - 0.8);
    let hz = report["notes"][0]["hz"].as_f64().unwrap();
    let heard_hz = measure::beats_hz(&sound, wav.rate.hz(), hz, 0.4 * beats_hz, 2.0 * beats_hz);
    println!("{beats_hz:.3} beats a second, heard {heard_hz:.3}");
    assert!((0.3..8.0).contains(&beats_hz), "a beat that can be counted");
    // Four beats or so are told to a tenth of one.
    assert!((heard_hz / beats_hz - 1.0).abs() < 0.05, "{heard_hz}");
    let size = |window: &[f32]| measure::rms(window);
    let windows: Vec<f64> = sound.chunks_exact(2_400).map(size).collect();
    let most = windows.iter().copied().fold(0.0, f64::max);
    let least = windows.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(
        most > 4.0 * least,
        "{least} to {most}: one of them alone does not beat"
    );
}

#[test]
fn a_room_is_that_of_the_options_or_of_the_set() {
    let folder = Folder::new();
    let pours = [("A3", 200.0)];
    let plain = set(&pours, "");
    let bytes = |name: &str, text: &str, more: &[&str]| heard(&folder, name, text, more).1.samples;
    let small = bytes("small", &plain, &[]);
    assert!(
        small
            == bytes(
                "small2",
                &plain,
                &["--room", "small", "--distance-m", "0.8"]
            )
    );
    let hall = bytes("hall", &plain, &["--room", "hall"]);
    assert!(hall.len() > small.len(), "a hall rings longer");
    let written = set(&pours, "[room]\nkind = \"hall\"\ndistance_m = 9");
    let far = bytes("far", &written, &[]);
    assert!(far == bytes("far2", &plain, &["--room", "hall", "--distance-m", "9"]));
    assert!(far != hall);
    // Another room than the file's has its own distance.
    assert!(small == bytes("small3", &written, &["--room", "small"]));
    let outdoors = bytes("outdoors", &plain, &["--room", "outdoors"]);
    assert!(outdoors != small && outdoors.len() < small.len());
}

#[test]
fn a_room_that_is_none_is_refused_with_the_way_out() {
    let folder = Folder::new();
    let refused = |name: &str, text: &str, more: &[&str], words: &str| {
        let file = folder.write(&format!("{name}.toml"), text);
        let out = folder.at(format!("{name}.wav"));
        let args = ["audition", arg(&file), "--out", arg(&out)];
        ullage(&[&args[..], more].concat()).ended(2).says(words);
        assert!(!out.exists());
    };
    let pours = [("A3", 200.0)];
    let plain = set(&pours, "");
    let range = "a distance of 9 m is outside 0.3 to 3.7 m (small)";
    refused("far", &plain, &["--distance-m", "9"], range);
    refused("dry", &plain, &["--dry", "--room", "hall"], "--dry");
    refused("cave", &plain, &["--room", "cave"], "small");
    let far = set(&pours, "[room]\ndistance_m = 9");
    refused("file", &far, &[], &format!("[room] distance_m: {range}"));
    let cave = set(&pours, "[room]\nkind = \"outdoor\"");
    refused("kind", &cave, &[], "did you mean `outdoors`?");
}
