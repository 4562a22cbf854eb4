//! A piece that plays along in the window: what reaches the engine at which frame, however the window's frames come,
//! and how a pass that was played is judged. No display; a model of the engine's queue in place of a sound card.
#![cfg(feature = "window")]
#![allow(clippy::unwrap_used, missing_docs)]

use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};
use std::rc::Rc;

use eframe::egui::{self, Key, Modifiers};
use egui_kittest::{Harness, kittest::Queryable};
use ullage::app::{
    Document, EditAsk, EngineOptions, FileAsk, KeySink, Panel, PlayAsk, PracticeAsk, Practising,
    Purpose, RunAsk, Session, Settings, Setup, Sound, TakeAsk, draw,
};
use ullage::file::smf::{Percussion, from_smf};
use ullage::live::{DeskState, DeviceWish, OutputState, RecordError, Recorded, Sink, When};
use ullage::plan::practice::Deed;
use ullage::score::{Score, ScoreNote};
use ullage::synth::{Command, EngineSpec, Meters, hand_blowing, hand_striking};
use ullage::units::Level;

const RATE_HZ: f64 = 48_000.0;
/// Frames between two reports of the stream: what is known of it is as old at worst.
const REPORT_FRAMES: u64 = 480;

/// The stream, and the engine's queue as `Engine::push` has it.
struct Stream {
    state: DeskState,
    clock_s: f64,
    made: u64,
    waiting: Vec<(u64, Command)>,
    /// What was done, at which frame.
    done: Vec<(u64, Command)>,
    /// The latest that anything came after its frame.
    worst_late: u64,
    /// Reports are older than they should be by so many frames.
    lag: u64,
    replaced: usize,
}

impl Stream {
    fn push(&mut self, when: When, command: Command) {
        let at = match when {
            When::Frame(at) => at,
            _ => self.made,
        };
        if command == Command::Forget {
            self.waiting
                .retain(|(a, c)| *a < at || matches!(c, Command::Midi { .. }));
            return;
        }
        self.worst_late = self.worst_late.max(self.made.saturating_sub(at));
        let place = self.waiting.partition_point(|(a, _)| *a <= at);
        self.waiting.insert(place, (at, command));
    }

    fn make(&mut self, frames: u64) {
        let to = self.made + frames;
        while let Some(&(at, command)) = self.waiting.first()
            && at < to
        {
            self.waiting.remove(0);
            self.done.push((at.max(self.made), command));
        }
        self.made = to;
        self.clock_s += frames as f64 / RATE_HZ;
        self.state.now_frames = (to - to % REPORT_FRAMES).saturating_sub(self.lag);
    }
}

#[derive(Clone)]
struct Line(Rc<RefCell<Stream>>);

impl KeySink for Line {
    fn send(&mut self, command: Command) -> bool {
        self.0.borrow_mut().push(When::Now, command);
        true
    }
}

struct Card {
    line: Line,
    now: DeskState,
}

impl Sound for Card {
    fn send(&mut self, command: Command) -> bool {
        self.send_at(When::Now, command)
    }
    fn send_at(&mut self, when: When, command: Command) -> bool {
        self.line.0.borrow_mut().push(when, command);
        true
    }
    fn poll(&mut self) -> &DeskState {
        self.now = self.line.0.borrow().state.clone();
        &self.now
    }
    fn heard(&mut self) -> Vec<(f64, [u8; 3])> {
        self.line.0.borrow_mut().state.heard.drain(..).collect()
    }
    fn clock_s(&self) -> f64 {
        self.line.0.borrow().clock_s
    }
    fn keys(&mut self) -> Option<Box<dyn KeySink>> {
        Some(Box::new(self.line.clone()))
    }
    fn replace(&mut self, _spec: EngineSpec) {
        self.line.0.borrow_mut().replaced += 1;
    }
    fn choose_output(&mut self, _wish: DeviceWish) {}
    fn retry(&mut self) {}
    fn record(&mut self, _sink: Sink) -> Result<(), RecordError> {
        Err(RecordError::Running)
    }
    fn end_record(&mut self) {}
    fn recorded(&mut self) -> Option<Recorded> {
        None
    }
}

struct Rig {
    session: Session,
    stream: Rc<RefCell<Stream>>,
}

