//! The ceiling that no sample passes.

use super::room::RoomError;
use super::stereo::process_stereo;
use crate::units::{Level, SampleRate};
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::BufferVec;
use fundsp::prelude::limiter_stereo;

/// Look-ahead of the limiter, s.
const LOOK_AHEAD_S: f32 = 0.005;
/// Release of the limiter, s.
const RELEASE_S: f32 = 0.1;
/// The limiter aims below its own 1 by this factor, so it starts to work here. Fixed in fundsp 0.23.
const LIMITER_HEADROOM: f32 = 1.1;
/// Time for the limiter to settle after it was filled, s: many times its attack.
const SETTLE_S: f64 = 0.1;

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
