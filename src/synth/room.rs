//! After the bottles: the room they stand in, and the ceiling that no sample passes.

use crate::units::{Duration, Length, Level, SampleRate};
use fundsp::MAX_BUFFER_SIZE;
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::BufferVec;
use fundsp::prelude::{limiter_stereo, reverb_stereo};

/// Smallest and largest room, m.
const SIZES_M: (f64, f64) = (2.0, 30.0);
/// Shortest and longest decay, s.
const DECAYS_S: (f64, f64) = (0.1, 10.0);
/// The reverb falls this many times more slowly than it is asked to: measured on fundsp 0.23 over decays of 0.5 to 2 s
/// (`tests/sound/room.rs` repeats it); its formula counts a loop of 30 ms in a 10 m room where its loops last 62 ms on average.
const SLOWER_THAN_ASKED: f64 = 2.14;
/// Look-ahead of the limiter, s.
const LOOK_AHEAD_S: f32 = 0.005;
/// Release of the limiter, s.
const RELEASE_S: f32 = 0.1;
/// The limiter aims below its own 1 by this factor, so it starts to work here. Fixed in fundsp 0.23.
const LIMITER_HEADROOM: f32 = 1.1;
/// Time constant of a change of the wet part, s.
const WET_S: f64 = 0.010;
/// So near the wanted wet part it has arrived.
const WET_ARRIVED: f32 = 1e-5;
/// Time for the limiter to settle after it was filled, s: many times its attack.
const SETTLE_S: f64 = 0.1;

/// Why a room or a ceiling was refused.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own numbers")]
pub enum RoomError {
    /// A room too small or too large.
    #[error("a room of {size_m} m is outside {min_m} to {max_m} m")]
    Size { size_m: f64, min_m: f64, max_m: f64 },
    /// A decay too short or too long.
    #[error("a decay of {decay_s} s is outside {min_s} to {max_s} s")]
    Decay {
        decay_s: f64,
        min_s: f64,
        max_s: f64,
    },
    /// A part that is not between nothing and all.
    #[error("{what} of {value} is outside 0 to 1")]
    Part { what: &'static str, value: f64 },
    /// A ceiling above full scale, or so low that nothing is left.
    #[error("a ceiling of {db} dBFS is outside −60 to 0 dBFS")]
    Ceiling { db: f64 },
}

/// What a room is like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomSpec {
    /// From wall to wall, 2 to 30 m.
    pub size: Length,
    /// Time to fall by 60 dB, 0.1 to 10 s.
    pub decay: Duration,
    /// How much softer the walls are for high notes, 0 to 1.
    pub softness: f64,
    /// Part of the sound that comes from the walls, 0 to 1.
    pub wet: f64,
}

impl Default for RoomSpec {
    /// A small wooden room: the taste of a rehearsal, not of a hall.
    fn default() -> Self {
        Self {
            size: Length::from_m(5.0),
            decay: Duration::from_s(0.9),
            softness: 0.6,
            wet: 0.2,
        }
    }
}

fn part(what: &'static str, value: f64) -> Result<(), RoomError> {
    if (0.0..=1.0).contains(&value) {
        Ok(())
    } else {
        Err(RoomError::Part { what, value })
    }
}

/// Runs a stereo unit over a block in place, in the pieces that fundsp takes.
fn process_stereo(
    unit: &mut dyn AudioUnit,
    buffers: (&mut BufferVec, &mut BufferVec),
    left: &mut [f32],
    right: &mut [f32],
    mut mix: impl FnMut(f32, f32) -> f32,
) {
    let (input, output) = buffers;
    for (left, right) in left
        .chunks_mut(MAX_BUFFER_SIZE)
        .zip(right.chunks_mut(MAX_BUFFER_SIZE))
    {
        let size = left.len().min(right.len());
        input.channel_f32_mut(0)[..size].copy_from_slice(&left[..size]);
        input.channel_f32_mut(1)[..size].copy_from_slice(&right[..size]);
        unit.process(size, &input.buffer_ref(), &mut output.buffer_mut());
        for (channel, side) in [left, right].into_iter().enumerate() {
            for (sample, new) in side.iter_mut().zip(output.channel_f32(channel)) {
                *sample = mix(*sample, *new);
            }
        }
    }
}

