//! `ullage plan` and `ullage retune` as they are typed: files that read back, reasons, exit codes.

use serde_json::Value;
use ullage::score::Score;
use ullage::set::read_set;

use crate::common::command::{self, Run, ullage};
use crate::common::files::{Folder, QUAY_SHELF, arg, preset, read, shelf};
use crate::common::pieces::{midi, read_midi};

fn plan(args: &[&str]) -> Run {
    ullage(&[&["plan"], args].concat())
}

/// The object that is printed of a plan, whether every note has its place or not.
fn planned(args: &[&str]) -> Value {
    plan(&[args, &["--json"]].concat()).json()
}

#[test]
fn the_set_that_is_written_reads_back_with_its_fills_and_is_not_overwritten() {
    let folder = Folder::new();
    let out = folder.at("set.toml");
    let args = [
        "--shelf",
        QUAY_SHELF,
        "--scale",
        "G major",
        "--from",
        "G3",
        "--to",
        "D5",
        "--temp-c",
        "17.5",
        "--a4-hz",
        "442",
        "--temperament",
        "just",
        "--tonic",
        "G",
        "--out",
        arg(&out),
    ];
    let first = plan(&[&args[..], &["--json"]].concat()).ended(0);
    let report = first.json();
    let text = read(&out);
    let set = read_set(&text).unwrap();
    assert_eq!(set.pours.len(), 12);
    assert_eq!(set.kinds, shelf("quay").kinds);
    assert_eq!(set.tuning.a4().hz(), 442.0);
    assert!((set.conditions.temperature().c() - 17.5).abs() < 1e-9);
    for (pour, row) in set.pours.iter().zip(report["pours"].as_array().unwrap()) {
        assert_eq!(row["bottle"], set.kind_of(pour).name.as_str());
        let fill_ml = pour.fill.unwrap().ml();
        assert!((row["fill_ml"].as_f64().unwrap() - fill_ml).abs() < 0.006);
        assert!((set.target(pour).hz() - row["target_hz"].as_f64().unwrap()).abs() < 1e-3);
        assert!(text.contains(&format!("# {}, ", pour.note)));
    }
    plan(&args).ended(1);
    assert_eq!(read(&out), text);
    plan(&[&args[..], &["--force"]].concat()).ended(0);
    assert_eq!(read(&out), text);
}

#[test]
fn a_plan_as_json_has_every_key_that_programs_rely_on() {
    let report = planned(&["--shelf", QUAY_SHELF, "--notes", "G3 D4", "--drift"]);
    for key in ["version", "pours", "unplaced", "weights", "cost", "drift"] {
        assert!(report.get(key).is_some(), "{key}");
    }
    for key in [
        "note",
        "target_hz",
        "bottle",
        "way",
        "fill_ml",
        "fill_g",
        "level_mm",
        "hz",
        "q",
        "error_cents",
        "plus_minus_cents",
        "dominated_by",
        "cents_per_ml",
    ] {
        assert!(report["pours"][0].get(key).is_some(), "{key}");
    }
    let warm = report["drift"][0]["cents"][4]["cents"].as_f64().unwrap();
    // Water at 20 and 30 °C, kg/m³: Kell, J. Chem. Eng. Data 20, 1975.
    let swells = 998.20 / 995.65 - 1.0;
    let of = |key: &str| report["pours"][0][key].as_f64().unwrap();
    let by_water = swells * of("fill_ml") * of("cents_per_ml");
    assert!(by_water > 1.0, "{by_water}");
    // Sound speed grows as the root of the temperature: 29 cents for 10 K; moist air adds a little.
    let by_air = warm - by_water;
    assert!(
        (28.0..34.0).contains(&by_air),
        "{warm}, {by_water} by water"
    );
}

#[test]
fn notes_out_of_reach_are_told_in_numbers_and_the_rest_is_still_written() {
    let folder = Folder::new();
    let out = folder.at("set.toml");
    let output = plan(&[
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "C1 G3 C9",
        "--json",
        "--out",
        arg(&out),
    ])
    .ended(1);
    let report = output.json();
    let low = &report["unplaced"][0];
    assert_eq!(low["note"], "C1");
    assert!(
        low["reason"]
            .as_str()
            .unwrap()
            .contains("'harbour jug' empty")
    );
    assert!(
        low["remedy"]
            .as_str()
            .unwrap()
            .contains(" l with the same neck")
    );
    let high = &report["unplaced"][1];
    assert!(
        high["reason"]
            .as_str()
            .unwrap()
            .contains("highest this shelf reaches")
    );
    assert_eq!(read_set(&read(&out)).unwrap().pours.len(), 1);
    output.says("C1 (32.7 Hz)");
}

