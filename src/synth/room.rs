//! The room that the bottles stand in: their direct sound, its first reflections, and what the walls make of it after that.

use super::stereo::{process_stereo, sides};
use crate::physics::reverberation::{Listening, Reflection, Walls, first_reflections};
use crate::units::{Length, SampleRate};
use fundsp::MAX_BUFFER_SIZE;
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::BufferVec;
use fundsp::prelude::reverb_stereo;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Shortest and longest wall, m.
const SIZES_M: (f64, f64) = (2.0, 30.0);
/// Shortest and longest decay, s.
const DECAYS_S: (f64, f64) = (0.1, 10.0);
/// Nearest and farthest listener, m.
const DISTANCES_M: (f64, f64) = (0.1, 100.0);
/// The reverb falls this many times more slowly than it is asked to: measured on fundsp 0.23 over decays of 0.5 to 2 s
/// (`tests/sound/room.rs` repeats it); its formula counts a loop of 30 ms in a 10 m room where its loops last 62 ms on average.
const SLOWER_THAN_ASKED: f64 = 2.14;
/// The part of its decay over which the reverb's energy is measured: 30 dB down a thousandth is left.
const MEASURED_PART: f64 = 0.5;
/// Length of the pulse that it is measured with, s: what a bottle says is below its 2 kHz, where walls are not yet soft.
const PULSE_S: f64 = 0.001;
/// Time constant of a change of the wet part, s.
const WET_S: f64 = 0.010;
/// After so many of its decays without a sound a room is left alone: what is left is 120 dB down.
const RESTS_AFTER_DECAYS: f64 = 2.0;
/// So near the wanted wet part it has arrived.
const WET_ARRIVED: f32 = 1e-5;

/// Why a room or a ceiling was refused.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own numbers")]
pub enum RoomError {
    /// A wall too short or too long.
    #[error("a wall of {size_m} m is outside {min_m} to {max_m} m")]
    Size { size_m: f64, min_m: f64, max_m: f64 },
    /// A decay too short or too long.
    #[error("a decay of {decay_s} s is outside {min_s} to {max_s} s")]
    Decay {
        decay_s: f64,
        min_s: f64,
        max_s: f64,
    },
    /// A listener too near or too far.
    #[error("a distance of {distance_m} m is outside {min_m} to {max_m} m")]
    Distance {
        distance_m: f64,
        min_m: f64,
        max_m: f64,
    },
    /// A part that is not between nothing and all.
    #[error("{what} of {value} is outside 0 to 1")]
    Part { what: &'static str, value: f64 },
    /// A ceiling above full scale, or so low that nothing is left.
    #[error("a ceiling of {db} dBFS is outside −60 to 0 dBFS")]
    Ceiling { db: f64 },
}

/// What a room is like, and where it is heard from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomSpec {
    /// Its walls, each 2 to 30 m, dead in 0.1 to 10 s; without them there is the ground alone.
    pub walls: Option<Walls>,
    /// From the bottles to the listener, 0.1 to 100 m.
    pub distance: Length,
    /// Part of the sound's energy that comes from the walls, 0 to 1, if it is not to be what the distance makes of it.
    pub wet: Option<f64>,
}

impl Default for RoomSpec {
    /// A small room at its usual distance.
    fn default() -> Self {
        Listening::default().into()
    }
}

impl From<Listening> for RoomSpec {
    fn from(listening: Listening) -> Self {
        Self {
            walls: listening.kind().walls(),
            distance: listening.distance(),
            wet: None,
        }
    }
}

impl RoomSpec {
    /// Part of the sound's energy that comes from the walls: d²/(d² + r_c²), r_c being their critical distance. Without walls
    /// it is what the ground sends back.
    #[must_use]
    pub fn wet_part(&self) -> f64 {
        self.wet.unwrap_or_else(|| {
            let energy = self.energy(&self.reflections());
            energy / (1.0 + energy)
        })
    }

    fn reflections(&self) -> Vec<Reflection> {
        first_reflections(self.walls.as_ref(), self.distance)
    }

    /// Energy of all that walls or ground send, the direct sound's being 1.
    fn energy(&self, reflections: &[Reflection]) -> f64 {
        match self.walls {
            Some(walls) => (self.distance / walls.critical_distance()).powi(2),
            None => reflections.iter().map(|r| r.gain.powi(2)).sum(),
        }
    }

    fn checked(&self) -> Result<(), RoomError> {
        let (distance_m, (min_m, max_m)) = (self.distance.m(), DISTANCES_M);
        if !(min_m..=max_m).contains(&distance_m) {
            return Err(RoomError::Distance {
                distance_m,
                min_m,
                max_m,
            });
        }
        if let Some(wet) = self.wet {
            part("a room's wet part", wet)?;
        }
        let Some(walls) = self.walls else {
            return Ok(());
        };
        for size in [walls.length, walls.width, walls.height] {
            let (size_m, (min_m, max_m)) = (size.m(), SIZES_M);
            if !(min_m..=max_m).contains(&size_m) {
                return Err(RoomError::Size {
                    size_m,
                    min_m,
                    max_m,
                });
            }
        }
        let (decay_s, (min_s, max_s)) = (walls.decay.s(), DECAYS_S);
        if !(min_s..=max_s).contains(&decay_s) {
            return Err(RoomError::Decay {
                decay_s,
                min_s,
                max_s,
            });
        }
        part("a room's softness", walls.softness)
    }
}

