//! What the command line promises: keys, directions, exit codes, help, schemas, and files that stay whole.

use std::path::PathBuf;

use serde_json::Value;
use ullage::physics::liquid::Liquid;
use ullage::set::{ShelfOrSet, read_any, read_set};
use ullage::units::Temperature;

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg, data, read};

const COMMANDS: [&str; 6] = [
    "predict",
    "fill",
    "audition",
    "schema",
    "completions",
    "man",
];

/// A bottle of the quay's shelf, by its dimensions.
const BOTTLE: [&str; 4] = ["predict", QUAY_SHELF, "--bottle", "long-neck"];

/// The JSON of the long-neck, with more options.
fn bottle(options: &[&str]) -> Value {
    json(&[&BOTTLE[..], options].concat())
}

fn hz(prediction: &Value) -> f64 {
    prediction["resonances"][0]["hz"].as_f64().unwrap()
}

/// A set in a folder of its own, from the quay's with its fills taken out.
fn unfilled() -> (Folder, PathBuf) {
    let folder = Folder::new();
    let text: String = read(QUAY_SET)
        .lines()
        .filter(|line| !line.starts_with("fill_ml"))
        .map(|line| format!("{line}\n"))
        .collect();
    let path = folder.write("set.toml", text);
    (folder, path)
}

#[test]
fn both_ends_of_what_is_likely_are_printed_where_one_is_much_farther_away() {
    let shelf =
        "[[bottle]]\nname = \"few\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 70\n";
    let blown = format!("{shelf}heard = [{{ fill_ml = 0, hz = 140, temp_c = 20 }}]\n");
    let folder = Folder::new();
    let row = |text: &str| {
        let file = folder.write("shelf.toml", text);
        let one = json(&["predict", arg(&file)]);
        let ends = ["low_cents", "high_cents"].map(|key| one[key].as_f64().unwrap());
        let run = ullage(&["predict", arg(&file)]).ended(0);
        (ends, run.out)
    };
    // A lip that may flare makes it flatter, never sharper; a note that was blown says what it did.
    let ([low, high], text) = row(shelf);
    assert!(-low > 1.5 * high, "{low} {high}");
    let both = format!("−{:.0} +{high:.0}", -low);
    assert!(text.contains(&both) && !text.contains("few: ±"), "{text}");
    let ([low, high], text) = row(&blown);
    assert!(
        -low < 1.5 * high && !text.contains(&format!("−{:.0}", -low)),
        "{text}"
    );
}

#[test]
fn a_prediction_has_every_key_of_the_contract() {
    let prediction = bottle(&["--fill-ml", "120"]);
    assert_eq!(prediction["bottle"], "long-neck");
    assert_eq!(prediction["way"], "blown");
    assert_eq!(prediction["version"], 1);
    assert_eq!(prediction["fill_ml"], 120.0);
    assert_eq!(prediction["air_ml"], 226.0);
    for key in [
        "level_mm",
        "cents_per_ml",
        "cents_per_c",
        "plus_minus_cents",
    ] {
        assert!(
            prediction[key].as_f64().is_some_and(|v| v > 0.0),
            "{key}: {prediction}"
        );
    }
    let end = |key: &str| prediction[key].as_f64().unwrap();
    assert!(end("low_cents") < 0.0 && end("high_cents") > 0.0);
    // A long neck radiates little: what a table gives back is little of its Q.
    let table = prediction["on_table"]["q_pct"].as_f64().unwrap();
    assert!((-10.0..0.0).contains(&table), "{table}");
    let resonances = prediction["resonances"].as_array().unwrap();
    assert!(resonances.len() > 1);
    for resonance in resonances {
        assert!(resonance["hz"].as_f64().unwrap() > 50.0 && resonance["q"].as_f64().unwrap() > 1.0);
    }
    assert!(prediction["note"]["name"].is_string());
    assert!(prediction["note"]["cents"].as_f64().unwrap().abs() <= 50.0);
}

