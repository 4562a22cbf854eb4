//! The thread that owns the stream: opens it, watches it, and builds it again when it is lost.
//!
//! A stream is never dropped from its own callbacks, which can block for ever; they only tell, here it is done.
//! Between two streams the renderer comes home and runs by the wall clock.

use std::io;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use cpal::{BufferSize, ErrorKind};

use super::bridge::{Gauges, Install, Lease, OwnerWires, Retired};
use super::device::{Choice, DeviceWish, OutputError, RATE_HZ, choose};
use super::growth::{Break, Growth};
use super::health::{Health, Retry, Verdict};
use super::memory::Memory;
use super::midi::Ask;
use super::recorder::Tap;
use super::render::Renderer;
use super::silent::SilentClock;
use super::stream::{self, Open};
use crate::synth::{Engine, EngineError, EngineSpec};
use crate::units::SampleRate;

/// How often the thread looks round.
const LOOK: Duration = Duration::from_millis(5);
/// Time for everything to fade out at the end.
const FAREWELL: Duration = Duration::from_millis(80);
/// How often it looks at the size of callbacks: some servers change it while they run.
const SIZES: Duration = Duration::from_secs(1);
/// Time for a driver to give the renderer back after its stream was dropped.
const HOMECOMING: Duration = Duration::from_secs(2);

/// What the thread is asked for.
pub(super) enum Order {
    Output(DeviceWish),
    Retry,
    Replace(Box<EngineSpec>),
    Tap(Option<Tap>),
    Quit,
}

/// The sound system that MIDI may share with the sound.
const JACK: &str = "jack";
/// Time for the MIDI thread to hang up.
const HANGING_UP: Duration = Duration::from_secs(2);

/// Where the sound goes.
#[derive(Clone, Debug, PartialEq)]
pub enum OutputState {
    /// A device is being opened.
    Opening,
    /// Out of a sound card.
    Playing {
        /// The sound system.
        host: String,
        /// The device.
        device: String,
        /// Samples a second.
        rate_hz: u32,
        /// Frames a callback, as the device says or as they come.
        buffer_frames: u32,
        /// Frames a callback at first, if the sound broke up with so few and more were asked for.
        grown_from: Option<u32>,
        /// From a command to the air, ms: a callback, the ceiling's look-ahead, and what the device says of itself.
        latency_ms: f64,
    },
    /// Nowhere; everything else goes on.
    Silent {
        /// In one line.
        because: String,
    },
}

/// What the thread tells the desk.
pub(super) enum News {
    Output(OutputState),
    Rate(u32),
}

/// What the thread shares with others.
pub(super) struct Shared {
    pub gauges: Arc<Gauges>,
    pub dropouts: Arc<AtomicU32>,
    pub memory: Arc<Mutex<Memory>>,
    pub midi: Sender<Ask>,
}

/// Starts the thread.
pub(super) fn start(
    renderer: Renderer,
    wires: OwnerWires,
    shared: Shared,
    (spec, wish): (EngineSpec, DeviceWish),
) -> io::Result<(Sender<Order>, Receiver<News>, JoinHandle<()>)> {
    let (orders, ordered) = mpsc::channel();
    let (news, told) = mpsc::channel();
    let (home, homecoming) = mpsc::channel();
    let thread = thread::Builder::new()
        .name("ullage-audio".to_owned())
        .spawn(move || {
            let now = Instant::now();
            let mut owner = Owner {
                renderer: Some(Box::new(renderer)),
                open: None,
                home,
                homecoming,
                wires,
                shared,
                spec,
                growth: Growth::new(wish.buffer_frames),
                wish,
                news,
                sizes_at: now,
                health: Health::new(now),
                retry: Retry::default(),
                clock: SilentClock::started(now),
                has_played: false,
                delay_frames: 0,
            };
            owner.open();
            owner.run(&ordered);
        })?;
    Ok((orders, told, thread))
}

struct Owner {
    /// At home while no stream is open.
    renderer: Option<Box<Renderer>>,
    open: Option<Open>,
    home: Sender<Box<Renderer>>,
    homecoming: Receiver<Box<Renderer>>,
    wires: OwnerWires,
    shared: Shared,
    spec: EngineSpec,
    wish: DeviceWish,
    /// How many frames the card is asked for.
    growth: Growth,
    news: Sender<News>,
    /// When the size of callbacks is looked at next.
    sizes_at: Instant,
    health: Health,
    retry: Retry,
    clock: SilentClock,
    has_played: bool,
    /// What the engine adds to the latency.
    delay_frames: usize,
}