/// A room: its walls' sound is mixed with the direct one.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block. Like every feedback loop of
/// fundsp it switches the calling thread to flush tiny numbers to zero.
///
/// ```
/// use ullage::synth::{Room, RoomSpec};
/// use ullage::units::SampleRate;
/// let mut room = Room::new(RoomSpec::default(), SampleRate::from_hz(48_000.0))?;
/// let (mut left, mut right) = (vec![0.0; 9600], vec![0.0; 9600]);
/// left[0] = 1.0;
/// room.process(&mut left, &mut right);
/// assert!(right[2000..].iter().any(|s| s.abs() > 1e-4));
/// # Ok::<(), ullage::synth::RoomError>(())
/// ```
pub struct Room {
    walls: Box<dyn AudioUnit>,
    wet: f32,
    start_wet: f32,
    wanted_wet: f32,
    /// The part of the way to the wanted wet part that is made in one sample.
    follow: f32,
    input: BufferVec,
    output: BufferVec,
}

impl Room {
    /// The room of `spec`, silent. Allocates.
    ///
    /// # Errors
    /// A number outside its range.
    pub fn new(spec: RoomSpec, rate: SampleRate) -> Result<Self, RoomError> {
        let (size_m, decay_s) = (spec.size.m(), spec.decay.s());
        if !(SIZES_M.0..=SIZES_M.1).contains(&size_m) {
            return Err(RoomError::Size {
                size_m,
                min_m: SIZES_M.0,
                max_m: SIZES_M.1,
            });
        }
        if !(DECAYS_S.0..=DECAYS_S.1).contains(&decay_s) {
            return Err(RoomError::Decay {
                decay_s,
                min_s: DECAYS_S.0,
                max_s: DECAYS_S.1,
            });
        }
        part("a room's softness", spec.softness)?;
        part("a room's wet part", spec.wet)?;
        let mut walls: Box<dyn AudioUnit> = Box::new(reverb_stereo(
            size_m,
            decay_s / SLOWER_THAN_ASKED,
            spec.softness,
        ));
        walls.set_sample_rate(rate.hz());
        walls.allocate();
        Ok(Self {
            walls,
            wet: spec.wet as f32,
            start_wet: spec.wet as f32,
            wanted_wet: spec.wet as f32,
            follow: -(-1.0 / (WET_S * rate.hz())).exp_m1() as f32,
            input: BufferVec::new(2),
            output: BufferVec::new(2),
        })
    }

    /// Leaves the room as `new` did: silent.
    pub fn reset(&mut self) {
        self.walls.reset();
        self.wet = self.start_wet;
        self.wanted_wet = self.start_wet;
    }

    /// Turns towards another wet part, 0 to 1, with a time constant of 10 ms; what is no such part is passed over.
    pub fn set_wet(&mut self, wet: f32) {
        if (0.0..=1.0).contains(&wet) {
            self.wanted_wet = wet;
        }
    }

    /// Puts the sound of `left` and `right` into the room, in place.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        let wet = self.wet;
        let buffers = (&mut self.input, &mut self.output);
        if wet == self.wanted_wet {
            let dry = 1.0 - wet;
            process_stereo(&mut *self.walls, buffers, left, right, |direct, walls| {
                dry * direct + wet * walls
            });
            return;
        }
        for (left, right) in left.chunks_mut(1).zip(right.chunks_mut(1)) {
            self.wet += self.follow * (self.wanted_wet - self.wet);
            if (self.wanted_wet - self.wet).abs() < WET_ARRIVED {
                self.wet = self.wanted_wet;
            }
            let wet = self.wet;
            let dry = 1.0 - wet;
            let buffers = (&mut self.input, &mut self.output);
            process_stereo(&mut *self.walls, buffers, left, right, |direct, walls| {
                dry * direct + wet * walls
            });
        }
    }
}

