//! A piece practised in the window: who plays what, how a pass that was played is judged, what is written down, and the
//! panel. No display; a model of the engine's queue in place of a sound card.

use std::collections::VecDeque;
use std::path::PathBuf;

use eframe::egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use ullage::app::{FileAsk, Naming, Panel, PracticeAsk, Purpose, RunAsk, TakeAsk};
use ullage::index::{PlayerIndex, PourIndex};
use ullage::live::OutputState;

use crate::common::files::{Folder, QUAY_SET};
use crate::common::pieces::read_midi;
use crate::drawn;
use crate::stream::{RATE_HZ, four_beats, opened, piece, rig, window};

#[test]
fn a_pass_is_judged_by_what_was_heard_when_it_was_played() {
    let (probe, _) = window(QUAY_SET);
    let key = |index: usize| probe.derived().bottles[index].note.midi();
    let (own, other) = (key(0), key(1));
    let at = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5];
    let mut notes: Vec<(u8, f64)> = at.iter().map(|at| (own, *at)).collect();
    notes.push((other, 0.0));
    let mut rig = rig(QUAY_SET, four_beats(&notes));
    assert_eq!(rig.key(0), own);
    // Everything is heard 40 ms after it was made.
    rig.stream.borrow_mut().state.output = OutputState::Playing {
        host: "none".to_owned(),
        device: "none".to_owned(),
        rate_hz: RATE_HZ as u32,
        buffer_frames: 256,
        grown_from: None,
        latency_ms: 40.0,
    };
    rig.ask(RunAsk::Mine(PourIndex::new(0), true));
    rig.ask(PracticeAsk::Start);
    let origin = rig.origin();
    // One bar of 2 s is counted in. In time, 0.12 s early, in time, missed, 0.12 s late, in time; and a wrong one.
    let plays = [
        (own, 2.0),
        (own, 2.38),
        (own, 3.0),
        (other, 3.25),
        (own, 4.12),
        (own, 4.5),
    ];
    let mut plays = VecDeque::from(plays);
    for _ in 0..900 {
        let made = rig.stream.borrow().made;
        // Between two frames of the window, at the very time.
        if let Some(&(key, at_s)) = plays.front() {
            let at = origin + ((at_s + 0.04) * RATE_HZ) as u64;
            if at < made + 400 {
                rig.stream.borrow_mut().make(at - made);
                rig.play(key);
                rig.frame(400);
                plays.pop_front();
                continue;
            }
        }
        rig.frame(400);
    }
    let passed = rig.practice().passed.clone().expect("a pass");
    let counts = |bar: u64| {
        let b = passed.bars.iter().find(|b| b.bar == bar).unwrap();
        (b.written, b.fine, b.early, b.late, b.missed, b.wrong)
    };
    assert_eq!(counts(1), (4, 2, 1, 0, 1, 1));
    assert_eq!(counts(2), (2, 1, 0, 1, 0, 0));
    let bar = passed.bars.iter().find(|b| b.bar == 2).unwrap();
    assert!(
        (bar.mean_late_ms - 60.0).abs() < 2.0,
        "{}",
        bar.mean_late_ms
    );
    assert!(rig.practice().clock.is_none());
}

#[test]
fn a_run_that_is_broken_off_is_judged_by_its_whole_bars() {
    let (probe, _) = window(QUAY_SET);
    let own = probe.derived().bottles[0].note.midi();
    let mut rig = rig(
        QUAY_SET,
        four_beats(&[(own, 0.0), (own, 1.0), (own, 2.0), (own, 3.0)]),
    );
    rig.ask(RunAsk::Mine(PourIndex::new(0), true));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(4.6, 60.0);
    rig.ask(PracticeAsk::Stop);
    let bars = &rig.practice().passed.as_ref().unwrap().bars;
    assert_eq!(bars.len(), 1, "{bars:?}");
    assert_eq!((bars[0].bar, bars[0].missed), (1, 2));
}

#[test]
fn a_slide_is_practised_by_one_player() {
    let score = four_beats(&[(55, 0.0), (57, 0.25), (59, 0.5), (60, 0.75)]);
    let mut rig = rig("presets/slide/set.toml", score);
    assert_eq!(rig.practice().players, [[0, 1, 2, 3].map(PourIndex::new)]);
    rig.ask(RunAsk::Player(Some(PlayerIndex::new(0))));
    assert!(PourIndex::all(4).all(|pour| rig.practice().is_mine(pour)));
}

