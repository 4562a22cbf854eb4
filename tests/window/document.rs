//! What the window shows, opens, changes and writes down, drawn without a display.

use std::path::PathBuf;

use eframe::egui::{Event, Key, Modifiers};
use egui_kittest::kittest::Queryable;
use ullage::app::{
    Document, Drift, EditAsk, FileAsk, Gesture, LeaveAsk, Naming, Panel, PlayAsk, Purpose, RoomAsk,
    Session, TakeAsk, ViewAsk,
};
use ullage::file::wav::read_wav;
use ullage::index::{BottleIndex, PourIndex};
use ullage::live::{Desk, DeviceWish, MidiWish};
use ullage::set::change::{self, Change};
use ullage::synth::{Command, EngineSpec};
use ullage::units::{Temperature, Volume};

use crate::common::files::{QUAY_SET, read};
use crate::common::pieces::read_midi;
use crate::paper::{Rig, rig, rig_of};
use crate::{copied, session};

#[test]
fn a_change_is_marked_and_saved_with_the_comments() {
    let mut rig = rig();
    assert!(!rig.session().document().is_changed());
    let index = rig.index("A4");
    rig.ask(EditAsk::Fill(index, Volume::from_ml(90.0), Gesture::Single));
    rig.harness.run_steps(2);
    assert!(rig.session().document().is_changed());
    assert!(rig.sees("unsaved"));
    rig.click("Save");
    assert!(!rig.sees("unsaved"));
    assert!(!rig.session().document().is_changed());
    let text = read(&rig.path);
    assert!(text.contains("fill_ml = 90.0"), "{text}");
    let original = read(QUAY_SET);
    let other: Vec<(&str, &str)> = original
        .lines()
        .zip(text.lines())
        .filter(|(a, b)| a != b)
        .collect();
    assert_eq!(other, [("fill_ml = 103.39", "fill_ml = 90.0")]);
}

/// Presses keys and lets each go, all of which one frame sees.
fn press_at_once(rig: &mut Rig, keys: &[(Modifiers, Key)]) {
    let events = &mut rig.harness.input_mut().events;
    for &(modifiers, key) in keys {
        events.extend([true, false].map(|pressed| Event::Key {
            key,
            physical_key: None,
            pressed,
            repeat: false,
            modifiers,
        }));
    }
    rig.harness.run_steps(2 + keys.len());
}

