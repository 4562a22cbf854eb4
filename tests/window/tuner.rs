//! The tuner of the window, without a display, a card or a microphone: bottles that were poured wrong, as they would sound.

use std::time::{Duration, Instant};

use eframe::egui::Key;
use egui_kittest::kittest::{NodeT, Queryable};
use ullage::app::{Document, EditAsk, Gesture, RoomAsk, Tuner, TunerAsk, ViewAsk};
use ullage::index::PourIndex;
use ullage::live::{DeviceWish, InputState};
use ullage::physics::prediction::Blown;
use ullage::set::change::Change;
use ullage::set::{Way, read_set};
use ullage::sounding::Setting;
use ullage::units::{Frequency, Interval, Length, Pressure, SampleRate, Temperature, Volume};

use crate::common::files::read;
use crate::common::measure::cents;
use crate::tape::{RATE_HZ, Rig, blown, rig, rig_of, tapped};

#[test]
fn the_microphone_is_opened_and_closed_by_its_button_and_by_nothing_else() {
    let mut rig = rig();
    rig.ask(TunerAsk::Follow(true));
    rig.ask(TunerAsk::Input(DeviceWish::default()));
    rig.ask(TunerAsk::Retry);
    assert_eq!(rig.opened(), 0, "nobody asked for it");
    assert!(rig.sees("The microphone is closed"));
    rig.click("Listen");
    assert_eq!(rig.opened(), 1);
    assert!(rig.sees("a reel (tape), 48000 Hz") && rig.sees("Microphone level -20"));
    rig.click("Stop listening");
    rig.until("it is closed", |rig| rig.tape.lock().unwrap().closed == 1);
    assert!(rig.sees("The microphone is closed"));
    rig.harness.get_by_label("Listen").focus();
    rig.harness.run_steps(2);
    rig.harness.key_press(Key::Enter);
    rig.harness.run_steps(3);
    assert_eq!(rig.opened(), 2, "by the keyboard alone");
}

#[test]
fn a_bottle_with_too_much_in_it_is_heard_so_and_the_fill_moves_to_what_was_heard() {
    let mut rig = rig();
    let index = rig.select("A4");
    let planned = rig.fill(index);
    let really = planned + Volume::from_ml(6.0);
    let (hz, q) = rig.gives(index, really);
    rig.click("Listen");
    rig.play(&blown(hz, q));
    let heard = rig.heard().clone();
    let target = rig.session().derived().bottles[index].target.hz();
    let off_cents = heard.off.cents();
    assert!((off_cents - cents(hz, target)).abs() < 1.0, "{heard:?}");
    assert_eq!(heard.pour, Some(index));
    assert!(!heard.in_tune && !rig.session().state.tuner.sounds);
    let wanted = rig
        .session()
        .document()
        .model
        .solved(index, &rig.session().document().fixed);
    let right_ml = wanted.unwrap().value() - really.ml();
    assert!(
        (heard.add().unwrap().value() - right_ml).abs() < 0.2,
        "{heard:?} {right_ml}"
    );
    assert!(rig.sees("Take out") && rig.sees("not in tune"));
    let kind = rig.session().document().model.pours[index].kind;
    let bore = rig.session().document().fixed.kinds[kind].bottle.bore();
    let level = rig.session().state.tuner.seems(index).unwrap();
    let right = bore.level_of(really);
    assert!((level.mm() - right.mm()).abs() < 0.2, "{level:?} {right:?}");
    let history = &rig.session().state.tuner.history;
    let near = history
        .iter()
        .filter(|p| p.index == index && (p.cents - off_cents).abs() < 3.0);
    assert!(near.count() >= 6, "{history:?}");
    assert!(rig.apart_cents().abs() > 10.0);
    rig.click("The amount is different: draw it so");
    println!(
        "{off_cents:+.2} cents heard of {:+.2}, {}; {:+.3} cents left when the fill had moved",
        cents(hz, target),
        heard.to_do(),
        rig.apart_cents()
    );
    assert!(rig.apart_cents().abs() < 1.0, "{}", rig.apart_cents());
    assert!((rig.fill(index) - really).ml().abs() < 0.2);
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.fill(index), planned);
    rig.click("Stop listening");
    assert_eq!(
        rig.session().state.tuner.seems(index),
        None,
        "nobody listens"
    );
}

