//! Broken files: each one in `tests/data/broken/` is broken in one way that happens, and is refused
//! with what is wrong, where, the limit and a way out.

use std::collections::BTreeSet;

use ullage::set::read_any;

use crate::common::command::ullage;
use crate::common::files::{arg, data, read};

/// Fewest files: fewer would mean that the folder was not read.
const FEWEST_FILES: usize = 30;

/// File, and what its message must say.
const FILES: &[(&str, &[&str])] = &[
    (
        "set_bottle_typo",
        &[
            "pour number 1, F4",
            "\"gul tonic\"",
            "did you mean \"gull tonic\"?",
        ],
    ),
    (
        "set_fill_nan",
        &[
            "pour number 1, F4",
            "NaN ml is outside 0 to 243.0 ml",
            "\"gull tonic\"",
        ],
    ),
    (
        "set_fill_negative",
        &["pour number 1, F4", "-1 ml is outside 0 to 243.0 ml"],
    ),
    (
        "set_fill_too_much",
        &["pour number 1, F4", "319.5 ml is outside 0 to 243.0 ml"],
    ),
    (
        "set_gas_blend_over_100",
        &["line 12", "130 % of a gas is outside 0 to 100 %"],
    ),
    (
        "set_gas_blend_without_rest",
        &["line 12", "what the rest is", "\"30% helium in air\""],
    ),
    (
        "set_gas_unknown",
        &["line 12", "\"heluim\"", "nearest name is \"helium\""],
    ),
    (
        "set_glass_pressurised",
        &[
            "pour number 1, F4",
            "gauge_bar = 1",
            "glass is never pressurised",
        ],
    ),
    (
        "set_headspace_over_1",
        &["line 13", "\"1.5\"", "from 0 (room) to 1 (saturated)"],
    ),
    (
        "set_headspace_unknown",
        &["line 13", "\"satured\"", "\"saturated\""],
    ),
    (
        "set_humidity_140",
        &["[room]", "140 % is outside 0 to 100 %"],
    ),
    (
        "set_lip_open_zero",
        &["[filling] lip_open = 0 is outside 0.05 to 1"],
    ),
    (
        "set_liquid_unknown",
        &[
            "line 11",
            "\"ketchup\"",
            "known: water, brine, salt N%, sea water, ethanol N%",
        ],
    ),
    (
        "set_liquid_without_strength",
        &["line 11", "strength in percent", "\"ethanol 40%\""],
    ),
    (
        "set_no_bottle",
        &[
            "no [[bottle]]",
            "mouth_bore_mm, neck_length_mm and capacity_ml",
        ],
    ),
    (
        "set_note_h4",
        &["pour number 1", "\"H4\"", "a letter from A to G", "F#4"],
    ),
    (
        "set_note_without_octave",
        &["pour number 1", "\"F\" has no octave", "middle C is C4"],
    ),
    (
        "set_pour_key_typo",
        &["line 30", "`botle`", "did you mean `bottle`?"],
    ),
    (
        "set_pour_without_note",
        &["line 28", "[[pour]]", "missing field `note`"],
    ),
    (
        "set_pours_table",
        &["line 15", "`pours`", "did you mean `pour`?"],
    ),
    (
        "set_pressure_in_hpa",
        &["[room]", "1013 kPa is outside 50 to 120 kPa"],
    ),
    ("set_room_80", &["[room]", "80 °C is outside -10 to 60 °C"]),
    (
        "set_room_key_typo",
        &["line 3", "`temp`", "did you mean `temp_c`?"],
    ),
    ("set_temperament_short", &["line 7", "12 steps", "has 3"]),
    (
        "set_temperament_unknown",
        &["line 7", "\"equel\"", "nearest is \"equal\""],
    ),
    ("set_tonic_unknown", &["line 8", "\"do\"", "D, F# or Bb"]),
    (
        "set_too_many_pours",
        &["3 pours", "\"gull tonic\"", "only 2", "raise its count"],
    ),
    (
        "set_tuning_a4",
        &["line 6", "a4_hz = 0.44 is outside 380 to 500 Hz", "440"],
    ),
    (
        "set_tuning_key_typo",
        &["line 8", "`tonik`", "did you mean `tonic`?"],
    ),
    (
        "set_wrong_case",
        &["line 3", "`Temp_C`", "did you mean `temp_c`?"],
    ),
    (
        "shelf_binary",
        &["byte 1 (line 1) is not UTF-8", "try: save it as UTF-8"],
    ),
    (
        "shelf_bore_contradicts",
        &[
            "\"tide bottle\"",
            "capacity_ml of 500.0 ml contradicts",
            "766.7 ml",
            "leave out",
        ],
    ),
    (
        "shelf_bracket_open",
        &["line 2", "unclosed array table", "`]`"],
    ),
    (
        "shelf_capacity_contradicts",
        &["\"gull tonic\"", "contradicts the rest", "measure again"],
    ),
    (
        "shelf_capacity_in_litres",
        &[
            "\"gull tonic\"",
            "capacity_ml = 0.243 is outside 5 to 100000",
        ],
    ),
    (
        "shelf_capacity_negative",
        &[
            "\"gull tonic\"",
            "capacity_ml = -243 is outside 5 to 100000",
        ],
    ),
    (
        "shelf_comma_for_point",
        &["line 9", "54,6", "decimal point, as in 54.6"],
    ),
    ("shelf_comments_only", &["no [[bottle]]", "mouth_bore_mm"]),
    (
        "shelf_count_fraction",
        &["line 4", "`2.5`", "a whole number"],
    ),
    (
        "shelf_count_huge",
        &["\"gull tonic\"", "count = 4000000 is outside 1 to 10000"],
    ),
    (
        "shelf_count_negative",
        &["line 4", "`-1`", "a whole number from 0 up"],
    ),
    (
        "shelf_count_zero",
        &["\"gull tonic\"", "count = 0 is outside 1 to 10000"],
    ),
    ("shelf_empty", &["no [[bottle]]", "mouth_bore_mm"]),
    (
        "shelf_heard_hot",
        &[
            "\"gull tonic\"",
            "heard temp_c = 180 is outside -10 to 60 °C",
        ],
    ),
    (
        "shelf_heard_too_full",
        &[
            "\"gull tonic\"",
            "heard fill_ml = 300 is outside 0 to 243.0 ml",
        ],
    ),
    (
        "shelf_heard_way",
        &["line 13", "`blow`", "did you mean `blown`?"],
    ),
    (
        "shelf_heard_zero",
        &["\"gull tonic\"", "heard hz = 0 is outside 10 to 20000 Hz"],
    ),
    (
        "shelf_height_inf",
        &["\"gull tonic\"", "height_mm = inf is outside 10 to 2000"],
    ),
    (
        "shelf_heights_do_not_add_up",
        &["\"gull tonic\"", "contradicts the rest", "leave out"],
    ),
    (
        "shelf_key_twice",
        &["line 5", "count = 3", "duplicate key", "keep one"],
    ),
    (
        "shelf_key_typo",
        &[
            "line 8",
            "`neck_lenght_mm`",
            "did you mean `neck_length_mm`?",
        ],
    ),
    (
        "shelf_lip_wall_thick",
        &["\"gull tonic\"", "lip_wall_mm = 60 is outside 0 to 50"],
    ),
    (
        "shelf_material_unknown",
        &["\"gull tonic\"", "\"glas\"", "did you mean \"glass\"?"],
    ),
    (
        "shelf_measured_to_far",
        &[
            "\"gull tonic\"",
            "measured_to bore_mm = 40 is outside 0 to 20",
        ],
    ),
    (
        "shelf_measured_to_typo",
        &["line 13", "`bores_mm`", "did you mean `bore_mm`?"],
    ),
    (
        "shelf_mouth_missing",
        &[
            "\"gull tonic\"",
            "mouth_bore_mm is missing",
            "inner diameter",
        ],
    ),
    (
        "shelf_mouth_nan",
        &["\"gull tonic\"", "mouth_bore_mm = NaN is outside 2 to 200"],
    ),
    (
        "shelf_name_missing",
        &["bottle number 1 has no name", "name = "],
    ),
    (
        "shelf_name_twice",
        &["two bottles", "\"gull tonic\"", "count = 2"],
    ),
    (
        "shelf_neck_longer_than_bottle",
        &["\"gull tonic\"", "contradicts the rest", "mm"],
    ),
    (
        "shelf_neck_wider_than_body",
        &["\"gull tonic\"", "contradicts the rest", "mm"],
    ),
    (
        "shelf_not_utf8",
        &["line 3", "not UTF-8", "try: save it as UTF-8"],
    ),
    ("shelf_nul", &["line 3", "invalid basic string"]),
    (
        "shelf_poured_above_mouth",
        &["\"cordial\"", "reading 7 at 284 mm", "height_mm = 262"],
    ),
    (
        "shelf_poured_falls",
        &[
            "\"cordial\"",
            "reading 3, 240 g at 35 mm",
            "120 g at 44 mm",
            "as they were poured",
        ],
    ),
    (
        "shelf_poured_height_nan",
        &["\"cordial\"", "height_mm = NaN is outside 10 to 2000"],
    ),
    (
        "shelf_poured_mouth_negative",
        &["\"cordial\"", "mouth_bore_mm = -19 is outside 2 to 200"],
    ),
    (
        "shelf_poured_neck_inf",
        &["\"cordial\"", "neck_length_mm = inf is outside 0 to 1000"],
    ),
    (
        "shelf_profile_and_poured",
        &["\"cordial\"", "profile_mm or poured, not both"],
    ),
    (
        "shelf_profile_one_point",
        &["\"tide bottle\"", "1 points is outside 2 to 10000"],
    ),
    (
        "shelf_profile_starts_high",
        &["\"tide bottle\"", "starts at 3 mm", "must start at 0 mm"],
    ),
    (
        "shelf_profile_three_numbers",
        &["line 5", "a pair of numbers", "has 3"],
    ),
    (
        "shelf_profile_unsorted",
        &[
            "\"tide bottle\"",
            "point 3",
            "4 mm",
            "166 mm",
            "from the floor up",
        ],
    ),
    (
        "shelf_profile_with_mad_wall",
        &["\"tide bottle\"", "wall_mm = -3 is outside 0.05 to 30"],
    ),
    ("shelf_single_brackets", &["line 2", "[[bottle]]"]),
    (
        "shelf_table_typo",
        &["line 2", "`bottles`", "did you mean `bottle`?"],
    ),
    (
        "shelf_text_for_number",
        &["line 6", "\"18 miles\"", "\"miles\"", "mm, cm, m, in"],
    ),
    ("shelf_too_little", &["\"gull tonic\"", "give capacity_ml"]),
    (
        "shelf_unit_missing",
        &["line 5", "`capacity`", "did you mean `capacity_ml`?"],
    ),
    (
        "shelf_unit_wrong",
        &["line 11", "`height_cm`", "did you mean `height_mm`?"],
    ),
    ("shelf_version_2", &["version = 2", "reads version 1"]),
];