#[test]
fn the_larger_bottle_that_a_reason_asks_for_does_reach_the_note() {
    let folder = Folder::new();
    let file = folder.at("shelf.toml");
    let neck = "mouth_bore_mm = 20\nneck_length_mm = 50\nbody_diameter_mm = 70\nlip_wall_mm = 4";
    let write = |capacity_ml: f64| {
        let text = format!("[[bottle]]\nname = \"one\"\ncapacity_ml = {capacity_ml}\n{neck}\n");
        std::fs::write(&file, text).unwrap();
        planned(&["--shelf", arg(&file), "--notes", "C3"])
    };
    let report = write(500.0);
    let remedy = report["unplaced"][0]["remedy"].as_str().unwrap().to_owned();
    let ml: f64 = remedy
        .split("about ")
        .nth(1)
        .and_then(|rest| rest.split(" ml").next())
        .unwrap()
        .parse()
        .unwrap();
    // The neck's own volume is not part of the spring, so "about" is within a tenth.
    assert!(
        write(1.1 * ml)["unplaced"].as_array().unwrap().is_empty(),
        "{remedy}"
    );
}

#[test]
fn notes_whose_bottles_are_all_taken_say_who_has_them() {
    let report = planned(&["--shelf", QUAY_SHELF, "--notes", "G2 x2 A2"]);
    let reasons: Vec<&str> = report["unplaced"]
        .as_array()
        .unwrap()
        .iter()
        .map(|u| u["reason"].as_str().unwrap())
        .collect();
    assert!(!reasons.is_empty());
    assert!(
        reasons
            .iter()
            .all(|r| r.contains("taken") && r.contains("harbour jug")),
        "{reasons:?}"
    );
}

#[test]
fn limits_on_the_filling_are_kept() {
    let capped = planned(&[
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "G3 D4 A4",
        "--max-fill-pct",
        "20",
    ]);
    for row in capped["pours"].as_array().unwrap() {
        let predicted = shelf("quay");
        let kind = predicted
            .kinds
            .iter()
            .find(|k| row["bottle"] == k.name.as_str())
            .unwrap();
        let share = row["fill_ml"].as_f64().unwrap() / kind.bottle.bore().capacity().ml();
        assert!(share <= 0.2 + 1e-6, "{row}");
    }
    let dry = planned(&[
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "G2",
        "--keep-empty",
        "harbour jug",
    ]);
    assert_ne!(dry["pours"][0]["bottle"], "harbour jug");
}

#[test]
fn the_best_key_places_no_fewer_notes_than_any_other() {
    let report = planned(&[
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "C2 E2 G2 C3",
        "--best-key",
    ]);
    let keys = report["keys"].as_array().unwrap();
    assert_eq!(keys.len(), 25);
    let rank = |k: &Value| (k["placed"].as_i64().unwrap(), -k["cost"].as_f64().unwrap());
    assert!(keys.windows(2).all(|w| rank(&w[0]) >= rank(&w[1])));
    assert_eq!(
        report["pours"].as_array().unwrap().len() as i64,
        rank(&keys[0]).0
    );
    assert!(
        keys.iter()
            .any(|k| k["placed"].as_i64() < keys[0]["placed"].as_i64())
    );
}

#[test]
fn a_piece_is_planned_with_the_notes_it_uses() {
    let piece = preset("quay/piece.mid");
    let report = planned(&["--shelf", QUAY_SHELF, "--piece", arg(&piece)]);
    let score = read_midi(&piece);
    let told =
        report["pours"].as_array().unwrap().len() + report["unplaced"].as_array().unwrap().len();
    assert_eq!(told, score.keys().len());
}

