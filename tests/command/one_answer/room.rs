//! A room option says in which room a set is heard; what was poured in the room of its file swells.

use ullage::file::smf::to_smf;
use ullage::set::read_set;

use super::poured::{COOL_KG_M3, NOTES, POURED, WARM_KG_M3, Warm, swollen};
use super::*;

#[test]
fn audition_hears_in_a_warm_room_what_was_poured_in_a_cool_one() {
    let warm = Warm::new();
    let (_folder, wav) = file("a.wav", "");
    let args = ["audition", text(&warm.set), "--force", "--out", text(&wav)];
    let told = json(&[&args[..], &["--after", "temp-c=40"]].concat());
    warm.is_heard("audition --after", |note| {
        of_note(&told["bottles"], note, "after_hz")
    });
    let told = json(&[&args[..], &["--temp-c", "40"]].concat());
    warm.is_heard("audition --temp-c", |note| {
        of_note(&told["notes"], note, "hz")
    });
}

#[test]
fn two_conditions_swell_from_the_room_of_the_file_and_not_from_that_of_an_option() {
    let warm = Warm::new();
    let (_folder, wav) = file("a.wav", "");
    let args = ["audition", text(&warm.set), "--force", "--out", text(&wav)];
    let cool = ["--temp-c", "4", "--after", "temp-c=40"];
    let told = json(&[&args[..], &cool].concat());
    let after = |note: &str| of_note(&told["bottles"], note, "after_hz");
    warm.is_heard("audition --temp-c 4 --after", after);
    let chilled = json(&["compare", text(&warm.set), "--after", "temp-c=4"]);
    for note in NOTES {
        let before = of_note(&told["bottles"], note, "before_hz");
        let off = cents(before, of_note(&chilled["bottles"], note, "after_hz"));
        assert!(off.abs() < SAME_CENTS, "{note} before: {off:+.3} cents");
    }
}

#[test]
fn export_records_in_a_warm_room_what_was_poured_in_a_cool_one() {
    let warm = Warm::new();
    let folder = Folder::new();
    let out = folder.path().join("out");
    let args = ["export", text(&warm.set), "--out", text(&out), "--mts"];
    let told = json(&[&args[..], &["--sf2-only", "--temp-c", "40"]].concat());
    warm.is_heard("export", |note| of_note(&told["keys"], note, "hz"));
}

#[test]
fn check_holds_the_bottles_against_each_other_as_they_are_in_the_room_that_is_asked_for() {
    let warm = Warm::new();
    let (_folder, piece) = file("chord.mid", to_smf(&piece_of(&[50, 58, 87])).unwrap());
    let args = ["check", text(&warm.set), "--piece", text(&piece)];
    let told = json(&[&args[..], &["--temp-c", "40"]].concat());
    let pairs = told["rough_pairs"].as_array().unwrap();
    assert_eq!(pairs.len(), 3, "{told}");
    for pair in pairs {
        let place = |key: &str| NOTES.iter().position(|note| pair[key] == *note).unwrap();
        let (a, b) = (place("a_note"), place("b_note"));
        let semitones = [58.0, 50.0, 87.0];
        let equal = 100.0 * (semitones[b] - semitones[a]);
        let off = cents(warm.hz[b], warm.hz[a]) - equal;
        let told = pair["off_equal_cents"].as_f64().unwrap();
        // Told to a hundredth of a cent.
        assert!(
            (told - off).abs() < 0.02,
            "{pair}: {off:.2} cents by compare"
        );
    }
}

/// The lowest note of a bottle: nothing is in it at 20 °C. In a warmer room it sounds higher, and no water makes it lower.
#[test]
fn a_pour_without_a_fill_was_poured_for_the_room_of_its_file() {
    let (head, _) = POURED.split_once("[[pour]]").unwrap();
    let (_empty, set) = file("empty.toml", head);
    let told = json(&["predict", text(&set)]);
    let note = told["note"]["name"].as_str().unwrap();
    let above = told["note"]["cents"].as_f64().unwrap().ceil();
    let pour = format!("[[pour]]\nnote = \"{note}{above:+}c\"\nbottle = \"cellar\"\n");
    let (folder, set) = file("set.toml", head.to_owned() + &pour);
    let set = text(&set);
    let key = read_set(&std::fs::read_to_string(set).unwrap())
        .unwrap()
        .pours[0]
        .note
        .midi();
    let (_piece, piece) = file("low.mid", to_smf(&piece_of(&[key])).unwrap());
    let out = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    json(&["compare", set, "--after", "temp-c=40"]);
    let warm = |args: &[&str]| json(&[args, &["--temp-c", "40"]].concat());
    warm(&["check", set, "--piece", text(&piece)]);
    warm(&[
        "parts",
        set,
        "--piece",
        text(&piece),
        "--out",
        &out("parts"),
    ]);
    warm(&["audition", set, "--out", &out("a.wav")]);
    warm(&["export", set, "--sf2-only", "--out", &out("fonts")]);
}

