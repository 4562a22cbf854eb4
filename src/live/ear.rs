//! The microphone: opened only when somebody starts an [`Ear`], watched, and opened again when it is lost.
//!
//! Nothing here waits for a device: [`Ear::start`] returns at once, and what became of it is in [`Ear::poll`].

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use cpal::{BufferSize, ErrorKind};
use rtrb::Consumer;

use super::device::{Choice, DeviceWish, OutputError};
use super::ear_stream::{Counts, Open, open};
use super::health::{Health, Retry, Verdict};
use super::input::{InputError, choose};
use crate::units::SampleRate;

/// How often the thread looks round.
const LOOK: Duration = Duration::from_millis(20);
/// Time for the thread to end.
const FAREWELL: Duration = Duration::from_millis(500);
/// Softest level that is told, dB.
const SILENCE_DB: f64 = -120.0;

/// Where the sound comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InputState {
    /// A device is being opened.
    Opening,
    /// Out of a microphone.
    Listening {
        /// The sound system.
        host: String,
        /// The device.
        device: String,
        /// Samples a second.
        rate_hz: u32,
        /// Channels, of which the mean is heard.
        channels: u16,
        /// Frames a callback, as the device says; 0 if it does not.
        buffer_frames: u32,
    },
    /// Nowhere.
    Deaf {
        /// In one line.
        because: String,
        /// Whether it is tried again by itself: what never opened is not.
        again: bool,
    },
}

/// How the microphone is.
#[derive(Clone, Debug, PartialEq)]
pub struct EarState {
    /// Where the sound comes from.
    pub state: InputState,
    /// Highest sample since the poll before, dB below full scale; −120 in silence.
    pub level_db: f64,
    /// Samples at full scale since the start, of all channels: the microphone or its input is set too loud.
    pub clipped: u64,
    /// Frames since the start that found the queue full, because nobody read for four seconds.
    pub lost: u64,
    /// Times that the card was late since the start: a gap in the sound each.
    pub dropouts: u32,
    /// Counts the streams that [`Ear::read`] has come to: where it grows, the sound begins anew, at a rate that may be
    /// another. 0 before the first.
    pub stream: u32,
}

/// A microphone. It is closed when this is dropped.
///
/// ```no_run
/// use ullage::listen::Listener;
/// use ullage::live::{DeviceWish, Ear, InputState};
/// let mut ear = Ear::start(DeviceWish::default())?;
/// let (mut samples, mut hearing) = (Vec::new(), None);
/// for _frame_of_a_window in 0..600 {
///     samples.clear();
///     ear.read(&mut samples);
///     let told = ear.poll();
///     if let Some(rate) = ear.rate() {
///         if hearing.as_ref().is_none_or(|(stream, _)| *stream != told.stream) {
///             hearing = Some((told.stream, Listener::new(rate, &[])?));
///         }
///     }
///     let Some((_, listener)) = &mut hearing else { continue };
///     listener.push(&samples);
///     if let Some(note) = listener.now() {
///         println!("{:.1} Hz at {:.0} dB", note.frequency.hz(), told.level_db);
///     }
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Ear {
    orders: Sender<Order>,
    news: Receiver<News>,
    thread: Option<JoinHandle<()>>,
    counts: Arc<Counts>,
    dropouts: Arc<AtomicU32>,
    state: InputState,
    /// The callbacks that the level is of.
    callbacks: u64,
    level_db: f64,
    heard: Option<Consumer<f32>>,
    rate_hz: u32,
    stream: u32,
    /// Streams that were opened while the one before is not yet read to its end.
    coming: Vec<(u32, Consumer<f32>)>,
}

enum Order {
    Input(DeviceWish),
    Retry,
    Quit,
}

enum News {
    State(InputState),
    Stream(u32, Consumer<f32>),
}

