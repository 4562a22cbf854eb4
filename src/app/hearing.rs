//! The microphone of the tuner, and the thread that listens to what comes from it.
//!
//! The window reads the microphone once a frame and passes the sound on; what is heard in it, and what that says about a
//! bottle, takes milliseconds and more and is worked out on a thread of its own. Nothing here opens a microphone before
//! somebody asks for it.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use crate::listen::strike::{Strike, together};
use crate::listen::taps::TapListener;
use crate::listen::walk::is_clear;
use crate::listen::{HeardNote, ListenError, Listener};
use crate::live::{DeviceWish, Ear, EarState};
use crate::units::{Frequency, SampleRate};

use super::judge::Scene;
use super::tuner::{Heard, Point};

/// Softer than this is no tone worth a look, dB.
const SOFTEST_DB: f64 = -66.0;
/// What sounds is looked at so often, s.
const LOOK_S: f64 = 0.1;
/// Sound that may wait to be listened to, s.
const MOST_WAITING_S: f64 = 4.0;
/// A pitch listened for that moves by less is still the same, cents.
const SAME_CENTS: f64 = 30.0;

/// Something that hears, or plays what a test has for it.
pub trait Microphone: Send {
    /// Appends what was heard since the last call, mono, full scale 1; never waits.
    fn read(&mut self, out: &mut Vec<f32>) -> usize;
    /// How it is; never waits.
    fn poll(&mut self) -> EarState;
    /// The rate of what was read last.
    fn rate(&self) -> Option<SampleRate>;
    /// Takes another input.
    fn take(&mut self, wish: DeviceWish);
    /// Tries again now.
    fn retry(&mut self);
}

impl Microphone for Ear {
    fn read(&mut self, out: &mut Vec<f32>) -> usize {
        Ear::read(self, out)
    }

    fn poll(&mut self) -> EarState {
        Ear::poll(self)
    }

    fn rate(&self) -> Option<SampleRate> {
        Ear::rate(self)
    }

    fn take(&mut self, wish: DeviceWish) {
        Ear::take(self, wish);
    }

    fn retry(&mut self) {
        Ear::retry(self);
    }
}

/// Opens a microphone.
pub type Opener = Box<dyn FnMut(DeviceWish) -> std::io::Result<Box<dyn Microphone>>>;

/// What the thread has to say.
pub(super) enum Told {
    /// A bottle.
    Heard(Box<Heard>, Option<Point>),
    /// What sounded sounds no more.
    Silent,
    /// What was heard before is none of the bottles that are asked for now.
    Nothing,
    /// So much was listened to, s.
    Clock(f64),
    /// This sound cannot be listened to.
    Failed(String),
}

enum Order {
    Scene(Arc<Scene>),
    Sound {
        rate: SampleRate,
        stream: u32,
        samples: Vec<f32>,
    },
    /// The microphone was closed.
    End,
    /// Another set.
    Forget,
}

/// The microphone and its thread.
pub(super) struct Hearing {
    pub(super) open: Opener,
    pub(super) microphone: Option<Box<dyn Microphone>>,
    thread: Option<(Sender<Order>, Receiver<Told>)>,
    /// Frames that wait for the thread.
    waiting: Arc<AtomicU64>,
    samples: Vec<f32>,
    /// What the scene is of: the revision of the models, the selected bottle, the wishes.
    known: Option<(u64, Option<usize>, bool, f64)>,
}

impl Default for Hearing {
    fn default() -> Self {
        Self {
            open: Box::new(|wish| Ok(Box::new(Ear::start(wish)?))),
            microphone: None,
            thread: None,
            waiting: Arc::default(),
            samples: Vec::new(),
            known: None,
        }
    }
}