#[test]
fn the_named_note_and_its_cents_are_the_pitch() {
    let prediction = bottle(&["--fill-ml", "120"]);
    let name = prediction["note"]["name"].as_str().unwrap();
    let cents = prediction["note"]["cents"].as_f64().unwrap();
    let note: ullage::tuning::NoteName = name.parse().unwrap();
    let semitones = f64::from(note.midi()) - 69.0 + cents / 100.0;
    let expected = 440.0 * (semitones / 12.0).exp2();
    // Hertz are printed to 0.0001 and cents to 0.001.
    assert!(
        (hz(&prediction) / expected - 1.0).abs() < 1e-5,
        "{prediction}"
    );
}

#[test]
fn the_stated_slopes_are_the_slopes() {
    let cents = |options: &[&str]| 1200.0 * hz(&bottle(options)).log2();
    let stated = bottle(&["--fill-ml", "120"]);
    let per_ml = (cents(&["--fill-ml", "121"]) - cents(&["--fill-ml", "119"])) / 2.0;
    let warm = cents(&["--fill-ml", "120", "--temp-c", "20.5"]);
    let per_c = warm - cents(&["--fill-ml", "120", "--temp-c", "19.5"]);
    // A central difference over 1 ml of 226 ml of air is off by a few parts in 10,000.
    let near = |stated: &Value, found: f64| (stated.as_f64().unwrap() / found - 1.0).abs() < 0.01;
    assert!(near(&stated["cents_per_ml"], per_ml), "{per_ml} {stated}");
    assert!(near(&stated["cents_per_c"], per_c), "{per_c} {stated}");
}

/// Pitches of a sweep, Hz, and the values that were stepped through.
fn swept(sweep: &str) -> (Vec<f64>, Vec<f64>) {
    let all = bottle(&["--fill-ml", "100", "--sweep", sweep]);
    let rows = all["predictions"].as_array().unwrap();
    let at = rows.iter().map(|row| row["at"].as_f64().unwrap()).collect();
    (rows.iter().map(hz).collect(), at)
}

#[test]
fn pitch_rises_with_fill_with_temperature_and_with_open_lips() {
    for (sweep, low, high, count) in [
        ("fill-ml=0..250/26", 0.0, 250.0, 26),
        ("temp-c=0..40/9", 0.0, 40.0, 9),
        ("lip-open=0.3..1", 0.3, 1.0, 11),
        ("humidity-pct=0..100/6", 0.0, 100.0, 6),
    ] {
        let (pitches, at) = swept(sweep);
        assert_eq!(pitches.len(), count, "{sweep}");
        assert_eq!((at[0], at[count - 1]), (low, high), "{sweep}");
        assert!(
            pitches.windows(2).all(|pair| pair[1] > pair[0]),
            "{sweep}: {pitches:?}"
        );
    }
}

#[test]
fn room_options_move_the_pitch_the_way_that_they_do() {
    let plain = hz(&bottle(&[]));
    for (options, direction) in [
        (["--gas", "co2"], -1.0),
        (["--gas", "argon"], -1.0),
        (["--gas", "helium"], 1.0),
        (["--gas", "30% helium in air"], 1.0),
        (["--temp-c", "30"], 1.0),
        (["--temp-c", "-5"], -1.0),
        (["--lip-open", "0.6"], -1.0),
        (["--humidity-pct", "90"], 1.0),
        (["--headspace", "saturated"], 1.0),
    ] {
        let moved = hz(&bottle(&options));
        assert!(
            (moved - plain) * direction > 0.0,
            "{options:?}: {moved} against {plain} Hz"
        );
    }
}

#[test]
fn a_light_gas_is_as_much_higher_as_its_sound_is_faster() {
    let ratio = hz(&bottle(&["--gas", "helium", "--neck-gas", "helium"])) / hz(&bottle(&[]));
    // Sound is 2.94 times as fast in helium (1007 m/s at 20 °C) as in room air (344); friction at the
    // walls, larger in helium, and the room's air at the mouth take a part of it.
    assert!((2.3..2.94).contains(&ratio), "{ratio}");
}