impl Ear {
    /// Opens the microphone of `wish`, on a thread of its own.
    ///
    /// # Errors
    /// The system gives no thread. Whatever is wrong with the device is in [`Self::poll`].
    pub fn start(wish: DeviceWish) -> std::io::Result<Self> {
        let (orders, ordered) = mpsc::channel();
        let (news, told) = mpsc::channel();
        let counts = Arc::new(Counts::default());
        let dropouts = Arc::new(AtomicU32::new(0));
        let mut owner = Owner {
            wish,
            news,
            counts: Arc::clone(&counts),
            dropouts: Arc::clone(&dropouts),
            open: None,
            health: Health::new(Instant::now()),
            retry: Retry::default(),
            has_listened: false,
            own_buffer: false,
        };
        let thread = thread::Builder::new()
            .name("ullage-ear".to_owned())
            .spawn(move || {
                owner.open();
                owner.run(&ordered);
            })?;
        Ok(Self {
            orders,
            news: told,
            thread: Some(thread),
            counts,
            dropouts,
            state: InputState::Opening,
            callbacks: 0,
            level_db: SILENCE_DB,
            heard: None,
            rate_hz: 0,
            stream: 0,
            coming: Vec::new(),
        })
    }

    /// How the microphone is. Never waits.
    pub fn poll(&mut self) -> EarState {
        self.take_news();
        let callbacks = self.counts.callbacks.load(Ordering::Relaxed);
        if callbacks != self.callbacks {
            self.callbacks = callbacks;
            let peak = f64::from(self.counts.take_peak());
            self.level_db = (20.0 * peak.log10()).max(SILENCE_DB);
        } else if !matches!(self.state, InputState::Listening { .. }) {
            self.level_db = SILENCE_DB;
        }
        EarState {
            state: self.state.clone(),
            level_db: self.level_db,
            clipped: self.counts.clipped.load(Ordering::Relaxed),
            lost: self.counts.lost.load(Ordering::Relaxed),
            dropouts: self.dropouts.load(Ordering::Relaxed),
            stream: self.stream,
        }
    }

    /// Appends what was heard since the last call, mono, full scale 1, of one stream at a time; returns how many samples.
    /// Never waits.
    pub fn read(&mut self, out: &mut Vec<f32>) -> usize {
        self.take_news();
        let read = self.drain(out);
        if read > 0 {
            return read;
        }
        // Only an old stream that is read to its end makes room for the next.
        if self.coming.is_empty() {
            return 0;
        }
        let (rate_hz, heard) = self.coming.remove(0);
        (self.rate_hz, self.heard) = (rate_hz, Some(heard));
        self.stream += 1;
        self.drain(out)
    }

    /// The rate of what [`Self::read`] gave last; `None` before the first stream.
    #[must_use]
    pub fn rate(&self) -> Option<SampleRate> {
        (self.rate_hz > 0).then(|| SampleRate::from_hz(f64::from(self.rate_hz)))
    }

    /// Takes another input, or another rate.
    pub fn take(&mut self, wish: DeviceWish) {
        // The thread ends only with this.
        let _ = self.orders.send(Order::Input(wish));
    }

    /// Tries again now, if nothing is open.
    pub fn retry(&mut self) {
        let _ = self.orders.send(Order::Retry);
    }

    fn take_news(&mut self) {
        while let Ok(news) = self.news.try_recv() {
            match news {
                News::State(state) => self.state = state,
                News::Stream(rate_hz, heard) => self.coming.push((rate_hz, heard)),
            }
        }
    }

    fn drain(&mut self, out: &mut Vec<f32>) -> usize {
        let Some(heard) = &mut self.heard else {
            return 0;
        };
        let count = heard.slots();
        let Ok(chunk) = heard.read_chunk(count) else {
            return 0;
        };
        let (first, second) = chunk.as_slices();
        out.extend_from_slice(first);
        out.extend_from_slice(second);
        chunk.commit_all();
        count
    }
}

impl Drop for Ear {
    fn drop(&mut self) {
        let _ = self.orders.send(Order::Quit);
        let asked = Instant::now();
        if let Some(thread) = self.thread.take() {
            // A driver that hangs in opening is left behind; the process ends with it.
            while !thread.is_finished() && asked.elapsed() < FAREWELL {
                thread::sleep(LOOK / 4);
            }
        }
    }
}

