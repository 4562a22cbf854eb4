//! A piece that plays along in the window: what reaches the engine at which frame, however the window's frames come.
//! No display; a model of the engine's queue in place of a sound card.

use std::collections::BTreeMap;

use ullage::app::{EditAsk, PlayAsk, PracticeAsk, RunAsk};
use ullage::index::{BottleIndex, PlayerIndex, PourIndex};
use ullage::plan::practice::Deed;
use ullage::synth::{Command, hand_striking};

use crate::common::files::QUAY_SET;
use crate::stream::{RATE_HZ, Rig, four_beats, piece, rig, window};

/// Two lists in the order of what is done at one frame: neither says which of two bottles is first.
fn sorted(mut list: Vec<(u64, Command)>) -> Vec<String> {
    list.sort_by_key(|(at, command)| (*at, format!("{command:?}")));
    list.iter().map(|one| format!("{one:?}")).collect()
}

#[test]
fn what_is_done_is_what_the_rehearsal_says_to_the_frame_at_any_rate_of_frames() {
    for rate_hz in [144.0, 60.0, 24.0, 5.0] {
        let mut rig = rig(QUAY_SET, piece());
        rig.forget();
        rig.ask(PracticeAsk::Start);
        let origin = rig.origin();
        rig.frames_for(6.0, rate_hz);
        // A window that is held up for 0.4 s.
        rig.frame((0.4 * RATE_HZ) as u64);
        rig.frames_for(5.0, rate_hz);
        let to = rig.stream.borrow().made - origin;
        let expected = rig.expected(origin, 0, to);
        assert!(expected.len() > 40, "{}", expected.len());
        assert_eq!(
            sorted(rig.done()),
            sorted(expected),
            "{rate_hz} frames a second"
        );
        assert_eq!(rig.stream.borrow().worst_late, 0);
        // It runs to its end, stands still, and nothing is left sounding.
        let left = rig.practice().rehearsal.length_frames().unwrap() - to;
        rig.frames_for(left as f64 / RATE_HZ + 2.0, rate_hz);
        assert!(rig.practice().clock.is_none());
        assert!(rig.held().is_empty());
        assert_eq!(rig.stream.borrow().waiting, []);
    }
}

#[test]
fn a_window_that_stands_for_three_seconds_leaves_nothing_sounding_and_catches_up() {
    let mut rig = rig(QUAY_SET, piece());
    rig.forget();
    rig.ask(PracticeAsk::Start);
    let origin = rig.origin();
    rig.frames_for(4.0, 60.0);
    let before = rig.stream.borrow().made;
    rig.frame((3.0 * RATE_HZ) as u64);
    // All that was sent before has ended by itself: the longest note of the piece is shorter.
    assert!(rig.held().is_empty());
    let back = rig.stream.borrow().made;
    rig.forget();
    rig.frames_for(2.0, 60.0);
    assert!(rig.stream.borrow().worst_late <= back - before);
    // What sounds by the piece sounds at once, what is over is left out, and what follows is on its frame.
    let now = rig.stream.borrow().made;
    let late = rig.done().iter().filter(|(at, _)| *at == back).count();
    let sounding = rig.practice().rehearsal.held_at(back - origin).len();
    assert_eq!(late, sounding);
    let expected = rig.expected(origin, back - origin + 1, now - origin);
    let on_time = rig
        .done()
        .into_iter()
        .filter(|(at, _)| *at > back)
        .collect();
    assert_eq!(sorted(on_time), sorted(expected));
}

#[test]
fn a_stop_takes_back_what_was_sent_and_lets_go_at_once() {
    let mut rig = rig(QUAY_SET, piece());
    rig.forget();
    rig.ask(PracticeAsk::Start);
    rig.frames_for(7.0, 60.0);
    assert!(!rig.held().is_empty(), "something sounds");
    rig.ask(PracticeAsk::Stop);
    let stopped = rig.stream.borrow().made;
    rig.frames_for(2.0, 60.0);
    assert!(rig.held().is_empty());
    let last = rig.done().last().unwrap().0;
    assert!(
        last <= stopped + (0.05 * RATE_HZ) as u64,
        "{last} after {stopped}"
    );
    // It goes on at the beginning of the bar.
    let place = rig.practice().place();
    assert!(
        place.bar > 1 && (place.beat - 1.0).abs() < 1e-3,
        "{place:?}"
    );
    rig.ask(RunAsk::Rewind);
    assert_eq!(rig.practice().at_frame, 0);
}

