//! The computer keyboard as an instrument: which key gives which note, and what is held.
//!
//! Keys are known by their position, whatever is printed on them. What the handler of events says goes out at once, before
//! any frame is drawn.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Instant;

use winit::keyboard::KeyCode;

use super::keys::{self, BOTTOM, DIGITS, MIDDLE, PIANO, SPARE, UPPER};
use crate::synth::Command;

/// The C under the first key of the piano layout when nothing is shifted: C3.
const FIRST_KEY: i32 = 48;
/// Presses that are kept until somebody writes them down.
const LOG_ROOM: usize = 4096;

/// Where a press goes.
pub trait KeySink {
    /// Sends a command; false if it found no room.
    fn send(&mut self, command: Command) -> bool;
}

/// How keys stand for notes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Layout {
    /// As on a piano: two octaves and a half, black keys above white ones.
    #[default]
    Piano,
    /// A key for each bottle of the set, from low to high, row after row.
    Row,
}

/// Which key gives which note.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Board {
    /// Of the keys that have no note of their own.
    pub layout: Layout,
    /// Octaves up of the piano layout; rows of ten bottles of the other.
    pub shift: i32,
    /// Keys with a note of their own, in MIDI's count.
    pub own: BTreeMap<KeyCode, u8>,
    /// The notes of the set's bottles, from low to high.
    pub notes: Vec<u8>,
}

impl Board {
    /// The note of a key, in MIDI's count.
    #[must_use]
    pub fn note(&self, code: KeyCode) -> Option<u8> {
        if let Some(&note) = self.own.get(&code) {
            return Some(note);
        }
        match self.layout {
            Layout::Piano => match PIANO.iter().find(|(key, _)| *key == code) {
                Some((_, up)) => self.piano_note(*up),
                None => self.spare_note(code),
            },
            Layout::Row => {
                let order = BOTTOM.iter().chain(&MIDDLE).chain(&UPPER).chain(&DIGITS);
                let place = order.clone().position(|key| *key == code)? as i32;
                let place = usize::try_from(place + 10 * self.shift).ok()?;
                self.notes.get(place).copied()
            }
        }
    }

    /// The note of a piano's key, semitones from its first.
    fn piano_note(&self, up: u8) -> Option<u8> {
        let note = FIRST_KEY + 12 * self.shift + i32::from(up);
        u8::try_from(note).ok().filter(|note| *note < 128)
    }

    /// Whether a key of the piano, or one of its own, gives a note.
    fn is_reached(&self, note: u8) -> bool {
        let mut piano = PIANO.iter().filter(|(key, _)| !self.own.contains_key(key));
        self.own.values().any(|own| *own == note)
            || piano.any(|(_, up)| self.piano_note(*up) == Some(note))
    }

    /// The note of a key that no piano has: the next of the bottles' that has no other.
    fn spare_note(&self, code: KeyCode) -> Option<u8> {
        let place = SPARE.iter().position(|key| *key == code)?;
        let mut left = self.notes.iter().filter(|note| !self.is_reached(**note));
        left.nth(place).copied()
    }

    /// The first key that gives a note.
    #[must_use]
    pub fn key_of(&self, note: u8) -> Option<KeyCode> {
        let own = self.own.iter().find(|(_, own)| **own == note);
        own.map(|(code, _)| *code)
            .or_else(|| keys::all().find(|&code| self.note(code) == Some(note)))
    }

    /// Takes the notes of another set, from low to high: a piano is shifted to where most of them have a key.
    pub(super) fn set_notes(&mut self, notes: Vec<u8>) {
        if self.notes == notes {
            return;
        }
        self.notes = notes;
        if self.layout == Layout::Piano {
            self.shift = self.best_shift();
        }
    }

    /// The shift at which most of the set's notes have a key, the one nearest to none of those as good.
    #[must_use]
    pub fn best_shift(&self) -> i32 {
        let reached = |shift: i32| {
            let board = Self {
                shift,
                ..self.clone()
            };
            let notes = self.notes.iter();
            notes.filter(|&&note| board.is_reached(note)).count()
        };
        (-3..=5)
            .max_by_key(|&shift| (reached(shift), -shift.abs()))
            .unwrap_or(0)
    }
}

/// A key went down or came up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Press {
    /// Its position.
    pub code: KeyCode,
    /// Down, or up.
    pub down: bool,
    /// Said by the keyboard itself while it is held.
    pub repeat: bool,
    /// Made up by the window system, for keys that were held when the window came to the front.
    pub synthetic: bool,
}

