//! The queues between the threads: bounded, without locks, one writer and one reader each.
//!
//! Into the callback go commands, one queue a source, and what it is to take over (an engine, a tap). Out of
//! it come reports, and what it has given up: that is dropped on this side, never in the callback. A full
//! queue refuses and is counted; nobody waits.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::sync::mpsc::Sender;
use std::time::Instant;

use rtrb::{Consumer, Producer, RingBuffer};

use super::recorder::Tap;
use crate::synth::{Command, Engine, Meters};

/// Commands that wait in one queue at most.
pub const COMMAND_ROOM: usize = 1024;
/// MIDI inputs that can be connected at the same time.
pub const MOST_PORTS: usize = 32;
/// Bottles whose swing is shown.
const SHOWN_BOTTLES: usize = 1024;
/// Engines and taps on their way at a time.
const INSTALL_ROOM: usize = 256;
/// Reports that wait for a slow reader.
const REPORT_ROOM: usize = 256;

/// When a command is to happen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum When {
    /// At the next block.
    Now,
    /// As long after this instant as every other: a callback's time later, so that a rhythm keeps its shape.
    After(Instant),
    /// At a frame of the stream; one already past is [`When::Now`].
    Frame(u64),
}

/// A command and its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    /// Its time.
    pub when: When,
    /// What.
    pub command: Command,
}

/// One source's way into the callback.
pub struct CommandQueue {
    ring: Producer<Timed>,
    full: Arc<AtomicU32>,
}

/// The queue of the key handler.
pub type KeyQueue = CommandQueue;

impl CommandQueue {
    /// A command that came just now; false if the queue is full, which is counted.
    pub fn send(&mut self, command: Command) -> bool {
        self.send_at(When::After(Instant::now()), command)
    }

    /// A command for `when`; false if the queue is full, which is counted.
    pub fn send_at(&mut self, when: When, command: Command) -> bool {
        let sent = self.ring.push(Timed { when, command }).is_ok();
        if !sent {
            self.full.fetch_add(1, Ordering::Relaxed);
        }
        sent
    }
}

/// What the callback is to take over from the thread that owns the stream.
pub enum Install {
    /// Another engine; the old one fades out.
    Engine(Box<Engine>),
    /// No engine: what sounds fades out.
    Nothing,
    /// Somebody who listens to every block, or nobody any more.
    Tap(Option<Tap>),
    /// A command for the engine that is there by then.
    Command(Command),
}

/// What the callback has given up.
pub enum Retired {
    /// An engine that has faded out.
    Engine(Box<Engine>),
    /// A tap that is no longer wanted.
    Tap(Tap),
}

/// What the callback tells about a hundred times a second.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Report {
    /// The engine's meters since the report before.
    pub meters: Meters,
    /// Time used over time there was, at worst since the report before.
    pub load: f32,
    /// Frames made since the stream's first.
    pub now_frames: u64,
}

/// Numbers that anybody may read at any time.
pub struct Gauges {
    swings: Box<[AtomicU32]>,
    callbacks: AtomicU64,
    /// The largest callback since somebody asked, frames.
    largest: AtomicU32,
    delay_us: AtomicU64,
}

impl Gauges {
    fn new() -> Self {
        Self {
            swings: (0..SHOWN_BOTTLES).map(|_| AtomicU32::new(0)).collect(),
            callbacks: AtomicU64::new(0),
            largest: AtomicU32::new(0),
            delay_us: AtomicU64::new(0),
        }
    }

    /// Swings that there is room for.
    pub(super) fn bottles(&self) -> usize {
        self.swings.len()
    }

    pub(super) fn show_swings(&self, swings: &[f32]) {
        for (shown, swing) in self.swings.iter().zip(swings) {
            shown.store(swing.to_bits(), Ordering::Relaxed);
        }
    }

    /// Writes each bottle's swing, as far as `out` reaches.
    pub fn swings(&self, out: &mut [f32]) {
        for (out, shown) in out.iter_mut().zip(&self.swings) {
            *out = f32::from_bits(shown.load(Ordering::Relaxed));
        }
    }