#[test]
fn grams_on_the_scale_are_millilitres_times_density() {
    for liquid in ["water", "brine", "ethanol 40%"] {
        let kind: Liquid = liquid.parse().unwrap();
        let density = kind.density_kg_m3(Temperature::from_c(20.0)).unwrap();
        let grams = 100.0 * density / 1000.0;
        let grams = grams.to_string();
        let by_mass = bottle(&["--liquid", liquid, "--fill-g", &grams]);
        let by_volume = bottle(&["--liquid", liquid, "--fill-ml", "100"]);
        assert_eq!(by_mass["fill_ml"], by_volume["fill_ml"], "{liquid}");
        assert_eq!(hz(&by_mass), hz(&by_volume), "{liquid}");
    }
}

#[test]
fn zero_is_done_one_is_cannot_and_two_is_bad_usage_or_a_bad_file() {
    let (folder, set) = unfilled();
    let text = read(set).replacen("note = \"E5\"", "note = \"A2\"", 1);
    let (too_low, nowhere) = (
        folder.write("too_low.toml", text),
        folder.at("nowhere.toml"),
    );
    let (too_low, nowhere) = (arg(&too_low), arg(&nowhere));
    let cases: &[(&[&str], i32, &str)] = &[
        (&["predict", QUAY_SHELF], 0, ""),
        (&["predict", QUAY_SET, "--why"], 0, ""),
        (&["fill", QUAY_SET], 0, ""),
        (&["--help"], 0, ""),
        (&["--version"], 0, ""),
        (&["fill", too_low], 1, "A2 in \"vial\""),
        (
            &[
                "predict",
                QUAY_SHELF,
                "--bottle",
                "vial",
                "--fill-ml",
                "500",
            ],
            1,
            "outside 0 to",
        ),
        (&["predict", nowhere], 2, "nowhere.toml"),
        (&["predict", "presets"], 2, "presets"),
        (
            &["predict", QUAY_SHELF, "--bottle", "longneck"],
            2,
            "long-neck",
        ),
        (&["predict", QUAY_SHELF, "--temp-c", "80"], 2, "-10 to 60"),
        (&["predict", QUAY_SHELF, "--gas", "heluim"], 2, "helium"),
        (&["predict", QUAY_SHELF, "--lip-open", "0"], 2, "0.05 to 1"),
        (
            &["predict", QUAY_SHELF, "--sweep", "fill-ml"],
            2,
            "KEY=LOW..HIGH",
        ),
        (
            &["predict", QUAY_SHELF, "--fill-ml", "1", "--fill-g", "1"],
            2,
            "--fill-g",
        ),
        (&["fill", QUAY_SHELF], 2, "[[pour]]"),
        (&["pour-me-one"], 2, "pour-me-one"),
        (&[], 2, "Usage"),
    ];
    for (args, code, says) in cases {
        let run = ullage(args).ended(*code).says(says);
        assert_eq!(run.err.is_empty(), *code == 0, "{args:?}: {}", run.err);
        assert!(!run.err.contains("panicked"), "{args:?}: {}", run.err);
    }
}

#[test]
fn what_cannot_be_done_is_told_with_a_way_out() {
    let run = ullage(&[
        "predict",
        QUAY_SHELF,
        "--bottle",
        "vial",
        "--fill-ml",
        "500",
    ]);
    let lines: Vec<&str> = run.err.lines().collect();
    assert!(
        lines[0].starts_with("error: cannot predict \"vial\""),
        "{}",
        run.err
    );
    assert!(lines[1].starts_with("  because: "), "{}", run.err);
    assert!(lines[2].starts_with("  try: "), "{}", run.err);
    assert!(run.out.is_empty());
}

#[test]
fn the_help_of_every_command_has_an_example() {
    let all = ullage(&["--help"]).out;
    for command in COMMANDS {
        assert!(all.contains(command), "{command} in {all}");
        ullage(&[command, "--help"])
            .ended(0)
            .prints(&format!("Example: ullage {command}"));
    }
}

