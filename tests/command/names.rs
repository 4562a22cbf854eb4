//! `--note-names`: the same notes as their readers call them, on the terminal and on paper; files and JSON keep their own.

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg, preset, read};

/// A plan of notes in B flat major.
const B_FLAT: [&str; 5] = ["plan", "--shelf", QUAY_SHELF, "--notes", "Bb3 D4 B4"];

fn with<'a>(args: &[&'a str], names: &'a str) -> Vec<&'a str> {
    [args, &["--note-names", names]].concat()
}

/// The first word of each line that has one.
fn first_words(text: &str) -> Vec<&str> {
    text.lines()
        .filter_map(|line| line.split(' ').next())
        .collect()
}

#[test]
fn a_plan_calls_its_notes_as_asked_and_its_set_and_its_json_as_ever() {
    let folder = Folder::new();
    for (names, said) in [
        ("german", ["B3", "D4", "H4"]),
        ("do-fixed", ["Sib3", "Re4", "Si4"]),
    ] {
        let out = folder.at(format!("{names}.toml"));
        let args = with(&[&B_FLAT[..], &["--out", arg(&out)]].concat(), names);
        let ran = ullage(&args).ended(0);
        assert_eq!(first_words(&ran.out)[1..4], said, "{}", ran.out);
        assert!(read(&out).contains("note = \"Bb3\""));
    }
    let report = json(&with(&B_FLAT, "german"));
    assert_eq!(report["pours"][0]["note"], "Bb3");
    ullage(&with(&B_FLAT, "polish")).ended(2).says("do-movable");
}

#[test]
fn a_movable_do_is_the_tonic_of_the_piece_and_of_the_set_and_a_shelf_has_none() {
    // The set and the piece are in G.
    let piece = preset("quay/piece.mid");
    let check = ["check", QUAY_SET, "--piece", arg(&piece)];
    let plain = ullage(&check).ended(0).out;
    let sung = ullage(&with(&check, "do-movable")).ended(0).out;
    let holds = |text: &str, of_g: &str, of_c: &str| {
        assert!(text.contains(of_g) && !text.contains(of_c), "{text}");
    };
    holds(&plain, " G3 ", "do3");
    holds(&sung, "do3", " G3 ");
    assert!(sung.contains("Key: G major"), "{sung}");
    let predict = ["predict", QUAY_SET];
    holds(
        &ullage(&with(&predict, "do-movable")).ended(0).out,
        "  do3 ",
        "  G3 ",
    );
    let shelf = with(&["predict", QUAY_SHELF], "do-movable");
    ullage(&shelf).ended(2).says("do-fixed");
    // Nothing sung is moved: the JSON is the same.
    assert_eq!(
        json(&with(&check, "do-movable"))["missing"],
        json(&check)["missing"]
    );
}

#[test]
fn parts_and_the_pour_sheet_are_printed_with_the_names_that_were_asked_for() {
    let folder = Folder::new();
    let piece = preset("quay/piece.mid");
    let parts = folder.at("parts");
    let args = [
        "parts",
        QUAY_SET,
        "--piece",
        arg(&piece),
        "--out",
        arg(&parts),
    ];
    ullage(&with(&args, "do-fixed")).ended(0).prints("Sol3 in ");
    let page = read(parts.join("conductor.html"));
    assert!(page.contains("Sol3") && !page.contains("G3"), "{page}");
    let sheet = folder.at("sheet.html");
    let args = ["pour", QUAY_SET, "--out", arg(&sheet)];
    ullage(&with(&args, "german")).ended(0).prints(" Fis4 ");
    let page = read(&sheet);
    assert!(page.contains("Fis4") && !page.contains("F#4"));
}

#[test]
fn amounts_are_printed_in_ounces_and_inches_and_the_json_stays_as_it_is() {
    let folder = Folder::new();
    let plan = ["plan", "--shelf", QUAY_SHELF, "--notes", "G3 D4"];
    let us = [&plan[..], &["--units", "us"]].concat();
    assert_eq!(json(&plan), json(&us));
    let printed = ullage(&us).ended(0).out;
    let header = printed.lines().next().unwrap();
    for unit in ["fill fl oz", "fill oz", "level in", "c/fl oz"] {
        assert!(header.contains(unit), "{header}");
    }
    // 231/128 cubic inches, NIST Handbook 44.
    let row = &json(&plan)["pours"][0];
    let ounces = row["fill_ml"].as_f64().unwrap() / 29.573_529_562_5;
    assert!(
        printed.contains(&format!(" {ounces:.3} ")),
        "{ounces}: {printed}"
    );
    let imperial = ullage(&[&plan[..], &["--units", "imperial"]].concat()).ended(0);
    let ounces = row["fill_ml"].as_f64().unwrap() / 28.413_062_5;
    imperial.prints(&format!(" {ounces:.3} "));
    let sheet = folder.at("sheet.html");
    let pour = ["pour", QUAY_SET, "--units", "us", "--out", arg(&sheet)];
    ullage(&pour).ended(0).prints("fl oz");
    let page = read(&sheet);
    assert!(page.contains(" fl oz</b>") && page.contains(" in</b> above the table"));
    // 19 °C.
    assert!(page.contains("66.2 °F") && !page.contains(" ml</b>"));
    ullage(&["predict", QUAY_SHELF, "--units", "us"])
        .ended(0)
        .prints("c/in bore");
}

#[test]
fn a_file_may_have_its_quantities_in_other_units() {
    let folder = Folder::new();
    let metric = "[[bottle]]\nname = \"jar\"\ncapacity_ml = 354.88235475\nmouth_bore_mm = 19.05\nneck_length_mm = 63.5\n\
                  body_diameter_mm = 66\n[room]\ntemp_c = 20\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\nfill_ml = 59.147059125\n";
    let other = "[[bottle]]\nname = \"jar\"\ncapacity_ml = \"12 fl oz\"\nmouth_bore_mm = \"3/4 in\"\nneck_length_mm = \"2 1/2 in\"\n\
                 body_diameter_mm = \"6.6 cm\"\n[room]\ntemp_c = \"68 °F\"\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\nfill_ml = \"2 fl oz\"\n";
    let predicted = |name: &str, text: &str| json(&["predict", arg(&folder.write(name, text))]);
    assert_eq!(
        predicted("metric.toml", metric),
        predicted("other.toml", other)
    );
    let bad = folder.write("bad.toml", other.replace("3/4 in", "3/4 stone"));
    ullage(&["predict", arg(&bad)])
        .ended(2)
        .says("mm, cm, m, in");
}
