//! One struck bottle at the control rate: from mallet, hand and bend to the numbers that the modes run on.

use super::blown_kernel::GRID;
use super::blown_voice::HIGHEST_PART_OF_RATE;
use super::bottle::PITCH_S;
use super::chance::Chance;
use super::contact::{Contact, ContactNoise};
use super::event::EventKind;
use super::pulse::{Pulse, Push, Stiffness, length_s};
use super::ring_kernel::{LANES, OF_A_STROKE, STROKES, Scratch, Strip};
use super::smooth::Glide;
use super::stereo::sides;
use super::stroke::Stroke;
use super::struck::{Lane, StruckVoice};
use crate::physics::shell::strike::Mallet;
use crate::units::Interval;
use std::f64::consts::{PI, TAU};

/// Time for a hand to close on the wall, s. It leaves at once, so that a stroke right after it is whole; neither is a click, since
/// only the slope of the ring changes.
const HAND_S: f64 = 0.030;
/// What a whole hand adds to the loss factor of a mode: it stops glass in a tenth of a second. A guess.
const HAND_LOSS: f64 = 0.03;

/// A mallet on the wall, and what is heard of the contact itself.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Touch {
    push: Push,
    noise: ContactNoise,
}

impl Touch {
    fn is_over(&self, frame: u64) -> bool {
        self.push.is_over(frame) && self.noise.is_over(frame)
    }
}

/// A struck bottle's slow side. The fast side lives in its strip.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct StruckBottle {
    rate_hz: f64,
    modes: [Lane; LANES],
    /// Modes that the rate can carry.
    pub lanes: usize,
    mallet: Mallet,
    wall: Stiffness,
    contact: Contact,
    strokes: [Option<Touch>; STROKES],
    /// Its own seed, and how many strokes it has had.
    seed: u64,
    struck: u64,
    bend_cents: Glide,
    /// ln of the note's frequency and of its loss, beside the spec's.
    log_ratio: Glide,
    log_loss: Glide,
    hand: Glide,
    /// The note of the spec: Hz and q.
    own: (f64, f64),
    /// Gains to the left and right.
    pub sides: [f32; 2],
    /// Gain to a mono tap.
    pub gain: f32,
    /// Whether it is among those that sound.
    pub sounding: bool,
    /// Whether anything moves, so that its numbers must be laid anew on the grid.
    pub moving: bool,
}

impl StruckBottle {
    /// The bottle of `spec`, and its strip.
    pub(super) fn new(spec: &StruckVoice, rate_hz: f64) -> (Self, Strip) {
        let mut modes = [Lane::SILENT; LANES];
        let mut lanes = 0;
        let carried = |lane: &Lane| lane.mode.frequency.hz() < HIGHEST_PART_OF_RATE * rate_hz;
        for (own, lane) in modes
            .iter_mut()
            .zip(spec.lanes().into_iter().filter(carried))
        {
            *own = lane;
            lanes += 1;
        }
        let bottle = Self {
            rate_hz,
            modes,
            lanes,
            mallet: spec.mallet,
            wall: Stiffness::new(spec.lowest_hz(), rate_hz),
            contact: Contact::of(spec, rate_hz),
            strokes: [None; STROKES],
            seed: spec.seed,
            struck: 0,
            bend_cents: Glide::resting(0.0),
            log_ratio: Glide::resting(0.0),
            log_loss: Glide::resting(0.0),
            hand: Glide::resting(0.0),
            own: (spec.frequency().hz(), spec.q()),
            sides: sides(spec.pan).map(|side| (side * spec.gain) as f32),
            gain: spec.gain as f32,
            sounding: false,
            moving: false,
        };
        (bottle, Strip::silent())
    }

    /// Back to what `new` gave.
    pub(super) fn reset(&mut self) {
        self.stop();
        self.struck = 0;
        self.bend_cents = Glide::resting(0.0);
        self.log_ratio = Glide::resting(0.0);
        self.log_loss = Glide::resting(0.0);
    }

    /// Without mallet or hand, at once.
    pub(super) fn stop(&mut self) {
        self.strokes = [None; STROKES];
        self.hand = Glide::resting(0.0);
        self.sounding = false;
        self.moving = false;
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }

    /// Takes an event at `frame` that is no stroke.
    pub(super) fn take(&mut self, kind: EventKind, frame: u64) {
        let pitch_frames = self.frames(PITCH_S);
        match kind {
            EventKind::Damp { hand } => {
                let lifted = hand < self.hand.at(frame);
                let frames = if lifted { 1 } else { self.frames(HAND_S) };
                self.hand.head_for(hand, frame, frames);
            }
            EventKind::Bend { interval } => {
                self.bend_cents
                    .head_for(interval.cents(), frame, pitch_frames);
            }
            EventKind::Tune { frequency, q } => {
                let (hz, own_q) = self.own;
                self.log_ratio
                    .head_for((frequency.hz() / hz).ln(), frame, pitch_frames);
                self.log_loss
                    .head_for((own_q / q).ln(), frame, pitch_frames);
            }
            EventKind::Glide {
                frequency,
                q,
                over_s,
            } => {
                let (frames, (hz, own_q)) = (self.frames(over_s), self.own);
                self.log_ratio
                    .move_evenly((frequency.hz() / hz).ln(), frame, frames);
                self.log_loss.move_evenly((own_q / q).ln(), frame, frames);
            }
            // What is struck is not blown, and nothing held it.
            EventKind::Blow { .. } | EventKind::Release => return,
            // See `strike`.
            EventKind::Strike { .. } => return,
        }
        self.moving = true;
    }