#[test]
fn completions_and_the_manual_name_every_command() {
    for args in [
        &["completions", "bash"][..],
        &["completions", "zsh"],
        &["completions", "fish"],
        &["man"],
    ] {
        let run = ullage(args).ended(0);
        COMMANDS
            .into_iter()
            .fold(run, |run, command| run.prints(command));
    }
}

/// A TOML file as the JSON that a schema can judge.
fn as_json(text: &str) -> Value {
    serde_json::to_value(toml::from_str::<toml::Table>(text).unwrap()).unwrap()
}

fn schema(of: &str) -> jsonschema::Validator {
    let schema = ullage(&["schema", of]).ended(0).json();
    assert!(
        jsonschema::meta::is_valid(&schema),
        "{of} is no JSON Schema"
    );
    jsonschema::validator_for(&schema).unwrap()
}

#[test]
fn the_schemas_accept_the_presets_and_refuse_broken_files() {
    let (shelf, set) = (schema("shelf"), schema("set"));
    for path in [QUAY_SHELF, "presets/chromatic/shelf.toml"] {
        let problems: Vec<String> = shelf
            .iter_errors(&as_json(&read(path)))
            .map(|e| e.to_string())
            .collect();
        assert!(problems.is_empty(), "{path}: {problems:?}");
    }
    for path in [
        QUAY_SET,
        "presets/chromatic/set.toml",
        "presets/classroom/set.toml",
    ] {
        let problems: Vec<String> = set
            .iter_errors(&as_json(&read(path)))
            .map(|e| e.to_string())
            .collect();
        assert!(problems.is_empty(), "{path}: {problems:?}");
    }
    for broken in [
        "key_typo",
        "unit_missing",
        "text_for_number",
        "count_negative",
        "profile_three_numbers",
    ] {
        let text = read(data(&format!("broken/shelf_{broken}.toml")));
        assert!(!shelf.is_valid(&as_json(&text)), "{broken}");
    }
    for broken in [
        "room_key_typo",
        "headspace_over_1",
        "headspace_unknown",
        "pour_without_note",
        "tuning_key_typo",
    ] {
        let text = read(data(&format!("broken/set_{broken}.toml")));
        assert!(!set.is_valid(&as_json(&text)), "{broken}");
    }
}

/// Every description in a schema.
fn descriptions(schema: &Value, found: &mut Vec<String>) {
    match schema {
        Value::Object(map) => {
            for (key, value) in map {
                match value {
                    Value::String(text) if key == "description" => found.push(text.clone()),
                    value => descriptions(value, found),
                }
            }
        }
        Value::Array(list) => list.iter().for_each(|value| descriptions(value, found)),
        _ => {}
    }
}

#[test]
fn the_schemas_speak_to_people_who_write_files_and_have_ranges_names_and_units() {
    for of in ["shelf", "set"] {
        let printed = ullage(&["schema", of]).ended(0).json();
        let mut found = Vec::new();
        descriptions(&printed, &mut found);
        assert!(found.len() > 30, "{of}");
        for text in found {
            for code in ["```", "::", "[`", "assert", "unwrap"] {
                assert!(!text.contains(code), "{of}: {text}");
            }
        }
    }
    let shelf = schema("shelf");
    let accepts = |key: &str, value: &str| {
        let text = format!("[[bottle]]\nname = \"jar\"\n{key} = {value}\n");
        shelf.is_valid(&as_json(&text))
    };
    for (key, value) in [
        ("material", "\"plastic\""),
        ("count", "2"),
        ("mouth_bore_mm", "18.5"),
        ("mouth_bore_mm", "\"3/4 in\""),
        ("neck_length_mm", "\"2 1/2 in\""),
        ("height_mm", "\"24,5 cm\""),
        ("capacity_ml", "\"12 fl oz\""),
        ("capacity_ml", "\"1 imp pt\""),
        ("capacity_ml", "\"0.33 l\""),
        ("heard", "[{ fill_ml = 0, hz = 220, temp_c = \"68 °F\" }]"),
    ] {
        assert!(accepts(key, value), "{key} = {value}");
    }
    for (key, value) in [
        ("material", "\"tin\""),
        ("count", "0"),
        ("mouth_bore_mm", "-3"),
        ("lip_wall_mm", "51"),
        ("mouth_bore_mm", "\"18 ml\""),
        ("capacity_ml", "\"12 in\""),
        ("capacity_ml", "\"many\""),
        ("heard", "[{ fill_ml = 0, hz = 5 }]"),
        ("heard", "[{ fill_ml = 0, hz = 220, temp_c = 80 }]"),
    ] {
        assert!(!accepts(key, value), "{key} = {value}");
    }
}

