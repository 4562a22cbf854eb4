//! A room over whole stretches of sound.
//!
//! What a room makes of a sound is the sound's convolution with what it makes of an impulse. In stretches of two thirds of a
//! second that is less than a third of the work of running the room itself, sample by sample, and the same sound but for rounding.
//! (Convolved by parts of equal length, overlap-save: Oppenheim & Schafer, *Discrete-Time Signal Processing*, ch. 8.)

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::synth::{Room, RoomError, RoomSpec};
use crate::units::SampleRate;

/// A stretch lasts this long at least, s; its frames are a power of two. Of half as many frames, sums of products cost more; of
/// twice as many, transforms no longer lie in the cache.
const STRETCH_S: f64 = 0.4;
/// The impulse is heard for this many times the decay of the walls, or this long.
const DECAYS: f64 = 2.0;
const SHORTEST_S: f64 = 0.2;
/// Less than this part of its energy, 100 dB down, is cut off its end.
const CUT: f64 = 1e-10;
/// Frames of an impulse above which its spectra would take more than 16 MiB.
const MOST_FRAMES: usize = 1 << 19;

/// Both sides.
type Stereo = [Vec<f32>; 2];
/// Half a spectrum.
type Spectrum = Vec<Complex<f32>>;

/// A room that takes whole stretches.
pub(super) struct Convolved {
    stretch_frames: usize,
    /// Gain of the direct sound.
    direct: f32,
    /// What the walls send to both sides of an impulse on the left, and of one on the right, part by part.
    parts: Vec<[[Spectrum; 2]; 2]>,
    /// Spectra of the last stretches, each with the one before it; a ring.
    heard: Vec<[Spectrum; 2]>,
    now: usize,
    before: Stereo,
    forward: Arc<dyn RealToComplex<f32>>,
    backward: Arc<dyn ComplexToReal<f32>>,
    /// Room for a transform: samples, a spectrum, and what rustfft asks for.
    samples: Vec<f32>,
    sum: Spectrum,
    work: Spectrum,
}

impl Convolved {
    /// The room of `spec`; nothing if it rings for too long to be worth it.
    ///
    /// # Errors
    /// A number outside its range.
    pub(super) fn new(spec: RoomSpec, rate: SampleRate) -> Result<Option<Self>, RoomError> {
        let wet = spec.wet_part();
        let walls = RoomSpec {
            wet: Some(1.0),
            ..spec
        };
        let decay_s = spec.walls.map_or(0.0, |walls| walls.decay.s());
        let frames = ((DECAYS * decay_s).max(SHORTEST_S) * rate.hz()).ceil() as usize;
        if frames > MOST_FRAMES {
            return Ok(None);
        }
        let mut room = Room::new(walls, rate)?;
        let mut sent = [0, 1].map(|side| impulse(&mut room, side, frames));
        let gain = wet.sqrt() as f32;
        let length = sent.iter().map(heard_frames).max();
        for side in sent.iter_mut().flatten() {
            side.truncate(length.unwrap_or(1).max(1));
            side.iter_mut().for_each(|sample| *sample *= gain);
        }
        Ok(Some(Self::of(&sent, (1.0 - wet).sqrt() as f32, rate)))
    }

    fn of(sent: &[Stereo; 2], direct: f32, rate: SampleRate) -> Self {
        let stretch_frames = ((STRETCH_S * rate.hz()) as usize).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(2 * stretch_frames);
        let backward = planner.plan_fft_inverse(2 * stretch_frames);
        let silent = || vec![Complex::default(); stretch_frames + 1];
        let work = forward.get_scratch_len().max(backward.get_scratch_len());
        let mut room = Self {
            stretch_frames,
            direct,
            parts: Vec::new(),
            heard: Vec::new(),
            now: 0,
            before: [vec![0.0; stretch_frames], vec![0.0; stretch_frames]],
            samples: forward.make_input_vec(),
            sum: silent(),
            work: vec![Complex::default(); work],
            forward,
            backward,
        };
        let count = sent[0][0].len().div_ceil(stretch_frames);
        room.heard = (0..count).map(|_| [silent(), silent()]).collect();
        // Neither way of rustfft's takes the length off again.
        let scale = 1.0 / (2 * stretch_frames) as f32;
        for start in (0..count).map(|part| part * stretch_frames) {
            let mut part = [[silent(), silent()], [silent(), silent()]];
            for (to_sides, sent) in part.iter_mut().zip(sent) {
                for (spectrum, side) in to_sides.iter_mut().zip(sent) {
                    let end = (start + stretch_frames).min(side.len());
                    room.samples.fill(0.0);
                    for (out, sample) in room.samples.iter_mut().zip(&side[start..end]) {
                        *out = scale * sample;
                    }
                    room.transform(spectrum);
                }
            }
            room.parts.push(part);
        }
        room
    }

    /// Frames that [`Self::process`] takes at a time.
    pub(super) fn stretch_frames(&self) -> usize {
        self.stretch_frames
    }