/// What is held, and where it goes.
pub struct Keyboard {
    /// Which key gives which note.
    pub board: Board,
    /// How hard a key is struck, 1 to 127.
    pub velocity: u8,
    /// A press starts a note and the next one ends it.
    pub latch: bool,
    /// Text is being typed, or a panel waits for a key: nothing plays.
    pub typing: bool,
    /// Control, Alt or a window key is held: nothing plays.
    pub chord: bool,
    /// The channel that presses go out on, 0 to 15.
    pub channel: u8,
    held: BTreeMap<KeyCode, u8>,
    /// Keys that were down already when the window came to the front.
    ghosts: BTreeSet<KeyCode>,
    /// What is printed on keys, as learned from presses.
    labels: BTreeMap<KeyCode, String>,
    /// The last key that went down while nothing played.
    asked: Option<KeyCode>,
    sink: Option<Box<dyn KeySink>>,
    log: Vec<(Instant, [u8; 3])>,
    played: u64,
    passed_over: u64,
}

impl Keyboard {
    /// A keyboard that plays into `sink`.
    #[must_use]
    pub fn new(board: Board, sink: Option<Box<dyn KeySink>>) -> Self {
        Self {
            board,
            velocity: 96,
            latch: false,
            typing: false,
            chord: false,
            channel: 0,
            held: BTreeMap::new(),
            ghosts: BTreeSet::new(),
            labels: BTreeMap::new(),
            asked: None,
            sink,
            log: Vec::new(),
            played: 0,
            passed_over: 0,
        }
    }

    /// What the window system says of a key. A repeat does nothing, nor does a key that was down before the window
    /// was in front.
    pub fn press(&mut self, press: Press) {
        let code = press.code;
        if !press.down {
            self.ghosts.remove(&code);
            if !self.latch {
                self.release(code);
            }
            return;
        }
        if press.synthetic {
            self.ghosts.insert(code);
        }
        if press.repeat || press.synthetic || self.ghosts.contains(&code) {
            self.passed_over += 1;
            return;
        }
        if self.typing || self.chord {
            self.asked = Some(code);
            return;
        }
        if self.held.contains_key(&code) {
            self.release(code);
            return;
        }
        if let Some(note) = self.board.note(code) {
            self.held.insert(code, note);
            self.played += 1;
            self.send([0x90 | self.channel, note, self.velocity]);
        }
    }

    /// Lets go of everything: the window is no longer in front.
    pub fn all_off(&mut self) {
        for code in self.held.keys().copied().collect::<Vec<_>>() {
            self.release(code);
        }
        self.chord = false;
    }

    fn release(&mut self, code: KeyCode) {
        if let Some(note) = self.held.remove(&code) {
            // Another key may hold the same note.
            if !self.held.values().any(|held| *held == note) {
                self.send([0x80 | self.channel, note, 0]);
            }
        }
    }

    fn send(&mut self, bytes: [u8; 3]) {
        if let Some(sink) = &mut self.sink {
            sink.send(Command::Midi { bytes });
        }
        if self.log.len() < LOG_ROOM {
            self.log.push((Instant::now(), bytes));
        }
    }

    /// Notes that are held.
    pub fn held(&self) -> impl Iterator<Item = u8> + '_ {
        self.held.values().copied()
    }

    /// Presses that played, and repeats and ghosts that did not.
    #[must_use]
    pub fn counted(&self) -> (u64, u64) {
        (self.played, self.passed_over)
    }

    /// Messages since the last time, with their times.
    pub fn take_log(&mut self) -> Vec<(Instant, [u8; 3])> {
        std::mem::take(&mut self.log)
    }

    /// The key that was pressed while nothing played, once.
    pub fn take_asked(&mut self) -> Option<KeyCode> {
        self.asked.take()
    }

    /// Learns what is printed on a key.
    pub fn learn(&mut self, code: KeyCode, text: &str) {
        let printable = text.chars().count() == 1 && text.chars().all(|c| !c.is_control());
        if printable && !self.labels.contains_key(&code) {
            self.labels.insert(code, text.to_uppercase());
        }
    }

    /// What is printed on a key: as learned, or as on a common English keyboard.
    #[must_use]
    pub fn label(&self, code: KeyCode) -> String {
        let learned = self.labels.get(&code).cloned();
        learned.unwrap_or_else(|| keys::printed(code))
    }

    /// What is printed on the key of a note.
    #[must_use]
    pub fn hint(&self, note: u8) -> Option<String> {
        self.board.key_of(note).map(|code| self.label(code))
    }
}
