//! One open stream: from a settled output to a card that calls back.

use std::time::Duration;

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    BufferSize, ErrorKind, FromSample, I24, OutputCallbackInfo, SampleFormat, SizedSample, Stream,
};
use rtrb::{Consumer, RingBuffer};

use super::audio::OutputState;
use super::bridge::{Gauges, Lease};
use super::device::{BUFFER_FRAMES, Choice};
use super::render::Renderer;

/// Errors that wait to be looked at; of a storm the rest may be lost.
const TROUBLE_ROOM: usize = 64;
/// Time that a sound system may take to open a device, where it keeps to one.
const OPENING: Duration = Duration::from_secs(5);

/// A stream that plays.
pub(super) struct Open {
    /// Held for its drop, which stops it.
    _stream: Stream,
    pub rate_hz: u32,
    /// What the stream complains about.
    pub troubles: Consumer<cpal::Error>,
    pub host: String,
    device: String,
    /// Frames a callback, as the device says at first, then as they come.
    pub frames: u32,
}

impl Open {
    pub(super) fn state(
        &self,
        delay_frames: usize,
        gauges: &Gauges,
        grown_from: Option<u32>,
    ) -> OutputState {
        let buffer_frames = self.frames;
        let ms = |frames: f64| 1000.0 * frames / f64::from(self.rate_hz);
        let told_ms = gauges.delay_us() as f64 / 1000.0;
        // At least its own buffer lies between a callback and the air, whether it says so or not.
        let card_ms = told_ms.max(ms(f64::from(buffer_frames)));
        OutputState::Playing {
            host: self.host.clone(),
            device: self.device.clone(),
            rate_hz: self.rate_hz,
            buffer_frames,
            grown_from,
            latency_ms: ms(f64::from(buffer_frames) + delay_frames as f64) + card_ms,
        }
    }
}

/// Opens the stream and lets it play. If that fails the renderer goes home.
pub(super) fn open(choice: &Choice, lease: Lease<Box<Renderer>>) -> Result<Open, cpal::Error> {
    match choice.format {
        SampleFormat::F32 => open_as::<f32>(choice, lease),
        SampleFormat::F64 => open_as::<f64>(choice, lease),
        SampleFormat::I16 => open_as::<i16>(choice, lease),
        SampleFormat::I24 => open_as::<I24>(choice, lease),
        SampleFormat::I32 => open_as::<i32>(choice, lease),
        SampleFormat::U16 => open_as::<u16>(choice, lease),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn open_as<T: SizedSample + FromSample<f32>>(
    choice: &Choice,
    mut lease: Lease<Box<Renderer>>,
) -> Result<Open, cpal::Error> {
    let (mut told, troubles) = RingBuffer::new(TROUBLE_ROOM);
    let channels = usize::from(choice.config.channels);
    let stream = choice.device.build_output_stream(
        choice.config,
        move |out: &mut [T], info: &OutputCallbackInfo| {
            let renderer = lease.get();
            let stamp = info.timestamp();
            renderer.show_delay(stamp.playback.saturating_duration_since(stamp.callback));
            renderer.fill(out, channels);
        },
        // It may run on the card's own thread: handed on as it is. What finds no room is one of many; half of the room is
        // kept for what interrupts or ends the stream.
        move |error| {
            if told.slots() > TROUBLE_ROOM / 2 || error.kind() != ErrorKind::BackendError {
                drop(told.push(error));
            }
        },
        Some(OPENING),
    )?;
    stream.play()?;
    let given = stream.buffer_size().ok().filter(|frames| *frames > 0);
    let asked = match choice.config.buffer_size {
        BufferSize::Fixed(frames) => Some(frames),
        BufferSize::Default => None,
    };
    Ok(Open {
        _stream: stream,
        rate_hz: choice.config.sample_rate,
        troubles,
        host: choice.host_name.clone(),
        device: choice.device_name.clone(),
        frames: given.or(asked).unwrap_or(BUFFER_FRAMES),
    })
}