fn part(what: &'static str, value: f64) -> Result<(), RoomError> {
    if (0.0..=1.0).contains(&value) {
        Ok(())
    } else {
        Err(RoomError::Part { what, value })
    }
}

/// A reflection on its way.
#[derive(Clone, Copy, Debug)]
struct Tap {
    delay_frames: usize,
    /// Gains to the left and right.
    sides: [f32; 2],
}

/// The first reflections: what was said lately, and when it comes back.
struct Early {
    taps: Vec<Tap>,
    /// What was said, in a ring whose length is a power of two.
    said: Vec<f32>,
    now: usize,
}

impl Early {
    fn new(reflections: &[Reflection], gain: f64, rate: SampleRate) -> Self {
        let tap = |reflection: &Reflection| {
            let gain = gain * reflection.gain;
            Tap {
                delay_frames: ((reflection.delay.s() * rate.hz()).round() as usize).max(1),
                sides: sides(reflection.side).map(|side| (gain * side) as f32),
            }
        };
        let taps: Vec<Tap> = reflections.iter().map(tap).collect();
        let longest = taps.iter().map(|tap| tap.delay_frames).max().unwrap_or(0);
        Self {
            taps,
            said: vec![0.0; (longest + 1).next_power_of_two()],
            now: 0,
        }
    }

    fn reset(&mut self) {
        self.said.fill(0.0);
        self.now = 0;
    }

    /// Takes what is said now, and gives what comes back to the left and right.
    fn step(&mut self, said: f32) -> [f32; 2] {
        let last = self.said.len() - 1;
        self.said[self.now & last] = said;
        let mut back = [0.0; 2];
        for tap in &self.taps {
            let then = self.said[self.now.wrapping_sub(tap.delay_frames) & last];
            back[0] += tap.sides[0] * then;
            back[1] += tap.sides[1] * then;
        }
        self.now = self.now.wrapping_add(1);
        back
    }
}

/// What the walls make of a sound after its first reflections.
struct Late {
    reverb: Box<dyn AudioUnit>,
    gain: f32,
}

impl Late {
    /// With this energy for a source in the middle whose own is 1. Allocates.
    fn new(walls: &Walls, energy: f64, rate: SampleRate) -> Self {
        let mut reverb = reverb(walls, rate);
        let gain = (energy / energy_of(&mut *reverb, walls, rate)).sqrt();
        reverb.reset();
        Self {
            reverb,
            gain: gain as f32,
        }
    }
}

fn reverb(walls: &Walls, rate: SampleRate) -> Box<dyn AudioUnit> {
    let (size_m, decay_s) = (walls.volume().m3().cbrt(), walls.decay.s());
    let mut reverb: Box<dyn AudioUnit> = Box::new(reverb_stereo(
        size_m,
        decay_s / SLOWER_THAN_ASKED,
        walls.softness,
    ));
    reverb.set_sample_rate(rate.hz());
    reverb.allocate();
    reverb
}

/// Energy of what a reverb gives back of a short pulse in the middle, over the pulse's own.
fn energy_of(reverb: &mut dyn AudioUnit, walls: &Walls, rate: SampleRate) -> f64 {
    let pulse_frames = (PULSE_S * rate.hz()).ceil();
    let pulse = |frame: usize| {
        let part = (frame as f64 + 0.5) / pulse_frames;
        if part < 1.0 {
            (PI * part).sin().powi(2)
        } else {
            0.0
        }
    };
    let frames = (MEASURED_PART * walls.decay.s() * rate.hz() + pulse_frames) as usize;
    let (mut input, mut output) = (BufferVec::new(2), BufferVec::new(2));
    let (mut left, mut right) = ([0.0f32; MAX_BUFFER_SIZE], [0.0f32; MAX_BUFFER_SIZE]);
    let (mut said, mut heard) = (0.0f64, 0.0f64);
    for start in (0..frames).step_by(MAX_BUFFER_SIZE) {
        for (frame, (left, right)) in (start..).zip(left.iter_mut().zip(&mut right)) {
            let pulse = pulse(frame);
            said += pulse * pulse;
            *left = (FRAC_1_SQRT_2 * pulse) as f32;
            *right = *left;
        }
        let buffers = (&mut input, &mut output);
        process_stereo(reverb, buffers, &mut left, &mut right, |_, walls| walls);
        let both = left.iter().chain(&right);
        heard += both.map(|s| f64::from(*s).powi(2)).sum::<f64>();
    }
    (heard / said).max(f64::MIN_POSITIVE)
}