impl Hearing {
    /// Opens the microphone.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(super) fn start(&mut self, wish: DeviceWish) -> std::io::Result<()> {
        if self.thread.is_none() {
            let (orders, ordered) = mpsc::channel();
            let (tell, told) = mpsc::channel();
            let waiting = Arc::clone(&self.waiting);
            let listen = move || Listening::new(tell, waiting).run(&ordered);
            thread::Builder::new()
                .name("ullage-tuner".to_owned())
                .spawn(listen)?;
            self.thread = Some((orders, told));
            self.known = None;
        }
        self.microphone = Some((self.open)(wish)?);
        Ok(())
    }

    /// Closes it.
    pub(super) fn stop(&mut self) {
        let Some(microphone) = self.microphone.take() else {
            return;
        };
        // A driver may take its time. Without a thread it is closed here.
        let closing = thread::Builder::new().name("ullage-tuner-close".to_owned());
        let _ = closing.spawn(move || drop(microphone));
        self.order(Order::End);
    }

    /// Forgets what was heard of another set.
    pub(super) fn forget(&mut self) {
        self.known = None;
        self.order(Order::Forget);
    }

    /// Whether somebody listens.
    pub(super) fn is_known(&self, now: (u64, Option<usize>, bool, f64)) -> bool {
        self.thread.is_none() || self.known == Some(now)
    }

    /// What is to be listened for from now on.
    pub(super) fn know(&mut self, now: (u64, Option<usize>, bool, f64), scene: Scene) {
        self.known = Some(now);
        self.order(Order::Scene(Arc::new(scene)));
    }

    /// Passes on what the microphone has; tells how it is, and how many frames there was no time for.
    pub(super) fn pass(&mut self) -> Option<(EarState, u64)> {
        let microphone = self.microphone.as_mut()?;
        self.samples.clear();
        microphone.read(&mut self.samples);
        let state = microphone.poll();
        let (Some(rate), false) = (microphone.rate(), self.samples.is_empty()) else {
            return Some((state, 0));
        };
        let frames = self.samples.len() as u64;
        let waiting = self.waiting.load(Ordering::Relaxed);
        if waiting > 0 && (waiting + frames) as f64 > MOST_WAITING_S * rate.hz() {
            return Some((state, frames));
        }
        self.waiting.fetch_add(frames, Ordering::Relaxed);
        let (stream, samples) = (state.stream, self.samples.clone());
        self.order(Order::Sound {
            rate,
            stream,
            samples,
        });
        Some((state, 0))
    }

    /// What the thread has said since the last time.
    pub(super) fn told(&self) -> Vec<Told> {
        let told = self.thread.as_ref().map(|(_, told)| told.try_iter());
        told.into_iter().flatten().collect()
    }

    fn order(&self, order: Order) {
        if let Some((orders, _)) = &self.thread {
            // The thread ends only when this is dropped.
            let _ = orders.send(order);
        }
    }
}

/// To breath or to a mallet.
enum Kind {
    Blown(Box<Listener>),
    Struck(TapListener),
}

/// What a bottle was heard by.
enum Raw {
    Note(HeardNote),
    Strike(Strike),
}

/// The thread.
struct Listening {
    tell: Sender<Told>,
    waiting: Arc<AtomicU64>,
    scene: Option<Arc<Scene>>,
    expected: Vec<Frequency>,
    kind: Option<(u32, Kind)>,
    /// The bottle that was heard last, by what, and whether it sounds still.
    last: Option<(usize, Raw, bool)>,
    clock_s: f64,
    looked_s: f64,
}

impl Listening {
    fn new(tell: Sender<Told>, waiting: Arc<AtomicU64>) -> Self {
        Self {
            tell,
            waiting,
            scene: None,
            expected: Vec::new(),
            kind: None,
            last: None,
            clock_s: 0.0,
            looked_s: 0.0,
        }
    }

    fn run(mut self, orders: &Receiver<Order>) {
        while let Ok(order) = orders.recv() {
            match order {
                Order::Scene(scene) => self.look_for(scene),
                Order::Sound {
                    rate,
                    stream,
                    samples,
                } => {
                    self.hear(rate, stream, &samples);
                    let frames = samples.len() as u64;
                    self.waiting.fetch_sub(frames, Ordering::Relaxed);
                }
                Order::End => self.end(),
                Order::Forget => {
                    (self.kind, self.last, self.scene) = (None, None, None);
                }
            }
        }
    }

    /// The window is gone where nobody takes it.
    fn say(&self, told: Told) {
        let _ = self.tell.send(told);
    }

    /// Listens for what `scene` has from now on, and judges anew what was heard last.
    fn look_for(&mut self, scene: Arc<Scene>) {
        let expected = scene.expected();
        let is_near =
            |(a, b): (&Frequency, &Frequency)| a.interval_above(*b).cents().abs() < SAME_CENTS;
        let same = expected.len() == self.expected.len()
            && expected.iter().zip(&self.expected).all(is_near);
        let wants_taps = scene.is_struck();
        let hears_taps = matches!(self.kind, Some((_, Kind::Struck(_))));
        if !same || wants_taps != hears_taps {
            self.end();
            self.expected = expected;
        }
        self.scene = Some(scene);
        if let Some((index, raw, sounds)) = self.last.take() {
            match self.judged(&raw) {
                Some(heard) if heard.index == index => self.tell_of(raw, heard, sounds, false),
                _ => self.say(Told::Nothing),
            }
        }
    }

