//! One bottle at the control rate: from breath, bend and bottle to the numbers that the kernel runs on.

use super::blown_kernel::FOUR;
use super::blown_voice::{
    BlownVoice, HARDEST_BREATH, HIGHEST_PART_OF_RATE, PassiveMode, overtones,
};
use super::event::{Attack, EventKind};
use super::noise;
use super::smooth::Glide;
use super::strip::{
    DAMP, FOURTH, GLIDES, HALF_SECOND, HISS, LIMIT, MODES, MOST_THIRD, PUSH, SECOND, THIRD, Turn,
};
use crate::units::{Frequency, Interval};
use std::f64::consts::{FRAC_PI_4, PI, TAU};

/// Time for the breath to arrive, s.
const BREATH_S: f64 = 0.020;
/// Time for the pitch to arrive, s.
pub(super) const PITCH_S: f64 = 0.030;
/// How long the tongue is felt, s.
const TONGUE_S: f64 = 0.060;
/// Breath that the hardest tongue adds at first, over threshold.
const TONGUE_BREATH: f64 = 6.0;
/// How much the hardest tongue multiplies the breath noise at first, less one.
const TONGUE_NOISE: f64 = 3.0;
/// The swing that the hardest tongue gives the air at once, of full swing.
const TONGUE_SWING: f64 = 0.25;
/// Most breath together with the tongue.
const MOST_BREATH: f64 = HARDEST_BREATH + TONGUE_BREATH;
/// Swing of the noise-driven resonance: n in the normal form; the prototype's value, so its attack times hold.
const NOISE_SWING: f64 = 0.02;
/// RMS of the heard breath at the threshold of sounding, of full swing: −48 dB.
const HISS_AT_THRESHOLD: f64 = 0.004;
/// Corner of the heard breath, Hz: turbulence off a lip is dull; from memory.
const HISS_CORNER_HZ: f64 = 3000.0;
/// Breath below this is none: it could not be told from it, and would keep the bottle at work.
const LEAST_BREATH: f64 = 1e-3;
/// The dice run from −2³¹ to 2³¹: this makes their variance 1.
const DICE_TO_UNIT: f64 = 1.732_050_807_568_877_2 / 2_147_483_648.0;
/// Most that the damping term may take or give in four frames, so that the limit cycle of a very damped bottle stays steady.
const MOST_AT_ONCE: f64 = 0.5;

/// The kernel's numbers at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Controls {
    pub glide: [f32; GLIDES],
    pub turn: Turn,
}

/// The coefficients of a passive mode: turn, loss and gain.
pub(super) type ModeNumbers = [f32; 3];

/// What is left of the heard breath two frames later: it is drawn once for both.
pub(super) fn breath_left(rate_hz: f64) -> f64 {
    (-TAU * HISS_CORNER_HZ * 2.0 / rate_hz).exp()
}

#[derive(Clone, Debug, PartialEq)]
struct Tongue {
    start_frame: u64,
    strength: f64,
}

/// A bottle's slow side. The fast side lives in a lane of a strip while it sounds.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bottle {
    rate_hz: f64,
    breath: Glide,
    bend_cents: Glide,
    log_hz: Glide,
    log_q: Glide,
    tongue: Tongue,
    pull_cents: f64,
    overtone_gain: f64,
    hiss_gain: f64,
    own: (f64, f64),
    first_dice: u32,
    /// The dice between one sounding and the next.
    pub dice: u32,
    /// Gain to the middle, the half of left and right together.
    pub middle: f64,
    /// (left − right) / (left + right).
    pub side: f32,
    /// Gain to a mono tap of what its lane says.
    pub gain: f32,
    pub modes: [ModeNumbers; MODES],
    pub mode_count: usize,
    /// The lane in the bank, while it sounds.
    pub lane: Option<usize>,
    /// Where the kernel's numbers are heading in this stretch of the grid.
    pub aim: [f32; GLIDES],
}

