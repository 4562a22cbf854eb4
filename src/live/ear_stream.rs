//! One open microphone: from the card's callback to a queue of mono samples.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::Duration;

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    BufferSize, ErrorKind, FromSample, I24, InputCallbackInfo, Sample, SampleFormat, SizedSample,
    Stream,
};
use rtrb::{Consumer, Producer, RingBuffer};

use super::device::Choice;
use super::ear::InputState;

/// Sound that waits for a busy listener, s.
const ROOM_S: usize = 4;
/// Errors that wait to be looked at; of a storm the rest may be lost.
const TROUBLE_ROOM: usize = 64;
/// Time that a sound system may take to open a device, where it keeps to one.
const OPENING: Duration = Duration::from_secs(5);
/// At this share of full scale a sample counts as clipped: common practice, no source.
const CLIPPED: f32 = 0.99;

/// Numbers that the callback writes and anybody reads.
#[derive(Debug, Default)]
pub(super) struct Counts {
    /// Callbacks so far.
    pub(super) callbacks: AtomicU64,
    /// Frames that found no room.
    pub(super) lost: AtomicU64,
    /// Samples at full scale.
    pub(super) clipped: AtomicU64,
    /// Highest sample since it was last taken, as the bits of a float that is never negative: they sort alike.
    peak_bits: AtomicU32,
}

impl Counts {
    /// The highest sample since the last call, full scale 1.
    pub(super) fn take_peak(&self) -> f32 {
        f32::from_bits(self.peak_bits.swap(0, Ordering::Relaxed))
    }
}

/// What is in the callback. Real time: no allocation, lock, wait or system call; cost is linear in the block.
pub(super) struct Hearing {
    ring: Producer<f32>,
    channels: usize,
    counts: Arc<Counts>,
}

impl Hearing {
    /// With a queue of `frames`; the other end goes to whoever listens.
    pub(super) fn new(
        channels: usize,
        frames: usize,
        counts: Arc<Counts>,
    ) -> (Self, Consumer<f32>) {
        let (ring, heard) = RingBuffer::new(frames);
        let channels = channels.max(1);
        (
            Self {
                ring,
                channels,
                counts,
            },
            heard,
        )
    }

    /// Takes a block of interleaved samples: the mean of the channels goes into the queue, what finds no room is lost and
    /// counted.
    pub(super) fn hear<T: Copy>(&mut self, block: &[T])
    where
        f32: FromSample<T>,
    {
        let share = 1.0 / self.channels as f32;
        let (mut peak, mut clipped, mut lost) = (0.0f32, 0, 0);
        for frame in block.chunks_exact(self.channels) {
            let mut sum = 0.0;
            for &sample in frame {
                let sample = f32::from_sample_(sample);
                // A driver that gives what is no number gives silence.
                let sample = if sample.is_finite() { sample } else { 0.0 };
                peak = peak.max(sample.abs());
                clipped += u64::from(sample.abs() >= CLIPPED);
                sum += sample;
            }
            lost += u64::from(self.ring.push(sum * share).is_err());
        }
        let counts = &self.counts;
        // A server that is gone may go on calling with nothing.
        counts
            .callbacks
            .fetch_add(u64::from(!block.is_empty()), Ordering::Relaxed);
        counts
            .peak_bits
            .fetch_max(peak.to_bits(), Ordering::Relaxed);
        if clipped > 0 {
            counts.clipped.fetch_add(clipped, Ordering::Relaxed);
        }
        if lost > 0 {
            counts.lost.fetch_add(lost, Ordering::Relaxed);
        }
    }
}

/// A microphone that is open.
pub(super) struct Open {
    /// Held for its drop, which stops it.
    _stream: Stream,
    /// What the stream complains about.
    pub(super) troubles: Consumer<cpal::Error>,
    pub(super) state: InputState,
}

