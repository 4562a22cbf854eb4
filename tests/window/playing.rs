//! The window played by keys and hands, drawn without a display and heard by a notebook in place of a sound card.

use eframe::egui::{self, Event, Key, Modifiers, Pos2, TouchDeviceId, TouchId, TouchPhase};
use egui_kittest::kittest::Queryable;
use ullage::app::{EditAsk, Press};
use ullage::index::{BottleIndex, PourIndex};
use ullage::synth::Command;
use winit::keyboard::KeyCode;

use crate::common::voices::midi;
use crate::paper::rig;

#[test]
fn a_key_sounds_before_any_frame_and_ends_when_it_comes_up() {
    let rig = rig();
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    assert_eq!(rig.heard(), [midi([0x90, 69, 96])]);
    rig.press(code, false, false);
    assert_eq!(rig.heard()[1..], [midi([0x80, 69, 0])]);
}

#[test]
fn auto_repeat_adds_nothing() {
    let rig = rig();
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    for _ in 0..50 {
        rig.press(code, true, true);
    }
    assert_eq!(rig.heard().len(), 1);
}

#[test]
fn keys_that_were_held_when_the_window_comes_back_stay_silent_until_pressed_again() {
    let rig = rig();
    let board = rig.session().keyboard.clone();
    let code = board.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    board.borrow_mut().all_off();
    assert_eq!(rig.heard().len(), 2, "leaving the window ends the note");
    board.borrow_mut().press(Press {
        code,
        down: true,
        repeat: false,
        synthetic: true,
    });
    // X says this one without a sign of repeating.
    rig.press(code, true, false);
    assert_eq!(rig.heard().len(), 2);
    rig.press(code, false, false);
    rig.press(code, true, false);
    assert_eq!(rig.heard().len(), 3);
}

#[test]
fn two_keys_of_one_note_end_it_together() {
    let rig = rig();
    let board = rig.session().keyboard.clone();
    board.borrow_mut().board.own.insert(KeyCode::KeyL, 69);
    let other = KeyCode::KeyK;
    board.borrow_mut().board.own.insert(other, 69);
    rig.press(KeyCode::KeyL, true, false);
    rig.press(other, true, false);
    rig.press(KeyCode::KeyL, false, false);
    let off = midi([0x80, 69, 0]);
    assert!(!rig.heard().contains(&off));
    rig.press(other, false, false);
    assert!(rig.heard().contains(&off));
}

#[test]
fn while_text_is_typed_no_key_plays() {
    let mut rig = rig();
    rig.harness.get_by_label("Note").focus();
    rig.harness.run_steps(3);
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    assert_eq!(rig.heard(), []);
    rig.harness.get_by_label_contains("A4, jetty sauce").focus();
    rig.harness.run_steps(3);
    rig.press(code, false, false);
    rig.press(code, true, false);
    assert_eq!(rig.heard(), [midi([0x90, 69, 96])]);
}

#[test]
fn a_hand_on_a_bottle_blows_it_harder_the_higher_it_is_and_lets_go() {
    let mut rig = rig();
    let index = BottleIndex::new(rig.index("A4").place());
    let rect = rig.harness.get_by_label_contains("A4, jetty sauce").rect();
    let low = Pos2::new(rect.center().x, rect.bottom() - 4.0);
    let high = Pos2::new(rect.center().x, rect.top() + 4.0);
    rig.harness.drag_at(low);
    rig.harness.run_steps(2);
    rig.harness.hover_at(high);
    rig.harness.run_steps(2);
    rig.harness.drop_at(high);
    rig.until("it is let go", |rig| {
        rig.heard().last() == Some(&Command::Release { bottle: index })
    });
    let breaths: Vec<f32> = rig
        .heard()
        .iter()
        .filter_map(|command| match command {
            Command::Blow { bottle, breath } if *bottle == index => Some(*breath),
            _ => None,
        })
        .collect();
    assert_eq!(breaths.len(), 2, "{:?}", rig.heard());
    assert!(breaths[0] < 0.3 && breaths[1] > 0.9, "{breaths:?}");
    assert_eq!(
        rig.heard().last(),
        Some(&Command::Release { bottle: index })
    );
    assert!(rig.session().state.blown.is_empty());
}