#[test]
fn bad_usage_and_bad_files_end_with_code_two_and_a_reason() {
    let folder = Folder::new();
    let empty = folder.write("empty.toml", "title = \"nothing\"\n");
    let silent = folder.write("silent.mid", midi(&Score::default()));
    let (empty, silent) = (arg(&empty), arg(&silent));
    let cases: [(&[&str], &str); 14] = [
        (
            &["--shelf", QUAY_SHELF, "--notes", "H4"],
            "letter from A to G",
        ),
        (&["--shelf", QUAY_SHELF, "--notes", " "], "no notes"),
        (&["--shelf", QUAY_SHELF], "--notes"),
        (
            &["--shelf", QUAY_SHELF, "--notes", "C4", "--piece", silent],
            "cannot be used with",
        ),
        (&["--shelf", empty, "--notes", "C4"], "no [[bottle]]"),
        (
            &["--shelf", "/nowhere/shelf.toml", "--notes", "C4"],
            "/nowhere/shelf.toml",
        ),
        (&["--shelf", QUAY_SHELF, "--piece", silent], "no notes"),
        (
            &["--shelf", QUAY_SHELF, "--piece", QUAY_SHELF],
            "neither a MIDI file nor MusicXML",
        ),
        (
            &[
                "--shelf", QUAY_SHELF, "--scale", "D dorain", "--from", "D3", "--to", "D4",
            ],
            "dorian",
        ),
        (
            &[
                "--shelf",
                QUAY_SHELF,
                "--notes",
                "C4",
                "--pin",
                "C4=cordail",
            ],
            "cordial",
        ),
        (
            &[
                "--shelf",
                QUAY_SHELF,
                "--notes",
                "C4",
                "--pin",
                "C4=cordial",
                "--pin",
                "C4=vial",
            ],
            "2 pins",
        ),
        (
            &[
                "--shelf",
                QUAY_SHELF,
                "--notes",
                "C4",
                "--keep-empty",
                "cordail",
            ],
            "there is no bottle of that name",
        ),
        (
            &[
                "--shelf",
                QUAY_SHELF,
                "--notes",
                "C4",
                "--max-fill-pct",
                "140",
            ],
            "140",
        ),
        (
            &[
                "--shelf",
                QUAY_SHELF,
                "--notes",
                "C4",
                "--weight-pour",
                "NaN",
            ],
            "weight pour",
        ),
    ];
    for (args, reason) in cases {
        plan(args).ended(2).says(reason);
    }
}

#[test]
fn a_pin_out_of_its_bottles_reach_is_told_with_what_the_bottle_reaches() {
    let args = ["--shelf", QUAY_SHELF, "--notes", "G2", "--pin", "G2=vial"];
    let report = plan(&[&args[..], &["--json"]].concat()).ended(1).json();
    let unplaced = &report["unplaced"][0];
    assert!(
        unplaced["reason"]
            .as_str()
            .unwrap()
            .contains("pinned to 'vial'")
    );
    assert!(unplaced["remedy"].as_str().unwrap().contains("harbour jug"));
}