#[test]
fn filling_keeps_every_comment_and_reads_back_in_tune() {
    let (folder, set) = unfilled();
    let out = folder.at("poured.toml");
    ullage(&["fill", arg(&set), "--out", arg(&out)]).ended(0);
    let (before, after) = (read(&set), read(&out));
    let kept: String = after
        .lines()
        .filter(|line| !line.starts_with("fill_ml"))
        .map(|line| format!("{line}\n"))
        .collect();
    assert_eq!(kept, before, "more than the fills has changed");
    assert!(before.contains("# grams of water poured"));
    let (before, after) = (read_set(&before).unwrap(), read_set(&after).unwrap());
    assert!(before.pours.iter().all(|p| p.fill.is_none()));
    assert!(after.pours.iter().all(|p| p.fill.is_some()));
    // Names of files alone are left behind: nothing half written.
    assert_eq!(folder.count(), 2);
    let predictions = json(&["predict", arg(&out)]);
    for (pour, row) in after
        .pours
        .iter()
        .zip(predictions["predictions"].as_array().unwrap())
    {
        let off = 1200.0 * (hz(row) / after.target(pour).hz()).log2();
        // A hundredth of a millilitre, the file's last digit, is 0.2 cents in the smallest bottle.
        assert!(off.abs() < 0.5, "{}: {off} cents", pour.note);
    }
}

#[test]
fn an_old_file_stays_as_it_is_without_force_and_is_replaced_with_it() {
    let (folder, set) = unfilled();
    let out = folder.at("poured.toml");
    let old = b"# years of work\r\n\xff\x00";
    std::fs::write(&out, old).unwrap();
    let args = ["fill", arg(&set), "--out", arg(&out)];
    ullage(&args).ended(1).says("--force").says("poured.toml");
    assert_eq!(std::fs::read(&out).unwrap(), old);
    ullage(&[&args[..], &["--force"]].concat()).ended(0);
    assert!(matches!(read_any(&read(&out)), Ok(ShelfOrSet::Set(_))));
    // Onto itself: the source is read before it is replaced.
    ullage(&["fill", arg(&out), "--out", arg(&out), "--force"]).ended(0);
    assert!(read_set(&read(&out)).is_ok());
    assert_eq!(folder.count(), 2, "something half written is left");
}

#[test]
fn a_file_that_cannot_be_written_is_left_out_and_told() {
    let (folder, set) = unfilled();
    let out = folder.at("no such folder").join("poured.toml");
    ullage(&["fill", arg(&set), "--out", arg(&out)])
        .ended(1)
        .says("no such folder")
        .says("try:");
    assert!(!out.exists());
}

#[test]
fn the_json_of_fill_has_every_key_of_a_planned_pour() {
    let report = json(&["fill", QUAY_SET]);
    assert_eq!(report["version"], 1);
    assert_eq!(report["unplaced"].as_array().unwrap().len(), 0);
    let pours = report["pours"].as_array().unwrap();
    assert_eq!(pours.len(), 15);
    for pour in pours {
        for key in [
            "target_hz",
            "fill_ml",
            "fill_g",
            "level_mm",
            "hz",
            "q",
            "plus_minus_cents",
            "cents_per_ml",
        ] {
            assert!(pour[key].as_f64().is_some_and(|v| v > 0.0), "{key}: {pour}");
        }
        assert!(pour["error_cents"].as_f64().unwrap().abs() < 0.01, "{pour}");
        assert!(pour["note"].is_string() && pour["bottle"].is_string() && pour["way"] == "blown");
    }
}