/// A room: what its walls send is mixed with the direct sound, so that the two together have the energy of the direct sound
/// alone.
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
    early: Early,
    late: Option<Late>,
    wet: f32,
    start_wet: f32,
    wanted_wet: f32,
    /// The part of the way to the wanted wet part that is made in one sample.
    follow: f32,
    /// Frames without a sound so far, and after how many of them nothing is worked out.
    still_frames: usize,
    rests_after: usize,
    input: BufferVec,
    output: BufferVec,
}

impl Room {
    /// The room of `spec`, silent. Allocates, and takes as long as half its decay of sound.
    ///
    /// # Errors
    /// A number outside its range.
    pub fn new(spec: RoomSpec, rate: SampleRate) -> Result<Self, RoomError> {
        spec.checked()?;
        let reflections = spec.reflections();
        let early: f64 = reflections.iter().map(|r| r.gain.powi(2)).sum();
        let all = spec.energy(&reflections).max(f64::MIN_POSITIVE);
        // Near the bottles the diffuse field that all rests on may be less than the first reflections: those are all then.
        let early_share = (early / all).min(1.0);
        let early_gain = (early_share / early.max(f64::MIN_POSITIVE)).sqrt();
        let late = spec
            .walls
            .map(|walls| Late::new(&walls, 1.0 - early_share, rate));
        let wet = spec.wet_part() as f32;
        let early = Early::new(&reflections, early_gain, rate);
        let decay_s = spec.walls.map_or(0.0, |walls| walls.decay.s());
        let rests_after = (RESTS_AFTER_DECAYS * decay_s * rate.hz()) as usize + early.said.len();
        Ok(Self {
            early,
            still_frames: rests_after,
            rests_after,
            late,
            wet,
            start_wet: wet,
            wanted_wet: wet,
            follow: -(-1.0 / (WET_S * rate.hz())).exp_m1() as f32,
            input: BufferVec::new(2),
            output: BufferVec::new(2),
        })
    }

    /// Leaves the room as `new` did: silent.
    pub fn reset(&mut self) {
        self.early.reset();
        if let Some(late) = &mut self.late {
            late.reverb.reset();
        }
        self.wet = self.start_wet;
        self.wanted_wet = self.start_wet;
        self.still_frames = self.rests_after;
    }

    /// Turns towards another part of the energy that comes from the walls, 0 to 1, with a time constant of 10 ms; what is no
    /// such part is passed over.
    pub fn set_wet(&mut self, wet: f32) {
        if (0.0..=1.0).contains(&wet) {
            self.wanted_wet = wet;
        }
    }

    /// Puts the sound of `left` and `right` into the room, in place.
    ///
    /// A room in which nothing has sounded for twice its decay costs nothing. That is counted in frames, so that blocks of any length
    /// give the same.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let mut at = 0;
        while at < frames {
            // As far as it is silent, or sounds, throughout.
            let silent = |k: usize| left[k] == 0.0 && right[k] == 0.0;
            let is_still = silent(at);
            let mut run = (at..frames).take_while(|&k| silent(k) == is_still).count();
            if !is_still {
                self.still_frames = 0;
            } else if self.still_frames >= self.rests_after {
                self.wet = self.wanted_wet;
                at += run;
                continue;
            } else {
                run = run.min(self.rests_after - self.still_frames);
                self.still_frames += run;
            }
            let to = at + run;
            for from in (at..to).step_by(MAX_BUFFER_SIZE) {
                let piece = from..(from + MAX_BUFFER_SIZE).min(to);
                self.process_piece(&mut left[piece.clone()], &mut right[piece]);
            }
            at = to;
        }
    }

    fn process_piece(&mut self, left: &mut [f32], right: &mut [f32]) {
        let size = left.len();
        let mut gain = 0.0;
        if let Some(late) = &mut self.late {
            self.input.channel_f32_mut(0)[..size].copy_from_slice(left);
            self.input.channel_f32_mut(1)[..size].copy_from_slice(right);
            let (input, mut output) = (self.input.buffer_ref(), self.output.buffer_mut());
            late.reverb.process(size, &input, &mut output);
            gain = late.gain;
        }
        let mut gains = gains(self.wet);
        for (frame, (left, right)) in left.iter_mut().zip(right).enumerate() {
            if self.wet != self.wanted_wet {
                self.wet += self.follow * (self.wanted_wet - self.wet);
                if (self.wanted_wet - self.wet).abs() < WET_ARRIVED {
                    self.wet = self.wanted_wet;
                }
                gains = self::gains(self.wet);
            }
            let early = self.early.step(MIDDLE * (*left + *right));
            for (channel, sample) in [left, right].into_iter().enumerate() {
                let walls = early[channel] + gain * self.output.channel_f32(channel)[frame];
                *sample = gains[0] * *sample + gains[1] * walls;
            }
        }
    }
}

/// Both sides as one: a source in the middle has 0.707 of itself in each.
const MIDDLE: f32 = std::f32::consts::FRAC_1_SQRT_2;

/// Gains of the direct sound and of the walls; their squares are 1 together.
fn gains(wet: f32) -> [f32; 2] {
    [(1.0 - wet).max(0.0).sqrt(), wet.sqrt()]
}