impl Bottle {
    pub(super) fn new(spec: &BlownVoice, rate_hz: f64, bank_seed: u64, place: usize) -> Self {
        let angle = (spec.pan + 1.0) * FRAC_PI_4;
        let (left, right) = (angle.cos(), angle.sin());
        let middle = spec.radiation_gain * (left + right) / 2.0;
        let keep = breath_left(rate_hz);
        let dice = noise::dice(bank_seed, spec.seed, place);
        let mut modes = [[0.0; 3]; MODES];
        let mut mode_count = 0;
        for mode in spec
            .modes
            .iter()
            .filter(|m| m.frequency.hz() < HIGHEST_PART_OF_RATE * rate_hz)
        {
            let [turn, loss, gain] = mode_numbers(mode, spec, rate_hz);
            // To the middle, by a push that is twice the swing's.
            modes[mode_count] = [turn, loss, gain * middle / 2.0].map(|number| number as f32);
            mode_count += 1;
        }
        Self {
            rate_hz,
            breath: Glide::resting(0.0),
            bend_cents: Glide::resting(0.0),
            log_hz: Glide::resting(spec.hz.ln()),
            log_q: Glide::resting(spec.q.ln()),
            tongue: Tongue {
                start_frame: 0,
                strength: 0.0,
            },
            pull_cents: spec.blow_pull_cents,
            overtone_gain: spec.overtone_gain,
            // A one-pole filter that keeps k makes 1 / (1 − k²) of the power of white noise.
            hiss_gain: spec.breath_gain
                * HISS_AT_THRESHOLD
                * DICE_TO_UNIT
                * (1.0 - keep * keep).sqrt(),
            own: (spec.hz.ln(), spec.q.ln()),
            first_dice: dice,
            dice,
            middle,
            side: ((left - right) / (left + right)) as f32,
            // A lane speaks to the middle, which has half of left and right.
            gain: (2.0 / (left + right)) as f32,
            modes,
            mode_count,
            lane: None,
            aim: [0.0; GLIDES],
        }
    }

    /// Back to what `new` gave.
    pub(super) fn reset(&mut self) {
        self.breath = Glide::resting(0.0);
        self.bend_cents = Glide::resting(0.0);
        self.log_hz = Glide::resting(self.own.0);
        self.log_q = Glide::resting(self.own.1);
        self.tongue = Tongue {
            start_frame: 0,
            strength: 0.0,
        };
        self.dice = self.first_dice;
        self.lane = None;
        self.aim = [0.0; GLIDES];
    }

    /// Without breath or tongue, at once.
    pub(super) fn stop(&mut self) {
        self.breath = Glide::resting(0.0);
        self.tongue.strength = 0.0;
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }

    /// Takes a sound event at `frame`; returns the swing that the tongue gives the air at once.
    pub(super) fn take(&mut self, kind: EventKind, frame: u64) -> f32 {
        let breath_frames = self.frames(BREATH_S);
        let pitch_frames = self.frames(PITCH_S);
        match kind {
            EventKind::Blow { g, attack } => {
                let g = if g < LEAST_BREATH {
                    0.0
                } else {
                    g.min(HARDEST_BREATH)
                };
                self.breath.head_for(g, frame, breath_frames);
                if let Attack::Tongued { strength } = attack
                    && g > 0.0
                {
                    self.tongue = Tongue {
                        start_frame: frame,
                        strength,
                    };
                    return (strength * TONGUE_SWING) as f32;
                }
            }
            EventKind::Release => self.breath.head_for(0.0, frame, breath_frames),
            EventKind::Bend { interval } => {
                self.bend_cents
                    .head_for(interval.cents(), frame, pitch_frames)
            }
            EventKind::Tune { frequency, q } => {
                self.log_hz
                    .head_for(frequency.hz().ln(), frame, pitch_frames);
                self.log_q.head_for(q.ln(), frame, pitch_frames);
            }
            EventKind::Glide {
                frequency,
                q,
                over_s,
            } => {
                let frames = self.frames(over_s);
                self.log_hz.move_evenly(frequency.hz().ln(), frame, frames);
                self.log_q.move_evenly(q.ln(), frame, frames);
            }
            // What is blown is not struck, and a hand on the wall does not reach the air.
            EventKind::Strike { .. } | EventKind::Damp { .. } => {}
        }
        0.0
    }

    /// Whether breath is blown or about to be: only then must a silent bottle sound.
    pub(super) fn is_blown(&self, frame: u64) -> bool {
        self.breath.target() > 0.0 || !self.breath.is_done(frame)
    }

    /// Whether nothing of it moves any more.
    pub(super) fn is_settled(&self, frame: u64) -> bool {
        self.breath.is_done(frame)
            && self.bend_cents.is_done(frame)
            && self.log_hz.is_done(frame)
            && self.log_q.is_done(frame)
            && self.tongue_at(frame) == 0.0
    }

    /// What is left of the tongue at `frame`: its strength at first, exactly nothing at the end. It goes with the breath.
    fn tongue_at(&self, frame: u64) -> f64 {
        let t = frame.saturating_sub(self.tongue.start_frame) as f64 / (TONGUE_S * self.rate_hz);
        self.tongue.strength * (1.0 - t).max(0.0).powi(2)
    }

