//! One bottle at the control rate: from events to where its breath, its pitch and its tongue go.
//!
//! What moves with every step of the grid is [`super::breath`]'s; here is what happens once, and the pitch of the bottle itself.

use super::blown_kernel::{FOUR, GRID};
use super::blown_voice::{
    BlownVoice, HARDEST_BREATH, HIGHEST_PART_OF_RATE, USUAL_BREATH, overtones,
};
use super::breath::{BREATH, Breath, HOLD, SECOND, WANDERS, WAYS};
use super::chance::{Chance, NoteDice};
use super::colour::{self, DICE_TO_UNIT, Modes};
use super::dynamics::NOISE_POWER;
use super::event::{Attack, EventKind};
use super::noise;
use super::smooth::Glide;
use super::stereo::sides;
use super::strip::{Strip, Turn};
use crate::units::{Frequency, Interval};
use std::f64::consts::{PI, TAU};

/// Time for the breath of a tongued note to arrive, s. Fast flute attacks take about 20 ms: Auvray, Fabre & Lagrée, J. Acoust.
/// Soc. Am. 131, 2012.
const TONGUED_S: (f64, f64) = (0.025, 0.040);
/// The same without the tongue: the noise above 3 kHz of recorded ones rises in 87 ms and more.
const UNTONGUED_S: f64 = 0.120;
/// Time for the breath to change while it is blown, s.
const CHANGE_S: f64 = 0.020;
/// Time for it to end, s: the noise falls by 20 dB in seven tenths of it, as in recorded notes in some 0.2 s.
const END_S: f64 = 0.220;
/// Time for the pitch to arrive, s.
pub(super) const PITCH_S: f64 = 0.030;
/// How long the tongue pushes, s.
const TONGUE_S: f64 = 0.016;
/// The swing that the hardest tongue gives the air, of its full swing.
const TONGUE_SWING: f64 = 0.20;
/// A tongue under less breath than this is as strong as under this.
const LEAST_TONGUED: f64 = 1.2;
/// The swing that every tongued note begins at, at an angle of its own, of full swing: −66 dB, under the noise.
const SEED_SWING: f64 = 0.0005;
/// How much the hardest tongue multiplies the breath noise, less one, and how long that takes to fall, s.
const CHIFF: f64 = 3.0;
const CHIFF_S: (f64, f64) = (0.090, 0.150);
/// Breath less than this is none: the swing would round to nothing before the noise does.
const LEAST_BREATH: f64 = 1e-4;
/// Swing of the noise-driven resonance: n in the normal form.
const NOISE_SWING: f64 = 0.02;
/// Most that the damping term may take or give in four frames, so that the limit cycle of a very damped bottle stays steady.
const MOST_AT_ONCE: f64 = 0.5;
/// The least swing that overtones are laid out for, so that none is large beside a swing that is left of a louder note.
const LEAST_OVERTONE_SWING: f64 = 0.4;

/// How notes differ: standard deviations of the logarithm of breath, tongue and rise, of the pitch in cents, and of the pitch
/// that they come from. Recorded notes have −55 to 23 cents when the tone is at half its level.
const BREATH_SPREAD: f64 = 0.06;
const TONGUE_SPREAD: f64 = 0.20;
const RISE_SPREAD: f64 = 0.25;
const CENTS_SPREAD: f64 = 8.0;
const SCOOP_SPREAD: f64 = 20.0;
/// How long a note is on its way from there, s.
const SCOOP_S: (f64, f64) = (0.25, 0.40);

/// A bottle's slow side between events. The fast side lives in a lane of a strip while it sounds.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bottle {
    rate_hz: f64,
    chance: Chance,
    /// The seed of its own, and its place in the bank.
    identity: (u64, usize),
    /// Breaths begun so far.
    notes: u64,
    /// Where the breath goes.
    target: f64,
    bend_cents: Glide,
    log_hz: Glide,
    log_q: Glide,
    lean_cents: f64,
    overtone_gain: f64,
    noise: f64,
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
    pub modes: Modes,
    /// The lane in the bank, while it sounds.
    pub lane: Option<usize>,
    /// The frame from which none of its breath's ways goes on.
    pub moves_until: u64,
}

