//! A window whose microphone plays what a test puts on its tape.

use std::f64::consts::TAU;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use ullage::app::{Ask, KeySink, Microphone, Panel, Session, Sound, ViewAsk};
use ullage::index::PourIndex;
use ullage::live::{DeskState, DeviceWish, EarState, InputState, RecordError, Recorded, Sink};
use ullage::physics::prediction::Blown;
use ullage::sounding::Sounded;
use ullage::synth::{Command, EngineSpec};
use ullage::tuner::Verdict;
use ullage::units::{SampleRate, Volume};

use crate::common::files::{Folder, QUAY_SET};
use crate::common::measure::cents;
use crate::common::voices::{bank, left, seconds, spec, tongue};
use crate::{copied, drawn, session, without_card};

pub const RATE_HZ: f64 = 48_000.0;
/// Sound that a frame brings, samples.
pub const FRAME: usize = 2400;

/// No card: the window says so and works.
struct NoCard(DeskState);

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

pub struct Rig {
    pub harness: Harness<'static, Session>,
    pub tape: Arc<Mutex<Tape>>,
    pub path: PathBuf,
    played_s: f64,
    _folder: Folder,
}

pub fn rig_of(set: &str) -> Rig {
    let (folder, document) = copied(set);
    let path = document.path.clone();
    let no_card = Box::new(NoCard(without_card(&document)));
    let mut session = session(document, no_card, DeviceWish::default());
    let tape = Arc::new(Mutex::new(Tape {
        samples: Vec::new(),
        state: InputState::Listening {
            host: "tape".to_owned(),
            device: "a reel".to_owned(),
            rate_hz: 48_000,
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
    session.apply(ViewAsk::Panel(Panel::Tuner));
    let mut harness = drawn(session, [1200.0, 900.0]);
    harness.run_steps(14);
    Rig {
        harness,
        tape,
        path,
        played_s: 0.0,
        _folder: folder,
    }
}

pub fn rig() -> Rig {
    rig_of(QUAY_SET)
}

impl Rig {
    pub fn session(&self) -> &Session {
        self.harness.state()
    }

    pub fn ask(&mut self, ask: impl Into<Ask>) {
        self.harness.state_mut().apply(ask);
        self.harness.run_steps(2);
    }

    pub fn index(&self, note: &str) -> PourIndex {
        crate::index(self.session(), note)
    }

    pub fn select(&mut self, note: &str) -> PourIndex {
        let index = self.index(note);
        self.ask(ViewAsk::Select(index));
        index
    }

    pub fn sees(&self, text: &str) -> bool {
        crate::sees(&self.harness, text)
    }

    pub fn click(&mut self, label: &str) {
        crate::click(&mut self.harness, label);
    }

    pub fn opened(&self) -> usize {
        self.tape.lock().unwrap().opened.len()
    }

    /// Draws frames until `is_so`, half a minute at most.
    pub fn until(&mut self, what: &str, is_so: impl Fn(&Self) -> bool) {
        let since = Instant::now();
        while !is_so(self) {
            assert!(since.elapsed() < Duration::from_secs(30), "never: {what}");
            std::thread::sleep(Duration::from_millis(2));
            self.harness.step();
        }
        self.harness.run_steps(2);
    }

    /// Plays into the microphone, a frame of the window for each of its pieces, until all of it was listened to.
    pub fn play(&mut self, samples: &[f32]) {
        self.tape.lock().unwrap().samples.extend(samples);
        self.played_s += samples.len() as f64 / RATE_HZ;
        let played_s = self.played_s;
        self.until("all of it was listened to", |rig| {
            rig.session().state.tuner.clock_s > played_s - 1e-6
        });
    }

    pub fn heard(&self) -> &Verdict {
        self.session().state.tuner.heard.as_ref().unwrap()
    }

    /// Cents from what was heard to what the model says of the same bottle.
    pub fn apart_cents(&self) -> f64 {
        let heard = self.heard();
        let says = self.session().derived().bottles[heard.pour.unwrap()]
            .hz()
            .unwrap();
        cents(says, heard.frequency.hz())
    }

    /// What a bottle of the set gives with `fill` in it, in the room as it is.
    pub fn gives(&self, index: PourIndex, fill: Volume) -> (f64, f64) {
        let document = &self.session().document();
        let kind = document.model.pours[index].kind;
        let bottle = &document.fixed.kinds[kind].bottle;
        let blown = Blown::new(bottle, &document.model.conditions).unwrap();
        let found = blown.fundamental(fill).unwrap();
        (found.frequency.hz(), found.quality)
    }

    pub fn fill(&self, index: PourIndex) -> Volume {
        self.session().document().model.fill(index).unwrap()
    }
}

/// A bottle that is blown for a second and rings down, as its voice sounds.
pub fn blown(hz: f64, q: f64) -> Vec<f32> {
    let mut bank = bank(&[spec(hz, q).with_seed(5)], RATE_HZ);
    tongue(&mut bank, 4000, 0, 2.5);
    let mut samples = left(&mut bank, seconds(RATE_HZ, 1.2));
    samples.extend(vec![0.0; seconds(RATE_HZ, 0.4)]);
    samples
}

/// The same for one that is tapped.
pub fn tapped(sounded: &Sounded) -> Vec<f32> {
    let mut sound = vec![0.0f64; seconds(RATE_HZ, 1.8)];
    for mode in sounded.modes() {
        let (hz, strength) = (mode.frequency.hz(), 0.3 * mode.level.gain());
        let fall = 6.907_755 / mode.decay().s();
        for (n, x) in sound[seconds(RATE_HZ, 0.3)..].iter_mut().enumerate() {
            let t = n as f64 / RATE_HZ;
            *x += strength * (-fall * t).exp() * (TAU * hz * t).sin();
        }
    }
    sound.into_iter().map(|x| x as f32).collect()
}