    fn hz_at(&self, frame: u64, g: f64) -> f64 {
        let hard = ((g - 1.0) / (HARDEST_BREATH - 1.0)).clamp(0.0, 1.0);
        let cents = self.bend_cents.at(frame) + self.pull_cents * hard;
        let hz = self.log_hz.at(frame).exp() * Interval::from_cents(cents).ratio();
        hz.min(HIGHEST_PART_OF_RATE * self.rate_hz)
    }

    /// The kernel's numbers at `frame`, with the rotation of `turn_frame` (the middle of the stretch to come).
    pub(super) fn controls(&self, frame: u64, turn_frame: u64) -> Controls {
        let blown = self.breath.at(frame);
        let tongue = if blown > 0.0 {
            self.tongue_at(frame)
        } else {
            0.0
        };
        let hz = self.hz_at(frame, blown);
        let alpha = FOUR as f64 * PI * hz / (self.log_q.at(frame).exp() * self.rate_hz);
        let g = (blown + TONGUE_BREATH * tongue)
            .min(MOST_BREATH)
            .min(MOST_AT_ONCE / alpha);
        let turn = TAU * self.hz_at(turn_frame, self.breath.at(turn_frame)) / self.rate_hz;
        let turn = Turn::by(turn);
        let [damp, limit] = damping(alpha, g);
        let stretch = turn.stretch();
        let damp = (damp + stretch) / (1.0 + stretch);
        let noise = 1.0 + TONGUE_NOISE * tongue;
        let mut glide = [0.0; GLIDES];
        // Four frames at once, and the state is twice the swing: so its square is four times the swing's.
        glide[DAMP] = (damp / 4.0) as f32;
        glide[LIMIT] = (limit / 16.0) as f32;
        // Twice in four frames on one of two axes, with all their power.
        let push = NOISE_SWING * (g.min(1.0) * alpha / 2.0).sqrt() * noise * DICE_TO_UNIT;
        glide[PUSH] = (2.0 * push) as f32;
        let hiss = self.hiss_gain * g.min(HARDEST_BREATH).powf(1.5) * noise;
        glide[HISS] = (self.middle * hiss) as f32;
        let mut shares = [0.0; 3];
        for ((n, share), said) in (2..)
            .zip(overtones(Frequency::from_hz(hz), g))
            .zip(&mut shares)
        {
            // An overtone that the rate cannot carry is left out.
            if f64::from(n) * hz < HIGHEST_PART_OF_RATE * self.rate_hz {
                *said = self.middle / 2.0 * self.overtone_gain * share;
            }
        }
        let [second, third, fourth] = shares;
        glide[SECOND] = second as f32;
        glide[HALF_SECOND] = (second / 2.0) as f32;
        glide[THIRD] = third as f32;
        glide[MOST_THIRD] = (0.75 * third) as f32;
        glide[FOURTH] = fourth as f32;
        Controls { glide, turn }
    }
}

/// The two numbers of the damping d + l·|z|² of the normal form, over the time of α.
///
/// The form says z ← z (1 − α (1 − g + g |z|²)), which holds for small α. Both terms are scaled by
/// (eˣ − 1)/x with x = α (g − 1), so that a small swing shrinks by exactly e^(−α (1 − g)) whatever α is, and the
/// steady swing stays √((g − 1)/g).
fn damping(alpha: f64, g: f64) -> [f64; 2] {
    let x = alpha * (g - 1.0);
    let scale = if x.abs() < 1e-12 { 1.0 } else { x.exp_m1() / x };
    [-x * scale, alpha * g * scale]
}

/// A two-pole resonator that rings at the mode's frequency with its quality.
fn mode_numbers(mode: &PassiveMode, spec: &BlownVoice, rate_hz: f64) -> [f64; 3] {
    let turn = TAU * mode.frequency.hz() / rate_hz;
    let alpha = PI * mode.frequency.hz() / (mode.q * rate_hz);
    let main_alpha = PI * spec.hz / (spec.q * rate_hz);
    let radius = (-alpha).exp();
    // White noise of variance v gives such a resonator the variance v / (4 α sin²): as loud as the main one at gain 1.
    let gain = mode.gain * spec.breath_gain * turn.sin() * (alpha / main_alpha).sqrt();
    [2.0 * radius * turn.cos(), radius * radius, gain]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_damping_is_exact_for_a_small_swing_and_holds_the_steady_one() {
        for (alpha, g) in [(0.001, 0.0), (0.04, 0.5), (0.04, 1.0), (0.04, 6.0)] {
            let [damp, limit] = damping(alpha, g);
            assert!(((1.0 - damp).ln() + alpha * (1.0 - g)).abs() < 1e-12);
            if g > 1.0 {
                assert!((damp + limit * (g - 1.0) / g).abs() < 1e-12);
            }
        }
    }
}