fn limiter(rate: SampleRate) -> Box<dyn AudioUnit> {
    let mut limiter: Box<dyn AudioUnit> = Box::new(limiter_stereo(LOOK_AHEAD_S, RELEASE_S));
    limiter.set_sample_rate(rate.hz());
    limiter.allocate();
    limiter
}

/// A ceiling: a limiter that looks 5 ms ahead, and after it a last bound, so that no sample passes the ceiling.
///
/// What is more than 0.83 dB below the ceiling passes unchanged but for rounding, 5 ms later. It bounds samples: a curve
/// drawn through them may go higher by some tenths of a decibel.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block; but `reset` allocates and takes as long
/// as a tenth of a second of sound.
///
/// ```
/// use ullage::synth::Ceiling;
/// use ullage::units::{Level, SampleRate};
/// let mut ceiling = Ceiling::new(Level::from_db(-1.0), SampleRate::from_hz(48_000.0))?;
/// let (mut left, mut right) = (vec![3.0; 4800], vec![-3.0; 4800]);
/// ceiling.process(&mut left, &mut right);
/// assert!(left.iter().chain(&right).all(|s| s.abs() <= 0.8913));
/// # Ok::<(), ullage::synth::RoomError>(())
/// ```
pub struct Ceiling {
    limiter: Box<dyn AudioUnit>,
    rate: SampleRate,
    top: f32,
    delay_frames: usize,
    settle_frames: usize,
    input: BufferVec,
    output: BufferVec,
}

impl Ceiling {
    /// A ceiling at `top`, −60 to 0 dBFS; −1 dBFS is common practice for files that will be coded again. Allocates.
    ///
    /// # Errors
    /// A ceiling outside its range.
    pub fn new(top: Level, rate: SampleRate) -> Result<Self, RoomError> {
        let db = top.db();
        if !(-60.0..=0.0).contains(&db) {
            return Err(RoomError::Ceiling { db });
        }
        let mut ceiling = Self {
            limiter: limiter(rate),
            rate,
            top: top.gain() as f32,
            delay_frames: (f64::from(LOOK_AHEAD_S) * rate.hz()).round().max(1.0) as usize,
            settle_frames: (SETTLE_S * rate.hz()) as usize,
            input: BufferVec::new(2),
            output: BufferVec::new(2),
        };
        ceiling.prime();
        Ok(ceiling)
    }

    /// Fills the look-ahead. An empty limiter takes its first gain from the first peak, however small, and so makes a
    /// soft beginning loud: it is given a peak of just the size that leaves the gain at 1.
    fn prime(&mut self) {
        let peak = 1.0 / LIMITER_HEADROOM;
        for frame in 0..self.delay_frames + self.settle_frames {
            let sample = if frame == 0 { peak } else { 0.0 };
            self.limiter.tick(&[sample, sample], &mut [0.0, 0.0]);
        }
    }

    /// Leaves the ceiling as `new` did. Allocates: the limiter of fundsp 0.23 keeps its follower through a reset, so
    /// another takes its place.
    pub fn reset(&mut self) {
        self.limiter = limiter(self.rate);
        self.prime();
    }

    /// Frames by which the sound comes out later: drop so many at the start of a file, and send so many zeros after it.
    #[must_use]
    pub fn delay_frames(&self) -> usize {
        self.delay_frames
    }

    /// Puts `left` and `right` under the ceiling, in place, [`Ceiling::delay_frames`] late.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        let top = self.top;
        let below = 1.0 / top;
        left.iter_mut()
            .chain(right.iter_mut())
            .for_each(|sample| *sample *= below);
        let buffers = (&mut self.input, &mut self.output);
        process_stereo(&mut *self.limiter, buffers, left, right, |_, new| {
            (new * top).clamp(-top, top)
        });
    }

    /// Puts a whole sound under the ceiling, in place and in time: nothing is late and nothing is lost. For files; allocates.
    pub fn process_whole(&mut self, left: &mut Vec<f32>, right: &mut Vec<f32>) {
        let delay = self.delay_frames;
        for side in [&mut *left, &mut *right] {
            side.resize(side.len() + delay, 0.0);
        }
        self.process(left, right);
        for side in [left, right] {
            side.drain(..delay);
        }
    }
}