#[test]
fn the_table_and_the_folder_name_the_same_files() {
    // What is not TOML is read elsewhere: recordings by `recordings.rs`.
    let found: BTreeSet<String> = std::fs::read_dir(data("broken"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    let listed: BTreeSet<String> = FILES
        .iter()
        .map(|(name, _)| format!("{name}.toml"))
        .collect();
    assert_eq!(listed.len(), FILES.len(), "a file is listed twice");
    assert_eq!(found, listed);
    assert!(found.len() >= FEWEST_FILES, "{} files", found.len());
}

#[test]
fn every_broken_file_is_refused_with_what_where_and_a_way_out() {
    let mut wrong = String::new();
    for (name, fragments) in FILES {
        let path = data("broken").join(format!("{name}.toml"));
        let run = ullage(&["predict", arg(&path)]);
        let said = &run.err;
        let mut complain = |what: &str| wrong += &format!("{name}: {what}\n{said}\n");
        if run.code != Some(2) {
            complain(&format!("left with {:?} instead of 2", run.code));
        }
        if !run.out.is_empty() {
            complain("printed something on standard output");
        }
        if said.contains("panicked") {
            complain("panicked");
        }
        if !said.contains(&format!("{name}.toml")) {
            complain("does not name the file");
        }
        if !said.contains("\n  try: ") {
            complain("names no way out");
        }
        for fragment in fragments.iter().filter(|f| !said.contains(**f)) {
            complain(&format!("does not say {fragment:?}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn a_headspace_may_be_a_bare_number() {
    let text = read(data("broken").join("set_headspace_over_1.toml"));
    assert!(read_any(&text).is_err());
    for share in ["0", "1", "0.25", "\"0.25\""] {
        let mended = text.replace("headspace = 1.5", &format!("headspace = {share}"));
        assert!(
            read_any(&mended).is_ok(),
            "headspace = {share}: {:?}",
            read_any(&mended).err()
        );
    }
}