#[test]
fn keys_of_one_frame_are_done_in_the_order_in_which_they_came() {
    let (up, save, undo) = (
        (Modifiers::NONE, Key::ArrowUp),
        (Modifiers::COMMAND, Key::S),
        (Modifiers::COMMAND, Key::Z),
    );
    let mut rig = rig();
    let index = rig.index("A4");
    rig.harness.get_by_label_contains("A4, jetty sauce").focus();
    rig.harness.run_steps(2);
    let saved_ml = |rig: &Rig| {
        Document::open(&rig.path)
            .unwrap()
            .model
            .fill(index)
            .unwrap()
            .ml()
    };
    let now_ml = |rig: &Rig| rig.session().document().model.fill(index).unwrap().ml();
    let first_ml = now_ml(&rig);
    let is_close = |a: f64, b: f64| (a - b).abs() < 0.01;

    press_at_once(&mut rig, &[up, save]);
    assert!(is_close(now_ml(&rig), first_ml + 1.0));
    assert!(
        !rig.session().document().is_changed(),
        "saved before it was changed"
    );
    assert!(is_close(saved_ml(&rig), first_ml + 1.0));

    press_at_once(&mut rig, &[up, save, up, up]);
    assert!(is_close(now_ml(&rig), first_ml + 4.0));
    assert!(rig.session().document().is_changed());
    assert!(is_close(saved_ml(&rig), first_ml + 2.0));

    press_at_once(&mut rig, &[undo, undo, up, undo, save]);
    assert!(is_close(now_ml(&rig), first_ml + 1.0));
    assert!(is_close(saved_ml(&rig), first_ml + 1.0));
    // With Shift a step is ten: what is held when the frame begins is the next key's.
    let shifted = (Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    press_at_once(&mut rig, &[up, shifted]);
    assert!(is_close(now_ml(&rig), first_ml + 2.0));
}

#[test]
fn closing_with_changes_asks_first() {
    let mut rig = rig();
    rig.ask(EditAsk::Fill(
        PourIndex::new(0),
        Volume::from_ml(90.0),
        Gesture::Single,
    ));
    rig.ask(LeaveAsk::Close);
    rig.harness.run_steps(3);
    assert!(!rig.session().state.quit);
    assert!(rig.sees("There are changes that are not saved"));
    rig.click("Stay");
    assert!(rig.session().state.leaving.is_none());
    rig.ask(LeaveAsk::Close);
    rig.harness.run_steps(3);
    rig.click("Save and go on");
    assert!(rig.session().state.quit);
    assert!(!rig.session().document().is_changed());
}

#[test]
fn without_a_card_it_says_so_and_tries_again_when_asked() {
    let mut rig = rig();
    assert!(rig.sees("no sound: no card in a test"));
    rig.harness.get_by_label("Retry").click();
    rig.harness.run_steps(2);
    assert_eq!(rig.book.0.borrow().retried, 1);
}

#[test]
fn warmth_moves_every_bottle_and_pouring_again_puts_it_right() {
    let mut rig = rig();
    let warm = RoomAsk::Condition(Change::Temperature(Temperature::from_c(29.0)));
    rig.ask(EditAsk::Room(warm, Gesture::Single));
    let count = rig.session().derived().bottles.len();
    let tunes = rig
        .heard()
        .iter()
        .filter(|c| matches!(c, Command::Tune { .. }))
        .count();
    assert_eq!(tunes, count);
    // The sound speed rises by 0.17 % a kelvin, 3 cents; the water swells by a quarter of a percent, which in a bottle
    // that is nearly full is as much as a millilitre and some ten cents.
    for bottle in &rig.session().derived().bottles {
        let cents = bottle.pitch.as_ref().unwrap().cents;
        assert!(
            (28.0..60.0).contains(&cents),
            "{} is off by {cents}",
            bottle.note
        );
    }
    rig.ask(EditAsk::Drift(Drift::PourAgain));
    for bottle in &rig.session().derived().bottles {
        let cents = bottle.pitch.as_ref().unwrap().cents;
        assert!(cents.abs() < 0.01, "{} is off by {cents}", bottle.note);
    }
}

#[test]
fn a_gas_that_nobody_knows_changes_nothing_and_is_said() {
    let mut rig = rig();
    let gas = RoomAsk::Typed(change::Key::Gas, "phlogiston".to_owned());
    rig.ask(EditAsk::Room(gas, Gesture::Single));
    rig.harness.run_steps(2);
    assert!(!rig.session().document().is_changed());
    assert!(rig.sees("phlogiston"));
    rig.ask(EditAsk::Room(
        RoomAsk::Typed(change::Key::Gas, "helium".to_owned()),
        Gesture::Single,
    ));
    rig.ask(ViewAsk::Panel(Panel::Room));
    rig.harness.run_steps(2);
    assert_eq!(rig.book.0.borrow().replaced, 1);
    assert!(rig.sees("Never breathe in the gas"));
}

#[test]
fn equal_temperament_is_heard_and_nothing_is_changed() {
    let mut rig = rig();
    rig.ask(PlayAsk::Equal(true));
    let a4 = BottleIndex::new(rig.index("A4").place());
    let heard = rig.heard();
    let a4_hz = heard.iter().find_map(|command| match command {
        Command::Tune {
            bottle, frequency, ..
        } if *bottle == a4 => Some(frequency.hz()),
        _ => None,
    });
    assert_eq!(a4_hz, Some(440.0));
    assert!(!rig.session().document().is_changed());
}

#[test]
fn what_sounds_together_is_shown_with_its_beats() {
    let mut rig = rig();
    let (low, high) = (rig.index("A4"), rig.index("E4"));
    rig.desk.borrow_mut().swings[low] = 0.8;
    rig.desk.borrow_mut().swings[high] = 0.8;
    rig.ask(ViewAsk::Panel(Panel::Together));
    rig.harness.run_steps(2);
    assert!(rig.sees("E4 A4") && rig.sees("4:3") && rig.sees("a second"));
}

#[test]
fn every_panel_is_drawn_in_the_smallest_window() {
    for size in [[640.0, 480.0], [800.0, 600.0], [3840.0, 2160.0]] {
        let mut rig = rig_of(size);
        for panel in Panel::ALL {
            rig.ask(ViewAsk::Panel(panel));
            rig.harness.run_steps(2);
            for note in ["G2", "E5"] {
                let rect = rig
                    .harness
                    .get_by_label_contains(&format!("{note}, "))
                    .rect();
                assert!(
                    rect.width() > 5.0 && rect.height() > 20.0,
                    "{note} in {size:?}: {rect:?}"
                );
            }
        }
    }
}

#[test]
fn another_file_is_opened_and_a_bad_one_is_refused() {
    let mut rig = rig();
    let bad = rig.path.with_file_name("bad.toml");
    std::fs::write(&bad, "this is no set").unwrap();
    rig.ask(FileAsk::Open(bad));
    rig.harness.run_steps(2);
    assert!(rig.sees("bad.toml"));
    assert_eq!(rig.session().document().path, rig.path);
    let other = PathBuf::from("presets/chromatic/set.toml");
    rig.ask(FileAsk::Open(other.clone()));
    rig.harness.run_steps(2);
    assert_eq!(rig.session().document().path, other);
    assert_eq!(rig.book.0.borrow().replaced, 1);
}

#[test]
fn a_file_is_named_in_the_window_where_there_is_no_dialog_and_never_replaced_unasked() {
    let mut rig = rig();
    let other = rig.path.with_file_name("other.toml");
    std::fs::write(&other, "somebody's").unwrap();
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::SaveAs,
        suggested: other.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    rig.click("OK");
    assert_eq!(read(&other), "somebody's");
    assert!(rig.sees("It exists already"));
    rig.click("Replace it");
    assert_eq!(rig.session().document().path, other);
    assert!(Document::open(&other).is_ok());
}

#[test]
fn what_is_played_is_written_down_as_a_midi_file() {
    let mut rig = rig();
    let path = rig.path.with_file_name("take.mid");
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::Smf,
        suggested: path.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    rig.click("OK");
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    let index = rig.index("C4");
    rig.ask(PlayAsk::Blow(index, 0.5));
    rig.ask(PlayAsk::LetGo(index));
    rig.press(code, false, false);
    rig.desk
        .borrow_mut()
        .heard
        .push_back((0.25, [0x90, 67, 80]));
    rig.desk.borrow_mut().heard.push_back((0.50, [0x80, 67, 0]));
    rig.harness.run_steps(2);
    rig.click("Stop recording");
    for _ in 0..200 {
        rig.harness.run_steps(1);
        if rig.sees("messages in") {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    let score = read_midi(&path);
    let mut keys: Vec<u8> = score.notes.iter().map(|note| note.key).collect();
    keys.sort_unstable();
    assert_eq!(keys, [60, 67, 69]);
    let g4 = score.notes.iter().find(|note| note.key == 67).unwrap();
    assert!((g4.start_s - 0.25).abs() < 1e-3 && (g4.stop_s - 0.5).abs() < 1e-3);
}

#[test]
fn what_sounds_is_written_down_as_a_wav_file() {
    let (_folder, document) = copied(QUAY_SET);
    let path = document.path.clone();
    let nowhere = DeviceWish {
        device: Some("a card that nobody has".to_owned()),
        ..DeviceWish::default()
    };
    let no_midi = MidiWish {
        ports: vec!["nobody's keyboard".to_owned()],
        virtual_port: false,
    };
    let desk = Desk::start(EngineSpec::new(Vec::new()), nowhere.clone(), no_midi);
    let mut session = session(document, Box::new(desk), nowhere);
    // Opened again, so that the desk gets the set's bottles.
    session.apply(FileAsk::Open(path.clone()));
    let wav = path.with_extension("wav");
    session.state.naming = Some(Naming {
        purpose: Purpose::Wav,
        suggested: String::new(),
        exists: None,
    });
    session.apply(FileAsk::Named(wav.display().to_string()));
    session.apply(PlayAsk::Blow(PourIndex::new(7), 0.8));
    let until = |session: &mut Session, what: &str, done: &dyn Fn(&Session) -> bool| {
        for _ in 0..2000 {
            session.poll();
            if done(session) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
        panic!("{what}");
    };
    until(&mut session, "the bottle sounds", &|s| s.swings()[7] > 0.3);
    // The thread that owns the sound hands over what records within milliseconds, but not before a key is heard.
    std::thread::sleep(std::time::Duration::from_millis(300));
    session.apply(TakeAsk::Stop);
    until(&mut session, "the file is written", &|s| {
        s.state.taking.is_empty()
    });
    let sound = read_wav(&wav).unwrap().mono();
    let peak = sound.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(peak > 0.01, "{peak}");
}
