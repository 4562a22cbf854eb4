//! How the shelf is drawn, pressed and walked over.

use eframe::egui::{Key, Modifiers, Pos2};
use egui_kittest::kittest::Queryable;
use ullage::app::{Drift, EditAsk, FileAsk, Gesture, PlayAsk, RoomAsk, SoundAsk, ViewAsk};
use ullage::index::PourIndex;
use ullage::set::change::Change;
use ullage::synth::Command;
use ullage::units::{Level, Temperature};

use crate::paper::{Rig, rig, rig_with};

const SLIDE: &str = "presets/slide/set.toml";
const PAIR: &str = "presets/pair/set.toml";

/// How many bottles are drawn: each is a button that says how it is played.
fn drawn(rig: &Rig, way: &str) -> usize {
    rig.harness
        .query_all_by_label_contains(&format!(", {way}, "))
        .count()
}

#[test]
fn a_bottle_with_a_floor_that_slides_is_one_bottle_with_a_mark_for_each_note() {
    let mut rig = rig_with(SLIDE);
    let notes = rig.session().derived().bottles.len();
    assert!(notes > 2);
    assert_eq!(drawn(&rig, "sliding"), 1);
    // All of its notes swing, since they are one bottle; it is no chord.
    for swing in &mut rig.desk.borrow_mut().swings {
        *swing = 0.8;
    }
    let last = PourIndex::new(notes - 1);
    rig.ask(PlayAsk::Blow(last, 0.7));
    rig.harness.run_steps(2);
    assert_eq!(
        rig.session().active().values().copied().collect::<Vec<_>>(),
        [last]
    );
    let note = rig.session().derived().bottles[last].note.to_string();
    assert!(rig.sees(&format!("{note}, ")), "the mark of {note} is lit");
    assert!(!rig.sees("beats"));
}

#[test]
fn a_pair_is_two_bottles_however_many_notes_they_play() {
    let rig = rig_with(PAIR);
    assert!(rig.session().derived().bottles.len() > 2);
    assert_eq!(drawn(&rig, "joined"), 2);
}

#[test]
fn a_press_at_a_mark_plays_its_note() {
    let mut rig = rig_with(SLIDE);
    let rect = rig.harness.get_by_label_contains(", sliding, ").rect();
    let mut played = Vec::new();
    for up in [0.05, 0.95] {
        let at = Pos2::new(rect.center().x, rect.bottom() - up * rect.height());
        rig.tap(at, Modifiers::NONE);
        played.extend(rig.session().active().values().copied());
        rig.until("it is let go", |rig| {
            rig.session().state.blown.is_empty() && !rig.session().is_lively()
        });
    }
    assert_eq!(played.len(), 2);
    assert_ne!(played[0], played[1]);
}

#[test]
fn a_click_that_is_over_before_a_frame_saw_it_sounds_for_120_ms() {
    let mut rig = rig();
    let at = rig.centre("A4, jetty sauce");
    let since = std::time::Instant::now();
    rig.tap(at, Modifiers::NONE);
    let is_release = |command: &Command| matches!(command, Command::Release { .. });
    assert!(
        matches!(rig.heard()[..], [Command::Blow { .. }]),
        "{:?}",
        rig.heard()
    );
    rig.until("it ends", |rig| rig.heard().iter().any(is_release));
    assert!(since.elapsed().as_millis() >= 120);
    assert_eq!(rig.session().state.selected, Some(rig.index("A4")));
    assert_eq!(rig.heard().len(), 2);
}

#[test]
fn shift_holds_a_bottle_until_it_is_pressed_again() {
    let mut rig = rig();
    let at = rig.centre("A4, jetty sauce");
    let shift = Modifiers::SHIFT;
    rig.tap(at, shift);
    rig.harness.run_steps(2);
    let index = rig.index("A4");
    assert_eq!(rig.session().state.held, [index]);
    assert!(
        rig.session()
            .state
            .blown
            .iter()
            .any(|(blown, _)| *blown == index)
    );
    rig.tap(at, shift);
    rig.until("it is let go", |rig| {
        rig.session().state.held.is_empty() && rig.session().state.blown.is_empty()
    });
}

#[test]
fn pouring_again_names_the_bottles_that_cannot_follow() {
    let mut rig = rig();
    // Warm air is fast: what has little in it cannot be emptied down to its note. So one of them is to give the lowest that it can.
    let index = rig.index("A4");
    let (set, tuning) = (
        rig.session().document().set(),
        &rig.session().document().model.tuning,
    );
    let bottle = &set.kind_of(&set.pours[index]).bottle;
    let blown = ullage::physics::prediction::Blown::new(bottle, &set.conditions).unwrap();
    let lowest = blown.fundamental(Default::default()).unwrap().frequency;
    let half_a_step = ullage::units::Interval::from_cents(50.0);
    let note = tuning.nearest(lowest.raised_by(half_a_step)).0.to_string();
    rig.ask(EditAsk::Note(index, note));
    let hot = RoomAsk::Condition(Change::Temperature(Temperature::from_c(60.0)));
    rig.ask(EditAsk::Room(hot, Gesture::Single));
    rig.ask(EditAsk::Drift(Drift::PourAgain));
    let model = rig.session().document().model.clone();
    let fixed = rig.session().document().fixed.clone();
    let stuck: Vec<PourIndex> = PourIndex::all(model.pours.len())
        .filter(|pour| model.solved(*pour, &fixed).is_none())
        .collect();
    assert!(!stuck.is_empty(), "a room of 60 °C leaves nobody behind");
    let note = rig.session().state.note.clone().unwrap();
    assert!(note.is_bad);
    for pour in stuck {
        let name = rig.session().derived().bottles[pour].note.to_string();
        assert!(note.text.contains(&name), "{name}: {}", note.text);
    }
}

