//! `predict`, `plan`, `fill`, `marks`, `pour`, `retune` and `compare` over every way of sounding a bottle, as they are typed.

use serde_json::Value;
use ullage::set::{Way, read_set};

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, arg, glass_and_pop, joined_glass, read};

fn preset(file: &str) -> String {
    format!("presets/{file}")
}

#[track_caller]
fn refused(args: &[&str], code: i32, said: &str) {
    ullage(args).ended(code).says(said);
}

/// A set with one pour of each way, its settings left out.
fn mixed(folder: &Folder) -> String {
    let pours = r#"
[[pour]] # this stays
note = "A3"
bottle = "glass"
[[pour]]
note = "A#6"
bottle = "glass"
way = "struck"
[[pour]]
note = "G5"
bottle = "pop"
way = "pressurised"
[[pour]]
note = "D4"
bottle = "glass"
way = "sliding"
[[pour]]
note = "C4"
bottle = "glass"
way = "joined"
joined = "pair"
"#;
    let text = glass_and_pop("count = 6", "") + &joined_glass(650) + pours;
    arg(&folder.write("mixed.toml", text)).to_owned()
}

#[test]
fn predict_tells_a_struck_bottles_partials_and_its_keys() {
    let shelf = preset("struck/shelf.toml");
    let args = [
        "predict",
        &shelf,
        "--way",
        "struck",
        "--bottle",
        "third",
        "--fill-ml",
        "150",
    ];
    let wood = json(&args);
    for key in [
        "bottle",
        "way",
        "fill_ml",
        "air_ml",
        "level_mm",
        "resonances",
        "note",
        "cents_per_ml",
        "cents_per_c",
        "plus_minus_cents",
        "partials",
        "cautions",
        "version",
        "mallet",
    ] {
        assert!(wood.get(key).is_some(), "{key} in {wood}");
    }
    assert_eq!(wood["way"], "struck");
    assert!(wood["cents_per_ml"].as_f64().unwrap() < 0.0);
    let partials = wood["partials"].as_array().unwrap();
    assert!(partials.len() >= 4);
    for key in ["n", "m", "hz", "q", "t60_s", "level_db"] {
        assert!(partials[0][key].is_number(), "{key}");
    }
    // Level of a high partial over that of the lowest.
    let clink = |answer: &Value| {
        let partials = answer["partials"].as_array().unwrap();
        let level = |n: u64, m: u64| {
            let found = partials.iter().find(|p| p["n"] == n && p["m"] == m);
            found.unwrap()["level_db"].as_f64().unwrap()
        };
        level(4, 2) - level(2, 1)
    };
    // A softer mallet takes the clink away. Felt and wood both lie above the inverse of their contact here, and fall alike.
    let felt = json(&[&args[..], &["--mallet", "soft-felt"]].concat());
    let metal = json(&[&args[..], &["--mallet", "metal"]].concat());
    assert!(clink(&felt) < clink(&metal) - 6.0 && clink(&wood) < clink(&metal) - 6.0);
    let cautions = metal["cautions"].as_array().unwrap();
    assert!(
        cautions
            .iter()
            .any(|c| c.as_str().unwrap().contains("a metal mallet chips glass"))
    );
    // Fitted to its taps it is surer than before.
    assert_eq!(wood["calibration"]["heard"], 2);
    assert!(wood["plus_minus_cents"].as_f64().unwrap() < 100.0);
}

#[test]
fn predict_refuses_pressure_in_glass_too_much_of_it_and_options_of_another_way() {
    let (glass, plastic) = (preset("struck/shelf.toml"), preset("plastic/shelf.toml"));
    let pressed = |file, bar| ["predict", file, "--way", "pressurised", "--gauge-bar", bar];
    refused(&pressed(&glass, "0.5"), 1, "glass is never pressurised");
    refused(
        &pressed(&plastic, "4.5"),
        1,
        "4.50 bar is refused, the limit is 4 bar",
    );
    refused(
        &pressed(&plastic, "-1"),
        1,
        "no pressure above the air outside",
    );
    refused(
        &["predict", &plastic, "--way", "pressurised"],
        2,
        "--gauge-bar",
    );
    refused(
        &["predict", &plastic, "--gauge-bar", "1"],
        2,
        "belongs to --way pressurised",
    );
    refused(
        &["predict", &plastic, "--way", "joined"],
        2,
        "a shelf has no pairs",
    );
    let warned = json(&[&pressed(&plastic, "1.8")[..], &["--bottle", "two litre"]].concat());
    let cautions = warned["cautions"].as_array().unwrap();
    assert_eq!(cautions.len(), 2, "{warned}");
    assert!(
        cautions[0]
            .as_str()
            .unwrap()
            .contains("hand pump with a gauge")
    );
    let mild = json(&[&pressed(&plastic, "1")[..], &["--bottle", "two litre"]].concat());
    assert_eq!(mild["cautions"].as_array().unwrap().len(), 1);
    assert!(mild["gauge_bar"] == 1.0 && mild["cents_per_bar"].as_f64().unwrap() > 0.0);
}

