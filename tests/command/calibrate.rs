//! What was heard from a bottle reaches every command alike.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;

const DIMENSIONS: &str = "[[bottle]]\nname = \"cordial\"\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
                          body_diameter_mm = 66\ncapacity_ml = 500\n";

/// Files of one test.
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn file(&self, name: &str, text: &str) -> PathBuf {
        std::fs::write(self.path(name), text).unwrap();
        self.path(name)
    }
}

fn run(args: &[&str], files: &[&Path]) -> (Option<i32>, String, String) {
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .args(args)
        .args(files)
        .output()
        .unwrap();
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn json(args: &[&str], files: &[&Path]) -> Value {
    let (code, out, err) = run(&[&args[..1], &["--json"], &args[1..]].concat(), files);
    assert_eq!(code, Some(0), "{args:?}: {err}");
    serde_json::from_str(&out).unwrap()
}

fn first_hz(prediction: &Value) -> f64 {
    prediction["resonances"][0]["hz"].as_f64().unwrap()
}

#[test]
fn predict_gives_the_pitch_that_was_heard_and_says_how_it_was_fitted() {
    let folder = Folder::new();
    let plain = folder.file("plain.toml", DIMENSIONS);
    let heard = folder.file(
        "heard.toml",
        &format!(
            "{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 150, temp_c = 20 }}, {{ fill_ml = 0, hz = 2000, way = \"struck\" }}]\n"
        ),
    );
    let (before, after) = (json(&["predict"], &[&plain]), json(&["predict"], &[&heard]));
    assert!(before.get("calibration").is_none());
    assert!(
        (first_hz(&after) - 150.0).abs() < 1e-3,
        "{}",
        first_hz(&after)
    );
    assert_eq!(
        after["calibration"]["heard"], 1,
        "the struck one is kept apart"
    );
    assert_eq!(after["calibration"]["volume_pct"], 0.0);
    assert_eq!(after["calibration"]["outliers"], serde_json::json!([]));
    // 150 Hz is below what the dimensions say, so that the mouth is longer.
    assert!(first_hz(&before) > 150.0 && after["calibration"]["mouth_mm"].as_f64().unwrap() > 0.0);
    assert!(after["plus_minus_cents"].as_f64() < before["plus_minus_cents"].as_f64());
    let (code, text, _) = run(&["predict"], &[&heard]);
    assert_eq!(code, Some(0));
    assert!(
        text.contains("cordial: fitted to 1 heard pitch: mouth +"),
        "{text}"
    );
    assert!(text.contains("1 struck not counted"), "{text}");
}

#[test]
fn a_warmer_room_moves_the_prediction_and_not_what_was_heard() {
    let folder = Folder::new();
    let noted = folder.file(
        "noted.toml",
        &format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 150, temp_c = 20 }}]\n"),
    );
    let warm = json(&["predict", "--temp-c", "30"], &[&noted]);
    let cents = 1200.0 * (first_hz(&warm) / 150.0).log2();
    // Sound speed goes with the root of the temperature: 29 cents for 20 to 30 °C, and a little for its vapour.
    assert!((28.0..34.0).contains(&cents), "{cents}");
    let swept = json(&["predict", "--sweep", "temp-c=10..30/2"], &[&noted]);
    let swept = swept["predictions"].as_array().unwrap();
    let at = |temp_c: f64| first_hz(swept.iter().find(|p| p["temp_c"] == temp_c).unwrap());
    assert!((at(20.0) - 150.0).abs() < 1e-3, "{}", at(20.0));
    assert!(
        at(10.0) < 149.0 && at(30.0) > 151.0,
        "{} {}",
        at(10.0),
        at(30.0)
    );
}

#[test]
fn every_command_pours_the_same_for_what_was_heard() {
    let folder = Folder::new();
    let shelf = folder.file(
        "shelf.toml",
        &format!(
            "{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 150 }}, {{ fill_ml = 300, hz = 243 }}]\n"
        ),
    );
    let set = folder.path("set.toml");
    let arguments = [
        "--notes",
        "A3",
        "--temp-c",
        "24",
        "--out",
        set.to_str().unwrap(),
    ];
    let args = [&["plan"][..], &arguments, &["--shelf"]].concat();
    let plan = json(&args, &[&shelf]);
    let fill_ml = plan["pours"][0]["fill_ml"].as_f64().unwrap();
    let near = |value: &Value| (value.as_f64().unwrap() - fill_ml).abs() < 0.02;
    let hz = |value: &Value| (value.as_f64().unwrap() - 220.0).abs() < 0.02;

    let filled = json(&["fill"], &[&set]);
    assert!(
        near(&filled["pours"][0]["fill_ml"]) && hz(&filled["pours"][0]["hz"]),
        "{filled}"
    );
    let predicted = json(&["predict"], &[&set]);
    assert!(hz(&predicted["resonances"][0]["hz"]), "{predicted}");
    assert_eq!(predicted["calibration"]["heard"], 2);
    let poured = json(&["pour"], &[&set]);
    assert!(near(&poured["rows"][0]["fill_ml"]), "{poured}");
    let retuned = json(&["retune"], &[&set]);
    assert!(
        retuned["retuned"][0]["off_cents"].as_f64().unwrap().abs() < 0.2,
        "{retuned}"
    );
    let wave = folder.path("set.wav");
    let heard = json(&["audition", "--out", wave.to_str().unwrap()], &[&set]);
    let text = heard.to_string();
    assert!(
        text.contains("\"hz\":219.99") || text.contains("\"hz\":220.0"),
        "{text}"
    );

    // From a set in another room: what was heard without a thermometer keeps the room of that set.
    let again = folder.path("again.toml");
    let arguments = [
        "--notes",
        "A3",
        "--temp-c",
        "15",
        "--out",
        again.to_str().unwrap(),
    ];
    let args = [&["plan"][..], &arguments, &["--shelf"]].concat();
    let plan = json(&args, &[&set]);
    let filled = json(&["fill"], &[&again]);
    let fills = [&plan, &filled].map(|v| v["pours"][0]["fill_ml"].as_f64().unwrap());
    assert!((fills[0] - fills[1]).abs() < 0.02, "{fills:?}");
    assert!(
        fills[0] > fill_ml + 1.0,
        "colder air sounds lower, so that more goes in: {fills:?}"
    );
}

#[test]
fn a_pitch_that_no_mouth_explains_is_an_error_that_names_it() {
    let folder = Folder::new();
    let shelf = folder.file(
        "shelf.toml",
        &format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 1200 }}]\n"),
    );
    let (code, _, err) = run(&["predict"], &[&shelf]);
    assert_eq!(code, Some(2), "{err}");
    assert!(
        err.contains("\"cordial\"") && err.contains("1200 Hz was heard with 0.0 ml"),
        "{err}"
    );
    assert!(err.contains("try: "), "{err}");
}
