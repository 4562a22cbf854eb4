//! The microphone of the tuner, and the thread that listens to what comes from it.
//!
//! The window reads the microphone once a frame and passes the sound on; what is heard in it, and what that says about a
//! bottle, takes milliseconds and more and is worked out on a thread of its own, by the tuner's [`Listening`]. Nothing here
//! opens a microphone before somebody asks for it.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use super::pouring::PourNow;
use crate::index::PourIndex;
use crate::listen::ListenError;
use crate::live::{DeviceWish, Ear, EarState};
use crate::set::{Pour, Set};
use crate::tuner::filling::{Filling, FillingError, HowFilled, Step};
use crate::tuner::{Judge, ListenFor, Listening, Told};
use crate::units::{Interval, SampleRate};

/// Sound that may wait to be listened to, s.
const MOST_WAITING_S: f64 = 4.0;
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

/// What is listened for.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    /// As it stands.
    pub set: Set,
    /// Which bottles of it.
    pub listen_for: ListenFor,
}

/// What a scene is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SceneOf {
    /// Of the models.
    pub revision: u64,
    /// The selected bottle.
    pub selected: Option<PourIndex>,
    /// The wishes.
    pub follows: bool,
    pub within_cents: f64,
}

/// What the thread has to say: of what was heard, or that this sound cannot be listened to.
pub(super) type Said = Result<Told, ListenError>;

/// A pour that is to be followed.
pub(super) struct PourOrder {
    pub index: PourIndex,
    pub set: Set,
    pub pour: Pour,
    pub how: HowFilled,
}

/// What the thread has to say of it.
pub(super) enum PourSaid {
    Now(PourNow),
    Failed(FillingError),
}

enum Order {
    Pour(Option<Box<PourOrder>>),
    Scene(Box<Scene>),
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
    thread: Option<(Sender<Order>, Receiver<Said>)>,
    poured: Option<Receiver<PourSaid>>,
    /// Frames that wait for the thread.
    waiting: Arc<AtomicU64>,
    samples: Vec<f32>,
    /// What is listened for.
    known: Option<SceneOf>,
}

impl Default for Hearing {
    fn default() -> Self {
        Self {
            open: Box::new(|wish| Ok(Box::new(Ear::start(wish)?))),
            microphone: None,
            thread: None,
            poured: None,
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
            let (tell_poured, poured) = mpsc::channel();
            let waiting = Arc::clone(&self.waiting);
            let listen = move || listen(&ordered, &tell, &tell_poured, &waiting);
            thread::Builder::new()
                .name("ullage-tuner".to_owned())
                .spawn(listen)?;
            self.thread = Some((orders, told));
            self.poured = Some(poured);
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

    /// Nobody listens, or this is listened for already.
    pub(super) fn is_known(&self, now: SceneOf) -> bool {
        self.thread.is_none() || self.known == Some(now)
    }

    /// What is to be listened for from now on.
    pub(super) fn know(&mut self, now: SceneOf, scene: Scene) {
        self.known = Some(now);
        self.order(Order::Scene(Box::new(scene)));
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
    pub(super) fn told(&self) -> Vec<Said> {
        let told = self.thread.as_ref().map(|(_, told)| told.try_iter());
        told.into_iter().flatten().collect()
    }

    /// Follows a pour from now on, or none.
    pub(super) fn pour(&self, order: Option<PourOrder>) {
        self.order(Order::Pour(order.map(Box::new)));
    }

    /// What the thread has said of the pour since the last time.
    pub(super) fn poured(&self) -> Vec<PourSaid> {
        self.poured.iter().flat_map(Receiver::try_iter).collect()
    }

    fn order(&self, order: Order) {
        if let Some((orders, _)) = &self.thread {
            // The thread ends only when this is dropped.
            let _ = orders.send(order);
        }
    }
}

/// A pour that is followed on the thread.
struct Following {
    order: Box<PourOrder>,
    filling: Option<(u32, Filling)>,
}

impl Following {
    /// Takes sound; tells how the pour stands, and whether it is over and the sound is for the tuner.
    fn hear(&mut self, rate: SampleRate, stream: u32, samples: &[f32]) -> (PourSaid, bool) {
        // A stream that begins anew has lost what was poured meanwhile.
        if self
            .filling
            .as_ref()
            .is_none_or(|(known, _)| *known != stream)
        {
            let PourOrder { set, pour, how, .. } = &*self.order;
            match Filling::new(set, pour, how, rate) {
                Ok(filling) => self.filling = Some((stream, filling)),
                Err(error) => return (PourSaid::Failed(error), false),
            }
        }
        let (_, filling) = self
            .filling
            .as_mut()
            .expect("it was made if there was none");
        if filling.step() != Step::Blow {
            filling.hear(samples);
        }
        let is_over = filling.step() == Step::Blow;
        (self.said(None), is_over)
    }

    /// What the note says that was blown after it.
    fn learn(&mut self, told: &[Told]) -> Option<PourSaid> {
        let note = told.iter().find_map(|told| match told {
            Told::Heard(heard) if !heard.sounds => heard.verdict.as_ref(),
            _ => None,
        })?;
        let (_, filling) = self.filling.as_mut()?;
        let reading = filling.blown(note.frequency);
        Some(self.said(Some((reading.off, reading.off_plus_minus))))
    }

    fn said(&self, learnt: Option<(Interval, Interval)>) -> PourSaid {
        let filling = self.filling.as_ref().map(|(_, filling)| filling);
        PourSaid::Now(PourNow {
            index: self.order.index,
            step: filling.map_or(Step::Quiet, Filling::step),
            reading: filling.and_then(|filling| filling.reading().copied()),
            learnt,
        })
    }
}

/// The thread: until the window is gone.
fn listen(
    orders: &Receiver<Order>,
    tell: &Sender<Said>,
    tell_poured: &Sender<PourSaid>,
    waiting: &AtomicU64,
) {
    let mut listening = Listening::new(false, Vec::new());
    let mut following: Option<Following> = None;
    while let Ok(order) = orders.recv() {
        let told = match order {
            Order::Pour(order) => {
                following = order.map(|order| Following {
                    order,
                    filling: None,
                });
                Ok(Vec::new())
            }
            Order::Scene(scene) => {
                let judge = Judge::new(scene.set, &scene.listen_for);
                Ok(listening.listen_for(Arc::new(judge)))
            }
            Order::Sound {
                rate,
                stream,
                samples,
            } => {
                let poured = following
                    .as_mut()
                    .map(|pour| pour.hear(rate, stream, &samples));
                let is_poured = matches!(poured, Some((_, false)));
                let has_failed = matches!(poured, Some((PourSaid::Failed(_), _)));
                if let Some((said, _)) = poured {
                    let _ = tell_poured.send(said);
                }
                // What is poured is no note.
                let told = match is_poured {
                    true => Ok(Vec::new()),
                    false => listening.hear(rate, stream, &samples),
                };
                if let (Some(pour), Ok(told), false) = (&mut following, &told, is_poured)
                    && let Some(said) = pour.learn(told)
                {
                    let _ = tell_poured.send(said);
                    following = None;
                }
                if has_failed {
                    following = None;
                }
                waiting.fetch_sub(samples.len() as u64, Ordering::Relaxed);
                told
            }
            Order::End => Ok(listening.end()),
            Order::Forget => {
                listening.forget();
                Ok(Vec::new())
            }
        };
        let said = match told {
            Ok(told) => told.into_iter().map(Ok).collect(),
            Err(error) => vec![Err(error)],
        };
        for one in said {
            // The window is gone where nobody takes it.
            let _ = tell.send(one);
        }
    }
}
