//! A window over a copy of the demo set, heard by a notebook in place of a sound card.

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;

use eframe::egui::{Event, Modifiers, PointerButton, Pos2};
use egui_kittest::{Harness, kittest::Queryable};
use ullage::app::{Ask, Document, KeySink, Press, Session, Sound};
use ullage::index::PourIndex;
use ullage::live::{DeskState, DeviceWish, RecordError, Recorded, Sink};
use ullage::synth::{Command, EngineSpec};
use winit::keyboard::KeyCode;

use crate::common::files::{Folder, QUAY_SET};
use crate::{copied, drawn, session, without_card};

/// What was asked of the sound.
#[derive(Default)]
pub struct Heard {
    pub commands: Vec<Command>,
    pub replaced: usize,
    pub retried: usize,
    pub outputs: Vec<DeviceWish>,
}

#[derive(Clone, Default)]
pub struct Notebook(pub Rc<RefCell<Heard>>);

impl KeySink for Notebook {
    fn send(&mut self, command: Command) -> bool {
        self.0.borrow_mut().commands.push(command);
        true
    }
}

struct Paper {
    book: Notebook,
    state: Rc<RefCell<DeskState>>,
    now: DeskState,
}

impl Sound for Paper {
    fn send(&mut self, command: Command) -> bool {
        KeySink::send(&mut self.book, command)
    }
    fn poll(&mut self) -> &DeskState {
        self.now = self.state.borrow().clone();
        &self.now
    }
    fn heard(&mut self) -> Vec<(f64, [u8; 3])> {
        self.state.borrow_mut().heard.drain(..).collect()
    }
    fn clock_s(&self) -> f64 {
        0.0
    }
    fn keys(&mut self) -> Option<Box<dyn KeySink>> {
        Some(Box::new(self.book.clone()))
    }
    fn replace(&mut self, _spec: EngineSpec) {
        self.book.0.borrow_mut().replaced += 1;
    }
    fn choose_output(&mut self, wish: DeviceWish) {
        self.book.0.borrow_mut().outputs.push(wish);
    }
    fn retry(&mut self) {
        self.book.0.borrow_mut().retried += 1;
    }
    fn record(&mut self, _sink: Sink) -> Result<(), RecordError> {
        Err(RecordError::Running)
    }
    fn end_record(&mut self) {}
    fn recorded(&mut self) -> Option<Recorded> {
        None
    }
}

/// A window over a copy of the demo set.
pub struct Rig {
    pub harness: Harness<'static, Session>,
    pub book: Notebook,
    pub desk: Rc<RefCell<DeskState>>,
    pub path: PathBuf,
    pub folder: Folder,
}

pub fn rig_of(size: [f32; 2]) -> Rig {
    rig_on(copied(QUAY_SET), size)
}

/// A window over a copy of another set, of the usual size.
pub fn rig_with(set: &str) -> Rig {
    rig_on(copied(set), [1200.0, 760.0])
}

/// A window as it opens without a file.
pub fn rig_of_nothing() -> Rig {
    rig_on((Folder::new(), Document::blank()), [1200.0, 760.0])
}

fn rig_on((folder, document): (Folder, Document), size: [f32; 2]) -> Rig {
    let path = document.path.clone();
    let desk = Rc::new(RefCell::new(without_card(&document)));
    let book = Notebook::default();
    let paper = Paper {
        book: book.clone(),
        state: Rc::clone(&desk),
        now: desk.borrow().clone(),
    };
    let session = session(document, Box::new(paper), DeviceWish::default());
    let mut harness = drawn(session, size);
    // Enough frames for every bottle's slower numbers.
    harness.run_steps(12);
    book.0.borrow_mut().commands.clear();
    Rig {
        harness,
        book,
        desk,
        path,
        folder,
    }
}

pub fn rig() -> Rig {
    rig_of([1200.0, 760.0])
}

impl Rig {
    pub fn heard(&self) -> Vec<Command> {
        self.book.0.borrow().commands.clone()
    }

    pub fn forget(&self) {
        self.book.0.borrow_mut().commands.clear();
    }

    pub fn session(&self) -> &Session {
        self.harness.state()
    }

    pub fn ask(&mut self, ask: impl Into<Ask>) {
        self.harness.state_mut().apply(ask);
    }

    pub fn press(&self, code: KeyCode, down: bool, repeat: bool) {
        self.session().keyboard.borrow_mut().press(Press {
            code,
            down,
            repeat,
            synthetic: false,
        });
    }

    pub fn index(&self, note: &str) -> PourIndex {
        crate::index(self.session(), note)
    }

    pub fn centre(&self, label: &str) -> Pos2 {
        self.harness.get_by_label_contains(label).rect().center()
    }

    pub fn sees(&self, text: &str) -> bool {
        crate::sees(&self.harness, text)
    }

    /// Frames until something is so.
    pub fn until(&mut self, what: &str, done: impl Fn(&Rig) -> bool) {
        for _ in 0..2000 {
            self.harness.run_steps(1);
            if done(self) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        panic!("{what}");
    }

    /// Presses and lets go at a place before a frame sees either.
    pub fn tap(&mut self, at: Pos2, modifiers: Modifiers) {
        let events = &mut self.harness.input_mut().events;
        events.push(Event::ModifiersChanged(modifiers));
        events.push(Event::PointerMoved(at));
        for pressed in [true, false] {
            events.push(Event::PointerButton {
                pos: at,
                button: PointerButton::Primary,
                pressed,
                modifiers,
            });
        }
        self.harness.run_steps(1);
    }

    pub fn click(&mut self, label: &str) {
        crate::click(&mut self.harness, label);
    }
}
