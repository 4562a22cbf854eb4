//! A window without a display, a sound card or a microphone, and a microphone that plays what a test puts on its tape.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};

use ullage::app::{Document, EngineOptions, KeySink, Microphone, Session, Settings, Setup, Sound};
use ullage::live::{
    DeskState, DeviceWish, EarState, InputState, OutputState, RecordError, Recorded, Sink,
};
use ullage::set::describe::Question;
use ullage::synth::{Command, EngineSpec, Meters};
use ullage::units::{Level, SampleRate};

pub const RATE_HZ: f64 = 48_000.0;
/// Sound that a frame brings, samples.
const FRAME: usize = 2400;

/// Two kinds of bottle, as they are typed.
pub const FLASK: [(Question, &str); 6] = [
    (Question::Name, "flask"),
    (Question::Capacity, "1 l"),
    (Question::Mouth, "19 mm"),
    (Question::Height, "12 in"),
    (Question::Neck, "80 mm"),
    (Question::Count, "4"),
];
pub const SODA: [(Question, &str); 6] = [
    (Question::Name, "soda"),
    (Question::Capacity, "12 fl oz"),
    (Question::Mouth, "3/4 in"),
    (Question::Height, "9 in"),
    (Question::Neck, "3 in"),
    (Question::Count, "6"),
];

/// What a desk says that has no card.
pub fn without_card(document: &Document) -> DeskState {
    DeskState {
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
    }
}

/// A window on a document.
pub fn session(document: Document, sound: Box<dyn Sound>, output: DeviceWish) -> Session {
    Session::new(setup(document, sound, output))
}

/// What such a window is opened with: settings of its own, which it keeps nowhere.
pub fn setup(document: Document, sound: Box<dyn Sound>, output: DeviceWish) -> Setup {
    Setup {
        document,
        engine: EngineOptions {
            level: Level::from_db(-12.0),
            dry: true,
            nearest: false,
            channels: u16::MAX,
        },
        output,
        sound,
        settings: Settings::default(),
        settings_place: None,
    }
}

/// A window on a document, without a card.
pub fn silent_session(document: Document) -> Session {
    let no_card = Box::new(NoCard(without_card(&document)));
    session(document, no_card, DeviceWish::default())
}

/// No card: the window says so and works.
pub struct NoCard(pub DeskState);

impl Sound for NoCard {
    fn send(&mut self, _command: Command) -> bool {
        true
    }
    fn poll(&mut self) -> &DeskState {
        &self.0
    }
    fn heard(&mut self) -> Vec<(f64, [u8; 3])> {
        Vec::new()
    }
    fn clock_s(&self) -> f64 {
        0.0
    }
    fn keys(&mut self) -> Option<Box<dyn KeySink>> {
        None
    }
    fn replace(&mut self, _spec: EngineSpec) {}
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

/// What the microphone has for the window, and what was asked of it.
pub struct Tape {
    pub samples: Vec<f32>,
    pub state: InputState,
    pub clipped: u64,
    pub opened: Vec<DeviceWish>,
    pub retried: usize,
    pub closed: usize,
}

struct Player(Arc<Mutex<Tape>>);

impl Microphone for Player {
    fn read(&mut self, out: &mut Vec<f32>) -> usize {
        let samples = &mut self.0.lock().unwrap().samples;
        let count = samples.len().min(FRAME);
        out.extend(samples.drain(..count));
        count
    }
    fn poll(&mut self) -> EarState {
        let tape = self.0.lock().unwrap();
        EarState {
            state: tape.state.clone(),
            level_db: -20.0,
            clipped: tape.clipped,
            lost: 0,
            dropouts: 0,
            stream: 1,
        }
    }
    fn rate(&self) -> Option<SampleRate> {
        Some(SampleRate::from_hz(RATE_HZ))
    }
    fn take(&mut self, wish: DeviceWish) {
        self.0.lock().unwrap().opened.push(wish);
    }
    fn retry(&mut self) {
        self.0.lock().unwrap().retried += 1;
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        self.0.lock().unwrap().closed += 1;
    }
}

/// Gives the window a microphone with an empty tape in it.
pub fn put_tape_in(session: &mut Session) -> Arc<Mutex<Tape>> {
    let tape = Arc::new(Mutex::new(Tape {
        samples: Vec::new(),
        state: InputState::Listening {
            host: "tape".to_owned(),
            device: "a reel".to_owned(),
            rate_hz: RATE_HZ as u32,
            channels: 1,
            buffer_frames: 256,
        },
        clipped: 0,
        opened: Vec::new(),
        retried: 0,
        closed: 0,
    }));
    let reel = Arc::clone(&tape);
    session.hear_with(Box::new(move |wish| {
        reel.lock().unwrap().opened.push(wish);
        Ok(Box::new(Player(Arc::clone(&reel))))
    }));
    tape
}
