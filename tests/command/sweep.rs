//! Sweeps of gas and strength, and their drawing.

use serde_json::Value;

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg, read};

/// The pitches of a sweep, Hz.
fn pitches(report: &Value) -> Vec<f64> {
    let rows = report["predictions"].as_array().unwrap().iter();
    rows.map(|r| r["resonances"][0]["hz"].as_f64().unwrap())
        .collect()
}

/// Pitches of a swept cordial bottle, Hz.
fn swept(options: &[&str]) -> Vec<f64> {
    let cordial = ["predict", QUAY_SHELF, "--bottle", "cordial"];
    pitches(&json(&[&cordial[..], options].concat()))
}

#[test]
fn more_co2_falls_without_a_step_to_what_the_pure_gas_gives() {
    let pitches = swept(&["--sweep", "gas=co2:0..1/21"]);
    assert_eq!(pitches.len(), 21);
    assert!(pitches.windows(2).all(|p| p[1] < p[0]), "{pitches:?}");
    let pure = |gas: &str| {
        let cordial = ["predict", QUAY_SHELF, "--bottle", "cordial"];
        let report = json(&[&cordial[..], &["--gas", gas]].concat());
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
        "liquid=ethanol:0..40/9",
    ];
    let pitches = swept(&saturated);
    assert!(pitches.windows(2).all(|p| p[1] < p[0]), "{pitches:?}");
    // Weighed: syrup is denser, so that the same grams fill less and sound lower.
    let weighed = swept(&["--fill-g", "300", "--sweep", "liquid=sugar:0..60/7"]);
    assert!(weighed.windows(2).all(|p| p[1] < p[0]), "{weighed:?}");
    let poured = swept(&["--fill-ml", "300", "--sweep", "liquid=sugar:0..60/7"]);
    assert!(poured.windows(2).all(|p| p[1] == p[0]), "{poured:?}");
}

#[test]
fn a_sweep_is_drawn_once_and_not_over_another_drawing() {
    let folder = Folder::new();
    let file = folder.at("warmth.svg");
    let sweep = ["predict", QUAY_SET, "--sweep", "temp-c=0..40/5"];
    let drawing = [&sweep[..], &["--svg", arg(&file)]].concat();
    ullage(&drawing).ended(0);
    let drawn = read(&file);
    assert_eq!(
        drawn.matches("<polyline").count(),
        15,
        "a curve for each pour"
    );
    assert!(drawn.contains("temperature, °C") && drawn.contains("G2 harbour jug"));
    assert!(!drawn.contains("NaN") && !drawn.contains("inf"));
    ullage(&drawing).ended(1).says("--force");
    ullage(&[&drawing[..], &["--force"]].concat()).ended(0);
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
        ("temp-c=0..40/1", "2 to 1001"),
    ] {
        ullage(&["predict", QUAY_SHELF, "--sweep", sweep])
            .ended(2)
            .says(told);
    }
}

#[test]
fn pressure_travel_and_lift_are_swept_and_move_the_pitch_as_they_should() {
    let swept = |set: &str, way: &str, sweep: &str| -> Vec<f64> {
        let report = json(&["predict", set, "--way", way, "--sweep", sweep]);
        // The first bottle's: its rows come first.
        pitches(&report)[..5].to_vec()
    };
    let up = |pitches: &[f64]| pitches.windows(2).all(|p| p[1] > p[0]);
    let pumped = swept(
        "presets/plastic/set.toml",
        "pressurised",
        "gauge-bar=1..2/5",
    );
    assert!(up(&pumped), "{pumped:?}");
    let slid = swept("presets/slide/set.toml", "sliding", "travel-mm=0..180/5");
    assert!(up(&slid), "{slid:?}");
    let lifted = swept("presets/pair/set.toml", "joined", "lift-mm=-40..80/5");
    assert!(up(&lifted), "{lifted:?}");
    ullage(&["predict", QUAY_SHELF, "--sweep", "gauge-bar=0..2"])
        .ended(2)
        .says("set by its fill");
}

#[test]
fn one_bottle_is_drawn_over_round_hertz() {
    let folder = Folder::new();
    let file = folder.at("filled.svg");
    let sweep = [
        "predict",
        QUAY_SHELF,
        "--bottle",
        "cordial",
        "--sweep",
        "fill-ml=0..200/5",
    ];
    ullage(&[&sweep[..], &["--svg", arg(&file)]].concat()).ended(0);
    let drawn = read(&file);
    let numbers = drawn
        .lines()
        .filter(|line| line.contains("class=\"plot-number end\""));
    let hertz: Vec<f64> = numbers
        .filter_map(|line| line.split(['>', '<']).nth(2)?.parse().ok())
        .collect();
    assert!(hertz.len() >= 4, "{drawn}");
    let step = hertz[1] - hertz[0];
    assert!(
        hertz.windows(2).all(|h| (h[1] - h[0] - step).abs() < 1e-9),
        "{hertz:?}"
    );
    assert!(
        hertz.iter().all(|hz| (hz / step).fract() == 0.0),
        "{hertz:?}"
    );
}
