use super::*;
use crate::index::PourIndex;
use crate::set::Way;
use crate::units::{Frequency, Length, Pressure};

const TEXT: &str = "# ours\n[room]\ntemp_c = 20 # by the window\n[filling]\nneck_gas = \"co2\" # a little\nlip_open = 0.5\n\
    [[bottle]] # mine\nname = \"a\"\ncount = 3\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
    body_diameter_mm = 66 # by calliper\nheard = [\n    { fill_ml = 0, hz = 150 }, # at noon\n]\n\
    [[pour]] # first\nnote = \"A3\"\nbottle = \"a\"\nfill_ml = 200.0 # by hand\n\
    [[pour]]\nnote = \"B3\"\nbottle = \"a\"\nfill_ml = 230\n";

fn edited(edits: impl FnOnce(&mut SetText) -> Result<(), EditError>) -> Edited {
    let mut text = SetText::parse(TEXT).expect("a set");
    edits(&mut text).expect("an edit");
    text.finish().expect("a set after it")
}

/// The lines of `after` that are not in the text, and those of the text that are not in `after`.
fn changed_lines(after: &str) -> (Vec<&str>, Vec<&'static str>) {
    let new = after
        .lines()
        .filter(|line| !TEXT.lines().any(|l| l == *line));
    let gone = TEXT
        .lines()
        .filter(|line| !after.lines().any(|l| l == *line));
    (new.collect(), gone.collect())
}

#[test]
fn what_is_the_same_is_left_as_it_was_written() {
    let same = edited(|text| {
        let set = text.set.clone();
        text.set_conditions(&set.conditions)?;
        text.set_tuning(&set.tuning)?;
        text.set_heard("a", &set.kinds[0].heard)?;
        for (index, pour) in PourIndex::each(&set.pours) {
            text.set_note(index, pour.note)?;
            text.set_pour(index, pour.setting().expect("a fill"))?;
        }
        // Less than a file has digits for.
        text.set_pour(PourIndex::new(0), Setting::Fill(Volume::from_ml(200.004)))?;
        text.change(&Change::LipOpen(0.500_4))
    });
    assert_eq!(same.text, TEXT);
}

#[test]
fn the_text_of_every_preset_comes_back_byte_for_byte() {
    let mut texts = vec![TEXT.replace('\n', "\r\n")];
    for folder in std::fs::read_dir("presets").expect("the presets") {
        for file in ["shelf.toml", "set.toml"] {
            let path = folder.as_ref().expect("a folder").path().join(file);
            texts.extend(std::fs::read_to_string(path));
        }
    }
    assert!(texts.len() > 10, "{} texts", texts.len());
    for text in texts {
        let edit = SetText::parse(&text).expect("a set");
        assert_eq!(edit.text(), text);
    }
}

#[test]
fn an_edit_changes_its_own_line_and_keeps_the_comment_behind_it() {
    let one =
        edited(|text| text.set_pour(PourIndex::new(0), Setting::Fill(Volume::from_ml(210.128))));
    let fill = (
        vec!["fill_ml = 210.13 # by hand"],
        vec!["fill_ml = 200.0 # by hand"],
    );
    assert_eq!(changed_lines(&one.text), fill);
    assert_eq!(one.set.pours[0].fill, Some(Volume::from_ml(210.13)));

    // And how warm it was when the pitch was heard, which the room said before.
    let warmer = edited(|text| text.change(&"temp-c=24.5".parse().expect("a change")));
    let room = (
        vec![
            "temp_c = 24.5 # by the window",
            "    { fill_ml = 0, hz = 150, temp_c = 20.0 }, # at noon",
        ],
        vec![
            "temp_c = 20 # by the window",
            "    { fill_ml = 0, hz = 150 }, # at noon",
        ],
    );
    assert_eq!(changed_lines(&warmer.text), room);

    let note = edited(|text| text.set_note(PourIndex::new(1), "C4".parse().expect("a note")));
    let lines = (vec!["note = \"C4\""], vec!["note = \"B3\""]);
    assert_eq!(changed_lines(&note.text), lines);
}

