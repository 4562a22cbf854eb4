//! The window without a display, a sound card or a microphone.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use ullage::app::{
    Derived, Document, EngineOptions, KeySink, Microphone, Session, Settings, Setup, Sound,
    TunerAsk, ViewAsk,
};
use ullage::index::PourIndex;
use ullage::live::{
    DeskState, DeviceWish, EarState, InputState, OutputState, RecordError, Recorded, Sink,
};
use ullage::synth::{EngineSpec, Meters};
use ullage::tuner::Verdict;
use ullage::units::{Level, SampleRate, Temperature};

use super::sound::RATE_HZ;

/// The window in another room, as `play` opens it.
pub fn in_room(set: &Path, temp_c: f64) -> Document {
    let document = Document::open(set).unwrap();
    let mut conditions = document.model.conditions.clone();
    conditions.room.temperature = Temperature::from_c(temp_c);
    document.in_room(conditions)
}

/// What it shows of a note.
pub fn shown_hz(document: &Document, note: &str) -> f64 {
    let derived = Derived::new(&document.model, &document.fixed);
    let mut bottles = derived.bottles.iter();
    let bottle = bottles.find(|bottle| bottle.note.to_string() == note);
    bottle.and_then(|bottle| bottle.hz()).unwrap()
}

/// No sound card.
struct NoCard(DeskState);

impl Sound for NoCard {
    fn send(&mut self, _command: ullage::synth::Command) -> bool {
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

/// A microphone that hears this.
struct Tape(Arc<Mutex<Vec<f32>>>);

impl Microphone for Tape {
    fn read(&mut self, out: &mut Vec<f32>) -> usize {
        let mut samples = self.0.lock().unwrap();
        let count = samples.len().min(2_400);
        out.extend(samples.drain(..count));
        count
    }
    fn poll(&mut self) -> EarState {
        EarState {
            state: InputState::Listening {
                host: "tape".to_owned(),
                device: "a reel".to_owned(),
                rate_hz: RATE_HZ as u32,
                channels: 1,
                buffer_frames: 256,
            },
            level_db: -20.0,
            clipped: 0,
            lost: 0,
            dropouts: 0,
            stream: 1,
        }
    }
    fn rate(&self) -> Option<SampleRate> {
        Some(SampleRate::from_hz(RATE_HZ))
    }
    fn take(&mut self, _wish: DeviceWish) {}
    fn retry(&mut self) {}
}

pub fn session(document: Document) -> Session {
    let desk = DeskState {
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
    Session::new(Setup {
        document,
        engine: EngineOptions {
            level: Level::from_db(-12.0),
            dry: true,
            nearest: false,
            channels: u16::MAX,
        },
        output: DeviceWish::default(),
        sound: Box::new(NoCard(desk)),
        settings: Settings::default(),
        settings_place: None,
    })
}

/// What the tuner says of a bottle that sounds like this.
pub fn tuner(document: Document, note: &str, samples: &[f32]) -> Verdict {
    let mut session = session(document);
    let tape = Arc::new(Mutex::new(samples.to_vec()));
    session.hear_with(Box::new(move |_| Ok(Box::new(Tape(Arc::clone(&tape))))));
    let mut notes = session.derived().bottles.iter().map(|b| b.note.to_string());
    let index = notes.position(|known| known == note).map(PourIndex::new);
    let index = index.unwrap();
    session.apply(ViewAsk::Select(index));
    session.apply(TunerAsk::Listen);
    let (since, long_s) = (Instant::now(), samples.len() as f64 / RATE_HZ);
    while session.state.tuner.clock_s < long_s - 1e-6 {
        assert!(
            since.elapsed() < Duration::from_secs(60),
            "it does not listen"
        );
        std::thread::sleep(Duration::from_millis(2));
        session.poll();
    }
    session.state.tuner.of(index).unwrap().clone()
}
