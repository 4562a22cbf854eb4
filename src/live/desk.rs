//! The desk: the one thing that a window or a command holds to play live.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rtrb::{Consumer, RingBuffer};

use super::audio::{self, News, Order, OutputState, Shared};
use super::bridge::{CommandQueue, Gauges, KeyQueue, Report, When};
use super::device::{DeviceWish, RATE_HZ};
use super::memory::Memory;
use super::midi::{self, Ask, Board, CameIn, Line, MidiPort, MidiWish};
use super::recorder::{Recorded, Recorder, Sink};
use super::render::Renderer;
use crate::synth::{Command, EngineSpec, Meters};

/// MIDI messages that are kept for show.
const HEARD_ROOM: usize = 512;
/// The load shown is the worst of so long.
const LOAD_TIME: Duration = Duration::from_secs(1);
/// Time for a recording's last block to reach its sink.
const LAST_BLOCK: Duration = Duration::from_secs(3);
/// Time for the threads to end.
const FAREWELL: Duration = Duration::from_secs(2);

/// What there is to show of the desk.
#[derive(Clone, Debug, PartialEq)]
pub struct DeskState {
    /// Where the sound goes.
    pub output: OutputState,
    /// Samples a second, of the card or of the clock that stands in for it.
    pub rate_hz: u32,
    /// Frames made so far: what [`Desk::send_at`] counts in.
    pub now_frames: u64,
    /// Time used over time there was, at worst in the last second.
    pub load: f32,
    /// Times that the card ran dry.
    pub dropouts: u32,
    /// Commands that found their queue full.
    pub queue_full: u32,
    /// Of the engine; peaks since the poll before.
    pub meters: Meters,
    /// How far each bottle's air swings, 0 to 1 and a little above.
    pub swings: Vec<f32>,
    /// MIDI inputs, those too that have gone.
    pub midi: Vec<MidiPort>,
    /// Why there is no MIDI.
    pub midi_because: Option<String>,
    /// The last MIDI messages and when they came, s since the desk was set up. Take out what you have seen.
    pub heard: VecDeque<(f64, [u8; 3])>,
}

/// Why a recording was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordError {
    /// One is running.
    #[error("a recording is running already")]
    Running,
    /// No thread for it.
    #[error("the system gives no thread to record with")]
    Thread(#[source] std::io::Error),
}

/// The sound card, the MIDI inputs and the engine between them.
///
/// It always comes up: without a card, without MIDI, with a device that does not answer, it says so in
/// [`DeskState`] and everything else works. Nothing here waits for a device.
///
/// ```no_run
/// use ullage::index::BottleIndex;
/// use ullage::live::{Desk, MidiWish, DeviceWish};
/// use ullage::synth::{Command, EngineSpec};
/// let mut desk = Desk::start(EngineSpec::new(Vec::new()), DeviceWish::default(), MidiWish::default());
/// desk.send(Command::Blow { bottle: BottleIndex::new(0), breath: 0.5 });
/// println!("{:?}", desk.poll().output);
/// ```
pub struct Desk {
    commands: CommandQueue,
    keys: Option<KeyQueue>,
    reports: Consumer<Report>,
    gauges: Arc<Gauges>,
    full: Arc<AtomicU32>,
    dropouts: Arc<AtomicU32>,
    memory: Arc<Mutex<Memory>>,
    orders: Sender<Order>,
    news: Receiver<News>,
    audio: Option<JoinHandle<()>>,
    midi: Option<(Sender<Ask>, JoinHandle<()>)>,
    board: Arc<Mutex<Board>>,
    heard: Vec<Consumer<CameIn>>,
    loads: VecDeque<(Instant, f32)>,
    recorder: Option<Recorder>,
    since: Instant,
    state: DeskState,
}