#[test]
fn every_condition_goes_into_the_text_and_comes_back() {
    let changes = [
        "temp-c=4",
        "humidity-pct=80",
        "pressure-kpa=95.5",
        "gas=30% helium in air",
        "neck-gas=argon",
        "liquid=ethanol 40%",
        "headspace=0.25",
        "lip-open=0.75",
    ];
    for (text, key) in changes.into_iter().zip(Key::ALL) {
        let change: Change = text.parse().expect(text);
        let before = read_set(TEXT).expect("a set");
        let after = edited(|text| text.change(&change)).set;
        assert_eq!(
            Change::between(&before.conditions, &after.conditions),
            [change]
        );
        assert_eq!(change.key(), key);
    }
}

#[test]
fn a_gas_that_the_neck_no_longer_has_is_taken_out() {
    let plain = edited(|text| text.change(&Change::NeckGas(None)));
    assert_eq!(plain.set.conditions.neck_gas, None);
    let gone = (vec![], vec!["neck_gas = \"co2\" # a little"]);
    assert_eq!(changed_lines(&plain.text), gone);
}

#[test]
fn a_tuning_is_written_whatever_its_temperament() {
    let cents = std::array::from_fn(|step| 100.5 * step as f64);
    for temperament in [Temperament::Just, Temperament::Cents(cents)] {
        let a4 = Frequency::from_hz(432.5);
        let tonic = "D".parse().expect("a note");
        let tuning = Tuning::new(a4, temperament, tonic).expect("a tuning");
        let tuned = edited(|text| text.set_tuning(&tuning));
        assert_eq!(tuned.set.tuning, tuning);
        assert!(tuned.text.starts_with(TEXT), "{}", tuned.text);
    }
}

#[test]
fn a_pitch_that_is_kept_and_taken_back_leaves_the_comments() {
    let heard = HeardPitch {
        fill: Volume::from_ml(200.0),
        // What was heard at noon, over the root of the air that is left: 150 · √(500 / 300).
        frequency: Frequency::from_hz(193.6),
        temp_c: Some(21.0),
        way: Way::Blown,
        gauge: Pressure::default(),
    };
    let before = read_set(TEXT).expect("a set").kinds[0].heard.clone();
    let more = edited(|text| text.push_heard("a", &heard));
    for line in ["# mine", "# by calliper", "# by hand", "hz = 193.6"] {
        assert!(more.text.contains(line), "{}", more.text);
    }
    assert_eq!(more.set.kinds[0].heard, [before[0], heard]);
    let mut back = SetText::parse(&more.text).expect("a set");
    back.set_heard("a", &before).expect("an edit");
    let back = back.finish().expect("a set").text;
    assert!(!back.contains("193.6") && back.contains("# by calliper"));
    assert_eq!(read_set(&back).expect("a set").kinds[0].heard, before);
    let none = edited(|text| text.set_heard("a", &[]));
    assert!(!none.text.contains("heard"), "{}", none.text);
}

#[test]
fn bottles_and_pours_in_a_list_are_edited_too() {
    let inline = "bottle = [{ name = \"a\", capacity_ml = 500, mouth_bore_mm = 18, neck_length_mm = 60, \
        body_diameter_mm = 66 }]\npour = [{ note = \"A3\", bottle = \"a\" }]\n";
    let mut text = SetText::parse(inline).expect("a set");
    let fill = Setting::Fill(Volume::from_ml(150.0));
    text.set_pour(PourIndex::new(0), fill).expect("an edit");
    let set = text.finish().expect("a set").set;
    assert_eq!(set.pours[0].setting(), Some(fill));
}