    pub(super) fn count_callback(&self, frames: usize) {
        self.callbacks.fetch_add(1, Ordering::Relaxed);
        let frames = u32::try_from(frames).unwrap_or(u32::MAX);
        self.largest.fetch_max(frames, Ordering::Relaxed);
    }

    /// The largest callback since the last call, frames; nothing if there was none.
    pub(super) fn take_largest(&self) -> Option<u32> {
        Some(self.largest.swap(0, Ordering::Relaxed)).filter(|frames| *frames > 0)
    }

    /// Callbacks so far.
    #[must_use]
    pub fn callbacks(&self) -> u64 {
        self.callbacks.load(Ordering::Relaxed)
    }

    pub(super) fn show_delay_us(&self, delay_us: u64) {
        self.delay_us.store(delay_us, Ordering::Relaxed);
    }

    /// From the callback to the air, µs, as the sound system tells it; 0 if it does not.
    #[must_use]
    pub fn delay_us(&self) -> u64 {
        self.delay_us.load(Ordering::Relaxed)
    }
}

/// The callback's ends.
pub(super) struct Inside {
    pub sources: Vec<Consumer<Timed>>,
    pub installs: Consumer<Install>,
    pub retired: Producer<Retired>,
    pub reports: Producer<Report>,
    pub gauges: Arc<Gauges>,
}

/// Everybody else's ends.
pub struct Wires {
    /// For the window, or whoever holds the desk.
    pub desk: CommandQueue,
    /// For the key handler.
    pub keys: KeyQueue,
    /// For MIDI inputs, one each.
    pub midi: Vec<CommandQueue>,
    /// For the thread that owns the stream.
    pub owner: OwnerWires,
    /// For the desk.
    pub reports: Consumer<Report>,
    /// For anybody.
    pub gauges: Arc<Gauges>,
    /// Commands that found their queue full.
    pub full: Arc<AtomicU32>,
}

/// The ends of the thread that owns the stream.
pub struct OwnerWires {
    /// What the callback is to take over.
    pub installs: Producer<Install>,
    /// What it has given up.
    pub retired: Consumer<Retired>,
}

/// A new set of queues.
pub(super) fn wires() -> (Inside, Wires) {
    let full = Arc::new(AtomicU32::new(0));
    let mut sources = Vec::with_capacity(MOST_PORTS + 2);
    let mut queue = || {
        let (ring, source) = RingBuffer::new(COMMAND_ROOM);
        sources.push(source);
        let full = Arc::clone(&full);
        CommandQueue { ring, full }
    };
    let (desk, keys) = (queue(), queue());
    let midi = (0..MOST_PORTS).map(|_| queue()).collect();
    let (installs, installed) = RingBuffer::new(INSTALL_ROOM);
    // Room for every engine and tap that can be on its way, so that giving up never has to wait.
    let (retired, given_up) = RingBuffer::new(INSTALL_ROOM);
    let (reports, told) = RingBuffer::new(REPORT_ROOM);
    let gauges = Arc::new(Gauges::new());
    let inside = Inside {
        sources,
        installs: installed,
        retired,
        reports,
        gauges: Arc::clone(&gauges),
    };
    let wires = Wires {
        desk,
        keys,
        midi,
        owner: OwnerWires {
            installs,
            retired: given_up,
        },
        reports: told,
        gauges,
        full,
    };
    (inside, wires)
}

/// Something lent to a callback that others drop: it comes home whenever and wherever that happens.
pub(super) struct Lease<T> {
    lent: Option<T>,
    home: Sender<T>,
}

impl<T> Lease<T> {
    pub(super) fn new(lent: T, home: Sender<T>) -> Self {
        let lent = Some(lent);
        Self { lent, home }
    }

    pub(super) fn get(&mut self) -> &mut T {
        self.lent
            .as_mut()
            .expect("it goes home only when the lease is dropped")
    }
}

impl<T> Drop for Lease<T> {
    fn drop(&mut self) {
        if let Some(lent) = self.lent.take() {
            // Nobody at home: the program is ending.
            let _ = self.home.send(lent);
        }
    }
}