#[test]
fn retune_starts_from_what_stands_in_the_bottle_now() {
    let warm = Warm::new();
    let told = json(&["retune", text(&warm.set), "--temp-c", "40"]);
    for (n, note) in NOTES.into_iter().enumerate() {
        let of = |key: &str| of_note(&told["retuned"], note, key);
        let off = cents(warm.hz[n], of("target_hz"));
        assert!(
            (of("off_cents") - off).abs() < SAME_CENTS,
            "{note}: {} {off}",
            of("off_cents")
        );
        let now_ml = swollen(warm.cool_ml[n]);
        let add_ml = of("new_fill_ml") - now_ml;
        assert!(
            (of("add_ml") - add_ml).abs() < 0.01,
            "{note}: {} {add_ml}",
            of("add_ml")
        );
    }
}

/// What is in the bottles can be weighed.
#[test]
fn retune_adds_as_many_grams_as_are_lacking() {
    let warm = Warm::new();
    let told = json(&["retune", text(&warm.set), "--temp-c", "40"]);
    for (n, note) in NOTES.into_iter().enumerate() {
        let of = |key: &str| of_note(&told["retuned"], note, key);
        let poured_g = warm.cool_ml[n] * COOL_KG_M3 / 1000.0;
        let wanted_g = of("new_fill_ml") * WARM_KG_M3 / 1000.0;
        let lacking_g = wanted_g - poured_g;
        // Water's density within 5 ppm of the table's, and a fill to a hundredth of a millilitre.
        assert!(
            (of("add_g") - lacking_g).abs() < 0.02,
            "{note}: {} and {lacking_g} g",
            of("add_g")
        );
    }
}

#[test]
fn predict_tells_of_a_set_in_a_warm_room_what_was_poured_in_a_cool_one() {
    let warm = Warm::new();
    let told = json(&["predict", text(&warm.set), "--temp-c", "40"]);
    let rows = told["predictions"].as_array().unwrap();
    // In the order of the pours, the blown ones first; where the file has no fill, predict takes the bottle for empty.
    for (row, n) in [(0, 0), (2, 2)] {
        let hz = first_hz(&rows[row]);
        let off = cents(hz, warm.hz[n]);
        assert!(off.abs() < SAME_CENTS, "{}: {off:+.3} cents", NOTES[n]);
    }
}

#[test]
fn a_sweep_over_warmth_swells_what_was_poured_at_every_step() {
    let warm = Warm::new();
    let told = json(&["predict", text(&warm.set), "--sweep", "temp-c=4..40/3"]);
    let rows = told["predictions"].as_array().unwrap();
    for (step, temp_c) in ["4", "22", "40"].into_iter().enumerate() {
        let alone = json(&["predict", text(&warm.set), "--temp-c", temp_c]);
        let alone = alone["predictions"].as_array().unwrap();
        assert_eq!(rows.len(), 3 * alone.len());
        for (bottle, row) in alone.iter().enumerate() {
            let swept = &rows[3 * bottle + step];
            assert_eq!(swept["at"].as_f64(), temp_c.parse().ok());
            let off = cents(first_hz(swept), first_hz(row));
            assert!(off.abs() < SAME_CENTS, "{temp_c} °C: {off:+.3} cents");
            assert_eq!(swept["fill_ml"], row["fill_ml"], "{temp_c} °C");
        }
    }
    // The last step of the first and the third, which have fills in the file.
    for n in [0, 2] {
        let off = cents(first_hz(&rows[3 * n + 2]), warm.hz[n]);
        assert!(off.abs() < SAME_CENTS, "{}: {off:+.3} cents", NOTES[n]);
    }
}

/// In a file a fill is what it is in the room of that file.
#[test]
fn what_fill_pours_for_a_warm_room_is_in_tune_there() {
    let (folder, set) = file("set.toml", POURED);
    let out = folder.path().join("warm.toml");
    json(&["fill", text(&set), "--temp-c", "40", "--out", text(&out)]);
    let told = json(&["compare", text(&out), "--after", "temp-c=40"]);
    let filled = json(&["fill", text(&set)]);
    for note in NOTES {
        let target_hz = of_note(&filled["pours"], note, "target_hz");
        let off = cents(of_note(&told["bottles"], note, "after_hz"), target_hz);
        // Fills are written to a hundredth of a millilitre, which is 0.05 cents here.
        assert!(off.abs() < 0.1, "{note} is {off:+.2} cents off at 40 °C");
    }
}