/// A window on a set, the piece on it, after a second of nothing.
fn rig(set: &str, score: Score) -> Rig {
    let (session, stream) = window(set);
    let mut rig = Rig { session, stream };
    rig.frame(RATE_HZ as u64);
    rig.session.open_piece(PathBuf::from("some.mid"), score);
    rig
}

fn window(set: &str) -> (Session, Rc<RefCell<Stream>>) {
    let document = Document::open(Path::new(set)).unwrap();
    let state = DeskState {
        output: OutputState::Silent {
            because: "no card in a test".to_owned(),
        },
        rate_hz: RATE_HZ as u32,
        now_frames: 0,
        load: 0.0,
        dropouts: 0,
        queue_full: 0,
        meters: Meters::default(),
        swings: vec![0.0; document.model.pours.len()],
        midi: Vec::new(),
        midi_because: None,
        heard: VecDeque::new(),
    };
    let stream = Rc::new(RefCell::new(Stream {
        state: state.clone(),
        clock_s: 0.0,
        made: 0,
        waiting: Vec::new(),
        done: Vec::new(),
        worst_late: 0,
        lag: 0,
        replaced: 0,
    }));
    let line = Line(Rc::clone(&stream));
    let session = Session::new(Setup {
        document,
        engine: EngineOptions {
            level: Level::from_db(-12.0),
            dry: true,
            nearest: false,
            channels: u16::MAX,
        },
        output: DeviceWish::default(),
        sound: Box::new(Card { line, now: state }),
        settings: Settings::default(),
        settings_place: None,
    });
    (session, stream)
}

impl Rig {
    /// So many frames of sound, then one of the window.
    fn frame(&mut self, frames: u64) {
        self.stream.borrow_mut().make(frames);
        self.session.poll();
    }

    fn frames_for(&mut self, seconds: f64, rate_hz: f64) {
        for _ in 0..(seconds * rate_hz).round() as usize {
            self.frame((RATE_HZ / rate_hz).round() as u64);
        }
    }

    fn ask(&mut self, ask: impl Into<PracticeAsk>) {
        self.session.apply(ask.into());
    }

    fn practice(&self) -> &Practising {
        self.session.state.practice.as_ref().unwrap()
    }

    fn origin(&self) -> u64 {
        self.practice().clock.unwrap().origin as u64
    }

    fn done(&self) -> Vec<(u64, Command)> {
        self.stream.borrow().done.clone()
    }

    fn forget(&mut self) {
        self.stream.borrow_mut().done.clear();
        self.stream.borrow_mut().worst_late = 0;
    }

    /// Bottles that are blown, by what was done; a second breath on one that is blown is a fault.
    fn held(&self) -> Vec<u16> {
        let mut held: BTreeMap<u16, bool> = BTreeMap::new();
        for (at, command) in self.done() {
            match command {
                Command::Blow { bottle, .. } => {
                    let before = held.insert(bottle, true);
                    assert!(before != Some(true), "{bottle} is blown twice at {at}");
                }
                Command::Release { bottle } => {
                    held.insert(bottle, false);
                }
                _ => {}
            }
        }
        held.into_iter().filter(|h| h.1).map(|h| h.0).collect()
    }

    /// What the rehearsal says is done between two frames of its run, at frames of the stream.
    fn expected(&self, origin: u64, from: u64, to: u64) -> Vec<(u64, Command)> {
        let due = self.practice().rehearsal.commands_between(from, to);
        let command = |deed| match deed {
            Deed::Release { bottle } => Command::Release {
                bottle: bottle as u16,
            },
            Deed::Blow {
                bottle,
                over_threshold,
            } => Command::Blow {
                bottle: bottle as u16,
                breath: hand_blowing(over_threshold),
            },
            Deed::Click { first } => Command::Click { first },
        };
        let due = due.into_iter();
        due.map(|d| (origin + d.at_frame, command(d.deed)))
            .collect()
    }

    fn key(&self, index: usize) -> u8 {
        self.session.derived().bottles[index].note.midi()
    }

    /// A key of a MIDI keyboard, now.
    fn play(&mut self, key: u8) {
        let mut stream = self.stream.borrow_mut();
        let at_s = stream.clock_s;
        stream.state.heard.push_back((at_s, [0x90, key, 90]));
        stream.state.heard.push_back((at_s, [0x80, key, 0]));
    }
}