#[test]
fn the_band_decides_what_is_in_tune() {
    let mut rig = rig();
    let index = rig.select("A4");
    let target = rig.session().derived().bottles[index].target.hz();
    rig.click("Listen");
    rig.play(&blown(target * 2f64.powf(8.0 / 1200.0), 40.0));
    assert!(!rig.heard().in_tune && rig.heard().to_do().starts_with("take out "));
    rig.ask(TunerAsk::Within(10.0));
    rig.until("the band is wider", |rig| rig.heard().in_tune);
    assert!(rig.sees("In tune") && !rig.sees("not in tune"));
    rig.ask(TunerAsk::Within(5.0));
    rig.until("the band is narrow again", |rig| !rig.heard().in_tune);
    rig.play(&blown(target, 40.0));
    assert!(rig.heard().in_tune && rig.heard().off.cents().abs() < 1.0);
}

#[test]
fn what_was_heard_is_kept_undone_and_saved_with_the_comments() {
    let mut rig = rig();
    let original = read(&rig.path);
    let index = rig.select("A4");
    let before = rig.session().derived().bottles[index].clone();
    let heard_hz = before.hz().unwrap() * 2f64.powf(-22.0 / 1200.0);
    rig.click("Listen");
    rig.play(&blown(heard_hz, 40.0));
    rig.click("The amount is right: learn this bottle");
    let note = rig.session().state.note.clone().unwrap();
    assert!(!note.is_bad, "{note:?}");
    // What the dimensions say keeps some weight: 15 cents of one pitch against their 51, so a twelfth of what it is off by.
    assert!(
        rig.apart_cents().abs() < 22.0 / 10.0,
        "{} {note:?}",
        rig.apart_cents()
    );
    assert_eq!(rig.fill(index), before.fill, "what is in it stays");
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().derived().bottles[index].hz(), before.hz());
    assert!(!rig.session().document().is_changed());
    rig.ask(EditAsk::Redo);
    assert!(rig.apart_cents().abs() < 22.0 / 10.0);
    rig.click("Save");
    let text = read(&rig.path);
    let lost: Vec<&str> = original
        .lines()
        .filter(|line| !text.contains(line))
        .collect();
    assert!(lost.is_empty(), "{lost:?}");
    let added: Vec<&str> = text.lines().filter(|l| !original.contains(l)).collect();
    assert_eq!(added.len(), 1, "{added:?}");
    let set = read_set(&text).unwrap();
    let kept = &set.kind_of(&set.pours[index]).heard;
    assert_eq!(kept.len(), 1);
    assert!(cents(kept[0].frequency.hz(), heard_hz).abs() < 1.0);
    assert!(!rig.session().document().is_changed());
    let again = Document::open(&rig.path).unwrap();
    assert_eq!(again.model.heard, rig.session().document().model.heard);
    rig.ask(EditAsk::Undo);
    assert!(rig.session().document().is_changed());
    rig.click("Save");
    assert_eq!(read(&rig.path), original);
}

