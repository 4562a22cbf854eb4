//! Struck, pressurised, sliding and joined bottles in `audition`: the WAV is measured by code that shares nothing with
//! the voices.

use serde_json::Value;
use ullage::file::wav::{Wav, read_wav};

use crate::common::command::{Run, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, read, stretch};
use crate::common::measure;

const FLOOR: &str = r#"
title = "a floor that slides"
[[bottle]]
name = "slide"
material = "plastic"
body_diameter_mm = 62
body_length_mm = 215
shoulder_length_mm = 30
height_mm = 290
mouth_bore_mm = 20
neck_bore_mm = 22
wall_mm = 1
[[pour]]
note = "G3"
bottle = "slide"
way = "sliding"
[[pour]]
note = "C4"
bottle = "slide"
way = "sliding"
[[pour]]
note = "E4"
bottle = "slide"
way = "sliding"
"#;

const STRUCK: &str = r#"
title = "a wall that rings"
[striking]
doublet_pct = 0
[[bottle]]
name = "jar"
count = 2
body_diameter_mm = 83
body_length_mm = 121
shoulder_length_mm = 60
height_mm = 214
mouth_bore_mm = 36
mass_g = 314
[[pour]]
note = "C7"
bottle = "jar"
way = "struck"
fill_ml = 330
[[pour]]
note = "E7"
bottle = "jar"
way = "struck"
fill_ml = 100
"#;

/// Plays the set of this text; what it wrote, if it did.
fn run(set: &str, more: &[&str]) -> (Run, Option<Wav>) {
    let folder = Folder::new();
    let (file, out) = (folder.write("set.toml", set), folder.at("heard.wav"));
    let args = ["audition", "--json", "--dry", "--bits", "32f", "--out"];
    let run = ullage(&[&args[..], &[arg(&out), arg(&file)], more].concat());
    (run, read_wav(&out).ok())
}

fn heard(set: &str, more: &[&str]) -> (Value, Wav) {
    let (run, wav) = run(set, more);
    (run.ended(0).json(), wav.unwrap())
}

fn part<'a>(report: &'a Value, begins: &str) -> &'a Value {
    let parts = report["parts"].as_array().unwrap();
    let found = parts
        .iter()
        .find(|p| p["title"].as_str().unwrap().starts_with(begins));
    found.unwrap_or_else(|| panic!("no part {begins:?} in {parts:?}"))
}

/// The period at which the tone is most like itself, between those of `low_hz` and `high_hz`: breath does not repeat.
fn alike_hz(samples: &[f32], rate_hz: f64, (low_hz, high_hz): (f64, f64)) -> f64 {
    let likeness = |lag: usize| -> f64 {
        let later = &samples[lag..];
        let pairs = later.iter().zip(samples);
        let (mut product, mut energy) = (0.0, 0.0);
        for (a, b) in pairs {
            product += f64::from(a * b);
            energy += f64::from(a * a + b * b);
        }
        2.0 * product / energy
    };
    let lags = (rate_hz / high_hz) as usize..=(rate_hz / low_hz) as usize + 1;
    let best = lags
        .max_by(|a, b| likeness(*a).total_cmp(&likeness(*b)))
        .unwrap();
    // The top of the parabola through the three around it.
    let [below, at, above] = [best - 1, best, best + 1].map(likeness);
    let off = 0.5 * (below - above) / (below - 2.0 * at + above);
    rate_hz / (best as f64 + off)
}

/// The slope of the log envelope of one partial among others, as a quality: windows of 30 ms leave out what is 130 Hz away.
fn ring_q(samples: &[f32], rate_hz: f64, hz: f64) -> f64 {
    let tone = measure::demodulate(samples, rate_hz, hz, 0.03);
    let levels = tone.value.iter().map(|(re, im)| re.hypot(*im).ln());
    let points: Vec<(f64, f64)> = tone.time_s.iter().copied().zip(levels).collect();
    let falls = |p: &&(f64, f64)| (0.3..3.0).contains(&(points[0].1 - p.1));
    let (t, l): (Vec<f64>, Vec<f64>) = points.iter().filter(falls).copied().unzip();
    -std::f64::consts::PI * hz / measure::slope(&t, &l)
}

#[test]
fn a_sliding_floor_sounds_every_mark_at_its_pitch() {
    let (report, wav) = heard(FLOOR, &["--steady"]);
    for note in report["notes"].as_array().unwrap() {
        let number = |key: &str| note[key].as_f64().unwrap();
        assert_eq!(note["way"], "sliding");
        assert!(number("travel_mm") > 0.0);
        let steady = stretch(&wav, number("stop_s") - 0.8, number("stop_s") - 0.05);
        let hz = number("hz");
        let off = measure::cents(measure::pitch_hz(&steady, wav.rate.hz(), hz), hz);
        // 1 cent for the breath's fluctuation over 0.75 s.
        assert!(off.abs() < 1.0, "{note}: {off:+.2} cents");
    }
    // Three notes of one floor never sound at once.
    assert_eq!(report["together"].as_array().unwrap().len(), 0);
    assert_eq!(report["chords"].as_array().unwrap().len(), 0);
}

