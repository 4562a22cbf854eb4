//! Files of version 1 of the format, as they were when it was new: they open, sound and are planned as they did. Files of a
//! later one are refused for what they are.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;
use ullage::set::read_set;

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, arg, data, read, table};

/// What nobody hears, and a hundred times the last digit of the table.
const SAME_CENTS: f64 = 0.1;
/// The last digit of a fill in a file, ml.
const FILL_DIGIT_ML: f64 = 0.01;
/// How `quay/planned.toml` was made.
const PLANNED: [&str; 6] = [
    "--notes",
    "G2 D3 G3 x2 B3 D4 F#4 A4 D5 E5",
    "--temp-c",
    "23",
    "--title",
    "Planned in a warm hall",
];
/// A bottle, to which a later program adds what this one has never heard of.
const LATER: &str = "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
    body_diameter_mm = 66\n";

#[derive(Deserialize)]
struct Recorded {
    file: String,
    place: usize,
    bottle: String,
    way: String,
    hz: f64,
}

/// What a plan pours into which bottle.
#[derive(Deserialize)]
struct Planned {
    note: String,
    bottle: String,
    fill_ml: f64,
}

/// What was said of each file when it was new.
fn recorded() -> BTreeMap<String, Vec<Recorded>> {
    let mut files: BTreeMap<String, Vec<Recorded>> = BTreeMap::new();
    for row in table("v1/pitches.csv").deserialize() {
        let row: Recorded = row.unwrap();
        files.entry(row.file.clone()).or_default().push(row);
    }
    files
}

/// Names of the files in a folder's folders, as the table has them.
fn files_below(folder: &Path) -> Vec<String> {
    let names = |folder: &Path| -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        entries
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect()
    };
    let folders = names(folder).into_iter().filter(|n| !n.ends_with(".csv"));
    let mut files: Vec<String> = folders
        .flat_map(|name| {
            names(&folder.join(&name))
                .into_iter()
                .map(move |file| format!("{name}/{file}"))
        })
        .filter(|file| file.ends_with(".toml"))
        .collect();
    files.sort();
    files
}

#[test]
fn every_file_of_version_1_opens_and_sounds_as_it_did() {
    let recorded = recorded();
    let listed: Vec<String> = recorded.keys().cloned().collect();
    assert_eq!(listed, files_below(&data("v1")));
    assert!(listed.len() >= 14, "{listed:?}");
    for (file, rows) in recorded {
        let answer = json(&["predict", arg(&data("v1").join(&file))]);
        let predictions = answer["predictions"].as_array().unwrap();
        assert_eq!(predictions.len(), rows.len(), "{file}");
        for (prediction, row) in predictions.iter().zip(rows) {
            let place = format!("{file}, {}", row.place);
            assert_eq!(prediction["bottle"], row.bottle, "{place}");
            assert_eq!(prediction["way"], row.way, "{place}");
            let hz = prediction["resonances"][0]["hz"].as_f64().unwrap();
            let cents = 1200.0 * (hz / row.hz).log2();
            assert!(
                cents.abs() < SAME_CENTS,
                "{place}: {hz} Hz, {cents:+.2} cents off {} Hz",
                row.hz
            );
        }
    }
}

#[test]
fn a_shelf_of_version_1_is_planned_as_it_was() {
    let folder = Folder::new();
    let (shelf, out) = (data("v1/quay/shelf.toml"), folder.at("set.toml"));
    let args = [
        &["plan", "--shelf", arg(&shelf), "--out", arg(&out)][..],
        &PLANNED,
    ];
    let answer = json(&args.concat());
    let [before, now] = [data("v1/quay/planned.toml"), out].map(|f| read_set(&read(f)).unwrap());
    assert_eq!(now.title, before.title);
    assert_eq!(now.kinds.len(), before.kinds.len());
    assert_eq!(before.pours.len(), 10);
    assert_eq!(now.pours.len(), before.pours.len());
    let rows = answer["pours"].as_array().unwrap();
    // Where an estimate has learnt better, fills move, and which bottle gives which note, and with them `planned.csv`.
    let mut planned = table("v1/planned.csv");
    let planned = planned.deserialize().map(|row| row.unwrap());
    let planned: Vec<Planned> = planned.collect();
    assert_eq!(planned.len(), before.pours.len());
    let pours = now.pours.iter().zip(&before.pours).zip(rows).zip(planned);
    for (((pour, before), row), planned) in pours {
        assert_eq!(pour.note, before.note);
        assert_eq!(pour.note.to_string(), planned.note);
        assert_eq!(now.kinds[pour.kind.place()].name, planned.bottle);
        let (now_ml, before_ml) = (pour.fill.unwrap().ml(), planned.fill_ml);
        let within_ml = SAME_CENTS / row["cents_per_ml"].as_f64().unwrap().abs() + FILL_DIGIT_ML;
        assert!(
            (now_ml - before_ml).abs() <= within_ml,
            "{}: {now_ml} ml, was {before_ml} ml",
            pour.note
        );
    }
}

#[test]
fn the_pieces_of_version_1_are_read_as_they_were() {
    let set = data("v1/quay/set.toml");
    for (piece, notes) in [("piece.mid", 189), ("piece5.mid", 150)] {
        let piece = data("v1/quay").join(piece);
        let answer = json(&["check", arg(&set), "--piece", arg(&piece)]);
        let moves = answer["moves"].as_array().unwrap();
        let unmoved = moves.iter().find(|m| m["semitones"] == 0).unwrap();
        assert_eq!(unmoved["kept_notes"], notes);
        assert_eq!(answer["missing"].as_array().map(Vec::len), Some(0));
    }
}

#[test]
fn a_file_of_a_later_version_is_refused_for_that_and_left_as_it_is() {
    let folder = Folder::new();
    let pour = "[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\n";
    for (name, text) in [
        ("plain.toml", format!("version = 99\n{LATER}{pour}")),
        ("key.toml", format!("version = 2\n{LATER}glow = 3\n{pour}")),
        (
            "top.toml",
            format!("version = 2\nhumming = true\n{LATER}{pour}"),
        ),
        (
            "table.toml",
            format!("version = 2\n{LATER}{pour}[[hummed]]\nx = 1\n"),
        ),
        (
            "kind.toml",
            format!("version = 3\n{pour}fill_ml = {{ from = 1, to = 2 }}\n{LATER}"),
        ),
    ] {
        let file = folder.write(name, &text);
        let typed = arg(&file);
        for args in [
            &["predict", typed][..],
            &["fill", typed, "--out", typed, "--force"],
            &["retune", typed, "--temp-c", "25", "--out", typed, "--force"],
            &[
                "plan", "--shelf", typed, "--notes", "C4", "--out", typed, "--force",
            ],
        ] {
            let run = ullage(args)
                .ended(2)
                .says("reads version 1")
                .says("use the ullage that wrote it, or a newer one");
            for words in ["did you mean", "unknown field", "invalid type"] {
                assert!(!run.err.contains(words), "{args:?}: {}", run.err);
            }
        }
        assert_eq!(read(&file), text);
    }
}

#[test]
fn a_version_that_never_was_is_a_mistake_of_the_hand() {
    let folder = Folder::new();
    let file = folder.write("set.toml", format!("version = 0\n{LATER}"));
    let run = ullage(&["predict", arg(&file)])
        .ended(2)
        .says("version = 0 of the format is not known; this program reads version 1")
        .says("ullage schema");
    assert!(!run.err.contains("newer"), "{}", run.err);
}
