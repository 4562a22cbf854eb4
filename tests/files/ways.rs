//! Sets that are struck, pressurised, slid and joined: read as they are written, and refused where they must be.

use ullage::physics::joined::Which;
use ullage::physics::shell::strike::Mallet;
use ullage::set::{Set, Way, read_any, read_set, read_shelf, written};
use ullage::sounding::{Setting, SoundedError};
use ullage::units::{Length, Pressure, Volume};

use crate::common::files::{GLASS, glass_and_pop, joined_glass};

/// A bottle of each sort, and a note each way.
fn mixed() -> String {
    let whole = r#"
title = "every way"
[striking]
mallet = "rubber"
height_mm = 60
doublet_pct = 0.5
"#;
    let pours = r#"
[[pour]]
note = "A3"
bottle = "glass"
fill_ml = 200
[[pour]]
note = "A6"
bottle = "glass"
way = "struck"
fill_ml = 300
[[pour]]
note = "C6"
bottle = "pop"
way = "pressurised"
gauge_bar = 1.25
[[pour]]
note = "D4"
bottle = "glass"
way = "sliding"
travel_mm = 40
[[pour]]
note = "E4"
bottle = "glass"
way = "sliding"
[[pour]]
note = "C4"
bottle = "glass"
way = "joined"
joined = "pair"
lift_mm = 30
"#;
    let bottles = glass_and_pop("count = 6\nlip_wall_mm = 4", "count = 2");
    [whole, &bottles, &joined_glass(500), pours].concat()
}

fn with(before: &str, after: &str) -> Result<Set, String> {
    let mixed = mixed();
    assert!(mixed.contains(before), "{before}");
    read_set(&mixed.replacen(before, after, 1)).map_err(|error| error.to_string())
}

fn refused(before: &str, after: &str) -> String {
    with(before, after).unwrap_err()
}

#[test]
fn every_way_is_read_as_it_is_written() {
    let set = read_set(&mixed()).unwrap();
    assert_eq!(set.ways(), Way::ALL);
    assert_eq!(set.striking.mallet, Mallet::Rubber);
    assert_eq!(set.striking.height, Some(Length::from_mm(60.0)));
    assert!((set.striking.doublet_share - 0.005).abs() < 1e-12);
    let settings: Vec<Option<Setting>> = set.pours.iter().map(|pour| pour.setting()).collect();
    assert_eq!(
        settings,
        [
            Some(Setting::Fill(Volume::from_ml(200.0))),
            Some(Setting::Fill(Volume::from_ml(300.0))),
            Some(Setting::Gauge(Pressure::from_bar(1.25))),
            Some(Setting::Travel(Length::from_mm(40.0))),
            None,
            Some(Setting::Lift(Length::from_mm(30.0))),
        ]
    );
    assert_eq!(set.pours[5].joined, Some((0, Which::First)));
    // What is written again is the same set.
    let text: written::Set = toml::from_str(&mixed()).unwrap();
    let again = toml::to_string(&text).unwrap();
    assert_eq!(read_set(&again).unwrap(), set);
    assert!(read_any(&mixed()).is_ok());
}

#[test]
fn every_way_sounds_as_set_and_rises_as_it_says() {
    let set = read_set(&mixed()).unwrap();
    for pour in &set.pours {
        let now = set.sounded_pour(pour).unwrap();
        assert_eq!(now.way, pour.way);
        assert!(
            now.quality() > 5.0 && now.plus_minus().cents() > 5.0,
            "{pour:?}"
        );
        // A little more of the setting moves the pitch as far as it says, within a tenth.
        let step = 0.02;
        let (value, rise) = (now.setting.value(), now.per_unit.cents());
        let more = match now.setting {
            Setting::Fill(_) => Setting::Fill(Volume::from_ml(value + 50.0 * step)),
            Setting::Gauge(_) => Setting::Gauge(Pressure::from_bar(value + step)),
            Setting::Travel(_) => Setting::Travel(Length::from_mm(value + 20.0 * step)),
            Setting::Lift(_) => Setting::Lift(Length::from_mm(value + 20.0 * step)),
        };
        let then = set.source_under(pour, &set.conditions).at(more).unwrap();
        let moved = then.frequency.interval_above(now.frequency()).cents();
        let said = rise * (more.value() - value);
        assert!(
            (moved - said).abs() < 0.1 * said.abs().max(1.0),
            "{}: moved {moved}, said {said}",
            pour.way
        );
        assert!(
            (rise < 0.0) == (pour.way == Way::Struck),
            "{}: {rise}",
            pour.way
        );
    }
}