#[test]
fn what_makes_no_set_is_not_handed_out() {
    let refused = |edits: &dyn Fn(&mut SetText)| {
        let mut text = SetText::parse(TEXT).expect("a set");
        edits(&mut text);
        text.finish().expect_err("no set").to_string()
    };
    let too_much = refused(&|text| {
        let fill = Setting::Fill(Volume::from_l(1.0));
        text.set_pour(PourIndex::new(0), fill).expect("an edit");
    });
    assert!(
        too_much.contains("a fill of 1000 ml is outside"),
        "{too_much}"
    );
    let other_way = refused(&|text| {
        let travel = Setting::Travel(Length::from_mm(5.0));
        text.set_pour(PourIndex::new(0), travel).expect("an edit");
    });
    assert!(
        other_way.contains("belongs to way = \"sliding\""),
        "{other_way}"
    );
    let mut text = SetText::parse(TEXT).expect("a set");
    let nobody = text.set_heard("b", &[]).expect_err("no bottle");
    assert_eq!(nobody.to_string(), "no [[bottle]] is called \"b\"");
    let note = "C4".parse().expect("a note");
    assert!(matches!(
        text.set_note(PourIndex::new(2), note),
        Err(EditError::NoSuchPour { index, count: 2 }) if index == PourIndex::new(2)
    ));
}

#[test]
fn the_kind_of_room_and_the_distance_stay_through_edits_and_plans() {
    let text = TEXT.replace(
        "temp_c = 20",
        "kind = \"hall\" # stone\ndistance_m = 6\ntemp_c = 20",
    );
    let mut edit = SetText::parse(&text).expect("a set");
    let warm = Change::Temperature(Temperature::from_c(25.0));
    edit.change(&warm).expect("a change of the room");
    let edited = edit.finish().expect("a set after it");
    assert!(
        edited
            .text
            .contains("kind = \"hall\" # stone\ndistance_m = 6\ntemp_c = 25")
    );
    let listening = edited.set.listening;
    assert_eq!(
        (listening.kind().name(), listening.distance().m()),
        ("hall", 6.0)
    );
    let plan = PlannedSet {
        title: None,
        transpose: 0,
        conditions: &edited.set.conditions,
        tuning: &edited.set.tuning,
        striking: edited.set.striking,
        heard_at: None,
        pours: Vec::new(),
    };
    let again = super::planned(&edited.text, &plan).expect("a plan of the same bottles");
    assert_eq!(
        crate::set::read_set(&again).expect("a set").listening,
        listening
    );
    // Where nothing was said, nothing is written.
    let plain = super::planned(TEXT, &plan).expect("a plan");
    assert!(
        !plain.contains("kind") && !plain.contains("distance_m"),
        "{plain}"
    );
}

#[test]
fn a_plan_keeps_what_people_wrote_beside_their_bottles() {
    let crate_text = "# Ours, from the cellar.\r\nversion = 1\r\n\r\n[room]\r\ntemp_c = 21 # by the window\r\n\r\n\
                      # The brown ones.\r\n[[bottle]]\r\nname = \"brown\"\r\ncapacity_ml = 512 # weighed full\r\n\
                      mouth_bore_mm = 18.5\r\nneck_length_mm = 82\r\ncount = 3\r\n\
                      heard = [{ fill_ml = 0, hz = 186.2 }] # by Mia\r\n";
    let set = crate::set::read_set(crate_text).expect("a shelf");
    let mut warm = set.conditions.clone();
    warm.room.temperature = Temperature::from_c(26.0);
    let plan = |conditions, heard_at| PlannedSet {
        title: Some("C major"),
        transpose: 0,
        conditions,
        tuning: &set.tuning,
        striking: set.striking,
        heard_at,
        pours: Vec::new(),
    };
    let made = super::planned(crate_text, &plan(&set.conditions, None)).expect("a plan");
    for words in [
        "# Ours, from the cellar.\n",
        "temp_c = 21.0 # by the window\n",
        "# The brown ones.\n[[bottle]]\n",
        "capacity_ml = 512 # weighed full\n",
        "heard = [{ fill_ml = 0, hz = 186.2 }] # by Mia\n",
    ] {
        assert!(made.contains(words), "{words}\n{made}");
    }
    // Planned again nothing comes twice, and what was heard keeps its warmth in another room.
    let then = Some(set.conditions.temperature());
    let again = super::planned(&made, &plan(&warm, then)).expect("a plan of it");
    assert_eq!(
        again.matches("# Ours, from the cellar.").count(),
        1,
        "{again}"
    );
    assert_eq!(again.matches("that was planned").count(), 1, "{again}");
    assert!(again.contains("hz = 186.2, temp_c = 21"), "{again}");
    assert!(again.contains("temp_c = 26.0 # by the window"), "{again}");
}
