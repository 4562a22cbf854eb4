//! Recordings of other kinds than plain WAV, by way of `symphonia`.
//!
//! It is fed files that nobody has checked: what it panics at is an error, and what it goes round in for ever ends.

use std::cell::Cell;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

use symphonia::core::audio::GenericAudioBufferRef;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

use super::recording_error::RecordingError;
use super::wav::{Limits, Wav, WavError};
use crate::units::SampleRate;

/// Rates of a recording, Hz, and channels.
const RATES_HZ: (f64, f64) = (1_000.0, 768_000.0);
const MOST_CHANNELS: usize = 32;
/// So many packets in a row without any sound are no recording.
const MOST_EMPTY: usize = 1_000;
/// A file of which more packets than this share cannot be decoded is broken.
const MOST_BROKEN_SHARE: f64 = 0.2;

/// Something to read whose length is known.
pub(super) struct Input<R> {
    input: R,
    length: u64,
}

impl<R: Read + Seek> Input<R> {
    pub(super) fn new(mut input: R) -> Result<Self, RecordingError> {
        let io = |error| RecordingError::Wav(WavError::Read(error));
        let length = input.seek(SeekFrom::End(0)).map_err(io)?;
        input.seek(SeekFrom::Start(0)).map_err(io)?;
        Ok(Self { input, length })
    }
}

impl<R: Read> Read for Input<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.input.read(buffer)
    }
}

impl<R: Seek> Seek for Input<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.input.seek(to)
    }
}

impl<R: Read + Seek + Send + Sync> MediaSource for Input<R> {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

fn broken(what: impl Into<String>) -> RecordingError {
    RecordingError::Broken { what: what.into() }
}

/// The first track of sound, whole.
pub(super) fn decoded(source: Box<dyn MediaSource>, limits: Limits) -> Result<Wav, RecordingError> {
    hush();
    DECODES.set(true);
    let decoded = catch_unwind(AssertUnwindSafe(|| whole(source, limits)));
    DECODES.set(false);
    decoded.unwrap_or_else(|_| Err(broken("its decoder gave up")))
}

thread_local! {
    /// Whether this thread is in the decoders.
    static DECODES: Cell<bool> = const { Cell::new(false) };
}

/// Keeps what the decoders panic at off the terminal: it is an error, told in words. What is wrong in this file is said as ever.
fn hush() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let usual = take_hook();
        set_hook(Box::new(move |panic| {
            let is_ours = panic.location().is_some_and(|at| at.file() == file!());
            if is_ours || !DECODES.get() {
                usual(panic);
            }
        }));
    });
}

fn whole(source: Box<dyn MediaSource>, limits: Limits) -> Result<Wav, RecordingError> {
    let stream = MediaSourceStream::new(source, Default::default());
    let mut format = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|error| broken(error.to_string()))?;
    let track = format
        .default_track(TrackType::Audio)
        .ok_or_else(|| broken("there is no sound in it"))?;
    let id = track.id;
    let audio = track
        .codec_params
        .as_ref()
        .and_then(|params| params.audio());
    let audio = audio.ok_or_else(|| broken("it does not say how its sound is coded"))?;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(audio, &AudioDecoderOptions::default())
        .map_err(|error| broken(error.to_string()))?;
    let mut taken = Taken::new(limits);
    take_all(format.as_mut(), id, decoder.as_mut(), &mut taken)?;
    taken.finished()
}

fn take_all(
    format: &mut dyn FormatReader,
    id: u32,
    decoder: &mut dyn AudioDecoder,
    taken: &mut Taken,
) -> Result<(), RecordingError> {
    loop {
        let packet = match format.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => return Ok(()),
            // The end of a file that was cut off: what there is is heard.
            Err(Error::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                return Ok(());
            }
            Err(error) if taken.samples.is_empty() => return Err(broken(error.to_string())),
            Err(_) => return Ok(()),
        };
        if packet.track_id != id {
            taken.nothing()?;
            continue;
        }
        match decoder.decode(&packet) {
            Ok(sound) => taken.add(&sound)?,
            Err(Error::DecodeError(what)) => taken.miss(what)?,
            Err(Error::IoError(error)) => taken.miss(&error.to_string())?,
            Err(error) => return Err(broken(error.to_string())),
        }
    }
}

/// What was decoded so far.
struct Taken {
    limits: Limits,
    rate_hz: f64,
    channels: usize,
    samples: Vec<f32>,
    packet: Vec<f32>,
    packets: usize,
    missed: usize,
    empty: usize,
    why: String,
}

impl Taken {
    fn new(limits: Limits) -> Self {
        Self {
            limits,
            rate_hz: 0.0,
            channels: 0,
            samples: Vec::new(),
            packet: Vec::new(),
            packets: 0,
            missed: 0,
            empty: 0,
            why: String::new(),
        }
    }

    fn add(&mut self, sound: &GenericAudioBufferRef<'_>) -> Result<(), RecordingError> {
        self.packets += 1;
        let rate_hz = f64::from(sound.spec().rate());
        let channels = sound.spec().channels().count();
        if sound.frames() == 0 {
            return self.nothing();
        }
        if self.samples.is_empty() {
            self.begin(rate_hz, channels)?;
        } else if (rate_hz, channels) != (self.rate_hz, self.channels) {
            return Err(broken("its rate or its channels change midway"));
        }
        self.empty = 0;
        let most = (self.limits.max_seconds * rate_hz) * channels as f64;
        let most = most.min(self.limits.max_samples as f64);
        sound.copy_to_vec_interleaved(&mut self.packet);
        if (self.samples.len() + self.packet.len()) as f64 > most {
            return Err(RecordingError::OverLimit {
                max_seconds: most / channels as f64 / rate_hz,
            });
        }
        // A lossy decoder goes over full scale, and a broken file makes numbers that are none.
        let fine = |x: &f32| if x.is_finite() { *x } else { 0.0 };
        self.samples.extend(self.packet.iter().map(fine));
        Ok(())
    }

    fn begin(&mut self, rate_hz: f64, channels: usize) -> Result<(), RecordingError> {
        let (min_hz, max_hz) = RATES_HZ;
        if !(min_hz..=max_hz).contains(&rate_hz) {
            return Err(broken(format!(
                "{rate_hz} Hz is outside {min_hz} to {max_hz} Hz"
            )));
        }
        if !(1..=MOST_CHANNELS).contains(&channels) {
            return Err(broken(format!(
                "{channels} channels; 1 to {MOST_CHANNELS} are read"
            )));
        }
        (self.rate_hz, self.channels) = (rate_hz, channels);
        Ok(())
    }

    fn nothing(&mut self) -> Result<(), RecordingError> {
        self.empty += 1;
        if self.empty > MOST_EMPTY {
            return Err(broken("there is no sound in its packets"));
        }
        Ok(())
    }

    fn miss(&mut self, what: &str) -> Result<(), RecordingError> {
        self.packets += 1;
        self.missed += 1;
        what.clone_into(&mut self.why);
        self.nothing()
    }

    fn finished(self) -> Result<Wav, RecordingError> {
        if self.samples.is_empty() || self.missed as f64 > MOST_BROKEN_SHARE * self.packets as f64 {
            let nothing = "there is no sound in it".to_owned();
            return Err(broken(if self.why.is_empty() {
                nothing
            } else {
                self.why
            }));
        }
        Ok(Wav {
            rate: SampleRate::from_hz(self.rate_hz),
            channels: self.channels as u16,
            samples: self.samples,
        })
    }
}