    fn judged(&self, raw: &Raw) -> Option<Heard> {
        let scene = self.scene.as_ref()?;
        match raw {
            Raw::Note(note) => scene.of_note(note),
            Raw::Strike(strike) => scene.of_strike(strike),
        }
    }

    fn tell_of(&mut self, raw: Raw, mut heard: Heard, sounds: bool, is_new: bool) {
        heard.sounds = sounds;
        let index = heard.index;
        let point = is_new.then_some(Point {
            at_s: self.clock_s,
            cents: heard.off.cents(),
            index,
        });
        self.say(Told::Heard(Box::new(heard), point));
        self.last = Some((index, raw, sounds));
    }

    fn hear(&mut self, rate: SampleRate, stream: u32, samples: &[f32]) {
        if self.kind.as_ref().is_none_or(|(known, _)| *known != stream) {
            self.end();
            match self.begin(rate) {
                Ok(kind) => self.kind = Some((stream, kind)),
                Err(error) => return self.say(Told::Failed(error.to_string())),
            }
        }
        let piece = (LOOK_S * rate.hz()) as usize;
        for piece in samples.chunks(piece.max(1)) {
            match &mut self.kind {
                Some((_, Kind::Blown(listener))) => listener.push(piece),
                Some((_, Kind::Struck(listener))) => listener.push(piece),
                None => {}
            }
            self.clock_s += piece.len() as f64 / rate.hz();
            self.ended();
            self.now();
        }
        self.say(Told::Clock(self.clock_s));
    }

    fn begin(&self, rate: SampleRate) -> Result<Kind, ListenError> {
        let struck = self.scene.as_ref().is_some_and(|scene| scene.is_struck());
        Ok(if struck {
            Kind::Struck(TapListener::new(rate)?)
        } else {
            Kind::Blown(Box::new(Listener::new(rate, &self.expected)?))
        })
    }

    /// Tells of what has ended.
    fn ended(&mut self) {
        let raws: Vec<Raw> = match &mut self.kind {
            Some((_, Kind::Blown(listener))) => {
                let notes = listener.heard().into_iter().filter(is_worth_it);
                notes.map(Raw::Note).collect()
            }
            Some((_, Kind::Struck(listener))) => {
                let taps = listener.heard();
                let strikes = taps
                    .iter()
                    .filter_map(|tap| together(std::slice::from_ref(tap)));
                strikes.map(Raw::Strike).collect()
            }
            None => Vec::new(),
        };
        for raw in raws {
            // What sounds has its points already.
            let is_new = matches!(raw, Raw::Strike(_));
            if let Some(heard) = self.judged(&raw) {
                self.tell_of(raw, heard, false, is_new);
            }
        }
    }

    /// Tells of what sounds.
    fn now(&mut self) {
        if self.clock_s - self.looked_s < 0.99 * LOOK_S {
            return;
        }
        self.looked_s = self.clock_s;
        let now = match &self.kind {
            Some((_, Kind::Blown(listener))) => listener.now(),
            _ => None,
        };
        if let Some(note) = now.filter(is_worth_it) {
            let raw = Raw::Note(note);
            if let Some(heard) = self.judged(&raw) {
                return self.tell_of(raw, heard, true, true);
            }
        }
        if let Some((_, _, sounds @ true)) = &mut self.last {
            *sounds = false;
            self.say(Told::Silent);
        }
    }

    /// The stream has ended, or something else is listened for.
    fn end(&mut self) {
        match &mut self.kind {
            Some((_, Kind::Blown(listener))) => listener.finish(),
            Some((_, Kind::Struck(listener))) => listener.finish(),
            None => return,
        }
        self.ended();
        self.kind = None;
        if let Some((_, _, sounds @ true)) = &mut self.last {
            *sounds = false;
            self.say(Told::Silent);
        }
    }
}

fn is_worth_it(note: &HeardNote) -> bool {
    is_clear(note) && note.level.db() >= SOFTEST_DB
}