impl Desk {
    /// Sets everything up and returns at once; the device is opened meanwhile.
    #[must_use]
    pub fn start(spec: EngineSpec, output: DeviceWish, midi: MidiWish) -> Self {
        let since = Instant::now();
        let bottles = spec.players.len();
        let (renderer, wires) = Renderer::empty(RATE_HZ);
        let dropouts = Arc::new(AtomicU32::new(0));
        let memory = Arc::new(Mutex::new(Memory::default()));
        let board = Arc::new(Mutex::new(Board::default()));
        let (midi_ask, midi_asked) = mpsc::channel();
        let shared = Shared {
            gauges: Arc::clone(&wires.gauges),
            dropouts: Arc::clone(&dropouts),
            memory: Arc::clone(&memory),
            midi: midi_ask.clone(),
        };
        let mut output_state = OutputState::Opening;
        let started = audio::start(renderer, wires.owner, shared, (spec, output));
        let (orders, news, audio) = match started {
            Ok((orders, news, thread)) => (orders, news, Some(thread)),
            Err(error) => {
                let because = format!("the system gives no thread for sound: {error}");
                output_state = OutputState::Silent { because };
                (mpsc::channel().0, mpsc::channel().1, None)
            }
        };
        let (lines, heard) = lines(wires.midi);
        let midi = midi::start(lines, midi, since, (Arc::clone(&board), midi_asked)).ok();
        let midi = midi.map(|thread| (midi_ask, thread));
        Self {
            commands: wires.desk,
            keys: Some(wires.keys),
            reports: wires.reports,
            gauges: wires.gauges,
            full: wires.full,
            dropouts,
            memory,
            orders,
            news,
            audio,
            midi,
            board,
            heard,
            loads: VecDeque::new(),
            recorder: None,
            since,
            state: DeskState {
                output: output_state,
                rate_hz: RATE_HZ,
                now_frames: 0,
                load: 0.0,
                dropouts: 0,
                queue_full: 0,
                meters: Meters::default(),
                swings: vec![0.0; bottles],
                midi: Vec::new(),
                midi_because: None,
                heard: VecDeque::new(),
            },
        }
    }

    /// Sends a command; false if the queue is full, which is counted.
    pub fn send(&mut self, command: Command) -> bool {
        self.send_at(When::Now, command)
    }

    /// Sends a command for a time, such as a frame a little ahead of [`DeskState::now_frames`]; false if the
    /// queue is full, which is counted.
    pub fn send_at(&mut self, when: When, command: Command) -> bool {
        self.memory
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .note(command);
        self.commands.send_at(when, command)
    }

    /// A queue of its own for whoever takes key presses; there is one.
    pub fn keys(&mut self) -> Option<KeyQueue> {
        self.keys.take()
    }

    /// Seconds since the desk was set up: the clock of [`DeskState::heard`].
    #[must_use]
    pub fn clock_s(&self) -> f64 {
        self.since.elapsed().as_secs_f64()
    }

    /// Plays another set: what sounds fades out in 30 ms, then the new bottles are there, at the levels of `spec`.
    pub fn replace(&mut self, spec: EngineSpec) {
        self.state.swings = vec![0.0; spec.players.len()];
        *self.memory.lock().unwrap_or_else(PoisonError::into_inner) = Memory::default();
        self.order(Order::Replace(Box::new(spec)));
    }

    /// Plays through another output; the sound stops for as long as that takes.
    pub fn choose_output(&mut self, wish: DeviceWish) {
        self.state.output = OutputState::Opening;
        self.order(Order::Output(wish));
    }

    /// Tries once more to open the output, if there is none.
    pub fn retry(&mut self) {
        self.order(Order::Retry);
    }

    fn order(&self, order: Order) {
        // Without the thread there is no sound, and the state has said so since the start.
        let _ = self.orders.send(order);
    }