    /// A mallet comes down at `frame`, thrown with the dice of the bank for the bottle at `place`; returns whether that is heard.
    /// One too many at once is passed over: to end another early would click.
    pub(super) fn strike(
        &mut self,
        speed: f64,
        frame: u64,
        (chance, place): (Chance, usize),
        strip: &mut Strip,
    ) -> bool {
        let is_over = |touch: &Option<Touch>| touch.is_none_or(|touch| touch.is_over(frame));
        // The end of a rustle may be cut off, a push may not.
        let is_free = |touch: &Option<Touch>| touch.is_none_or(|touch| touch.push.is_over(frame));
        let slot = self.strokes.iter().position(is_over);
        let Some(slot) = slot.or_else(|| self.strokes.iter().position(is_free)) else {
            return false;
        };
        if speed <= 0.0 || self.lanes == 0 {
            return false;
        }
        let stroke = Stroke::thrown(&mut chance.note(self.seed, place, self.struck));
        self.struck += 1;
        for (number, lane) in self.modes[..self.lanes].iter().enumerate() {
            let passing = self.wall.passing(lane.mode.frequency.hz(), self.rate_hz);
            let drive = lane.drive(&stroke);
            let [wall, air] = if lane.is_air {
                [0.0, drive]
            } else {
                [drive / passing, 0.0]
            };
            for (push, drive) in (OF_A_STROKE * slot..).zip([wall, air]) {
                strip.set_drive(push, number, drive as f32);
            }
        }
        let speed_m_s = speed * stroke.speed_ratio;
        let length_s = length_s(self.mallet, speed_m_s) * stroke.contact_ratio;
        self.strokes[slot] = Some(Touch {
            push: Push::new(
                Pulse::new(length_s, speed_m_s, frame, self.rate_hz),
                self.wall,
            ),
            noise: self
                .contact
                .noise(length_s, speed_m_s, frame, stroke.noise_seed),
        });
        true
    }

    /// Writes what pushes from `frame` on, and what is heard of the contact; returns how many pushes, from the first, there
    /// may be.
    pub(super) fn press(&mut self, scratch: &mut Scratch, frames: usize, frame: u64) -> usize {
        for touch in &mut self.strokes {
            if touch.is_some_and(|touch| touch.is_over(frame)) {
                *touch = None;
            }
        }
        let Some(last) = self.strokes.iter().rposition(Option::is_some) else {
            return 0;
        };
        scratch.noise[..frames].fill(0.0);
        // Of more than one the kernel reads all.
        let strokes = if last == 0 { 1 } else { STROKES };
        let (pairs, _) = scratch.pushes.as_chunks_mut::<OF_A_STROKE>();
        for (touch, pair) in self.strokes.iter_mut().zip(pairs).take(strokes) {
            let [wall, air] = pair;
            let (wall, air) = (&mut wall[..frames], &mut air[..frames]);
            match touch {
                Some(touch) => {
                    touch.push.write(wall, air, frame);
                    touch.noise.add_to(&mut scratch.noise[..frames], frame);
                }
                None => {
                    wall.fill(0.0);
                    air.fill(0.0);
                }
            }
        }
        OF_A_STROKE * strokes
    }

    /// Whether a mallet still presses at `frame`, or its contact is heard.
    pub(super) fn is_pressed(&self, frame: u64) -> bool {
        let mut strokes = self.strokes.iter().flatten();
        strokes.any(|touch| !touch.is_over(frame))
    }

    /// Lays the modes' numbers for the stretch from `frame` to the next step of the grid, as they are in its middle; or
    /// where they come to rest.
    pub(super) fn steer(&mut self, strip: &mut Strip, frame: u64) {
        let ways = [
            &self.bend_cents,
            &self.log_ratio,
            &self.log_loss,
            &self.hand,
        ];
        self.moving = !ways.iter().all(|way| way.is_done(frame));
        let next = (frame / GRID as u64 + 1) * GRID as u64;
        let middle = if self.moving {
            frame.midpoint(next)
        } else {
            frame
        };
        let ratio = self.log_ratio.at(middle).exp()
            * Interval::from_cents(self.bend_cents.at(middle)).ratio();
        let (losses, hand) = (self.log_loss.at(middle).exp(), self.hand.at(middle));
        for (number, lane) in self.modes[..self.lanes].iter().enumerate() {
            let mode = lane.mode;
            let hz = (mode.frequency.hz() * ratio).min(HIGHEST_PART_OF_RATE * self.rate_hz);
            let loss = (losses / mode.q + HAND_LOSS * hand).min(1.0);
            let size = (-PI * hz * loss / self.rate_hz).exp();
            let (sin, cos) = (TAU * hz / self.rate_hz).sin_cos();
            strip.set_turn(number, [size * cos, size * sin]);
        }
    }
}