fn piece() -> Score {
    let bytes = include_bytes!("../presets/quay/piece5.mid");
    from_smf(bytes, Percussion::Skip).unwrap()
}

const QUAY: &str = "presets/quay/set.toml";

/// Two lists in the order of what is done at one frame: neither says which of two bottles is first.
fn sorted(mut list: Vec<(u64, Command)>) -> Vec<String> {
    list.sort_by_key(|(at, command)| (*at, format!("{command:?}")));
    list.iter().map(|one| format!("{one:?}")).collect()
}

#[test]
fn what_is_done_is_what_the_rehearsal_says_to_the_frame_at_any_rate_of_frames() {
    for rate_hz in [144.0, 60.0, 24.0, 5.0] {
        let mut rig = rig(QUAY, piece());
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
    let mut rig = rig(QUAY, piece());
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
    let mut rig = rig(QUAY, piece());
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
        RunAsk::Player(Some(1)).into(),
    ]
    .into_iter()
    .cycle()
    .take(24)
    .enumerate()
    {
        let mut rig = rig(QUAY, piece());
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
        let left: Vec<u16> = held.into_iter().filter(|h| h.1).map(|h| h.0).collect();
        assert!(left.is_empty(), "step {step}: {left:?}");
    }
}

#[test]
fn silence_from_the_bar_stops_the_piece_too() {
    for ask in [PlayAsk::AllOff, PlayAsk::Silence] {
        let mut rig = rig(QUAY, piece());
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
    let mut rig = rig(QUAY, piece());
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
    let mut rig = rig(QUAY, piece());
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
    let mut rig = rig(QUAY, piece());
    let player = rig.practice().players[0].clone();
    rig.ask(RunAsk::Player(Some(0)));
    rig.forget();
    rig.ask(PracticeAsk::Start);
    rig.frames_for(7.0, 60.0);
    let blown = |rig: &Rig, index: usize| {
        let of = |c: &(u64, Command)| matches!(c.1, Command::Blow { bottle, .. } if usize::from(bottle) == index);
        rig.done().iter().filter(|c| of(c)).count()
    };
    assert!(!player.is_empty() && player.len() <= 2, "{player:?}");
    for &index in &player {
        assert_eq!(blown(&rig, index), 0);
    }
    let others: usize = (0..rig.session.derived().bottles.len())
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
        let mut rig = rig(QUAY, four_beats(&[]));
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

/// Two bars at 120 with these notes, and one at the end that makes them two.
fn four_beats(notes: &[(u8, f64)]) -> Score {
    let note = |key, start_s: f64, stop_s| ScoreNote {
        start_s,
        stop_s,
        key,
        velocity: 80,
        track: 0,
        channel: 0,
    };
    let mut list: Vec<ScoreNote> = notes
        .iter()
        .map(|&(key, at)| note(key, at, at + 0.3))
        .collect();
    list.push(note(0, 3.5, 4.0));
    Score {
        notes: list,
        ..Score::default()
    }
}

#[test]
fn a_pass_is_judged_by_what_was_heard_when_it_was_played() {
    let (probe, _) = window(QUAY);
    let key = |index: usize| probe.derived().bottles[index].note.midi();
    let (own, other) = (key(0), key(1));
    let at = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5];
    let mut notes: Vec<(u8, f64)> = at.iter().map(|at| (own, *at)).collect();
    notes.push((other, 0.0));
    let mut rig = rig(QUAY, four_beats(&notes));
    assert_eq!(rig.key(0), own);
    // Everything is heard 40 ms after it was made.
    rig.stream.borrow_mut().state.output = OutputState::Playing {
        host: "none".to_owned(),
        device: "none".to_owned(),
        rate_hz: RATE_HZ as u32,
        buffer_frames: 256,
        latency_ms: 40.0,
    };
    rig.ask(RunAsk::Mine(0, true));
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
    let (probe, _) = window(QUAY);
    let own = probe.derived().bottles[0].note.midi();
    let mut rig = rig(
        QUAY,
        four_beats(&[(own, 0.0), (own, 1.0), (own, 2.0), (own, 3.0)]),
    );
    rig.ask(RunAsk::Mine(0, true));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(4.6, 60.0);
    rig.ask(PracticeAsk::Stop);
    let bars = &rig.practice().passed.as_ref().unwrap().bars;
    assert_eq!(bars.len(), 1, "{bars:?}");
    assert_eq!((bars[0].bar, bars[0].missed), (1, 2));
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
fn a_slide_is_practised_by_one_player() {
    let score = four_beats(&[(55, 0.0), (57, 0.25), (59, 0.5), (60, 0.75)]);
    let mut rig = rig("presets/slide/set.toml", score);
    assert_eq!(rig.practice().players, [[0, 1, 2, 3]]);
    rig.ask(RunAsk::Player(Some(0)));
    assert!((0..4).all(|pour| rig.practice().is_mine(pour)));
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
    let mut rig = rig(QUAY, piece());
    rig.ask(RunAsk::Mine(0, true));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(4.0, 60.0);
    rig.session.apply(EditAsk::Note(1, "C#4".to_owned()));
    assert_eq!(rig.stream.borrow().replaced, 1);
    assert!(rig.practice().clock.is_none() && rig.practice().is_mine(0));
    rig.ask(PracticeAsk::Start);
    rig.frames_for(3.0, 60.0);
    assert!(rig.practice().clock.is_some());
}

#[test]
fn keys_are_written_down_while_the_piece_plays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.mid");
    let mut rig = rig(QUAY, piece());
    let key = rig.key(0);
    rig.session.state.naming = Some(ullage::app::Naming {
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
    let take = from_smf(&std::fs::read(&path).unwrap(), Percussion::Skip).unwrap();
    let keys: Vec<u8> = take.notes.iter().map(|note| note.key).collect();
    assert_eq!(keys, [key]);
}

#[test]
fn the_panel_says_where_it_is_and_works_by_its_labels_and_the_space_bar() {
    let (mut session, stream) = window(QUAY);
    session.open_piece(PathBuf::from("presets/quay/piece5.mid"), piece());
    assert_eq!(session.state.panel, Panel::Practice);
    let mut harness = Harness::builder()
        .with_size([1200.0, 760.0])
        .build_ui_state(
            |ui: &mut egui::Ui, session: &mut Session| draw(ui, session),
            session,
        );
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
    let mut rig = rig(QUAY, piece());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("none.MID");
    std::fs::write(&path, b"nothing").unwrap();
    rig.session.apply(FileAsk::Open(path));
    assert!(rig.session.state.note.as_ref().unwrap().is_bad);
    assert_eq!(rig.practice().path, PathBuf::from("some.mid"));
    // A piece that is dropped is a piece and not a set.
    rig.session
        .apply(FileAsk::Open(PathBuf::from("presets/quay/piece.mid")));
    assert_eq!(rig.practice().path, PathBuf::from("presets/quay/piece.mid"));
}

#[test]
fn what_there_is_to_say_of_a_piece_is_said_in_the_window_and_in_its_own_words() {
    let mut rig = rig("presets/quay/set.toml", piece());
    let folder = tempfile::tempdir().unwrap();
    let graced = folder.path().join("graced.musicxml");
    let text = "<score-partwise><part-list><score-part id=\"P\"><part-name>air</part-name></score-part></part-list>\
        <part id=\"P\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>\
        <note><grace/><pitch><step>D</step><octave>4</octave></pitch></note>\
        <note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>\
        </measure></part></score-partwise>";
    std::fs::write(&graced, text).unwrap();
    rig.ask(PracticeAsk::Open(graced.clone()));
    assert_eq!(rig.practice().path, graced);
    let note = rig.session.state.note.clone().unwrap();
    assert!(!note.is_bad && note.text.contains("grace notes are left out"));

    let bytes = include_bytes!("../presets/quay/piece.mid");
    let cut = folder.path().join("cut.mid");
    std::fs::write(&cut, &bytes[..bytes.len() - 40]).unwrap();
    rig.ask(PracticeAsk::Open(cut));
    assert_eq!(rig.practice().path, graced, "the one before stays");
    let note = rig.session.state.note.clone().unwrap();
    assert!(note.is_bad && note.text.contains("bars can be read"));
    assert!(!note.text.contains("--"), "{}", note.text);
}