#[test]
fn nothing_is_left_sounding_by_a_card_that_is_farther_on_than_it_says() {
    // Two tenths of a second: a large buffer, and a driver that asks for two at a time.
    for (step, ask) in [
        PracticeAsk::Stop,
        RunAsk::Rewind.into(),
        RunAsk::Tempo(80.0).into(),
        RunAsk::Seek(5).into(),
        RunAsk::Loop(Some((1, 2))).into(),
        RunAsk::Player(Some(PlayerIndex::new(1))).into(),
    ]
    .into_iter()
    .cycle()
    .take(24)
    .enumerate()
    {
        let mut rig = rig(QUAY_SET, piece());
        rig.stream.borrow_mut().lag = 9_600;
        rig.frames_for(5.0, 60.0);
        rig.forget();
        rig.ask(PracticeAsk::Start);
        rig.frames_for(6.0 + 0.05 * step as f64, 60.0);
        rig.ask(ask);
        rig.frames_for(0.7, 60.0);
        rig.ask(PracticeAsk::Stop);
        rig.frames_for(1.0, 60.0);
        let mut held = BTreeMap::new();
        for (_, command) in rig.done() {
            match command {
                Command::Blow { bottle, .. } => held.insert(bottle, true),
                Command::Release { bottle } => held.insert(bottle, false),
                _ => None,
            };
        }
        assert!(!held.is_empty());
        let left: Vec<BottleIndex> = held.into_iter().filter(|h| h.1).map(|h| h.0).collect();
        assert!(left.is_empty(), "step {step}: {left:?}");
    }
}

#[test]
fn silence_from_the_bar_stops_the_piece_too() {
    for ask in [PlayAsk::AllOff, PlayAsk::Silence] {
        let mut rig = rig(QUAY_SET, piece());
        rig.ask(PracticeAsk::Start);
        rig.frames_for(4.0, 60.0);
        rig.session.apply(ask);
        rig.forget();
        rig.frames_for(2.0, 60.0);
        let blown =
            |c: &(u64, Command)| matches!(c.1, Command::Blow { .. } | Command::Click { .. });
        let blows = rig.done().iter().filter(|c| blown(c)).count();
        assert!(blows <= 1, "{blows} after it");
        assert!(rig.practice().clock.is_none());
    }
}

#[test]
fn a_loop_comes_round_on_its_frame() {
    let mut rig = rig(QUAY_SET, piece());
    rig.ask(RunAsk::Loop(Some((2, 2))));
    rig.forget();
    rig.ask(PracticeAsk::Start);
    let origin = rig.origin();
    rig.frames_for(12.0, 60.0);
    let to = rig.stream.borrow().made - origin;
    assert!(
        rig.practice().place().round >= 2,
        "{:?}",
        rig.practice().place()
    );
    assert_eq!(sorted(rig.done()), sorted(rig.expected(origin, 0, to)));
}

#[test]
fn another_tempo_goes_on_from_the_same_place_and_drops_nothing() {
    let mut rig = rig(QUAY_SET, piece());
    rig.forget();
    rig.ask(PracticeAsk::Start);
    let slow_origin = rig.origin();
    rig.frames_for(4.3, 60.0);
    let before = rig.practice().rehearsal.clone();
    assert!(!rig.held().is_empty(), "something sounds");
    let asked = rig.stream.borrow().made;
    rig.ask(RunAsk::Tempo(50.0));
    let origin = rig.practice().clock.unwrap().origin;
    // The change takes hold at one frame, in one place of the piece by both tempos.
    let turn = (asked..asked + 4_800)
        .find(|at| {
            let (old, new) = (at - slow_origin, (*at as i64 - origin) as u64);
            let place = before.place(old).written_s;
            (rig.practice().rehearsal.place(new).written_s - place).abs() < 2.0 / RATE_HZ
        })
        .expect("the two tempos meet");
    rig.frames_for(6.0, 60.0);
    let made = rig.stream.borrow().made;
    let blows = |list: Vec<(u64, Command)>| {
        let blow = |c: &(u64, Command)| matches!(c.1, Command::Blow { .. });
        list.into_iter().filter(blow).collect::<Vec<_>>()
    };
    let new = |at: u64| (at as i64 - origin) as u64;
    let after: Vec<_> = rig
        .practice()
        .rehearsal
        .commands_between(new(turn + 40), new(made));
    let after = after.iter().filter(|d| matches!(d.deed, Deed::Blow { .. }));
    let after: Vec<i64> = after.map(|d| d.at_frame as i64 + origin).collect();
    let done = blows(rig.done());
    let late: Vec<i64> = (done.iter().map(|d| d.0 as i64))
        .filter(|at| *at > turn as i64 + 40)
        .collect();
    assert_eq!(late, after);
    // What was blown before was blown on the frames of the first tempo.
    let first: Vec<u64> = before
        .commands_between(0, turn - 40 - slow_origin)
        .iter()
        .filter(|d| matches!(d.deed, Deed::Blow { .. }))
        .map(|d| d.at_frame + slow_origin)
        .collect();
    let early: Vec<u64> = (done.iter().map(|d| d.0))
        .filter(|at| *at < turn - 40)
        .collect();
    assert_eq!(early, first);
    rig.ask(PracticeAsk::Stop);
    rig.frames_for(1.0, 60.0);
    assert!(rig.held().is_empty());
}