#[test]
fn fill_writes_what_each_way_is_set_by_and_every_command_reads_it_back() {
    let folder = Folder::new();
    let (from, to) = (mixed(&folder), folder.at("set.toml"));
    let to = arg(&to);
    let filled = json(&["fill", &from, "--out", to]);
    let rows = filled["pours"].as_array().unwrap();
    let keys = ["fill_ml", "fill_ml", "gauge_bar", "travel_mm", "lift_mm"];
    for ((row, key), way) in rows.iter().zip(keys).zip(Way::ALL) {
        assert_eq!(row["way"], way.name());
        assert!(row[key].is_number(), "{key} in {row}");
        assert!(row["error_cents"].as_f64().unwrap().abs() < 0.1, "{row}");
    }
    let text = read(to);
    assert!(text.contains("# this stays"));
    let set = read_set(&text).unwrap();
    assert!(set.pours[2].gauge.is_some() && set.pours[2].fill.is_none());
    assert!(set.pours[3].travel.is_some() && set.pours[4].lift.is_some());
    // Each row of each command says the same pitch.
    let hz: Vec<f64> = rows.iter().map(|r| r["hz"].as_f64().unwrap()).collect();
    let near = |found: &Value, hz: f64, what: &str| {
        let cents = 1200.0 * (found.as_f64().unwrap() / hz).log2();
        assert!(cents.abs() < 0.5, "{what}: {cents} cents");
    };
    let predicted = json(&["predict", to]);
    for (index, row) in predicted["predictions"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
    {
        near(&row["resonances"][0]["hz"], hz[index], "predict");
    }
    let sheet = json(&["pour", to]);
    for (index, row) in sheet["rows"].as_array().unwrap().iter().enumerate() {
        near(&row["hz"], hz[index], "pour");
        assert_eq!(row["way"], Way::ALL[index].name());
    }
    let marks = json(&["marks", to]);
    near(&marks["sliding"][0]["marks"][0]["hz"], hz[3], "marks");
    near(&marks["joined"][0]["marks"][0]["hz"], hz[4], "marks");
    assert!(marks["joined"][0]["marks"][0]["other"]["hz"].is_number());
    let same = json(&["compare", to, "--after", "temp-c=20"]);
    for row in same["bottles"].as_array().unwrap() {
        assert!(row["cents"].as_f64().unwrap().abs() < 1e-6);
    }
    let warm = json(&["retune", to, "--temp-c", "30"]);
    let off = |index: usize| warm["retuned"][index]["off_cents"].as_f64().unwrap();
    // Air warms by 29 cents in 10 K; walls do not care.
    assert!(off(0) > 25.0 && off(3) > 25.0 && off(4) > 25.0);
    assert!(off(1).abs() < 3.0 && off(2).abs() < 3.0);
    assert_eq!(warm["retuned"][3]["moved"]["unit"], "mm");
    assert!(warm["retuned"][3]["moved"]["add"].as_f64().unwrap() < 0.0);
}

#[test]
fn the_sheet_of_a_mixed_set_says_what_to_do_with_each_bottle() {
    let folder = Folder::new();
    let page = folder.at("sheet.html");
    let rows = folder.at("rows.csv");
    let (page, rows) = (arg(&page), arg(&rows));
    let sheet = json(&["pour", &mixed(&folder), "--out", page, "--csv", rows]);
    let text = read(page);
    for said in [
        "Strike the body with wood",
        "on the pump’s gauge",
        "the floor pushed in",
        "the second bottle’s foot",
        "Joined pair",
        "Marks to cut out",
        "hand pump with a gauge",
        "strike the body, not rim or shoulder",
    ] {
        assert!(text.contains(said), "{said}");
    }
    // Liquid of the blown, the struck and the pair, once each.
    let of = |index: usize| sheet["rows"][index]["fill_ml"].as_f64().unwrap();
    let total = sheet["total_ml"].as_f64().unwrap();
    assert!((total - (of(0) + of(1) + 650.0)).abs() < 0.1, "{total}");
    let csv = read(rows);
    assert_eq!(csv.lines().count(), 6);
    assert!(csv.lines().next().unwrap().contains("gauge_bar"));
}

#[test]
fn a_struck_octave_is_planned_written_and_in_tune() {
    let folder = Folder::new();
    let out = folder.at("set.toml");
    let out = arg(&out);
    let shelf = preset("struck/shelf.toml");
    let plan = json(&[
        "plan", "--shelf", &shelf, "--ways", "struck", "--mallet", "rubber", "--scale", "A major",
        "--from", "A6", "--to", "A7", "--out", out,
    ]);
    let pours = plan["pours"].as_array().unwrap();
    assert_eq!(pours.len(), 8);
    for row in pours {
        assert_eq!(row["way"], "struck");
        assert!(row["error_cents"].as_f64().unwrap().abs() < 1.0, "{row}");
        assert!(!row["cautions"].as_array().unwrap().is_empty());
    }
    let again = json(&["predict", out]);
    for (row, poured) in again["predictions"].as_array().unwrap().iter().zip(pours) {
        assert_eq!(row["mallet"], "rubber");
        let ratio = row["resonances"][0]["hz"].as_f64().unwrap() / poured["hz"].as_f64().unwrap();
        assert!((1200.0 * ratio.log2()).abs() < 1.0, "{row}");
    }
}

#[test]
fn plans_never_pressurise_glass_and_print_the_caution_of_what_they_do() {
    let glass = preset("struck/shelf.toml");
    let args = [
        "plan",
        "--shelf",
        &glass,
        "--ways",
        "pressurised",
        "--notes",
        "A5",
    ];
    refused(&args, 1, "glass is never pressurised");
    let plastic = preset("plastic/shelf.toml");
    ullage(&[
        "plan",
        "--shelf",
        &plastic,
        "--ways",
        "pressurised",
        "--notes",
        "E5 A5",
    ])
    .ended(0)
    .prints("bar")
    .prints("hand pump with a gauge");
    refused(
        &[
            "plan",
            "--shelf",
            &plastic,
            "--ways",
            "pressurised",
            "--notes",
            "C8",
        ],
        1,
        "no bottle reaches it in the ways allowed",
    );
    refused(
        &[
            "plan", "--shelf", &plastic, "--ways", "joined", "--notes", "C8",
        ],
        2,
        "joined",
    );
}

#[test]
fn one_bottle_slides_through_a_scale() {
    let set = preset("slide/set.toml");
    let plan = json(&[
        "plan",
        "--shelf",
        &set,
        "--ways",
        "sliding",
        "--notes",
        "G3 A3 B3 C4 D4",
    ]);
    let pours = plan["pours"].as_array().unwrap();
    assert_eq!(pours.len(), 5);
    assert!(
        pours
            .windows(2)
            .all(|p| { p[0]["travel_mm"].as_f64().unwrap() < p[1]["travel_mm"].as_f64().unwrap() })
    );
    assert_eq!(plan["spares"].as_array().unwrap().len(), 0);
}

#[test]
fn marks_of_a_set_without_any_are_refused() {
    refused(
        &["marks", &preset("quay/set.toml")],
        2,
        "no sliding bottle and no joined pair",
    );
}

#[test]
fn a_plan_says_that_it_took_a_pair_apart() {
    let plan = |set: &str| json(&["plan", "--shelf", &preset(set), "--notes", "A3"]);
    assert_eq!(plan("pair/set.toml")["pairs_taken_apart"][0], "two wells");
    assert!(plan("quay/set.toml").get("pairs_taken_apart").is_none());
    let pair = preset("pair/set.toml");
    ullage(&["plan", "--shelf", &pair, "--notes", "A3"])
        .prints("joined pairs are not planned: the bottles of two wells");
}