#[test]
fn good_news_go_away_by_themselves_and_bad_ones_stay() {
    let mut rig = rig();
    rig.ask(FileAsk::Save);
    // What floats is measured in its first frame and drawn in the next.
    rig.harness.run_steps(3);
    let note = rig.session().state.note.clone();
    assert!(rig.sees("saved already"), "{note:?}");
    rig.until("it goes away", |rig| rig.session().state.note.is_none());
    rig.ask(FileAsk::Open("nowhere.toml".into()));
    std::thread::sleep(std::time::Duration::from_millis(20));
    rig.harness.run_steps(3);
    assert!(rig.session().next_change().is_none() && rig.session().state.note.is_some());
}

#[test]
fn a_pressed_bottle_takes_the_focus_and_arrows_go_on_from_it() {
    let mut rig = rig();
    rig.tap(rig.centre("A4, jetty sauce"), Modifiers::NONE);
    rig.harness.run_steps(2);
    assert!(
        rig.harness
            .get_by_label_contains("A4, jetty sauce")
            .is_focused()
    );
    rig.harness.key_press(Key::ArrowRight);
    rig.harness.run_steps(3);
    assert_eq!(rig.session().state.selected, Some(rig.index("B4")));
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run_steps(3);
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run_steps(3);
    assert_eq!(rig.session().state.selected, Some(rig.index("G4")));
    assert!(rig.harness.get_by_label_contains("G4, ").is_focused());
}

#[test]
fn the_shelf_is_one_stop_of_tab() {
    let mut rig = rig();
    let bottles: Vec<String> = (rig.session().derived().bottles.iter())
        .map(|b| format!("{}, {}", b.note, b.name))
        .collect();
    let mut stops = std::collections::BTreeSet::new();
    for _ in 0..80 {
        rig.harness.key_press(Key::Tab);
        rig.harness.run_steps(1);
        for (place, label) in bottles.iter().enumerate() {
            let node = rig.harness.query_by_label_contains(label);
            if node.is_some_and(|node| node.is_focused()) {
                stops.insert(place);
            }
        }
    }
    assert_eq!(stops.len(), 1, "{stops:?}");
}

#[test]
fn f6_goes_from_part_to_part() {
    let mut rig = rig();
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..3 {
        rig.harness.key_press(Key::F6);
        rig.harness.run_steps(2);
        for label in ["Play", "Bottle", "G2, harbour jug"] {
            let mut nodes = rig.harness.query_all_by_label_contains(label);
            if nodes.any(|node| node.is_focused()) {
                seen.insert(label);
            }
        }
    }
    assert_eq!(seen.len(), 3, "{seen:?}");
}

#[test]
fn every_bottle_of_the_demo_has_a_key() {
    let rig = rig();
    let keyboard = rig.session().keyboard.borrow();
    for bottle in &rig.session().derived().bottles {
        assert!(
            keyboard.hint(bottle.note.midi()).is_some(),
            "{}",
            bottle.note
        );
    }
    let codes: std::collections::BTreeSet<_> = (rig.session().derived().bottles.iter())
        .filter_map(|bottle| keyboard.board.key_of(bottle.note.midi()))
        .collect();
    assert_eq!(codes.len(), rig.session().derived().bottles.len());
}

#[test]
fn the_strip_of_keys_is_played_with_the_pointer() {
    let mut rig = rig();
    let rect = rig.harness.get_by_label_contains("Keys: G2").rect();
    // The lowest white key of the strip is under the lowest note; the next one is its own.
    let mut blown = Vec::new();
    for step in 0..24 {
        let at = Pos2::new(
            rect.left() + rect.width() * (step as f32 + 0.5) / 24.0,
            rect.bottom() - 4.0,
        );
        rig.forget();
        rig.tap(at, Modifiers::NONE);
        blown.extend(
            rig.heard()
                .into_iter()
                .filter(|c| matches!(c, Command::Blow { .. })),
        );
    }
    assert!(blown.len() > 8, "{blown:?}");
}

#[test]
fn mute_is_heard_at_once_and_leaves_the_volume_where_it_was() {
    let mut rig = rig();
    rig.click("Mute");
    let level = |rig: &Rig| {
        rig.heard().iter().rev().find_map(|command| match command {
            Command::Level(level) => Some(*level),
            _ => None,
        })
    };
    assert!(level(&rig).unwrap() < Level::from_db(-150.0));
    assert!(rig.sees("Muted"));
    rig.ask(SoundAsk::Level(-20.0));
    assert!(
        level(&rig).unwrap() < Level::from_db(-150.0),
        "it stays muted"
    );
    rig.ask(SoundAsk::Mute(false));
    assert_eq!(level(&rig).unwrap(), Level::from_db(-20.0));
}

#[test]
fn the_stage_has_no_bars_and_is_left_by_escape() {
    let mut rig = rig();
    rig.harness.key_press(Key::F11);
    rig.harness.run_steps(3);
    assert!(rig.session().state.stage);
    assert!(!rig.sees("Save as") && rig.sees("A4, jetty sauce"));
    let (low, high) = (rig.index("A4"), rig.index("D4"));
    for at in [low, high] {
        rig.desk.borrow_mut().swings[at] = 0.8;
    }
    rig.harness.run_steps(2);
    assert!(rig.sees("D4 A4: fifth"));
    rig.harness.key_press(Key::Escape);
    rig.harness.run_steps(3);
    assert!(!rig.session().state.stage && rig.sees("Save as"));
    rig.ask(ViewAsk::Stage(true));
    rig.harness.run_steps(2);
}