#[cfg(not(feature = "live"))]
#[test]
fn a_build_without_the_sound_card_says_how_to_get_one_that_plays() {
    for typed in [
        &["play", QUAY_SET, "--headless"][..],
        &["devices", "--json"],
        &["listen", "--live"],
    ] {
        ullage(typed)
            .ended(1)
            .says("--no-default-features")
            .says("cargo run --release -- ");
    }
}

#[test]
fn with_json_a_failure_is_one_object_on_standard_error() {
    for (args, exit) in [
        (&["predict", "no such file", "--json"][..], 2),
        (&["predict", QUAY_SHELF, "--no-such-option", "--json"], 2),
        (
            &["plan", "--shelf", QUAY_SHELF, "--notes", "C1", "--json"],
            1,
        ),
    ] {
        let run = ullage(args).ended(exit);
        let last = run.err.lines().last().unwrap();
        let said: Value = serde_json::from_str(last).unwrap();
        assert_eq!(
            (&said["version"], &said["exit"]),
            (&Value::from(1), &Value::from(exit))
        );
        assert!(
            said["error"]["what"]
                .as_str()
                .unwrap()
                .starts_with("cannot "),
            "{said}"
        );
        assert!(!said["error"]["because"].as_str().unwrap().is_empty());
    }
}

/// A pipe that nobody reads: whoever writes to it is told so.
#[cfg(unix)]
fn broken_pipe() -> std::process::Stdio {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    writer.into()
}

#[cfg(unix)]
#[test]
fn nobody_reading_what_is_said_is_no_reason_to_panic() {
    for (args, exit) in [
        (&["predict", "no such file"][..], 2),
        (&["plan", "--shelf", QUAY_SHELF, "--notes", "C1"], 1),
        (&["plan", "--shelf", QUAY_SHELF, "--no-such-option"], 2),
        (&["predict", QUAY_SHELF], 0),
    ] {
        let mut program = crate::common::command::program();
        let status = program
            .args(args)
            .stdout(broken_pipe())
            .stderr(broken_pipe())
            .status()
            .unwrap();
        assert_eq!(status.code(), Some(exit), "{args:?}");
    }
}