#[test]
fn a_pitch_that_cannot_be_this_bottles_is_not_kept() {
    // Too far from what is sure of this one; and so far that it must be another, which cannot even be asked for.
    for (off_cents, is_asked) in [(-290.0, true), (-330.0, false)] {
        let mut rig = rig();
        let plus_minus = |rig: &Rig, index: PourIndex| {
            let sure = &rig.session().derived().bottles[index].more;
            sure.as_ref().map_or(f64::MAX, |m| m.plus_minus_cents)
        };
        let all = rig.session().derived().order.clone();
        let surest = all
            .into_iter()
            .min_by(|a, b| plus_minus(&rig, *a).total_cmp(&plus_minus(&rig, *b)))
            .unwrap();
        assert!(3.0 * plus_minus(&rig, surest) < 290.0);
        rig.ask(ViewAsk::Select(surest));
        let hz = rig.session().derived().bottles[surest].hz().unwrap();
        rig.click("Listen");
        rig.play(&blown(hz * 2f64.powf(off_cents / 1200.0), 40.0));
        assert_eq!(rig.heard().pour, Some(surest));
        let button = rig
            .harness
            .get_by_label("The amount is right: learn this bottle");
        let is_open = !button.accesskit_node().is_disabled();
        assert_eq!(is_open, is_asked);
        if is_asked {
            rig.click("The amount is right: learn this bottle");
            let note = rig.session().state.note.clone().unwrap();
            assert!(
                note.is_bad && note.text.contains("the limit is"),
                "{note:?}"
            );
        }
        assert!(!rig.session().document().is_changed());
        assert_eq!(rig.session().derived().bottles[surest].hz(), Some(hz));
    }
}

#[test]
fn the_bottle_that_is_heard_selects_itself_when_that_is_wanted() {
    let mut rig = rig();
    let (one, other) = (rig.select("A4"), rig.index("D4"));
    let bottle = rig.session().derived().bottles[other].clone();
    let sound = blown(bottle.target.hz() * 2f64.powf(15.0 / 1200.0), 40.0);
    rig.click("Listen");
    rig.click("Follow what is heard");
    rig.play(&sound);
    assert_eq!(rig.session().state.selected, Some(other));
    assert!((rig.heard().off.cents() - 15.0).abs() < 1.0);
    rig.click("Follow what is heard");
    rig.ask(ViewAsk::Select(one));
    rig.until("the other bottle is forgotten", |rig| {
        rig.session().state.tuner.of(other).is_none()
    });
}

#[test]
fn a_warm_room_is_not_poured_away() {
    let mut rig = rig();
    let index = rig.select("A4");
    let now = rig.session().document().model.conditions.room.temperature;
    let warm = RoomAsk::Condition(Change::Temperature(Temperature::from_c(now.c() + 6.0)));
    rig.ask(EditAsk::Room(warm, Gesture::Single));
    let shown = rig.session().derived().bottles[index].clone();
    let sharp = shown.pitch.as_ref().unwrap().cents;
    assert!(sharp > 8.0, "{sharp}");
    rig.click("Listen");
    rig.play(&blown(shown.hz().unwrap(), 40.0));
    let heard = rig.heard();
    assert!(heard.in_tune, "{heard:?}");
    assert!(
        (heard.moved.cents() - sharp).abs() < 0.1 && heard.off.cents().abs() < 0.5,
        "{heard:?} {sharp}"
    );
    assert!(rig.sees("which is not poured away"));
}

#[test]
fn listening_takes_the_window_no_time() {
    let mut rig = rig();
    let index = rig.select("A4");
    let sound = blown(rig.session().derived().bottles[index].hz().unwrap(), 40.0);
    let mut listener = ullage::listen::Listener::new(SampleRate::from_hz(RATE_HZ), &[]).unwrap();
    let timed = |work: &mut dyn FnMut()| {
        let since = Instant::now();
        work();
        1e3 * since.elapsed().as_secs_f64()
    };
    let middle = |mut times_ms: Vec<f64>| {
        times_ms.sort_by(f64::total_cmp);
        (times_ms[times_ms.len() / 2], *times_ms.last().unwrap())
    };
    let pushes = sound
        .chunks(960)
        .map(|piece| timed(&mut || listener.push(piece)));
    let (push_ms, longest_push_ms) = middle(pushes.collect());
    let mut looks_ms = Vec::new();
    let mut listener = ullage::listen::Listener::new(SampleRate::from_hz(RATE_HZ), &[]).unwrap();
    for piece in sound.chunks(4800) {
        listener.push(piece);
        looks_ms.push(timed(&mut || {
            std::hint::black_box(listener.now());
        }));
    }
    let (look_ms, longest_look_ms) = middle(looks_ms);
    rig.click("Listen");
    rig.tape.lock().unwrap().samples.extend(&sound);
    let mut polls_ms = Vec::new();
    for _ in 0..40 {
        std::thread::sleep(Duration::from_millis(20));
        let session = rig.harness.state_mut();
        polls_ms.push(timed(&mut || session.poll()));
    }
    let (poll_ms, longest_poll_ms) = middle(polls_ms);
    println!(
        "20 ms of sound: {push_ms:.2} ms, {longest_push_ms:.2} at most; the pitch now: {look_ms:.2}, {longest_look_ms:.2} at \
         most; of a frame of the window: {poll_ms:.3} ms, {longest_poll_ms:.3} at most"
    );
    assert!(rig.session().state.tuner.heard.is_some());
    assert!(poll_ms < 4.0, "{poll_ms} ms a frame");
}