    /// Brings the state up to date. Never waits; call it for every frame of a window.
    pub fn poll(&mut self) -> &DeskState {
        while let Ok(news) = self.news.try_recv() {
            match news {
                News::Output(output) => self.state.output = output,
                News::Rate(rate_hz) => self.state.rate_hz = rate_hz,
            }
        }
        self.read_reports();
        self.state.dropouts = self.dropouts.load(Ordering::Relaxed);
        self.state.queue_full = self.full.load(Ordering::Relaxed);
        self.gauges.swings(&mut self.state.swings);
        for line in &mut self.heard {
            while let Ok(heard) = line.pop() {
                self.state.heard.push_back((heard.at_s, heard.bytes));
            }
        }
        let surplus = self.state.heard.len().saturating_sub(HEARD_ROOM);
        self.state.heard.drain(..surplus);
        let board = self.board.lock().unwrap_or_else(PoisonError::into_inner);
        self.state.midi = board.ports();
        self.state.midi_because.clone_from(&board.because);
        &self.state
    }

    /// The state, for taking out what was seen.
    pub fn state_mut(&mut self) -> &mut DeskState {
        &mut self.state
    }

    fn read_reports(&mut self) {
        let now = Instant::now();
        let (mut left, mut right, mut limited_db) = (0.0f32, 0.0f32, 0.0f32);
        while let Ok(report) = self.reports.pop() {
            let meters = report.meters;
            (left, right) = (left.max(meters.peak_left), right.max(meters.peak_right));
            limited_db = limited_db.max(meters.limited_db);
            self.state.meters = meters;
            self.state.now_frames = report.now_frames;
            self.loads.push_back((now, report.load));
        }
        self.state.meters.peak_left = left;
        self.state.meters.peak_right = right;
        self.state.meters.limited_db = limited_db;
        while self
            .loads
            .front()
            .is_some_and(|(at, _)| now.duration_since(*at) > LOAD_TIME)
        {
            self.loads.pop_front();
        }
        self.state.load = self
            .loads
            .iter()
            .fold(0.0, |most, (_, load)| load.max(most));
    }

    /// Records everything from now on into `sink`, at [`DeskState::rate_hz`].
    ///
    /// # Errors
    /// A recording is running, or the system gives no thread.
    pub fn record(&mut self, sink: Sink) -> Result<(), RecordError> {
        if self.recorder.is_some() {
            return Err(RecordError::Running);
        }
        let started = Recorder::start(self.state.rate_hz, sink);
        let (tap, recorder) = started.map_err(RecordError::Thread)?;
        self.order(Order::Tap(Some(tap)));
        self.recorder = Some(recorder);
        Ok(())
    }

    /// Asks for the end of the recording and does not wait for it; [`Self::recorded`] tells when it has come.
    pub fn end_record(&mut self) {
        if self.recorder.is_some() {
            self.order(Order::Tap(None));
        }
    }

    /// What was recorded, once, when the end that was asked for has come and the sink is dropped. Never waits.
    pub fn recorded(&mut self) -> Option<Recorded> {
        let done = self.recorder.take_if(|recorder| recorder.is_done())?;
        Some(done.finish())
    }

    /// Ends the recording and drops its sink; nothing if none was running, or if the sound card does not give it
    /// back within 3 s.
    pub fn stop_record(&mut self) -> Option<Recorded> {
        let recorder = self.recorder.take()?;
        self.order(Order::Tap(None));
        let end = Instant::now() + LAST_BLOCK;
        while !recorder.is_done() {
            if Instant::now() > end {
                return None;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        Some(recorder.finish())
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        self.order(Order::Quit);
        // The thread for MIDI ends when the one for sound has dropped its way to ask, too.
        let midi = self.midi.take().map(|(_ask, thread)| thread);
        let end = Instant::now() + FAREWELL;
        // A driver that hangs must not hang the program.
        for thread in self.audio.take().into_iter().chain(midi) {
            while !thread.is_finished() && Instant::now() < end {
                std::thread::sleep(Duration::from_millis(2));
            }
            if thread.is_finished() {
                let _ = thread.join();
            }
        }
    }
}

fn lines(queues: Vec<CommandQueue>) -> (Vec<Line>, Vec<Consumer<CameIn>>) {
    let line = |queue| {
        let (heard, shown) = RingBuffer::new(HEARD_ROOM);
        let line = Line {
            queue,
            heard,
            channels: 0,
        };
        (line, shown)
    };
    queues.into_iter().map(line).unzip()
}
