//! Writing down what is played: the sound into a WAV file, the keys into a MIDI file.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender, TryRecvError};
use std::thread;
use std::time::Instant;

use super::jobs::Told;
use super::state::Taking;
use super::trouble::Trouble;
use crate::file::atomic::{Overwrite, WriteError, write_whole};
use crate::file::smf::{SmfError, messages_to_smf};
use crate::file::wav::{WavError, WavFormat, WavSink};
use crate::live::Sink;
use crate::units::SampleRate;

/// Why the keys were not written.
#[derive(Debug, thiserror::Error)]
enum KeysError {
    /// They make no MIDI file.
    #[error(transparent)]
    Smf(#[from] SmfError),
    /// The system refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// What is being written down.
#[derive(Default)]
pub(super) struct Takes {
    wav: Option<WavTake>,
    smf: Option<SmfTake>,
}

impl Takes {
    /// What there is to see of it.
    pub(super) fn taking(&self) -> Vec<Taking> {
        let wav = self.wav.iter().map(|take| Taking::Wav(take.path.clone()));
        let smf = self.smf.iter().map(|take| Taking::Smf(take.path.clone()));
        wav.chain(smf).collect()
    }

    /// The sound goes into the sink of `take` from now on.
    pub(super) fn sound(&mut self, take: WavTake) {
        self.wav = Some(take);
    }

    /// Whether the sound is being written down.
    pub(super) fn has_sound(&self) -> bool {
        self.wav.is_some()
    }

    /// Whether the sound has had another rate than `rate_hz` so far, and would be at another pitch from here on.
    pub(super) fn is_at_another_rate(&self, rate_hz: u32) -> bool {
        self.wav.as_ref().is_some_and(|wav| wav.rate_hz != rate_hz)
    }

    /// How the sound came out, once it has.
    pub(super) fn sound_told(&mut self) -> Option<Told> {
        let told = self.wav.as_ref()?.told()?;
        self.wav = None;
        Some(told)
    }

    /// Writes the keys into a file from now on, which is `clock_s` on the clock of MIDI.
    pub(super) fn keys(&mut self, path: &Path, clock_s: f64) {
        self.smf = Some(SmfTake::begin(path, clock_s));
    }

    /// Messages by the clock of MIDI, and by the system's.
    pub(super) fn hear(&mut self, heard: &[(f64, [u8; 3])], pressed: &[(Instant, [u8; 3])]) {
        let Some(take) = &mut self.smf else { return };
        heard
            .iter()
            .for_each(|&(at_s, bytes)| take.at_s(at_s, bytes));
        pressed.iter().for_each(|&(at, bytes)| take.at(at, bytes));
    }

    /// A message that comes now.
    pub(super) fn write_down(&mut self, bytes: [u8; 3]) {
        if let Some(take) = &mut self.smf {
            take.at(Instant::now(), bytes);
        }
    }

    /// Writes the keys' file, if there is one, on a thread of its own.
    pub(super) fn end_keys(&mut self) -> Option<Receiver<Told>> {
        Some(self.smf.take()?.end())
    }
}

/// A sound file that is being written.
pub(super) struct WavTake {
    path: PathBuf,
    /// The rate that it was begun at.
    rate_hz: u32,
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
            (_, Some(error)) => Err(Trouble::unwritten(&self.path, error)),
            (Some(sink), None) => {
                let seconds = sink.frames() as f64 / sink.format().rate.hz();
                let path = self.path.display();
                let written = sink.finish().map(|()| format!("{seconds:.1} s in {path}"));
                written.map_err(|error| Trouble::unwritten(&self.path, error))
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
    fn told(&self) -> Option<Told> {
        match self.told.try_recv() {
            Ok(told) => Some(told),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err(Trouble::unwritten(
                &self.path,
                "its thread ended without a word",
            ))),
        }
    }
}

/// Keys that are being written down.
struct SmfTake {
    path: PathBuf,
    since: Instant,
    since_s: f64,
    messages: Vec<(f64, [u8; 3])>,
}

impl SmfTake {
    /// Begins now, which is `clock_s` on the clock of MIDI.
    fn begin(path: &Path, clock_s: f64) -> Self {
        Self {
            path: path.to_path_buf(),
            since: Instant::now(),
            since_s: clock_s,
            messages: Vec::new(),
        }
    }

    /// A message by the clock of MIDI.
    fn at_s(&mut self, at_s: f64, bytes: [u8; 3]) {
        self.messages.push((at_s - self.since_s, bytes));
    }

    /// A message by the system's clock.
    fn at(&mut self, at: Instant, bytes: [u8; 3]) {
        let seconds = at.saturating_duration_since(self.since).as_secs_f64();
        self.messages.push((seconds, bytes));
    }

    /// Writes the file on a thread of its own.
    fn end(mut self) -> Receiver<Told> {
        let (tell, told) = mpsc::channel();
        let write = move || {
            self.messages.sort_by(|a, b| a.0.total_cmp(&b.0));
            let written = self
                .written()
                .map_err(|e| Trouble::unwritten(&self.path, e));
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
    fn written(&self) -> Result<(), KeysError> {
        let bytes = messages_to_smf(&self.messages)?;
        Ok(write_whole(&self.path, &bytes, Overwrite::Yes)?)
    }
}
