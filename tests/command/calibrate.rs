//! What was heard from a bottle reaches every command alike.

use std::path::Path;

use serde_json::Value;

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, arg};

const DIMENSIONS: &str = "[[bottle]]\nname = \"cordial\"\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
                          body_diameter_mm = 66\ncapacity_ml = 500\n";

fn first_hz(prediction: &Value) -> f64 {
    prediction["resonances"][0]["hz"].as_f64().unwrap()
}

#[test]
fn predict_gives_the_pitch_that_was_heard_and_says_how_it_was_fitted() {
    let folder = Folder::new();
    let plain = folder.write("plain.toml", DIMENSIONS);
    let heard = folder.write(
        "heard.toml",
        format!(
            "{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 140, temp_c = 20 }}, {{ fill_ml = 0, hz = 2000, way = \"struck\" }}]\n"
        ),
    );
    let (before, after) = (
        json(&["predict", arg(&plain)]),
        json(&["predict", arg(&heard)]),
    );
    assert!(before.get("calibration").is_none());
    // A blown pitch is heard to 15 cents, and the dimensions still count for something.
    let off_cents = 1200.0 * (first_hz(&after) / 140.0).log2();
    assert!(off_cents.abs() < 15.0, "{off_cents}");
    assert_eq!(
        after["calibration"]["heard"], 1,
        "the struck one is kept apart"
    );
    // The stated capacity stands.
    assert!(after["calibration"]["volume_pct"].as_f64().unwrap().abs() < 0.1);
    assert_eq!(after["calibration"]["outliers"], serde_json::json!([]));
    // 140 Hz is below what the dimensions say, so that the mouth is longer.
    assert!(first_hz(&before) > 140.0 && after["calibration"]["mouth_mm"].as_f64().unwrap() > 0.0);
    assert!(after["plus_minus_cents"].as_f64() < before["plus_minus_cents"].as_f64());
    ullage(&["predict", arg(&heard)])
        .ended(0)
        .prints("cordial: fitted to 1 heard pitch: mouth +")
        .prints("1 struck not counted");
}

#[test]
fn a_warmer_room_moves_the_prediction_and_not_what_was_heard() {
    let folder = Folder::new();
    let noted = folder.write(
        "noted.toml",
        format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 150, temp_c = 20 }}]\n"),
    );
    let [here_hz, warm_hz] =
        ["20", "30"].map(|temp_c| first_hz(&json(&["predict", arg(&noted), "--temp-c", temp_c])));
    // A pitch is heard to 15 cents, and the dimensions still count for something.
    let off_cents = 1200.0 * (here_hz / 150.0).log2();
    assert!(off_cents.abs() < 15.0, "{off_cents}");
    let cents = 1200.0 * (warm_hz / here_hz).log2();
    // Sound speed goes with the root of the temperature: 29 cents for 20 to 30 °C, and a little for its vapour.
    assert!((28.0..34.0).contains(&cents), "{cents}");
    let swept = json(&["predict", arg(&noted), "--sweep", "temp-c=10..30/3"]);
    let swept = swept["predictions"].as_array().unwrap();
    let at = |temp_c: f64| first_hz(swept.iter().find(|p| p["temp_c"] == temp_c).unwrap());
    assert!((at(20.0) - here_hz).abs() < 1e-3, "{}", at(20.0));
    assert!(
        at(10.0) < here_hz && at(30.0) > here_hz,
        "{} {}",
        at(10.0),
        at(30.0)
    );
}

#[test]
fn every_command_pours_the_same_for_what_was_heard() {
    let folder = Folder::new();
    let shelf = folder.write(
        "shelf.toml",
        format!(
            "{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 150 }}, {{ fill_ml = 300, hz = 243 }}]\n"
        ),
    );
    let set = folder.at("set.toml");
    let plan = |shelf: &Path, temp_c: &str, out: &Path| {
        let room = ["plan", "--notes", "A3", "--temp-c", temp_c];
        let files = ["--shelf", arg(shelf), "--out", arg(out)];
        json(&[&room[..], &files].concat())
    };
    let planned = plan(&shelf, "24", &set);
    let fill_ml = planned["pours"][0]["fill_ml"].as_f64().unwrap();
    let near = |value: &Value| (value.as_f64().unwrap() - fill_ml).abs() < 0.02;
    let hz = |value: &Value| (value.as_f64().unwrap() - 220.0).abs() < 0.02;

    let filled = json(&["fill", arg(&set)]);
    assert!(
        near(&filled["pours"][0]["fill_ml"]) && hz(&filled["pours"][0]["hz"]),
        "{filled}"
    );
    let predicted = json(&["predict", arg(&set)]);
    assert!(hz(&predicted["resonances"][0]["hz"]), "{predicted}");
    assert_eq!(predicted["calibration"]["heard"], 2);
    let poured = json(&["pour", arg(&set)]);
    assert!(near(&poured["rows"][0]["fill_ml"]), "{poured}");
    let retuned = json(&["retune", arg(&set)]);
    assert!(
        retuned["retuned"][0]["off_cents"].as_f64().unwrap().abs() < 0.2,
        "{retuned}"
    );
    let wave = folder.at("set.wav");
    let heard = json(&["audition", "--out", arg(&wave), arg(&set)]);
    let text = heard.to_string();
    assert!(
        text.contains("\"hz\":219.99") || text.contains("\"hz\":220.0"),
        "{text}"
    );

    // From a set in another room: what was heard without a thermometer keeps the room of that set.
    let again = folder.at("again.toml");
    let planned = plan(&set, "15", &again);
    let filled = json(&["fill", arg(&again)]);
    let fills = [&planned, &filled].map(|v| v["pours"][0]["fill_ml"].as_f64().unwrap());
    assert!((fills[0] - fills[1]).abs() < 0.02, "{fills:?}");
    assert!(
        fills[0] > fill_ml + 1.0,
        "colder air sounds lower, so that more goes in: {fills:?}"
    );
}