#[test]
fn a_deaf_or_clipped_microphone_is_told_and_tried_again() {
    let mut rig = rig();
    rig.tape.lock().unwrap().state = InputState::Deaf {
        because: "it was unplugged".to_owned(),
        again: true,
    };
    rig.click("Listen");
    assert!(rig.sees("hears nothing: it was unplugged"));
    rig.click("Try again");
    assert_eq!(rig.tape.lock().unwrap().retried, 1);
    rig.tape.lock().unwrap().clipped = 3;
    rig.harness.run_steps(2);
    assert!(rig.sees("Too loud"));
}

#[test]
fn a_floor_that_slides_is_moved_by_millimetres() {
    let mut rig = rig_of("presets/slide/set.toml");
    let index = rig.select("B3");
    let document = &rig.session().document();
    let travel = document.model.setting(index).unwrap().value();
    let (model, fixed) = (&document.model, &document.fixed);
    let source = fixed.source_under(&model.pours[index], &model.conditions);
    let really = Setting::Travel(Length::from_mm(travel + 3.0));
    let found = source.at(really).unwrap();
    let (hz, q) = (found.frequency.hz(), found.quality);
    rig.click("Listen");
    rig.play(&blown(hz, q));
    let heard = rig.heard();
    assert!(
        (heard.add().unwrap().value() + 3.0).abs() < 0.3,
        "{heard:?}"
    );
    assert!(
        heard.to_do().starts_with("pull the floor out by"),
        "{heard:?}"
    );
    rig.ask(TunerAsk::HoldsPoured);
    assert!(rig.session().state.note.as_ref().unwrap().is_bad);
    rig.click("The amount is different: draw it so");
    assert!(rig.apart_cents().abs() < 1.0, "{}", rig.apart_cents());
    let now = rig.session().document().model.setting(index).unwrap();
    assert!((now.value() - travel - 3.0).abs() < 0.2, "{now:?}");
}

#[test]
fn a_tapped_bottle_is_told_what_to_pour() {
    let mut rig = rig_of("presets/struck/set.toml");
    let index = rig.session().state.selected.unwrap();
    let document = &rig.session().document();
    let (model, fixed) = (&document.model, &document.fixed);
    let planned = model.fill(index).unwrap();
    let really = planned + Volume::from_ml(12.0);
    let source = fixed.source_under(&model.pours[index], &model.conditions);
    let sounded = source
        .set_to(model.target(index), Setting::Fill(really))
        .unwrap();
    let note_hz = sounded.frequency().hz();
    let sound = tapped(&sounded);
    rig.click("Listen");
    rig.play(&sound);
    let heard = rig.heard().clone();
    println!("tapped: {:+.2} cents, {}", heard.off.cents(), heard.to_do());
    assert!(
        cents(heard.frequency.hz(), note_hz).abs() < 1.0,
        "{heard:?}"
    );
    let target: Frequency = rig.session().derived().bottles[index].target;
    let off = Frequency::from_hz(note_hz).interval_above(target);
    assert!((heard.off - off).cents().abs() < 1.0, "{heard:?} {off:?}");
    assert!(heard.add().unwrap().value() < -6.0, "{heard:?}");
    assert!(rig.sees("Take out"));
    rig.click("The amount is different: draw it so");
    assert!(rig.apart_cents().abs() < 1.0, "{}", rig.apart_cents());
}

