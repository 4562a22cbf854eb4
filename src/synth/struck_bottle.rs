//! One struck bottle at the control rate: from mallet, hand and bend to the numbers that the modes run on.

use super::blown_kernel::GRID;
use super::blown_voice::HIGHEST_PART_OF_RATE;
use super::bottle::PITCH_S;
use super::event::EventKind;
use super::pulse::Pulse;
use super::ring_kernel::{LANES, Strip};
use super::smooth::Glide;
use super::struck::StruckVoice;
use crate::physics::shell::strike::Mallet;
use crate::units::Interval;
use std::f64::consts::{FRAC_PI_4, PI, TAU};

/// Time for a hand to close on the wall, s. It leaves at once, so that a stroke right after it is whole; neither is a click, since
/// only the slope of the ring changes.
const HAND_S: f64 = 0.030;
/// What a whole hand adds to the loss factor of a mode: it stops glass in a tenth of a second. A guess.
const HAND_LOSS: f64 = 0.03;
/// Strokes that may press at the same time: a roll of two mallets.
const STROKES: usize = 4;

/// A mode as it is without bend or hand.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Mode {
    hz: f64,
    /// 1/q.
    loss: f64,
}

/// A struck bottle's slow side. The fast side lives in its strip.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct StruckBottle {
    rate_hz: f64,
    modes: [Mode; LANES],
    /// Modes that the rate can carry.
    pub lanes: usize,
    mallet: Mallet,
    strokes: [Option<Pulse>; STROKES],
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
        let mut strip = Strip::silent();
        let mut modes = [Mode { hz: 0.0, loss: 0.0 }; LANES];
        let mut lanes = 0;
        let carried = |hz: f64| hz < HIGHEST_PART_OF_RATE * rate_hz;
        let ringing = spec.ringing();
        for mode in ringing
            .iter()
            .filter(|m| carried(m.frequency.hz()))
            .take(LANES)
        {
            modes[lanes] = Mode {
                hz: mode.frequency.hz(),
                loss: 1.0 / mode.q,
            };
            strip.set_drive(lanes, mode.level as f32);
            lanes += 1;
        }
        let angle = (spec.pan + 1.0) * FRAC_PI_4;
        let bottle = Self {
            rate_hz,
            modes,
            lanes,
            mallet: spec.mallet,
            strokes: [None; STROKES],
            bend_cents: Glide::resting(0.0),
            log_ratio: Glide::resting(0.0),
            log_loss: Glide::resting(0.0),
            hand: Glide::resting(0.0),
            own: (spec.frequency().hz(), spec.q()),
            sides: [angle.cos(), angle.sin()].map(|side| (side * spec.gain) as f32),
            gain: spec.gain as f32,
            sounding: false,
            moving: false,
        };
        (bottle, strip)
    }

    /// Back to what `new` gave.
    pub(super) fn reset(&mut self) {
        self.stop();
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

    /// Takes an event at `frame`; returns whether it must sound from now on.
    pub(super) fn take(&mut self, kind: EventKind, frame: u64) -> bool {
        let pitch_frames = self.frames(PITCH_S);
        match kind {
            EventKind::Strike { speed } => return self.strike(speed, frame),
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
            EventKind::Blow { .. } | EventKind::Release => return false,
        }
        self.moving = true;
        false
    }

    /// A mallet comes down; returns whether that is heard. One too many at once is passed over: to end another early
    /// would click.
    fn strike(&mut self, speed: f64, frame: u64) -> bool {
        let free = |stroke: &&mut Option<Pulse>| stroke.is_none_or(|pulse| pulse.is_over(frame));
        let Some(stroke) = self.strokes.iter_mut().find(free) else {
            return false;
        };
        if speed <= 0.0 || self.lanes == 0 {
            return false;
        }
        *stroke = Some(Pulse::new(self.mallet, speed, frame, self.rate_hz));
        true
    }

    /// Writes what presses on the wall from `frame` on; returns whether anything does.
    pub(super) fn press(&mut self, push: &mut [f32], frame: u64) -> bool {
        let mut pressed = false;
        for stroke in &mut self.strokes {
            match stroke {
                Some(pulse) if pulse.is_over(frame) => *stroke = None,
                Some(pulse) => {
                    if !pressed {
                        push.fill(0.0);
                        pressed = true;
                    }
                    pulse.add_to(push, frame);
                }
                None => {}
            }
        }
        pressed
    }

    /// Whether a mallet still presses at `frame`.
    pub(super) fn is_pressed(&self, frame: u64) -> bool {
        let mut strokes = self.strokes.iter().flatten();
        strokes.any(|pulse| !pulse.is_over(frame))
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
        for (lane, mode) in self.modes[..self.lanes].iter().enumerate() {
            let hz = (mode.hz * ratio).min(HIGHEST_PART_OF_RATE * self.rate_hz);
            let loss = (mode.loss * losses + HAND_LOSS * hand).min(1.0);
            let size = (-PI * hz * loss / self.rate_hz).exp();
            let (sin, cos) = (TAU * hz / self.rate_hz).sin_cos();
            strip.set_turn(lane, [size * cos, size * sin]);
        }
    }
}
