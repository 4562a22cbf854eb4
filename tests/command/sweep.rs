//! Sweeps of gas and strength, and their drawing.

use assert_cmd::Command;
use serde_json::Value;

const SHELF: &str = "presets/quay/shelf.toml";

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::cargo_bin("ullage")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// Pitches of a swept cordial bottle, Hz.
fn swept(options: &[&str]) -> Vec<f64> {
    let args = [
        &["predict", SHELF, "--bottle", "cordial", "--json"],
        options,
    ]
    .concat();
    let (code, out, err) = run(&args);
    assert_eq!(code, Some(0), "{options:?}: {err}");
    let report: Value = serde_json::from_str(&out).unwrap();
    let rows = report["predictions"].as_array().unwrap();
    rows.iter()
        .map(|r| r["resonances"][0]["hz"].as_f64().unwrap())
        .collect()
}

#[test]
fn more_co2_falls_without_a_step_to_what_the_pure_gas_gives() {
    let pitches = swept(&["--sweep", "gas=co2:0..1/20"]);
    assert_eq!(pitches.len(), 21);
    assert!(pitches.windows(2).all(|p| p[1] < p[0]), "{pitches:?}");
    let pure = |gas: &str| {
        let (_, out, _) = run(&[
            "predict", SHELF, "--bottle", "cordial", "--gas", gas, "--json",
        ]);
        let report: Value = serde_json::from_str(&out).unwrap();
        report["resonances"][0]["hz"].as_f64().unwrap()
    };
    assert_eq!((pitches[0], pitches[20]), (pure("room air"), pure("co2")));
}

#[test]
fn a_stronger_spirit_is_flatter_where_its_vapour_is_counted_and_grams_stay_grams() {
    let saturated = [
        "--fill-ml",
        "100",
        "--headspace",
        "saturated",
        "--sweep",
        "liquid=ethanol:0..40/8",
    ];
    let pitches = swept(&saturated);
    assert!(pitches.windows(2).all(|p| p[1] < p[0]), "{pitches:?}");
    // Weighed: syrup is denser, so that the same grams fill less and sound lower.
    let weighed = swept(&["--fill-g", "300", "--sweep", "liquid=sugar:0..60/6"]);
    assert!(weighed.windows(2).all(|p| p[1] < p[0]), "{weighed:?}");
    let poured = swept(&["--fill-ml", "300", "--sweep", "liquid=sugar:0..60/6"]);
    assert!(poured.windows(2).all(|p| p[1] == p[0]), "{poured:?}");
}

#[test]
fn a_sweep_is_drawn_once_and_not_over_another_drawing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("warmth.svg");
    let path = file.to_str().unwrap();
    let set = [
        "predict",
        "presets/quay/set.toml",
        "--sweep",
        "temp-c=0..40/4",
        "--svg",
        path,
    ];
    assert_eq!(run(&set).0, Some(0));
    let drawn = std::fs::read_to_string(&file).unwrap();
    assert_eq!(
        drawn.matches("<polyline").count(),
        15,
        "a curve for each pour"
    );
    assert!(drawn.contains("temperature, °C") && drawn.contains("G2 harbour jug"));
    assert!(!drawn.contains("NaN") && !drawn.contains("inf"));
    let (code, _, err) = run(&set);
    assert_eq!(code, Some(1));
    assert!(err.contains("--force"), "{err}");
    assert_eq!(run(&[&set[..], &["--force"]].concat()).0, Some(0));
}

#[test]
fn a_sweep_over_nonsense_is_refused() {
    for (sweep, told) in [
        ("gas=co2", "gas=co2:0..1"),
        ("gas=co2:0..2", "0 to 100"),
        ("gas=swamp:0..1", "no gas"),
        ("liquid=salt:0..40", "26.4"),
        ("liquid=water:0..40", "takes no percentage"),
        ("weight=1..2", "fill-ml"),
        ("temp-c=0..40/0", "1 to 1000"),
    ] {
        let (code, _, err) = run(&["predict", SHELF, "--sweep", sweep]);
        assert_eq!(code, Some(2), "{sweep}");
        assert!(err.contains(told), "{sweep}: {err}");
    }
}

#[test]
fn pressure_travel_and_lift_are_swept_and_move_the_pitch_as_they_should() {
    let swept = |set: &str, way: &str, sweep: &str| -> Vec<f64> {
        let (code, out, err) = run(&["predict", set, "--way", way, "--sweep", sweep, "--json"]);
        assert_eq!(code, Some(0), "{sweep}: {err}");
        let report: Value = serde_json::from_str(&out).unwrap();
        let rows = report["predictions"].as_array().unwrap();
        // The first bottle's: its rows come first.
        rows.iter()
            .take(5)
            .map(|r| r["resonances"][0]["hz"].as_f64().unwrap())
            .collect()
    };
    let up = |pitches: &[f64]| pitches.windows(2).all(|p| p[1] > p[0]);
    let pumped = swept(
        "presets/plastic/set.toml",
        "pressurised",
        "gauge-bar=1..2/4",
    );
    assert!(up(&pumped), "{pumped:?}");
    let slid = swept("presets/slide/set.toml", "sliding", "travel-mm=0..180/4");
    assert!(up(&slid), "{slid:?}");
    let lifted = swept("presets/pair/set.toml", "joined", "lift-mm=-40..80/4");
    assert!(up(&lifted), "{lifted:?}");
    let (code, _, err) = run(&["predict", SHELF, "--sweep", "gauge-bar=0..2"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("set by its fill"), "{err}");
}