#[test]
fn two_fingers_blow_two_bottles() {
    let mut rig = rig();
    let (one, other) = (rig.centre("A4, jetty sauce"), rig.centre("C4, cordial"));
    let touch = |number, phase, pos| Event::Touch {
        device_id: TouchDeviceId(1),
        id: TouchId(number),
        phase,
        pos,
        force: None,
    };
    rig.harness.event(touch(1, TouchPhase::Start, one));
    rig.harness.event(touch(2, TouchPhase::Start, other));
    rig.harness.run_steps(2);
    assert_eq!(rig.session().state.blown.len(), 2);
    rig.harness.event(touch(1, TouchPhase::End, one));
    rig.harness.run_steps(2);
    let left = rig.index("C4");
    let blown: Vec<PourIndex> = rig.session().state.blown.iter().map(|b| b.0).collect();
    assert_eq!(blown, [left]);
    rig.harness.event(touch(2, TouchPhase::Cancel, other));
    rig.harness.run_steps(2);
    assert!(rig.session().state.blown.is_empty());
}

#[test]
fn a_level_that_is_dragged_up_sounds_higher_at_once_and_is_one_step_to_undo() {
    let mut rig = rig();
    let index = rig.index("A4");
    let before = rig.session().derived().bottles[index].clone();
    let grip = rig.centre("Level of A4 in");
    rig.harness.drag_at(grip);
    rig.harness.run_steps(2);
    let mut last_hz = before.hz().unwrap();
    for up in [4.0, 8.0, 12.0] {
        rig.forget();
        rig.harness.hover_at(grip - egui::vec2(0.0, up));
        rig.harness.run_steps(2);
        let tuned: Vec<f64> = rig
            .heard()
            .iter()
            .filter_map(|command| match command {
                Command::Tune {
                    bottle, frequency, ..
                } if bottle.place() == index.place() => Some(frequency.hz()),
                _ => None,
            })
            .collect();
        let shown = rig.session().derived().bottles[index].hz().unwrap();
        assert_eq!(tuned, [shown], "what sounds is what is shown");
        assert!(shown > last_hz, "{shown} after {last_hz}");
        last_hz = shown;
    }
    rig.harness.drop_at(grip - egui::vec2(0.0, 12.0));
    rig.harness.run_steps(2);
    let after = rig.session().derived().bottles[index].fill;
    rig.forget();
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().derived().bottles[index].fill, before.fill);
    assert_eq!(rig.session().can_undo_redo(), (false, true));
    assert!(
        matches!(rig.heard()[..], [Command::Tune { frequency, .. }] if (frequency.hz() - before.hz().unwrap()).abs() < 1e-9)
    );
    rig.ask(EditAsk::Redo);
    let again = rig.session().derived().bottles[index].fill;
    assert!((again.ml() - after.ml()).abs() < 1e-9);
}

#[test]
fn the_bottle_with_the_focus_is_filled_and_blown_by_keys() {
    let mut rig = rig();
    let index = rig.index("A4");
    let before_ml = rig.session().derived().bottles[index].fill.ml();
    rig.harness.get_by_label_contains("A4, jetty sauce").focus();
    rig.harness.run_steps(2);
    assert_eq!(rig.session().state.selected, Some(index));
    rig.harness.key_press(Key::ArrowUp);
    rig.harness.run_steps(2);
    let after_ml = rig.session().derived().bottles[index].fill.ml();
    assert!(
        (after_ml - before_ml - 1.0).abs() < 1e-9,
        "{before_ml} to {after_ml}"
    );
    rig.harness
        .key_press_modifiers(Modifiers::SHIFT, Key::ArrowDown);
    rig.harness.run_steps(2);
    let after_ml = rig.session().derived().bottles[index].fill.ml();
    assert!(
        (after_ml - before_ml + 9.0).abs() < 1e-9,
        "{before_ml} to {after_ml}"
    );
    rig.forget();
    rig.harness.key_down(Key::Space);
    rig.harness.run_steps(2);
    rig.harness.key_up(Key::Space);
    rig.until("it is let go", |rig| rig.heard().len() > 1);
    let bottle = BottleIndex::new(index.place());
    assert!(
        matches!(rig.heard()[..], [Command::Blow { bottle: b, .. }, Command::Release { .. }] if b == bottle),
        "{:?}",
        rig.heard()
    );
}

#[test]
fn a_key_without_a_bottle_is_named() {
    let mut rig = rig();
    rig.desk.borrow_mut().meters.missing_key = Some(70);
    rig.harness.run_steps(2);
    assert!(rig.sees("no bottle for A#4"));
}

#[test]
fn a_note_gets_a_key_of_its_own() {
    let mut rig = rig();
    rig.click("Give it a key");
    let note = rig.session().derived().bottles[rig.session().state.selected.unwrap()]
        .note
        .midi();
    rig.forget();
    rig.press(KeyCode::Slash, true, false);
    rig.press(KeyCode::Slash, false, false);
    assert_eq!(rig.heard(), [], "the key is being chosen, not played");
    rig.harness.run_steps(3);
    rig.press(KeyCode::Slash, true, false);
    assert_eq!(rig.heard(), [midi([0x90, note, 96])]);
}