#[test]
fn keys_are_written_down_while_the_piece_plays() {
    let folder = Folder::new();
    let path = folder.at("take.mid");
    let mut rig = rig(QUAY_SET, piece());
    let key = rig.key(0);
    rig.session.state.naming = Some(Naming {
        purpose: Purpose::Smf,
        suggested: String::new(),
        exists: None,
    });
    rig.session
        .apply(FileAsk::Named(path.display().to_string()));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(1.0, 60.0);
    rig.play(key);
    rig.frames_for(0.5, 60.0);
    rig.session.apply(TakeAsk::Stop);
    let until = std::time::Instant::now() + std::time::Duration::from_secs(5);
    while !path.exists() && std::time::Instant::now() < until {
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    let take = read_midi(&path);
    let keys: Vec<u8> = take.notes.iter().map(|note| note.key).collect();
    assert_eq!(keys, [key]);
}

#[test]
fn the_panel_says_where_it_is_and_works_by_its_labels_and_the_space_bar() {
    let (mut session, stream) = window(QUAY_SET);
    session.open_piece(opened("presets/quay/piece5.mid", piece()));
    assert_eq!(session.state.panel, Panel::Practice);
    let mut harness = drawn(session, [1200.0, 760.0]);
    harness.run_steps(3);
    assert!(harness.query_by_label_contains("counting in").is_some());
    harness.key_press_modifiers(Modifiers::NONE, Key::Space);
    harness.run_steps(2);
    assert!(
        harness
            .state()
            .state
            .practice
            .as_ref()
            .unwrap()
            .clock
            .is_some()
    );
    stream.borrow_mut().make((7.0 * RATE_HZ) as u64);
    harness.run_steps(2);
    assert!(harness.query_by_label_contains("bar 2.").is_some());
    harness.get_by_label("Stop").click();
    harness.run_steps(2);
    assert!(
        harness
            .state()
            .state
            .practice
            .as_ref()
            .unwrap()
            .clock
            .is_none()
    );
    harness.get_by_label_contains("player 1").click();
    harness.run_steps(2);
    assert!(
        harness
            .state()
            .state
            .practice
            .as_ref()
            .unwrap()
            .rehearsal
            .muted()
            .contains(&true)
    );
    for label in [
        "Rewind",
        "Loop from bar",
        "Loop to bar",
        "click on every beat",
        "Another piece...",
    ] {
        assert!(harness.query_by_label(label).is_some(), "{label}");
    }
    harness.get_by_label("Close the piece").click();
    harness.run_steps(2);
    assert!(harness.query_by_label("Open a piece...").is_some());
}

#[test]
fn a_file_that_is_no_piece_is_refused_and_the_one_before_stays() {
    let mut rig = rig(QUAY_SET, piece());
    let folder = Folder::new();
    let path = folder.write("none.MID", b"nothing");
    rig.session.apply(FileAsk::Open(path));
    assert!(rig.session.state.note.as_ref().unwrap().is_bad);
    assert_eq!(rig.practice().path, PathBuf::from("some.mid"));
    // A piece that is dropped is a piece and not a set.
    rig.session
        .apply(FileAsk::Open(PathBuf::from("presets/quay/piece.mid")));
    assert_eq!(rig.practice().path, PathBuf::from("presets/quay/piece.mid"));
}

/// A bar of one note, with a grace note before it.
const GRACE: &str = r#"<?xml version="1.0"?>
<score-partwise version="4.0">
<part-list><score-part id="P1"><part-name>one</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><grace/><pitch><step>D</step><octave>4</octave></pitch><type>eighth</type></note>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>
</measure></part></score-partwise>"#;

#[test]
fn what_a_piece_leaves_out_is_said_in_the_window_and_a_broken_one_is_refused_without_an_option() {
    let mut rig = rig(QUAY_SET, piece());
    let folder = Folder::new();
    let grace = folder.write("grace.musicxml", GRACE);
    rig.session.apply(FileAsk::Open(grace.clone()));
    let note = rig.session.state.note.clone().unwrap();
    assert!(!note.is_bad, "{}", note.text);
    assert!(
        note.text.contains("grace notes are left out"),
        "{}",
        note.text
    );
    let whole = std::fs::read("presets/quay/piece.mid").unwrap();
    let broken = folder.write("broken.mid", &whole[..whole.len() / 2]);
    rig.session.apply(FileAsk::Open(broken));
    let note = rig.session.state.note.clone().unwrap();
    assert!(
        note.is_bad && note.text.contains("can be read"),
        "{}",
        note.text
    );
    assert!(!note.text.contains("--"), "{}", note.text);
    assert_eq!(rig.practice().path, grace);
}