#[test]
fn a_bottle_under_pressure_is_told_how_many_bar_and_what_is_kept_says_them_too() {
    let mut rig = rig_of("presets/plastic/set.toml");
    let document = &rig.session().document();
    let pumped = |pour: &ullage::set::Pour| pour.way == Way::Pressurised;
    let index = document
        .model
        .pours
        .iter()
        .position(pumped)
        .map(PourIndex::new)
        .unwrap();
    let (model, fixed) = (&document.model, &document.fixed);
    let gauge = model.setting(index).unwrap().value();
    let source = fixed.source_under(&model.pours[index], &model.conditions);
    let really = Setting::Gauge(Pressure::from_bar(gauge + 0.05));
    let sounded = source.set_to(model.target(index), really).unwrap();
    let sound = tapped(&sounded);
    rig.ask(ViewAsk::Select(index));
    rig.click("Listen");
    rig.play(&sound);
    let heard = rig.heard().clone();
    println!(
        "pumped up: {:+.2} cents, {}",
        heard.off.cents(),
        heard.to_do()
    );
    assert!(
        (heard.add().unwrap().value() + 0.05).abs() < 0.01,
        "{heard:?}"
    );
    assert!(heard.to_do().starts_with("let out 0.0"), "{heard:?}");
    rig.click("The amount is right: learn this bottle");
    // Good news go away by themselves; bad ones stay. Neither lies over the button that saves.
    let note = rig.session().state.note.clone();
    assert!(note.as_ref().is_none_or(|note| !note.is_bad), "{note:?}");
    rig.click("Save");
    let set = read_set(&read(&rig.path)).unwrap();
    let kept = set
        .kind_of(&set.pours[index])
        .heard
        .last()
        .copied()
        .unwrap();
    assert_eq!(kept.way, Way::Pressurised);
    assert!((kept.gauge.bar() - gauge).abs() < 1e-4, "{kept:?}");
    assert!(cents(kept.frequency.hz(), heard.frequency.hz()).abs() < 0.1);
}

#[test]
fn a_note_that_no_pouring_reaches_is_told() {
    let mut rig = rig();
    let index = rig.select("A4");
    // A whole tone and a half below the lowest that the bottle gives, and near enough to be meant.
    let document = rig.session().document();
    let set = document.set();
    let empty = Blown::new(&set.kind_of(&set.pours[index]).bottle, &set.conditions).unwrap();
    let lowest = empty.fundamental(Default::default()).unwrap().frequency;
    let below = lowest.raised_by(Interval::from_cents(-150.0));
    let note = document.model.tuning.nearest(below).0.to_string();
    rig.ask(EditAsk::Fill(index, Volume::from_ml(1.0), Gesture::Single));
    let hz = rig.session().derived().bottles[index].hz().unwrap();
    rig.ask(EditAsk::Note(index, note));
    rig.click("Listen");
    rig.play(&blown(hz, 40.0));
    assert_eq!(rig.heard().pour, Some(index));
    assert!(
        rig.sees("Cannot be reached by pouring: needs"),
        "{:?}",
        rig.heard()
    );
}

#[test]
fn a_note_that_is_far_from_the_selected_bottle_is_named_and_nothing_is_taken_out() {
    let mut rig = rig();
    assert!(Tuner::default().follows, "following is the usual thing");
    let low = rig.select("G3");
    let high = rig.session().derived().bottles[rig.index("A4")].target.hz();
    rig.click("Listen");
    rig.play(&blown(high, 40.0));
    assert_eq!(rig.heard().pour, Some(low));
    assert!(rig.heard().off.cents() > 1300.0);
    assert!(rig.sees("That is A4, and not this bottle"));
    assert!(!rig.sees("Take out") && !rig.sees("take out"));
}