#[test]
fn a_setting_solved_for_a_note_gives_it() {
    let set = read_set(&mixed()).unwrap();
    for pour in &set.pours {
        let source = set.source_under(pour, &set.conditions);
        // The note that the bottle gives as set is one that it can give.
        let target = set.sounded_pour(pour).unwrap().frequency();
        let solved = source.solved(target).unwrap();
        let cents = solved.error().cents();
        assert!(cents.abs() < 0.05, "{}: {cents} cents", pour.way);
        if let Some(given) = pour.setting() {
            let off = (solved.setting.value() / given.value() - 1.0).abs();
            assert!(
                off < 2e-3,
                "{}: {:?} and {given:?}",
                pour.way,
                solved.setting
            );
        }
    }
}

#[test]
fn a_setting_of_another_way_is_refused() {
    let set = read_set(&mixed()).unwrap();
    let struck = set.source_under(&set.pours[1], &set.conditions);
    let wrong = struck.set_to(
        set.target(&set.pours[1]),
        Setting::Lift(Length::from_mm(1.0)),
    );
    assert!(
        matches!(wrong, Err(SoundedError::Setting { .. })),
        "{wrong:?}"
    );
}

#[test]
fn glass_with_a_pressure_is_refused_at_reading_and_plastic_above_four_bar() {
    let glass = refused(
        "way = \"struck\"\nfill_ml = 300",
        "way = \"pressurised\"\ngauge_bar = 0.5",
    );
    assert!(
        glass.contains("glass is never pressurised") && glass.contains("pour number 2"),
        "{glass}"
    );
    let no_gauge = refused("way = \"struck\"\nfill_ml = 300", "way = \"pressurised\"");
    assert!(
        no_gauge.contains("glass is never pressurised"),
        "{no_gauge}"
    );
    let high = refused("gauge_bar = 1.25", "gauge_bar = 4.2");
    assert!(
        high.contains("4.20 bar is refused, the limit is 4 bar"),
        "{high}"
    );
    let heard = "[[bottle]]\nname = \"g\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66\n\
                 heard = [{ fill_ml = 0, hz = 900, way = \"pressurised\", gauge_bar = 1 }]";
    let heard = read_shelf(heard).unwrap_err().to_string();
    assert!(heard.contains("glass is never pressurised"), "{heard}");
}

#[test]
fn keys_of_another_way_are_named_with_the_way_that_they_belong_to() {
    let cases = [
        (
            "travel_mm = 40",
            "lift_mm = 40",
            "lift_mm = 40 belongs to way = \"joined\"",
        ),
        (
            "lift_mm = 30",
            "travel_mm = 30",
            "travel_mm = 30 belongs to way = \"sliding\"",
        ),
        (
            "lift_mm = 30",
            "fill_ml = 30",
            "fill_ml = 30 is not for way = \"joined\"",
        ),
        (
            "joined = \"pair\"",
            "joined = \"pear\"",
            "did you mean \"pair\"?",
        ),
        (
            "joined = \"pair\"\n",
            "",
            "needs joined = \"the pair's name\"",
        ),
        (
            "travel_mm = 40",
            "travel_mm = 4000",
            "travel_mm = 4000 is outside 0 to",
        ),
        (
            "second = \"glass\"",
            "second = \"glas\"",
            "second: there is no bottle \"glas\"; did you mean \"glass\"?",
        ),
        ("hose_bore_mm = 6", "hose_bore_mm = 600", "600 mm bore"),
        ("liquid_ml = 500", "liquid_ml = 5000", "liquid_ml = 5000"),
        (
            "doublet_pct = 0.5",
            "doublet_pct = 5",
            "doublet_pct = 5 is outside 0 to 2",
        ),
        (
            "mallet = \"rubber\"",
            "mallet = \"rubbr\"",
            "did you mean `rubber`?",
        ),
        (
            "travel_mm = 40",
            "travle_mm = 40",
            "did you mean `travel_mm`?",
        ),
    ];
    for (before, after, said) in cases {
        let message = refused(before, after);
        assert!(message.contains(said), "{after}: {message}");
    }
}

#[test]
fn sliding_notes_of_a_kind_share_one_bottle_and_a_pair_takes_two() {
    // One blown, one struck, one slides, two joined: five of glass.
    assert!(with("count = 6", "count = 5").is_ok());
    let few = refused("count = 6", "count = 4");
    assert!(few.contains("5 pours use the bottle \"glass\""), "{few}");
}

#[test]
fn a_floor_that_cannot_slide_is_refused_with_its_bottle() {
    let cone = "name = \"glass\"\nprofile_mm = [[0, 90], [150, 40], [200, 20], [240, 19]]\n";
    let cone = mixed().replacen(GLASS, cone, 1);
    let message = read_set(&cone).unwrap_err().to_string();
    assert!(
        message.contains("\"glass\"") && message.contains("straight for"),
        "{message}"
    );
}