#[test]
fn a_slide_has_no_steps() {
    let (report, wav) = heard(FLOOR, &["--steady"]);
    let slide = part(&report, "the floor of slide");
    let notes = report["notes"].as_array().unwrap();
    let hz_of = |note: &Value| note["hz"].as_f64().unwrap();
    let (low, high) = (hz_of(&notes[0]), hz_of(&notes[2]));
    let rate_hz = wav.rate.hz();
    let start_s = slide["start_s"].as_f64().unwrap();
    // Pitch in windows of 60 ms, 20 ms apart.
    let mut pitches = Vec::new();
    let mut at_s = start_s + 0.6;
    while at_s < start_s + 3.9 {
        let window = stretch(&wav, at_s, at_s + 0.06);
        pitches.push(alike_hz(&window, rate_hz, (0.9 * low, 1.1 * high)));
        at_s += 0.02;
    }
    let climbed = measure::cents(*pitches.last().unwrap(), pitches[0]);
    let way = measure::cents(high, low);
    assert!((climbed - way).abs() < 10.0, "{climbed} cents of {way}");
    // 520 cents in 3 s are 3.5 cents a step of 20 ms if it went evenly; the floor goes evenly in mm, which is up to three
    // times as fast near the top. A step that a bottle at a time would make is 1.2 semitones.
    let steps = pitches.windows(2).map(|p| measure::cents(p[1], p[0]));
    let (least, most) = steps.fold((f64::MAX, f64::MIN), |(l, m), s| (l.min(s), m.max(s)));
    println!("{least:.1} to {most:.1} cents in 20 ms");
    assert!(most < 16.0 && least > -4.0, "{least:.1} to {most:.1} cents");
}

#[test]
fn a_struck_bottle_rings_at_its_strongest_partial_with_its_q() {
    let (report, wav) = heard(STRUCK, &[]);
    for note in report["notes"].as_array().unwrap() {
        let number = |key: &str| note[key].as_f64().unwrap();
        assert_eq!(note["way"], "struck");
        assert_eq!(
            number("start_s"),
            number("stop_s"),
            "a stroke takes no time"
        );
        let (hz, q) = (number("hz"), number("q"));
        // After the contact; the other partials are filtered out by the measurement's window, but for one a semitone above, which is
        // weaker and rings longer: the pitch is that of the time in which it is the weaker one.
        let from_s = number("start_s") + 0.02;
        let ringing = |most_s: f64| stretch(&wav, from_s, number("end_s").min(from_s + most_s));
        let found = measure::pitch_hz(&ringing(0.13), wav.rate.hz(), hz);
        let ringing = ringing(0.98);
        let off = measure::cents(found, hz);
        let measured_q = ring_q(&ringing, wav.rate.hz(), hz);
        println!(
            "{} {hz:.1} Hz {off:+.2} cents, Q {q:.0} measured {measured_q:.0}",
            note["note"]
        );
        assert!(off.abs() < 1.0, "{note}: {off:+.2} cents");
        assert!(
            (measured_q / q - 1.0).abs() < 0.03,
            "{note}: Q {measured_q:.1}"
        );
    }
}

#[test]
fn two_conditions_are_heard_after_each_other() {
    let changes = ["--before", "temp-c=20", "--after", "chilled", "--steady"];
    let (report, wav) = heard(&read(QUAY_SET), &changes);
    let bottles = report["bottles"].as_array().unwrap();
    let turns = part(&report, "each bottle, before and after");
    let mut at_s = turns["start_s"].as_f64().unwrap();
    // The first bottle before, then the same after: as far apart as they are said to be.
    let rate_hz = wav.rate.hz();
    let lowest = bottles
        .iter()
        .min_by(|a, b| {
            a["before_hz"]
                .as_f64()
                .unwrap()
                .total_cmp(&b["before_hz"].as_f64().unwrap())
        })
        .unwrap();
    for key in ["before_hz", "after_hz"] {
        let hz = lowest[key].as_f64().unwrap();
        let steady = stretch(&wav, at_s + 0.9, at_s + 1.55);
        let off = measure::cents(measure::pitch_hz(&steady, rate_hz, hz), hz);
        assert!(off.abs() < 1.5, "{key}: {off:+.2} cents");
        // On to the next: the breath's time, its ring, and the rest between two.
        let quiet = |s: f64| {
            let now = stretch(&wav, s, s + 0.02);
            now.iter().fold(0.0f32, |m, x| m.max(x.abs())) < 1e-3
        };
        at_s += 1.6;
        while !quiet(at_s) {
            at_s += 0.01;
        }
        while quiet(at_s) {
            at_s += 0.005;
        }
    }
    assert!(
        part(&report, "before, temp-c=20")["start_s"].as_f64()
            < part(&report, "after, chilled")["start_s"].as_f64()
    );
}

#[test]
fn two_conditions_and_a_piece_are_refused_in_one_line() {
    let (run, wav) = run(
        FLOOR,
        &["--after", "chilled", "--piece", "presets/quay/piece.mid"],
    );
    run.ended(2).says("not with a piece");
    assert!(wav.is_none());
}

#[test]
fn exports_of_struck_bottles_play_through_once() {
    let folder = Folder::new();
    let file = folder.write("set.toml", STRUCK);
    let out = folder.at("out");
    ullage(&["export", arg(&file), "--out", arg(&out)]).ended(0);
    let sfz = std::fs::read_dir(&out).unwrap();
    let sfz = sfz
        .filter_map(|f| f.ok())
        .find(|f| f.path().extension().is_some_and(|e| e == "sfz"));
    let text = read(sfz.unwrap().path());
    assert_eq!(text.matches("loop_mode=one_shot").count(), 2, "{text}");
    assert!(!text.contains("loop_start"), "{text}");
}