impl Bottle {
    pub(super) fn new(spec: &BlownVoice, rate_hz: f64, seed: u64, place: usize) -> Self {
        let [left, right] = sides(spec.pan);
        let middle = spec.radiation_gain * (left + right) / 2.0;
        let dice = noise::dice(seed, spec.seed, place);
        // At a breath of 1; it grows with its power of 1.5.
        let noise = spec.breath_gain * colour::white_at_usual_breath(rate_hz) * DICE_TO_UNIT
            / USUAL_BREATH.powf(NOISE_POWER);
        Self {
            rate_hz,
            chance: Chance::new(seed),
            identity: (spec.seed, place),
            notes: 0,
            target: 0.0,
            bend_cents: Glide::resting(0.0),
            log_hz: Glide::resting(spec.hz.ln()),
            log_q: Glide::resting(spec.q.ln()),
            lean_cents: spec.breath_pull_cents,
            overtone_gain: spec.overtone_gain,
            noise: middle * noise,
            own: (spec.hz.ln(), spec.q.ln()),
            first_dice: dice,
            dice,
            middle,
            side: ((left - right) / (left + right)) as f32,
            // A lane speaks to the middle, which has half of left and right.
            gain: (2.0 / (left + right)) as f32,
            modes: Modes::of(spec, rate_hz),
            lane: None,
            moves_until: 0,
        }
    }

    /// Without anything that wanders or differs from note to note.
    pub(super) fn steady(&mut self) {
        self.chance = self.chance.steady();
    }

    /// Back to what `new` gave.
    pub(super) fn reset(&mut self) {
        self.notes = 0;
        self.target = 0.0;
        self.bend_cents = Glide::resting(0.0);
        self.log_hz = Glide::resting(self.own.0);
        self.log_q = Glide::resting(self.own.1);
        self.dice = self.first_dice;
        self.lane = None;
        self.moves_until = 0;
    }

    /// Without breath, at once.
    pub(super) fn stop(&mut self) {
        self.target = 0.0;
        self.moves_until = 0;
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }

    /// Takes an event of the pitch at `frame`; breath is [`Self::blow`]'s and [`Self::release`]'s.
    pub(super) fn bend(&mut self, kind: EventKind, frame: u64) {
        let pitch_frames = self.frames(PITCH_S);
        match kind {
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
            // Breath is not the pitch's; what is blown is not struck, and a hand on the wall does not reach the air.
            EventKind::Blow { .. }
            | EventKind::Release
            | EventKind::Strike { .. }
            | EventKind::Damp { .. } => {}
        }
    }

    /// Whether `g` times the threshold is breath at all.
    pub(super) fn is_breath(g: f64) -> bool {
        g >= LEAST_BREATH
    }

    /// Whether breath is blown.
    pub(super) fn is_blown(&self) -> bool {
        self.target > 0.0
    }

    /// Whether its pitch has arrived.
    pub(super) fn is_in_place(&self, frame: u64) -> bool {
        self.bend_cents.is_done(frame) && self.log_hz.is_done(frame) && self.log_q.is_done(frame)
    }

    /// Lays everything of a bottle that has been silent into a lane that is empty.
    pub(super) fn wake(&self, strip: &mut Strip, l: usize, frame: u64) {
        strip.dice[l] = self.dice;
        strip.place(l, self.middle, self.side);
        strip.modes_in_use = strip.modes_in_use.max(self.modes.count);
        let breath = &mut strip.breath;
        breath.noise[l] = self.noise as f32;
        // What is over is over: nothing is left to push.
        breath.chiff.part[l] = 1.0;
        breath.tongue.part[l] = 1.0;
        breath.scoop.part[l] = 1.0;
        breath.part[l] = 1.0;
        if !self.chance.is_steady() {
            breath.lean[l] = self.lean_cents as f32;
            let mut dice = self.dice_of(!self.notes);
            breath.dice[l] = ((dice.part() * f64::from(u32::MAX)) as u32).max(1);
            for (row, (_, deviation)) in breath.wander.iter_mut().zip(WANDERS) {
                row[l] = dice.normal(deviation) as f32;
            }
        }
        self.tune(strip, l, frame, frame);
    }

    fn dice_of(&self, note: u64) -> NoteDice {
        let (seed, place) = self.identity;
        self.chance.note(seed, place, note)
    }