    /// Puts a stretch into the room, in place: [`Self::stretch_frames`] on either side.
    pub(super) fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        debug_assert!(left.len() == self.stretch_frames && right.len() == self.stretch_frames);
        let count = self.heard.len();
        self.now = (self.now + 1) % count;
        for (side, said) in [&*left, &*right].into_iter().enumerate() {
            self.samples[..self.stretch_frames].copy_from_slice(&self.before[side]);
            self.samples[self.stretch_frames..].copy_from_slice(said);
            self.before[side].copy_from_slice(said);
            let mut spectrum = std::mem::take(&mut self.heard[self.now][side]);
            self.transform(&mut spectrum);
            self.heard[self.now][side] = spectrum;
        }
        for (to, said) in [left, right].into_iter().enumerate() {
            self.sum.fill(Complex::default());
            for (ago, part) in self.parts.iter().enumerate() {
                let heard = &self.heard[(self.now + count - ago) % count];
                add_products(&mut self.sum, heard, [&part[0][to], &part[1][to]]);
            }
            // Of a real sound these two are real; what rounding left is in the way of the transform.
            self.sum[0].im = 0.0;
            self.sum[self.stretch_frames].im = 0.0;
            self.backward
                .process_with_scratch(&mut self.sum, &mut self.samples, &mut self.work)
                .expect("the lengths are the planner's own");
            // The first half has come round from the end.
            let walls = &self.samples[self.stretch_frames..];
            for (sample, walls) in said.iter_mut().zip(walls) {
                *sample = self.direct * *sample + walls;
            }
        }
    }

    /// The spectrum of [`Self::samples`], which it spoils.
    fn transform(&mut self, spectrum: &mut Spectrum) {
        self.forward
            .process_with_scratch(&mut self.samples, spectrum, &mut self.work)
            .expect("the lengths are the planner's own");
    }
}

/// Adds what comes of both sides at once, so that the sum is fetched half as often.
#[multiversion::multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn add_products(sum: &mut [Complex<f32>], [a, b]: &[Spectrum; 2], [c, d]: [&Spectrum; 2]) {
    let factors = a.iter().zip(b).zip(c.iter().zip(d));
    for (sum, ((a, b), (c, d))) in sum.iter_mut().zip(factors) {
        sum.re += a.re * c.re - a.im * c.im + (b.re * d.re - b.im * d.im);
        sum.im += a.re * c.im + a.im * c.re + (b.re * d.im + b.im * d.re);
    }
}

/// What `room` sends to both sides of an impulse on one.
fn impulse(room: &mut Room, side: usize, frames: usize) -> Stereo {
    room.reset();
    let mut sent = [vec![0.0; frames], vec![0.0; frames]];
    sent[side][0] = 1.0;
    let [left, right] = &mut sent;
    room.process(left, right);
    sent
}

/// Frames after which less than [`CUT`] of its energy is left.
fn heard_frames(sent: &Stereo) -> usize {
    let energy =
        |frame: usize| f64::from(sent[0][frame]).powi(2) + f64::from(sent[1][frame]).powi(2);
    let frames = sent[0].len();
    let all: f64 = (0..frames).map(energy).sum();
    let mut left = 0.0;
    let heard = (0..frames).rev().find(|&frame| {
        left += energy(frame);
        left > CUT * all
    });
    heard.map_or(0, |last| last + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::reverberation::{Listening, RoomKind};

    #[test]
    fn a_room_over_stretches_sounds_as_the_room_itself() {
        let rate = SampleRate::from_hz(16_000.0);
        for kind in RoomKind::ALL {
            let spec = RoomSpec::from(Listening::new(kind, None).expect("the usual distance"));
            let mut quick = Convolved::new(spec, rate).expect("a room").expect("short");
            let mut plain = Room::new(spec, rate).expect("a room");
            // Two clicks and a tone, one side louder, over six stretches.
            let frames = 6 * quick.stretch_frames();
            let said = |frame: usize| match frame {
                100 | 9_000 => 1.0,
                20..5_000 => 0.3 * (frame as f32 * 0.11).sin(),
                _ => 0.0,
            };
            let mut left: Vec<f32> = (0..frames).map(said).collect();
            let mut right: Vec<f32> = left.iter().map(|s| -0.4 * s).collect();
            let (mut plain_left, mut plain_right) = (left.clone(), right.clone());
            plain.process(&mut plain_left, &mut plain_right);
            let stretches = left.chunks_mut(quick.stretch_frames());
            for (left, right) in stretches.zip(right.chunks_mut(quick.stretch_frames())) {
                quick.process(left, right);
            }
            let both = left
                .iter()
                .zip(&plain_left)
                .chain(right.iter().zip(&plain_right));
            let worst = both.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
            println!("{kind:?}: {worst:.1e} apart at most");
            // −90 dB of full scale: the end of the impulse that is cut off, and 24 bits of two ways to add up.
            assert!(worst < 3e-5, "{kind:?}: {worst}");
        }
    }

    #[test]
    fn what_rings_too_long_is_left_to_the_room_itself() {
        let mut spec = RoomSpec::default();
        spec.walls.as_mut().expect("walls").decay = crate::units::Duration::from_s(10.0);
        let quick = Convolved::new(spec, SampleRate::from_hz(192_000.0));
        assert!(quick.is_ok_and(|quick| quick.is_none()));
    }
}
