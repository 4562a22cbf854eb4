//! A window with a piece in it, and a model of the engine's queue in place of a sound card.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use ullage::app::{Document, KeySink, PracticeAsk, Practising, Session, Sound};
use ullage::file::piece::OpenedPiece;
use ullage::index::BottleIndex;
use ullage::live::{DeskState, DeviceWish, RecordError, Recorded, Sink, When};
use ullage::plan::practice::Deed;
use ullage::score::Score;
use ullage::synth::{Command, EngineSpec, hand_blowing};

use crate::common::files::preset;
use crate::common::pieces::{note, read_midi};
use crate::{session, without_card};

pub const RATE_HZ: f64 = 48_000.0;
/// Frames between two reports of the stream: what is known of it is as old at worst.
const REPORT_FRAMES: u64 = 480;

/// The stream, and the engine's queue as `Engine::push` has it.
pub struct Stream {
    pub state: DeskState,
    clock_s: f64,
    pub made: u64,
    pub waiting: Vec<(u64, Command)>,
    /// What was done, at which frame.
    done: Vec<(u64, Command)>,
    /// The latest that anything came after its frame.
    pub worst_late: u64,
    /// Reports are older than they should be by so many frames.
    pub lag: u64,
    pub replaced: usize,
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

    pub fn make(&mut self, frames: u64) {
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

pub struct Rig {
    pub session: Session,
    pub stream: Rc<RefCell<Stream>>,
}

/// A window on a set, the piece on it, after a second of nothing.
pub fn rig(set: &str, score: Score) -> Rig {
    let (session, stream) = window(set);
    let mut rig = Rig { session, stream };
    rig.frame(RATE_HZ as u64);
    rig.session.open_piece(opened("some.mid", score));
    rig
}

/// A piece of which there is nothing to say.
pub fn opened(path: &str, score: Score) -> OpenedPiece {
    OpenedPiece {
        path: PathBuf::from(path),
        score,
        remarks: Vec::new(),
        broken: None,
    }
}

pub fn window(set: &str) -> (Session, Rc<RefCell<Stream>>) {
    let document = Document::open(Path::new(set)).unwrap();
    let state = without_card(&document);
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
    let card = Box::new(Card { line, now: state });
    let session = session(document, card, DeviceWish::default());
    (session, stream)
}

impl Rig {
    /// So many frames of sound, then one of the window.
    pub fn frame(&mut self, frames: u64) {
        self.stream.borrow_mut().make(frames);
        self.session.poll();
    }

    pub fn frames_for(&mut self, seconds: f64, rate_hz: f64) {
        for _ in 0..(seconds * rate_hz).round() as usize {
            self.frame((RATE_HZ / rate_hz).round() as u64);
        }
    }

    pub fn ask(&mut self, ask: impl Into<PracticeAsk>) {
        self.session.apply(ask.into());
    }

    pub fn practice(&self) -> &Practising {
        self.session.state.practice.as_ref().unwrap()
    }

    pub fn origin(&self) -> u64 {
        self.practice().clock.unwrap().origin as u64
    }

    pub fn done(&self) -> Vec<(u64, Command)> {
        self.stream.borrow().done.clone()
    }

    pub fn forget(&mut self) {
        self.stream.borrow_mut().done.clear();
        self.stream.borrow_mut().worst_late = 0;
    }

    /// Bottles that are blown, by what was done; a second breath on one that is blown is a fault.
    pub fn held(&self) -> Vec<BottleIndex> {
        let mut held: BTreeMap<BottleIndex, bool> = BTreeMap::new();
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
    pub fn expected(&self, origin: u64, from: u64, to: u64) -> Vec<(u64, Command)> {
        let due = self.practice().rehearsal.commands_between(from, to);
        let command = |deed| match deed {
            Deed::Release { pour } => Command::Release {
                bottle: BottleIndex::new(pour.place()),
            },
            Deed::Blow {
                pour,
                over_threshold,
            } => Command::Blow {
                bottle: BottleIndex::new(pour.place()),
                breath: hand_blowing(over_threshold),
            },
            Deed::Click { first } => Command::Click { first },
        };
        let due = due.into_iter();
        due.map(|d| (origin + d.at_frame, command(d.deed)))
            .collect()
    }

    pub fn key(&self, index: usize) -> u8 {
        self.session.derived().bottles[index].note.midi()
    }

    /// A key of a MIDI keyboard, now.
    pub fn play(&mut self, key: u8) {
        let mut stream = self.stream.borrow_mut();
        let at_s = stream.clock_s;
        stream.state.heard.push_back((at_s, [0x90, key, 90]));
        stream.state.heard.push_back((at_s, [0x80, key, 0]));
    }
}

/// The piece for five players.
pub fn piece() -> Score {
    read_midi(preset("quay/piece5.mid"))
}

/// Two bars at 120 with these notes, and one at the end that makes them two.
pub fn four_beats(notes: &[(u8, f64)]) -> Score {
    let notes = notes.iter().map(|&(key, at)| note(key, at, at + 0.3));
    Score {
        notes: notes.chain([note(0, 3.5, 4.0)]).collect(),
        ..Score::default()
    }
}