    /// Breath of `g` times the threshold; a lane that is new has nothing to change from.
    pub(super) fn blow(
        &mut self,
        (strip, l): (&mut Strip, usize),
        (g, attack): (f64, Attack),
        is_new: bool,
        frame: u64,
    ) {
        let tongue = match attack {
            Attack::Natural => 0.0,
            Attack::Tongued { strength } => strength,
        };
        let begins = self.target == 0.0 || tongue > 0.0;
        self.target = g.min(HARDEST_BREATH);
        let (mut rise_s, mut until_s) = (CHANGE_S, 0.0);
        if begins {
            let mut dice = self.dice_of(self.notes);
            self.notes += 1;
            rise_s = rise(tongue > 0.0, &mut dice);
            until_s = self.tongue(strip, l, tongue, &mut dice);
            until_s = until_s.max(self.differ(&mut strip.breath, l, &mut dice));
        }
        let to = self.aims(frame);
        let breath = &mut strip.breath;
        if is_new {
            breath.rest_at(l, &to);
            breath.from[BREATH][l] = 0.0;
        }
        breath.head_for(l, &to, self.steps(rise_s));
        breath.blown[l] = 1.0;
        strip.set_modes(l, &self.modes.blown);
        self.moves_for(rise_s.max(until_s), frame);
    }

    /// What makes this note another than the last; returns how long the pitch comes from elsewhere, s.
    fn differ(&self, breath: &mut Breath, l: usize, dice: &mut NoteDice) -> f64 {
        let g = self.target;
        // However the dice fall, it speaks if it was to speak.
        let least = if g > 1.0 {
            (1.0 + 0.5 * (g - 1.0)) / g
        } else {
            0.0
        };
        breath.off_breath[l] = (dice.ratio(BREATH_SPREAD).max(least) - 1.0) as f32;
        breath.off_cents[l] = dice.normal(CENTS_SPREAD) as f32;
        let (from_cents, scoop_s) = (
            dice.normal(SCOOP_SPREAD),
            dice.between(SCOOP_S.0, SCOOP_S.1),
        );
        breath.scoop.begin(l, from_cents, self.steps(scoop_s));
        scoop_s
    }

    /// The tongue's push and puff of noise; returns how long they last, s.
    fn tongue(&self, strip: &mut Strip, l: usize, strength: f64, dice: &mut NoteDice) -> f64 {
        let strength = strength * dice.ratio(TONGUE_SPREAD);
        let chiff_s = dice.between(CHIFF_S.0, CHIFF_S.1);
        let angle = dice.between(0.0, TAU);
        if strength == 0.0 {
            return 0.0;
        }
        strip.jolt(l, SEED_SWING as f32, angle as f32);
        let breath = &mut strip.breath;
        breath.chiff.begin(l, CHIFF * strength, self.steps(chiff_s));
        let steps = self.steps(TONGUE_S);
        // The mean of its coming and going is a half.
        let each = TONGUE_SWING * strength * swing(self.target.max(LEAST_TONGUED)) / (0.5 * steps);
        breath.tongue.begin(l, each, steps);
        chiff_s
    }

    /// The breath ends, and the bottle rings down by itself.
    pub(super) fn release(&mut self, strip: &mut Strip, l: usize, frame: u64) {
        if self.target == 0.0 {
            return;
        }
        self.target = 0.0;
        let breath = &mut strip.breath;
        let mut to: [f32; WAYS] = std::array::from_fn(|way| breath.at(way, l));
        to[BREATH] = 0.0;
        breath.head_for(l, &to, self.steps(END_S));
        breath.blown[l] = 0.0;
        breath.tongue.part[l] = 1.0;
        strip.set_modes(l, &self.modes.free);
        self.moves_for(END_S.max(CHIFF_S.1), frame);
    }

    /// Steps of the grid in a time, at least one.
    fn steps(&self, seconds: f64) -> f64 {
        (seconds * self.rate_hz / GRID as f64).max(1.0)
    }

    fn moves_for(&mut self, seconds: f64, frame: u64) {
        let until = frame + self.frames(seconds) + 3 * GRID as u64;
        self.moves_until = self.moves_until.max(until);
    }

    /// Where breath, loudness and overtones go for the breath that is blown.
    fn aims(&self, frame: u64) -> [f32; WAYS] {
        let mut to = [0.0; WAYS];
        let g = self.target;
        to[BREATH] = g as f32;
        to[HOLD] = hold(g) as f32;
        let shares = self.overtones(self.hz_at(frame), g);
        to[SECOND..SECOND + 3].copy_from_slice(&shares);
        to
    }