#[test]
fn what_a_warmer_room_does_is_told_alike_by_audition_and_compare() {
    let warm = Warm::new();
    let (_folder, wav) = file("a.wav", "");
    let told = json(&["audition", text(&warm.set), "--force", "--out", text(&wav)]);
    let compared = json(&["compare", text(&warm.set), "--after", "temp-c=25"]);
    let drift = &told["drift"]["room_5_c_warmer"];
    for (key, as_compared) in [
        ("common_cents", "mean_cents"),
        ("spread_cents", "spread_cents"),
    ] {
        let (drift, compared) = (&drift[key], &compared["together"][as_compared]);
        let off = drift.as_f64().unwrap() - compared.as_f64().unwrap();
        assert!(
            off.abs() < SAME_CENTS,
            "{key}: {drift:.3} by audition, {compared} by compare"
        );
    }
}

/// A pair's liquid and that under pressure were poured as well.
#[test]
fn liquid_that_does_not_tune_a_bottle_swells_too() {
    let pumped = |ml: f64| format!("gauge_bar = 0.6508\nfill_ml = {ml}");
    let liquid = |ml: f64| format!("liquid_ml = {ml}");
    type Written<'a> = &'a dyn Fn(f64) -> String;
    let sets: [(&str, &str, Written<'_>); 2] = [
        ("pair", "liquid_ml = 800", &liquid),
        ("plastic", "gauge_bar = 0.6508", &pumped),
    ];
    for (name, before, with) in sets {
        let preset = std::fs::read_to_string(format!("presets/{name}/set.toml")).unwrap();
        let (_cool, set) = file("set.toml", preset.replace(before, &with(800.0)));
        let told = json(&["compare", text(&set), "--after", "temp-c=40"]);
        let hz = told["bottles"][0]["after_hz"].as_f64().unwrap();
        let now = preset.replace(before, &with(swollen(800.0)));
        let is_warm = ["temp_c = 20.0", "temp_c = 20\n"].map(|cool| now.contains(cool));
        assert!(is_warm.contains(&true), "{now}");
        let now = now
            .replace("temp_c = 20.0", "temp_c = 40")
            .replace("temp_c = 20\n", "temp_c = 40\n");
        let (_warm, set) = file("warm.toml", now);
        let off = cents(
            hz,
            first_hz(&json(&["predict", text(&set)])["predictions"][0]),
        );
        assert!(off.abs() < SAME_CENTS, "{name}: {off:+.3} cents by compare");
    }
}

/// A lift for a warm room is of the liquid that there is, not of as many millilitres poured anew.
#[test]
fn marks_of_a_pair_in_a_warm_room_are_of_the_liquid_that_has_swollen() {
    let preset = std::fs::read_to_string("presets/pair/set.toml").unwrap();
    let now = preset.replace("temp_c = 20\n", "temp_c = 40\n");
    let now = now.replace(
        "liquid_ml = 800",
        &format!("liquid_ml = {}", swollen(800.0)),
    );
    let unmarked: Vec<&str> = now.lines().filter(|l| !l.starts_with("lift_mm")).collect();
    let (_warm, set) = file("warm.toml", unmarked.join("\n"));
    let expected = json(&["marks", text(&set)])["joined"][0].clone();
    let told = json(&["marks", "presets/pair/set.toml", "--temp-c", "40"])["joined"][0].clone();
    let off_ml = told["liquid_ml"].as_f64().unwrap() - swollen(800.0);
    assert!(off_ml.abs() < 0.01, "{off_ml:+.3} ml in it");
    for end in ["first_hz", "second_hz"] {
        for lift in [0, 1] {
            let hz = |pair: &Value| pair[end][lift].as_f64().unwrap();
            let off = cents(hz(&told), hz(&expected));
            // Both ends are printed to a thousandth of a hertz.
            let digit = cents(hz(&told) + 1e-3, hz(&told));
            assert!(
                off.abs() < SAME_CENTS + digit,
                "{end} {lift}: {off:+.3} cents"
            );
        }
    }
    let marks = |pair: &Value| pair["marks"].as_array().unwrap().clone();
    assert_eq!(marks(&told).len(), 5);
    for (told, expected) in marks(&told).iter().zip(marks(&expected)) {
        assert_eq!(told["note"], expected["note"]);
        let lift = |mark: &Value| mark["lift_mm"].as_f64().unwrap();
        // Lifts are printed to a hundredth of a millimetre.
        let off = lift(told) - lift(&expected);
        assert!(off.abs() < 0.011, "{}: {off:+.2} mm", told["note"]);
    }
}