#[cfg(unix)]
#[test]
fn ctrl_c_in_a_rendering_leaves_nothing_behind() {
    let folder = Folder::new();
    let piece = crate::common::files::preset("quay/piece.mid");
    let out = folder.at("long.wav");
    let mut rendering = crate::common::command::program()
        .args([
            "audition",
            QUAY_SET,
            "--piece",
            arg(&piece),
            "--tempo-pct",
            "25",
            "--out",
            arg(&out),
        ])
        .stderr(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let since = std::time::Instant::now();
    while folder.count() == 0 {
        assert!(since.elapsed().as_secs() < 60, "nothing is written");
        assert_eq!(
            rendering.try_wait().unwrap(),
            None,
            "it is over before it could be stopped"
        );
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    let id = rendering.id().to_string();
    assert!(
        std::process::Command::new("sh")
            .args(["-c", &format!("kill -INT {id}")])
            .status()
            .unwrap()
            .success()
    );
    assert_eq!(rendering.wait().unwrap().code(), Some(130));
    assert_eq!(folder.count(), 0, "neither the file nor a hidden one");
}

#[test]
fn a_temperament_can_be_typed_as_twelve_cents() {
    let cents = "0,112,204,316,386,498,590,702,814,884,996,1088";
    let target = |temperament: &str| {
        let args = [
            "plan",
            "--shelf",
            QUAY_SHELF,
            "--notes",
            "E4",
            "--temperament",
            temperament,
            "--tonic",
            "C",
        ];
        json(&args)["pours"][0]["target_hz"].as_f64().unwrap()
    };
    // E above C and A above C are the third and the sixth of the list: 498 cents between them, down from A4.
    let expected_hz = 440.0 * 2f64.powf(-498.0 / 1200.0);
    assert!((target(cents) / expected_hz - 1.0).abs() < 1e-6);
    ullage(&[
        "plan",
        "--shelf",
        QUAY_SHELF,
        "--notes",
        "E4",
        "--temperament",
        "0,1,x",
    ])
    .ended(2)
    .says("not a number of cents");
}

#[test]
fn one_bottle_that_cannot_be_sounded_so_is_named_and_the_others_are_predicted() {
    let folder = Folder::new();
    let shelf = folder.write("mixed.toml", crate::common::files::glass_and_pop("", ""));
    let args = [
        "predict",
        arg(&shelf),
        "--way",
        "pressurised",
        "--gauge-bar",
        "1",
    ];
    let run = ullage(&args).ended(0);
    run.prints("pop")
        .says("\"glass\" is left out")
        .says("glass is never pressurised");
    ullage(&[&args[..], &["--bottle", "glass"]].concat())
        .ended(1)
        .says("glass is never pressurised");
}

/// Runs `describe` on `shelf` with these answers.
fn described(shelf: &std::path::Path, answers: &str) -> crate::common::command::Run {
    let folder = Folder::new();
    let typed = folder.write("answers", answers);
    let mut program = crate::common::command::program();
    program
        .args(["describe", arg(shelf)])
        .stdin(std::fs::File::open(typed).unwrap());
    crate::common::command::run(&mut program)
}

#[test]
fn a_bottle_is_described_in_a_conversation_and_every_answer_says_what_it_does() {
    let folder = Folder::new();
    let shelf = folder.at("crate.toml");
    let run = described(
        &shelf,
        "tall green\nglas\nglass\n12 fl oz\nwide\n3/4 in\n9 in\n\n3 in\n\n3\n",
    )
    .ended(0);
    run.says("\"glas\" is not glass")
        .says("does not begin with a number")
        .says(" cents; to be surer");
    let text = read(&shelf);
    for line in [
        "capacity_ml = 354.9",
        "mouth_bore_mm = 19.05",
        "height_mm = 228.6",
        "neck_length_mm = 76.2",
        "count = 3",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    let again = described(
        &shelf,
        "tall green\nsmall\nplastic\n100 ml\n18\n96\n44\n22\n\n\n",
    )
    .ended(0);
    again.says("a bottle of that name already");
    let ShelfOrSet::Shelf(both) = read_any(&read(&shelf)).unwrap() else {
        panic!("a shelf");
    };
    assert_eq!(
        both.kinds
            .iter()
            .map(|k| (k.name.as_str(), k.count))
            .collect::<Vec<_>>(),
        [("tall green", 3), ("small", 1)]
    );
    let text = read(&shelf);
    described(&shelf, "half\nglass\n")
        .ended(2)
        .says("the answers end");
    assert_eq!(read(&shelf), text, "nothing is half written");
}

#[test]
fn there_is_a_manual_page_for_every_command_that_the_manual_names() {
    let folder = Folder::new();
    let pages = folder.at("man1");
    ullage(&["man", "--out", arg(&pages)]).ended(0);
    let main = read(pages.join("ullage.1"));
    let named: Vec<String> = main
        .split("ullage\\-")
        .skip(1)
        .map(|rest| rest.chars().take_while(char::is_ascii_lowercase).collect())
        .filter(|name: &String| name != "help")
        .collect();
    assert!(named.len() > 15, "{named:?}");
    for name in named {
        let page = read(pages.join(format!("ullage-{name}.1")));
        assert!(
            page.contains(".SH SYNOPSIS") && page.contains(&name),
            "{name}"
        );
    }
}