impl Owner {
    fn run(&mut self, orders: &Receiver<Order>) {
        loop {
            match orders.recv_timeout(LOOK) {
                Ok(Order::Quit) | Err(RecvTimeoutError::Disconnected) => return self.leave(),
                Ok(order) => self.obey(order),
                Err(RecvTimeoutError::Timeout) => {}
            }
            self.look(Instant::now());
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Output(wish) => {
                self.growth = Growth::new(wish.buffer_frames);
                self.wish = wish;
                self.retry = Retry::default();
                self.reopen();
            }
            Order::Retry => {
                self.retry = Retry::default();
                if self.open.is_none() {
                    self.reopen();
                }
            }
            Order::Replace(spec) => self.replace(*spec),
            Order::Tap(tap) => self.install(Install::Tap(tap)),
            Order::Quit => {}
        }
    }

    fn look(&mut self, now: Instant) {
        self.take_back();
        if let Some(open) = &mut self.open {
            let callbacks = self.shared.gauges.callbacks();
            let before = self.health.dropouts();
            while let Ok(error) = open.troubles.pop() {
                self.health.note(&error, now);
            }
            let verdict = self.health.verdict(callbacks, now);
            let dropouts = self.health.dropouts();
            self.shared.dropouts.store(dropouts, Ordering::Relaxed);
            match verdict {
                Verdict::Well => {
                    if dropouts > before && self.growth.broke(Break::Dropout, now) {
                        self.reopen();
                    } else {
                        self.follow_sizes(now);
                    }
                }
                Verdict::Lost { because, is_worn } => {
                    if is_worn {
                        // How much is asked for next time: it is opened again in any case.
                        let _ = self.growth.broke(Break::Loss, now);
                    }
                    self.lose(&because, now);
                }
                Verdict::Stuck { because } => {
                    // What has stopped answering may be unplugged: the system's default may be another by now.
                    self.wish.device = None;
                    let _ = self.growth.broke(Break::Loss, now);
                    self.lose(&because, now);
                }
            }
        } else {
            if let Some(renderer) = &mut self.renderer {
                self.clock.drive(renderer, now);
            }
            if self.retry.is_due(now) {
                // A card that never was is only looked for: nothing else changes until it is there.
                if self.has_played || choose(&self.wish).is_ok() {
                    self.reopen();
                } else {
                    self.retry.later(now);
                }
            }
        }
    }

    /// Tells of callbacks of another size than the last that was told of.
    fn follow_sizes(&mut self, now: Instant) {
        if now < self.sizes_at {
            return;
        }
        self.sizes_at = now + SIZES;
        let largest = self.shared.gauges.take_largest();
        if let (Some(open), Some(largest)) = (&mut self.open, largest)
            && open.frames != largest
        {
            open.frames = largest;
            self.growth.gave(largest);
            self.tell_playing();
        }
    }

    fn tell_playing(&self) {
        if let Some(open) = &self.open {
            let grown_from = self.growth.grown_from();
            self.tell(open.state(self.delay_frames, &self.shared.gauges, grown_from));
        }
    }

    /// What is wished for, with as many frames as have proved to be needed.
    fn wished(&self) -> DeviceWish {
        DeviceWish {
            buffer_frames: Some(self.growth.frames()),
            ..self.wish.clone()
        }
    }

    /// Drops what the callback has given up. A new engine has come in then: it is told what the old one knew.
    fn take_back(&mut self) {
        while let Ok(retired) = self.wires.retired.pop() {
            match retired {
                Retired::Engine(engine) => {
                    drop(engine);
                    self.remind();
                }
                Retired::Tap(tap) => drop(tap),
            }
        }
    }

    fn remind(&mut self) {
        for command in recall(&self.shared.memory) {
            self.install(Install::Command(command));
        }
    }

    fn install(&mut self, install: Install) {
        // Only a callback that has stopped for good fills this queue: the watchdog comes next.
        let _ = self.wires.installs.push(install);
    }

    fn replace(&mut self, spec: EngineSpec) {
        let rate_hz = match (&self.open, &self.renderer) {
            (Some(open), _) => open.rate_hz,
            (None, Some(renderer)) => renderer.rate_hz(),
            (None, None) => return,
        };
        match engine(&spec, rate_hz, &self.shared.memory) {
            Ok(engine) => {
                self.spec = spec;
                self.install(Install::Engine(engine));
            }
            Err(error) => {
                self.install(Install::Nothing);
                let because = error.to_string();
                self.tell(OutputState::Silent { because });
            }
        }
    }

    fn tell(&self, state: OutputState) {
        // The desk is gone: there is an order to quit on its way.
        let _ = self.news.send(News::Output(state));
    }

    fn reopen(&mut self) {
        self.close();
        self.open();
    }

    /// Drops the stream and waits for the renderer.
    fn close(&mut self) {
        let Some(open) = self.open.take() else {
            return;
        };
        // On a thread of its own: a driver whose server is gone may never come back from that, and then only this thread is
        // lost. Without a thread it is closed here.
        let (closed, is_closed) = mpsc::channel();
        let closing = thread::Builder::new().name("ullage-audio-close".to_owned());
        let _ = closing.spawn(move || {
            drop(open);
            let _ = closed.send(());
        });
        // Closed or not, or never begun: after that the next one is tried.
        let _ = is_closed.recv_timeout(HOMECOMING);
        if let Ok(mut renderer) = self.homecoming.recv_timeout(HOMECOMING) {
            renderer.rest();
            self.renderer = Some(renderer);
        }
        self.clock = SilentClock::started(Instant::now());
    }