#[test]
fn a_pitch_that_no_mouth_explains_is_an_error_that_names_it() {
    let folder = Folder::new();
    let shelf = folder.write(
        "shelf.toml",
        format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 1200 }}]\n"),
    );
    ullage(&["predict", arg(&shelf)])
        .ended(2)
        .says("\"cordial\"")
        .says("1200 Hz was heard with 0.0 ml")
        .says("try: ");
}

#[test]
fn a_slip_of_the_pen_among_pitches_is_named_and_refused() {
    let folder = Folder::new();
    // 60 Hz for 160: the others are this bottle's.
    let shelf = folder.write(
        "shelf.toml",
        "[[bottle]]\nname = \"slip\"\nmouth_bore_mm = 18\nneck_length_mm = 60\ncapacity_ml = 500\n\
         heard = [{ fill_ml = 0, hz = 60 }, { fill_ml = 200, hz = 222.9 }, { fill_ml = 300, hz = 290 }]\n",
    );
    ullage(&["predict", arg(&shelf)])
        .ended(2)
        .says("\"slip\"")
        .says("60 Hz was heard with 0.0 ml")
        .says("hear it again, or take it out");
}

#[test]
fn a_note_comes_first_in_why_and_gives_what_is_said_there() {
    let folder = Folder::new();
    let plain = folder.write("plain.toml", DIMENSIONS);
    let before = json(&["predict", arg(&plain)]);
    let shares = before["uncertainty"].as_array().unwrap();
    let then = |share: &Value| share["then_plus_minus_cents"].as_f64();
    let first = shares.iter().filter(|share| then(share).is_some());
    let first = first.max_by(|a, b| then(a).unwrap().total_cmp(&then(b).unwrap()));
    let first = first.unwrap();
    assert_eq!(first["what"], "never blown");
    let said = format!(
        "blow it empty once and add the pitch to heard (1 min): ±{:.0}\n",
        then(first).unwrap()
    );
    ullage(&["predict", "--why", arg(&plain)])
        .ended(0)
        .prints(&format!(
            "    to be surer, first what gains most for its time:\n      {said}"
        ))
        .prints("a face close to the mouth: -");
    // A note that surprises nobody: what is said is what is to be expected of one. The rest is the ensemble's own dice.
    let hz = first_hz(&before);
    let heard = folder.write(
        "heard.toml",
        format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = {hz}, temp_c = 20 }}]\n"),
    );
    let after = json(&["predict", arg(&heard)]);
    let (said, came) = (
        then(first).unwrap(),
        after["plus_minus_cents"].as_f64().unwrap(),
    );
    assert!((came / said - 1.0).abs() < 0.25, "{came} for {said}");
}

#[test]
fn a_picture_the_brim_and_a_note_come_first_and_say_more_than_the_note_alone() {
    let folder = Folder::new();
    let unfilled = DIMENSIONS.replace("capacity_ml = 500\n", "height_mm = 240\n");
    let plain = folder.write("plain.toml", unfilled);
    let half = ["--fill-ml", "250"];
    let row = json(&[&["predict", arg(&plain)], &half[..]].concat());
    let steps = row["together"]["steps"].as_array().unwrap();
    assert_eq!(
        steps,
        &[
            "photograph it (ullage trace)",
            "fill it to the brim once",
            "blow it once"
        ]
    );
    let then = row["together"]["then_plus_minus_cents"].as_f64().unwrap();
    ullage(&[&["predict", "--why", arg(&plain)], &half[..]].concat())
        .ended(0)
        .prints(&format!(
            "    best: {} (8 min in all): ±{then:.0}\n",
            "photograph it (ullage trace), fill it to the brim once, blow it once"
        ));
    let shares = row["uncertainty"].as_array().unwrap();
    let note = shares.iter().find(|share| share["what"] == "never blown");
    let alone = note.unwrap()["then_plus_minus_cents"].as_f64().unwrap();
    assert!(then < alone, "{then} {alone}");
    // Who has blown it is told of no bundle.
    let heard = folder.write(
        "heard.toml",
        format!("{DIMENSIONS}heard = [{{ fill_ml = 0, hz = 140, temp_c = 20 }}]\n"),
    );
    assert!(json(&["predict", arg(&heard)]).get("together").is_none());
}