struct Owner {
    wish: DeviceWish,
    news: Sender<News>,
    counts: Arc<Counts>,
    dropouts: Arc<AtomicU32>,
    open: Option<Open>,
    health: Health,
    retry: Retry,
    has_listened: bool,
    /// The device chooses its own buffer.
    own_buffer: bool,
}

impl Owner {
    fn run(&mut self, orders: &Receiver<Order>) {
        loop {
            match orders.recv_timeout(LOOK) {
                Ok(Order::Quit) | Err(RecvTimeoutError::Disconnected) => return self.close(),
                Ok(Order::Input(wish)) => {
                    self.wish = wish;
                    self.retry = Retry::default();
                    self.reopen();
                }
                Ok(Order::Retry) => {
                    self.retry = Retry::default();
                    if self.open.is_none() {
                        self.reopen();
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
            self.look(Instant::now());
        }
    }

    fn look(&mut self, now: Instant) {
        let Some(open) = &mut self.open else {
            if self.retry.is_due(now) {
                self.reopen();
            }
            return;
        };
        while let Ok(error) = open.troubles.pop() {
            self.health.note(&error, now);
        }
        let callbacks = self.counts.callbacks.load(Ordering::Relaxed);
        let verdict = self.health.verdict(callbacks, now);
        self.dropouts
            .store(self.health.dropouts(), Ordering::Relaxed);
        match verdict {
            Verdict::Well => {}
            Verdict::Lost { because, .. } => self.lose(&because, now),
            Verdict::Stuck { because } => {
                // Some sound systems take a buffer that is too small for them, and then never answer.
                self.own_buffer = self.wish.buffer_frames.is_none();
                self.lose(&because, now);
            }
        }
    }

    fn lose(&mut self, because: &str, now: Instant) {
        self.deaf(because, now);
        self.close();
    }

    fn reopen(&mut self) {
        self.close();
        self.open();
    }

    /// Closes the stream, on a thread of its own: a driver whose server is gone may never come back from that, and then
    /// only this thread is lost.
    fn close(&mut self) {
        if let Some(open) = self.open.take() {
            let closing = thread::Builder::new().name("ullage-ear-close".to_owned());
            // Without a thread it is closed here.
            let _ = closing.spawn(move || drop(open));
        }
    }

    fn open(&mut self) {
        self.tell(InputState::Opening);
        let now = Instant::now();
        match self.try_open() {
            Ok((open, rate_hz, heard)) => {
                let callbacks = self.counts.callbacks.load(Ordering::Relaxed);
                self.health.begin(callbacks, now);
                self.retry = Retry::default();
                self.has_listened = true;
                let state = open.state.clone();
                self.open = Some(open);
                // The stream first: whoever sees the state finds it.
                let _ = self.news.send(News::Stream(rate_hz, heard));
                self.tell(state);
            }
            Err(because) => self.deaf(&because.to_string(), now),
        }
    }

    fn try_open(&self) -> Result<(Open, u32, Consumer<f32>), InputError> {
        let mut choice: Choice = choose(&self.wish)?;
        if self.own_buffer {
            choice.config.buffer_size = BufferSize::Default;
        }
        let opened = match open(&choice, &self.counts) {
            Err(error) if error.kind() == ErrorKind::UnsupportedConfig => {
                choice.config.buffer_size = BufferSize::Default;
                open(&choice, &self.counts)
            }
            opened => opened,
        };
        let (open, heard) = opened.map_err(|e| OutputError::system(&choice.device_name, &e))?;
        Ok((open, choice.config.sample_rate, heard))
    }

    /// Says that nothing is heard, and plans another try if there ever was something.
    fn deaf(&mut self, because: &str, now: Instant) {
        let because = because.replace('\n', " ");
        if !self.has_listened {
            let again = false;
            return self.tell(InputState::Deaf { because, again });
        }
        let wait_s = self.retry.later(now).as_secs_f64();
        self.tell(InputState::Deaf {
            because: format!("{because}; trying again in {wait_s:.1} s"),
            again: true,
        });
    }

    fn tell(&self, state: InputState) {
        // The ear is gone: there is an order to quit on its way.
        let _ = self.news.send(News::State(state));
    }
}