    fn lose(&mut self, because: &str, now: Instant) {
        let with_midi = self.shares_with_midi();
        self.close();
        if with_midi {
            let (done, hung_up) = mpsc::channel();
            if self.shared.midi.send(Ask::HangUp(done)).is_ok() {
                let _ = hung_up.recv_timeout(HANGING_UP);
            }
        }
        let wait_s = self.retry.later(now).as_secs_f64();
        let because = format!("{because}; trying again in {wait_s:.1} s");
        self.tell(OutputState::Silent { because });
    }

    /// Whether sound and MIDI are clients of one server.
    fn shares_with_midi(&self) -> bool {
        let jack = |open: &Open| open.host.eq_ignore_ascii_case(JACK);
        cfg!(feature = "jack") && self.open.as_ref().is_some_and(jack)
    }

    fn open(&mut self) {
        self.tell(OutputState::Opening);
        let now = Instant::now();
        match self.try_open() {
            Ok(()) => {
                self.health.begin(self.shared.gauges.callbacks(), now);
                self.retry = Retry::default();
                self.has_played = true;
                if self.shares_with_midi() {
                    let _ = self.shared.midi.send(Ask::Look);
                }
            }
            Err(because) => {
                self.clock = SilentClock::started(now);
                let wait_s = self.retry.later(now).as_secs_f64();
                let because = if self.has_played {
                    format!("{because}; trying again in {wait_s:.1} s")
                } else {
                    format!("{because}; looking again now and then")
                };
                self.tell(OutputState::Silent { because });
            }
        }
    }

    fn try_open(&mut self) -> Result<(), OutputError> {
        let choice = choose(&self.wished());
        let rate_hz = match (&choice, &self.renderer) {
            (Ok(choice), _) => choice.config.sample_rate,
            (Err(_), Some(renderer)) => renderer.rate_hz(),
            (Err(_), None) => RATE_HZ,
        };
        self.fit_engine(rate_hz)?;
        let mut choice = choice?;
        let opened = match self.open_stream(&choice) {
            Err(error) if error.kind() == ErrorKind::UnsupportedConfig => {
                choice.config.buffer_size = BufferSize::Default;
                self.open_stream(&choice)
            }
            opened => opened,
        };
        let open = opened.map_err(|error| OutputError::system(&choice.device_name, &error))?;
        self.growth.gave(open.frames);
        self.open = Some(open);
        self.tell_playing();
        // Callbacks of the clock on the wall, and of the stream before, say nothing of this one.
        let _ = self.shared.gauges.take_largest();
        self.sizes_at = Instant::now() + SIZES;
        Ok(())
    }

    /// Lends the renderer to a stream; if that cannot be opened it is home again.
    fn open_stream(&mut self, choice: &Choice) -> Result<Open, cpal::Error> {
        let Some(renderer) = self.renderer.take() else {
            let because = "the sound card has kept what it was lent: start the program again";
            return Err(cpal::Error::with_message(
                ErrorKind::ResourceExhausted,
                because,
            ));
        };
        self.delay_frames = renderer.delay_frames();
        let opened = stream::open(choice, Lease::new(renderer, self.home.clone()));
        if opened.is_err() {
            self.renderer = self.homecoming.recv_timeout(HOMECOMING).ok();
        }
        opened
    }

    /// Sees to it that there is an engine that runs at this rate.
    fn fit_engine(&mut self, rate_hz: u32) -> Result<(), EngineError> {
        let Some(renderer) = &mut self.renderer else {
            return Ok(());
        };
        if !renderer.has_engine() || renderer.rate_hz() != rate_hz {
            let engine = engine(&self.spec, rate_hz, &self.shared.memory)?;
            renderer.take_engine(engine, rate_hz);
            let _ = self.news.send(News::Rate(rate_hz));
        }
        Ok(())
    }

    fn leave(&mut self) {
        if self.open.is_some() {
            self.install(Install::Nothing);
            thread::sleep(FAREWELL);
        }
        self.install(Install::Tap(None));
        self.close();
    }
}

fn recall(memory: &Mutex<Memory>) -> Vec<crate::synth::Command> {
    memory
        .lock()
        .map_or_else(|_| Vec::new(), |memory| memory.commands().collect())
}

/// An engine that knows what was asked since its spec was made.
fn engine(
    spec: &EngineSpec,
    rate_hz: u32,
    memory: &Mutex<Memory>,
) -> Result<Box<Engine>, EngineError> {
    let rate = SampleRate::from_hz(f64::from(rate_hz));
    let mut engine = Engine::new(spec, rate)?;
    for command in recall(memory) {
        // As many as fit: more than a queue holds are told again once it runs.
        let _ = engine.push(0, command);
    }
    Ok(Box::new(engine))
}