    /// The kernel's overtones at a pitch and a breath.
    fn overtones(&self, hz: f64, g: f64) -> [f32; 3] {
        let swing = swing(g).max(LEAST_OVERTONE_SWING);
        let mut said = [0.0; 3];
        let shares = overtones(Frequency::from_hz(hz), g);
        for ((n, share), said) in (2i32..).zip(shares).zip(&mut said) {
            // An overtone that the rate cannot carry is left out.
            if f64::from(n) * hz < HIGHEST_PART_OF_RATE * self.rate_hz {
                let share = share / swing.powi(n - 1);
                *said = (self.middle / 2.0 * self.overtone_gain * share) as f32;
            }
        }
        said
    }

    fn hz_at(&self, frame: u64) -> f64 {
        let bend = Interval::from_cents(self.bend_cents.at(frame));
        let hz = self.log_hz.at(frame).exp() * bend.ratio();
        hz.min(HIGHEST_PART_OF_RATE * self.rate_hz)
    }

    /// Lays the bottle's own pitch and damping at `frame` into its lane, with the rotation of `turn_frame` (the middle of the
    /// stretch to come).
    pub(super) fn tune(&self, strip: &mut Strip, l: usize, frame: u64, turn_frame: u64) {
        let hz = self.hz_at(frame);
        let alpha = FOUR as f64 * PI * hz / (self.log_q.at(frame).exp() * self.rate_hz);
        let turn = Turn::by(TAU * self.hz_at(turn_frame) / self.rate_hz);
        let breath = &mut strip.breath;
        breath.alpha[l] = alpha as f32;
        breath.most[l] = (MOST_AT_ONCE / alpha).min(2.0 * HARDEST_BREATH) as f32;
        breath.angle[l] = turn.angle as f32;
        let [cos, sin] = turn.one;
        let [cos_four, sin_four] = turn.four;
        for (row, number) in breath.turn.iter_mut().zip([cos, sin, cos_four, sin_four]) {
            row[l] = number;
        }
        breath.stretch[l] = turn.stretch() as f32;
        // In every four frames on one of two axes, with all their power, by one or two samples of the noise; the state is
        // twice the swing.
        let samples = colour::per_four(self.rate_hz).min(2) as f64;
        let push = 2.0 * NOISE_SWING * (alpha / samples).sqrt() * DICE_TO_UNIT;
        breath.push[l] = push as f32;
    }

    /// As [`Self::tune`], and lets the overtones follow.
    pub(super) fn slide(&self, strip: &mut Strip, l: usize, frame: u64, turn_frame: u64) {
        self.tune(strip, l, frame, turn_frame);
        if self.target > 0.0 {
            let shares = self.overtones(self.hz_at(frame), self.target);
            retarget(&mut strip.breath, l, shares);
        }
    }
}

/// Time for the breath of a note to arrive, s.
fn rise(tongued: bool, dice: &mut NoteDice) -> f64 {
    let ratio = dice.ratio(RISE_SPREAD);
    let (least_s, most_s) = TONGUED_S;
    if tongued {
        (least_s.midpoint(most_s) * ratio).clamp(least_s, most_s)
    } else {
        UNTONGUED_S * ratio
    }
}

/// Moves where the overtones of a lane go, from where they come.
fn retarget(breath: &mut Breath, l: usize, shares: [f32; 3]) {
    for (way, share) in (SECOND..).zip(shares) {
        if breath.part[l] < 1.0 {
            breath.span[way][l] = share - breath.from[way][l];
        } else {
            breath.from[way][l] = share;
            breath.span[way][l] = 0.0;
        }
    }
}

/// The swing of a steady tone: the jet's share, √((g − 1)/g), as loud as the jet is strong. A matter of taste; there are no
/// measurements at other breaths.
pub(super) fn swing(g: f64) -> f64 {
    ((g - 1.0).max(0.0) / g.max(1.0) / hold(g)).sqrt()
}

/// By how much the damping that limits the swing is stronger than at the usual breath.
fn hold(g: f64) -> f64 {
    (USUAL_BREATH / g.max(0.25)).powi(2)
}