#[test]
fn a_retuned_set_is_in_tune_in_the_new_room() {
    let folder = Folder::new();
    let (cool, warm) = (folder.at("cool.toml"), folder.at("warm.toml"));
    let notes = ["--shelf", QUAY_SHELF, "--notes", "G3 D4 A4", "--out"];
    plan(&[&notes[..], &[arg(&cool)]].concat()).ended(0);
    let report = command::json(&["retune", arg(&cool), "--temp-c", "26"]);
    // The pitch rises as the room warms, so that liquid has to come out.
    let rows = report["retuned"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    for row in rows {
        assert!(row["add_ml"].as_f64().unwrap() < 0.0, "{row}");
        let of = |key: &str| row[key].as_f64().unwrap();
        // Sound speed goes with the root of the temperature: 17.6 cents for 20 to 26 °C. Water swells by 1.4 thousandths
        // (998.2 to 996.8 kg/m³), which is as many of what is in it. 3 cents: damper air, and a curve that bends.
        let cents_per_ml = of("off_cents") / -of("add_ml");
        let expected = 17.6 + 1.4e-3 * of("fill_ml") * cents_per_ml;
        let off = of("off_cents") - expected;
        assert!(off.abs() < 3.0, "{row}: {expected} expected");
    }
    // The same set solved from nothing in the warm room has the same fills.
    let warmed = ["fill", arg(&cool), "--temp-c", "26", "--out", arg(&warm)];
    let filled = command::json(&warmed);
    for (row, fresh) in rows.iter().zip(filled["pours"].as_array().unwrap()) {
        let (a, b) = (
            row["new_fill_ml"].as_f64().unwrap(),
            fresh["fill_ml"].as_f64().unwrap(),
        );
        assert!((a - b).abs() < 0.01, "{row} {fresh}");
    }
}

#[test]
fn a_piece_moved_to_its_best_key_is_spelled_in_it_and_the_set_plays_it_there() {
    let folder = Folder::new();
    // F, B flat, C, F, low enough for the shelf only when it is moved up.
    let notes = [29, 34, 36, 41].map(|key| crate::common::pieces::note(key, 0.0, 1.0));
    let score = Score {
        signature: Some(ullage::score::Signature {
            fifths: -1,
            minor: false,
        }),
        ..crate::common::pieces::piece(notes.to_vec())
    };
    let piece = folder.write("low.mid", midi(&score));
    let out = folder.at("set.toml");
    let args = ["--shelf", QUAY_SHELF, "--piece", arg(&piece)];
    let as_written = planned(&args);
    assert_eq!(as_written["key"], "F major");
    let unplaced = as_written["unplaced"].as_array().unwrap();
    assert!(
        unplaced.iter().any(|u| u["note"] == "Bb1"),
        "not A sharp: {unplaced:?}"
    );
    let best = ["--best-key", "--key-range", "17..19", "--out", arg(&out)];
    let report = planned(&[&args[..], &best].concat());
    let semitones = report["transpose"].as_i64().unwrap();
    assert!((17..=19).contains(&semitones));
    assert_eq!(report["keys"][0]["key"], report["key"]);
    let set = read_set(&read(&out)).unwrap();
    assert_eq!(i64::from(set.transpose), semitones);
    let checked = command::json(&["check", arg(&out), "--piece", arg(&piece)]);
    assert_eq!(checked["missing"], serde_json::json!([]));
    assert_eq!(checked["key"], report["key"]);
}

#[test]
fn a_plan_without_a_note_writes_no_set_and_one_with_some_says_what_it_wrote() {
    let folder = Folder::new();
    let out = folder.at("set.toml");
    plan(&["--shelf", QUAY_SHELF, "--notes", "C1", "--out", arg(&out)]).ended(1);
    assert!(!out.exists());
    let some = plan(&[
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "C1 G4",
        "--out",
        arg(&out),
    ])
    .ended(1);
    some.says("wrote ");
    assert_eq!(read_set(&read(&out)).unwrap().pours.len(), 1);
}

#[test]
fn a_retuned_set_that_is_written_needs_nothing_more_in_its_new_room() {
    let folder = Folder::new();
    let (cool, warm) = (folder.at("cool.toml"), folder.at("warm.toml"));
    let notes = ["--shelf", QUAY_SHELF, "--notes", "G3 D4 A4", "--out"];
    plan(&[&notes[..], &[arg(&cool)]].concat()).ended(0);
    let before = read(&cool);
    let now = ["--temp-c", "26", "--a4-hz", "442"];
    let retune = [&["retune", arg(&cool)], &now[..], &["--out", arg(&warm)]].concat();
    ullage(&retune).ended(0).says("wrote ");
    assert_eq!(read(&cool), before);
    let set = read_set(&read(&warm)).unwrap();
    assert_eq!(set.tuning.a4().hz(), 442.0);
    assert!((set.conditions.temperature().c() - 26.0).abs() < 1e-9);
    for row in command::json(&["retune", arg(&warm)])["retuned"]
        .as_array()
        .unwrap()
    {
        // Fills are written to a hundredth of a millilitre.
        assert!(row["off_cents"].as_f64().unwrap().abs() < 0.1, "{row}");
        assert!(row["add_ml"].as_f64().unwrap().abs() < 0.01, "{row}");
    }
    ullage(&retune).ended(1).says("--force");
}

#[test]
fn the_range_of_a_bottle_is_that_from_empty_to_as_full_as_it_sounds_and_the_same_everywhere() {
    let planned = planned(&["--shelf", QUAY_SHELF, "--notes", "G3 D4 A4"]);
    for row in planned["pours"].as_array().unwrap() {
        let name = row["bottle"].as_str().unwrap();
        let predict = |more: &[&str]| {
            command::json(&[&["predict", QUAY_SHELF, "--bottle", name], more].concat())
        };
        let empty = predict(&[]);
        let [own, range] = [&empty["range"], &row["range"]];
        assert_eq!(own, range);
        let [low, high] = ["low_hz", "high_hz"].map(|key| range[key].as_f64().unwrap());
        let hz = |p: &Value| p["resonances"][0]["hz"].as_f64().unwrap();
        assert!((low - hz(&empty)).abs() < 0.001, "{range}");
        assert_eq!(range["low"], empty["note"]["name"]);
        // Every fill sounds within it, and the fullest that sounds is its end.
        let most_ml = empty["capacity_ml"].as_f64().unwrap();
        let sweep = format!("fill-ml=0..{}/9", 0.8 * most_ml);
        for step in predict(&["--sweep", &sweep])["predictions"]
            .as_array()
            .unwrap()
        {
            assert!((low - 0.001..=high).contains(&hz(step)), "{step} {range}");
        }
        let over = ["plan", "--shelf", QUAY_SHELF, "--json", "--notes", "C9"];
        let reason = ullage(&over).json()["unplaced"][0]["reason"].to_string();
        assert!(reason.contains(" Hz with "), "{reason}");
        assert!(row["hz"].as_f64().unwrap() <= high);
    }
    plan(&["--shelf", QUAY_SHELF, "--notes", "G3"])
        .ended(0)
        .prints("range");
    ullage(&["predict", QUAY_SHELF]).ended(0).prints("range");
}
