//! Writing down what is played: the sound into a WAV file, the keys into a MIDI file.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender, TryRecvError};
use std::thread;
use std::time::Instant;

use crate::file::atomic::{Overwrite, write_whole};
use crate::file::smf::messages_to_smf;
use crate::file::wav::{WavError, WavFormat, WavSink};
use crate::live::Sink;
use crate::units::SampleRate;

/// How a file came out, in one line.
type Told = Result<String, String>;

/// A sound file that is being written.
pub(super) struct WavTake {
    /// The file.
    pub path: PathBuf,
    /// The rate that it was begun at.
    pub rate_hz: u32,
    told: Receiver<Told>,
}

/// Writes blocks until it is dropped, on the thread that records; then gives the file its name.
struct Writer {
    sink: Option<WavSink>,
    failed: Option<WavError>,
    path: PathBuf,
    tell: Sender<Told>,
}

impl Writer {
    fn hear(&mut self, left: &[f32], right: &[f32]) {
        let Some(sink) = &mut self.sink else { return };
        if let Err(error) = sink.write_block(left, right) {
            self.failed = Some(error);
            self.sink = None;
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        let told = match (self.sink.take(), self.failed.take()) {
            (_, Some(error)) => Err(error.to_string()),
            (Some(sink), None) => {
                let seconds = sink.frames() as f64 / sink.format().rate.hz();
                let path = self.path.display();
                let written = sink.finish().map(|()| format!("{seconds:.1} s in {path}"));
                written.map_err(|error| error.to_string())
            }
            (None, None) => return,
        };
        // Nobody waits for it any more: the window is closed.
        let _ = self.tell.send(told);
    }
}

impl WavTake {
    /// Begins a file, and the sink that fills it.
    pub(super) fn begin(path: &Path, rate_hz: u32) -> Result<(Self, Sink), WavError> {
        let format = WavFormat::stereo(SampleRate::from_hz(f64::from(rate_hz)));
        let sink = WavSink::create(path, format, Overwrite::Yes)?;
        let (tell, told) = mpsc::channel();
        let mut writer = Writer {
            sink: Some(sink),
            failed: None,
            path: path.to_path_buf(),
            tell,
        };
        let take = Self {
            path: path.to_path_buf(),
            rate_hz,
            told,
        };
        let sink = move |left: &[f32], right: &[f32]| writer.hear(left, right);
        Ok((take, Box::new(sink)))
    }

    /// How it came out, once it has.
    pub(super) fn told(&self) -> Option<Told> {
        match self.told.try_recv() {
            Ok(told) => Some(told),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err("the recording was lost".to_owned())),
        }
    }
}

/// Keys that are being written down.
pub(super) struct SmfTake {
    /// The file.
    pub path: PathBuf,
    since: Instant,
    since_s: f64,
    messages: Vec<(f64, [u8; 3])>,
}

impl SmfTake {
    /// Begins now, which is `clock_s` on the clock of MIDI.
    pub(super) fn begin(path: &Path, clock_s: f64) -> Self {
        Self {
            path: path.to_path_buf(),
            since: Instant::now(),
            since_s: clock_s,
            messages: Vec::new(),
        }
    }

    /// A message by the clock of MIDI.
    pub(super) fn at_s(&mut self, at_s: f64, bytes: [u8; 3]) {
        self.messages.push((at_s - self.since_s, bytes));
    }

    /// A message by the system's clock.
    pub(super) fn at(&mut self, at: Instant, bytes: [u8; 3]) {
        let seconds = at.saturating_duration_since(self.since).as_secs_f64();
        self.messages.push((seconds, bytes));
    }

    /// Writes the file on a thread of its own.
    pub(super) fn end(mut self) -> Receiver<Told> {
        let (tell, told) = mpsc::channel();
        let write = move || {
            self.messages.sort_by(|a, b| a.0.total_cmp(&b.0));
            let bytes = messages_to_smf(&self.messages).map_err(|error| error.to_string());
            let written = bytes.and_then(|bytes| {
                write_whole(&self.path, &bytes, Overwrite::Yes).map_err(|error| error.to_string())
            });
            let count = self.messages.len();
            let path = self.path.display();
            let _ = tell.send(written.map(|()| format!("{count} messages in {path}")));
        };
        // Without a thread the receiver finds its channel closed, and says so.
        let _ = thread::Builder::new()
            .name("ullage-keys".to_owned())
            .spawn(write);
        told
    }
}