/// Opens the microphone and lets it run.
pub(super) fn open(
    choice: &Choice,
    counts: &Arc<Counts>,
) -> Result<(Open, Consumer<f32>), cpal::Error> {
    match choice.format {
        SampleFormat::F32 => open_as::<f32>(choice, counts),
        SampleFormat::F64 => open_as::<f64>(choice, counts),
        SampleFormat::I16 => open_as::<i16>(choice, counts),
        SampleFormat::I24 => open_as::<I24>(choice, counts),
        SampleFormat::I32 => open_as::<i32>(choice, counts),
        SampleFormat::U16 => open_as::<u16>(choice, counts),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn open_as<T: SizedSample + Sample>(
    choice: &Choice,
    counts: &Arc<Counts>,
) -> Result<(Open, Consumer<f32>), cpal::Error>
where
    f32: FromSample<T>,
{
    let (mut told, troubles) = RingBuffer::new(TROUBLE_ROOM);
    let (channels, rate_hz) = (choice.config.channels, choice.config.sample_rate);
    let room = ROOM_S * rate_hz as usize;
    let (mut hearing, heard) = Hearing::new(usize::from(channels), room, Arc::clone(counts));
    let stream = choice.device.build_input_stream(
        choice.config,
        move |block: &[T], _: &InputCallbackInfo| hearing.hear(block),
        // It may run on the card's own thread: handed on as it is. What finds no room is one of many.
        move |error| drop(told.push(error)),
        Some(OPENING),
    )?;
    stream.play()?;
    let given = stream.buffer_size().ok().filter(|frames| *frames > 0);
    let asked = match choice.config.buffer_size {
        BufferSize::Fixed(frames) => Some(frames),
        BufferSize::Default => None,
    };
    let state = InputState::Listening {
        host: choice.host_name.clone(),
        device: choice.device_name.clone(),
        rate_hz,
        channels,
        buffer_frames: given.or(asked).unwrap_or(0),
    };
    let open = Open {
        _stream: stream,
        troubles,
        state,
    };
    Ok((open, heard))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard_of<T: Copy>(channels: usize, room: usize, block: &[T]) -> (Vec<f32>, Arc<Counts>)
    where
        f32: FromSample<T>,
    {
        let counts = Arc::new(Counts::default());
        let (mut hearing, mut heard) = Hearing::new(channels, room, Arc::clone(&counts));
        hearing.hear(block);
        let mut out = Vec::new();
        while let Ok(sample) = heard.pop() {
            out.push(sample);
        }
        (out, counts)
    }

    #[test]
    fn the_same_sound_in_every_format_is_the_same_sound() {
        let floats = [0.0f32, 0.5, -0.25, 0.125];
        let want = floats.to_vec();
        assert_eq!(heard_of(1, 9, &floats).0, want);
        assert_eq!(
            heard_of(1, 9, &floats.map(|x| (x * 32768.0) as i16)).0,
            want
        );
        let unsigned = floats.map(|x| (x * 32768.0 + 32768.0) as u16);
        assert_eq!(heard_of(1, 9, &unsigned).0, want);
        let long = floats.map(|x| (f64::from(x) * 2f64.powi(31)) as i32);
        assert_eq!(heard_of(1, 9, &long).0, want);
    }

    #[test]
    fn channels_are_mixed_and_half_a_frame_is_left_out() {
        let (out, counts) = heard_of(2, 9, &[0.5f32, 0.25, -1.0, 0.0, 0.7]);
        assert_eq!(out, [0.375, -0.5]);
        assert_eq!(counts.clipped.load(Ordering::Relaxed), 1);
        assert_eq!(counts.take_peak(), 1.0);
        assert_eq!(counts.take_peak(), 0.0, "taken once");
    }

    #[test]
    fn what_finds_no_room_is_counted_and_what_is_no_number_is_silence() {
        let (out, counts) = heard_of(1, 3, &[0.1f32, f32::NAN, 0.2, 0.3, 0.4]);
        assert_eq!(out, [0.1, 0.0, 0.2]);
        assert_eq!(counts.lost.load(Ordering::Relaxed), 2);
    }

    #[test]
    fn the_callback_asks_the_allocator_for_nothing() {
        let counts = Arc::new(Counts::default());
        let (mut hearing, _heard) = Hearing::new(2, 64, counts);
        let block = [0.25f32; 512];
        assert_no_alloc::assert_no_alloc(|| hearing.hear(&block));
    }
}