#[test]
fn a_bottle_that_is_taken_is_not_played_and_one_given_back_is() {
    let mut rig = rig(QUAY_SET, piece());
    let first = PlayerIndex::new(0);
    let player = rig.practice().players[first].clone();
    rig.ask(RunAsk::Player(Some(first)));
    rig.forget();
    rig.ask(PracticeAsk::Start);
    rig.frames_for(7.0, 60.0);
    let blown = |rig: &Rig, index: PourIndex| {
        let of = |c: &(u64, Command)| matches!(c.1, Command::Blow { bottle, .. } if bottle.place() == index.place());
        rig.done().iter().filter(|c| of(c)).count()
    };
    assert!(!player.is_empty() && player.len() <= 2, "{player:?}");
    for &index in &player {
        assert_eq!(blown(&rig, index), 0);
    }
    let others: usize = PourIndex::all(rig.session.derived().bottles.len())
        .map(|i| blown(&rig, i))
        .sum();
    assert!(others > 5, "{others}");
    rig.ask(RunAsk::Player(None));
    rig.frames_for(7.0, 60.0);
    assert!(player.iter().map(|i| blown(&rig, *i)).sum::<usize>() > 0);
    rig.held();
}

#[test]
fn clicks_are_those_of_the_beats_and_the_count_in_is_always_clicked() {
    let clicks = |click: bool, count_in: u32| {
        let mut rig = rig(QUAY_SET, four_beats(&[]));
        rig.ask(RunAsk::Click(click));
        rig.ask(RunAsk::CountIn(count_in));
        rig.forget();
        rig.ask(PracticeAsk::Start);
        rig.frames_for(12.0, 60.0);
        let first = |c: &(u64, Command)| match c.1 {
            Command::Click { first } => Some(first),
            _ => None,
        };
        let all: Vec<bool> = rig.done().iter().filter_map(first).collect();
        (all.len(), all.iter().filter(|first| **first).count())
    };
    // Two bars of four beats.
    assert_eq!(clicks(true, 1), (12, 3));
    assert_eq!(clicks(true, 0), (8, 2));
    assert_eq!(clicks(false, 2), (8, 2));
}

#[test]
fn a_sliding_bottle_is_moved_before_it_is_blown_and_plays_one_note_at_a_time() {
    let (probe, _) = window("presets/slide/set.toml");
    let slides = |b: &&ullage::app::Shown| b.way.to_string().contains("slid");
    let keys: Vec<u8> = probe
        .derived()
        .bottles
        .iter()
        .filter(slides)
        .map(|b| b.note.midi())
        .collect();
    assert!(keys.len() >= 2, "{keys:?}");
    // The second begins while the first still sounds.
    let score = four_beats(&[(keys[0], 0.0), (keys[1], 0.2), (keys[0], 1.0)]);
    let mut rig = rig("presets/slide/set.toml", score);
    rig.forget();
    rig.ask(PracticeAsk::Start);
    rig.frames_for(6.0, 60.0);
    let done = rig.done();
    assert!(rig.held().is_empty());
    let blows: Vec<usize> = (0..done.len())
        .filter(|&i| matches!(done[i].1, Command::Blow { .. }))
        .collect();
    assert_eq!(blows.len(), 3);
    for i in blows {
        assert!(
            matches!(done[i - 1], (at, Command::Slide { .. }) if at == done[i].0),
            "{done:?}"
        );
    }
}

#[test]
fn a_struck_bottle_is_struck_as_hard_as_it_is_written() {
    let (probe, _) = window("presets/struck/set.toml");
    let struck = |b: &&ullage::app::Shown| b.way.is_struck();
    let key = probe
        .derived()
        .bottles
        .iter()
        .find(struck)
        .unwrap()
        .note
        .midi();
    let mut rig = rig("presets/struck/set.toml", four_beats(&[(key, 0.0)]));
    rig.forget();
    rig.ask(PracticeAsk::Start);
    rig.frames_for(5.0, 60.0);
    let notes = rig.practice().rehearsal.upcoming(0, 480_000);
    let wanted = hand_striking(notes[0].over_threshold / 2.5);
    let hands: Vec<f32> = (rig.done().iter())
        .filter_map(|c| match c.1 {
            Command::Blow { breath, .. } => Some(breath),
            _ => None,
        })
        .collect();
    assert_eq!(hands, [wanted]);
    assert!((0.3..1.0).contains(&wanted), "{wanted}");
}

#[test]
fn other_bottles_stop_the_piece_and_it_stands_on_them() {
    let mut rig = rig(QUAY_SET, piece());
    rig.ask(RunAsk::Mine(PourIndex::new(0), true));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(4.0, 60.0);
    rig.session
        .apply(EditAsk::Note(PourIndex::new(1), "C#4".to_owned()));
    assert_eq!(rig.stream.borrow().replaced, 1);
    assert!(rig.practice().clock.is_none() && rig.practice().is_mine(PourIndex::new(0)));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(3.0, 60.0);
    assert!(rig.practice().clock.is_some());
}
