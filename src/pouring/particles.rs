//! A cloud of guesses of what is in the bottle, how fast it comes, and how far the bottle is from its model.
//!
//! Each particle holds a fill, a flow and two errors of the model: one of the lowest mode and one of the others. A frame
//! moves it on by its flow and weighs it by the evidence where its modes would be. Sampling importance resampling after
//! Gordon, Salmond & Smith 1993; the errors are kept alive by the kernel of Liu & West 2001.

use super::dice::Dice;
use super::evidence::Evidence;
use super::modes::{CENTS_PER_PLACE, MODES, Modes, place_of};
use super::spectrum::{HOP_S, PLACES};

/// Particles.
pub(super) const COUNT: usize = 2_000;
/// Flow before anything is heard: the mean of its logarithm in ml/s, and the deviation.
const FLOW_ML_S: f64 = 35.0;
const FLOW_SPREAD: f64 = 0.7;
/// Slowest and fastest that is followed, ml/s.
const FLOWS_ML_S: (f64, f64) = (4.0, 250.0);
/// How fast the mean flow wanders, in its logarithm and the root of a second.
const FLOW_WALK: f64 = 0.08;
/// The same after somebody was asked to pour more slowly.
const FLOW_WALK_SLOWER: f64 = 0.5;
/// The flow about its mean: deviation of the logarithm, and how long it lasts, s.
const WANDER: f64 = 0.3;
const WANDER_S: f64 = 1.5;
/// How fast the model's errors wander, cents and the root of a second.
const ERROR_WALK_CENTS: f64 = 1.0;
/// Share of the particles that jump in a frame, how far as a share of the capacity, and what it costs them: this is how a
/// cloud that is stuck gets free. As often back as ahead: jumping ahead alone carried the fill away with the model's errors
/// by a tenth of a percent a second.
const JUMPERS: f64 = 0.002;
const JUMP: f64 = 0.1;
const JUMP_COST: f64 = 2.0;
/// Weight of one frame's evidence: the windows overlap, and neighbouring frames say nearly the same.
const FRAME: f64 = 0.12;
/// How likely each mode is to be heard at all, before anything was; from then on as often as it was, over so long, s, and
/// within these. A mode that cannot be heard would otherwise speak against the truth in every frame.
const HEARD: [f64; MODES] = [0.7, 0.8, 0.7, 0.5];
const HEARD_S: f64 = 2.0;
const HEARD_RANGE: (f64, f64) = (0.1, 0.8);
/// The most that one mode may say.
const MOST: f64 = 7.0;
/// Modes are looked for between these, Hz.
const LOOKED_FOR_HZ: (f64, f64) = (110.0, 3_800.0);
/// What lies beyond is worth as much as this much beside it: an octave, places.
const BESIDE: usize = 120;
/// Shrinkage of the kernel that keeps the errors alive.
const SHRINK: f64 = 0.99;
/// And how far the fill is moved with them, as a share of the capacity.
const FILL_JITTER: f64 = 0.0005;
/// No single note speaks against a guess by more, as a logarithm.
const FARTHEST: f64 = 30.0;
/// Cells of a quantile.
const CELLS: usize = 1_024;
/// Steps of the table of modes that the particles read.
const STEPS: usize = 1_024;

/// What is known of the fill and of the bottle before anything is poured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Prior {
    /// Fill and its deviation, ml.
    pub fill_ml: (f64, f64),
    /// Mean errors of the lowest mode and of the others, cents.
    pub error_cents: [f64; 2],
    /// Their deviation.
    pub spread_cents: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Particle {
    fill_ml: f64,
    /// Logarithm of the mean flow in ml/s.
    flow: f64,
    wander: f64,
    /// Of the lowest mode and of the others, cents.
    error_cents: [f64; 2],
}

/// What the cloud says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Guess {
    /// The median, and the quantiles of its 95 % interval.
    pub fill_ml: f64,
    pub low_ml: f64,
    pub high_ml: f64,
    pub flow_ml_s: f64,
    /// Mean and deviation of the lowest mode's error, cents.
    pub error_cents: f64,
    pub error_spread_cents: f64,
    pub other_error_cents: f64,
}

/// The cloud.
pub(super) struct Particles {
    dice: Dice,
    all: Vec<Particle>,
    next: Vec<Particle>,
    /// Logarithms of the weights, and the weights.
    logs: Vec<f64>,
    weights: Vec<f64>,
    /// What a quantile is taken of, and the counts of its cells.
    values: Vec<f64>,
    cells: Vec<f64>,
    /// Places of the modes over evenly spaced fills.
    table: Vec<[f64; MODES]>,
    per_ml: f64,
    fullest_ml: f64,
    capacity_ml: f64,
    /// What a mode at a place is worth, by mode.
    worth: Vec<[f64; MODES]>,
    looked_for: (f64, f64),
    /// What a mode beyond them is worth, below and above.
    beyond: [[f64; MODES]; 2],
    /// How likely each mode is to be heard.
    heard: [f64; MODES],
    /// Somebody was asked to pour more slowly.
    pub slower: bool,
}

impl Particles {
    pub fn new(modes: &Modes, seed: u64) -> Self {
        let fullest_ml = modes.fullest().ml();
        let step_ml = fullest_ml / (STEPS - 1) as f64;
        Self {
            dice: Dice::seeded(seed),
            all: vec![Particle::default(); COUNT],
            next: vec![Particle::default(); COUNT],
            logs: vec![0.0; COUNT],
            weights: vec![1.0 / COUNT as f64; COUNT],
            values: vec![0.0; COUNT],
            cells: vec![0.0; CELLS],
            table: (0..STEPS)
                .map(|n| modes.places(n as f64 * step_ml))
                .collect(),
            per_ml: 1.0 / step_ml,
            fullest_ml,
            capacity_ml: modes.capacity().ml(),
            worth: vec![[0.0; MODES]; PLACES],
            looked_for: (place_of(LOOKED_FOR_HZ.0), place_of(LOOKED_FOR_HZ.1)),
            beyond: [[0.0; MODES]; 2],
            heard: HEARD,
            slower: false,
        }
    }

    /// Begins anew.
    pub fn scatter(&mut self, prior: &Prior) {
        self.slower = false;
        self.heard = HEARD;
        self.logs.fill(0.0);
        self.weights.fill(1.0 / COUNT as f64);
        let (fill_ml, spread_ml) = prior.fill_ml;
        for particle in &mut self.all {
            let dice = &mut self.dice;
            // Half of the variance of the two errors is the same one.
            let half = prior.spread_cents * std::f64::consts::FRAC_1_SQRT_2;
            let common = half * dice.normal();
            *particle = Particle {
                fill_ml: (fill_ml + spread_ml * dice.normal())
                    .abs()
                    .min(self.fullest_ml),
                flow: FLOW_ML_S.ln() + FLOW_SPREAD * dice.normal(),
                wander: WANDER * dice.normal(),
                error_cents: prior
                    .error_cents
                    .map(|mean| mean + common + half * dice.normal()),
            };
        }
    }

    /// Moves on by a frame.
    pub fn step(&mut self) {
        let (least, most) = (FLOWS_ML_S.0.ln(), FLOWS_ML_S.1.ln());
        let keep = (-HOP_S / WANDER_S).exp();
        let push = WANDER * (1.0 - keep * keep).sqrt();
        let walk = if self.slower {
            FLOW_WALK_SLOWER
        } else {
            FLOW_WALK
        } * HOP_S.sqrt();
        let error_walk = ERROR_WALK_CENTS * HOP_S.sqrt();
        let dice = &mut self.dice;
        for (particle, log) in self.all.iter_mut().zip(&mut self.logs) {
            particle.flow = (particle.flow + walk * dice.normal()).clamp(least, most);
            particle.wander = keep * particle.wander + push * dice.normal();
            let flow = (particle.flow + particle.wander).clamp(least, most);
            particle.fill_ml += flow.exp() * HOP_S;
            for error in &mut particle.error_cents {
                *error += error_walk * dice.normal();
            }
            if dice.share() < JUMPERS {
                let ahead = if dice.share() < 0.5 { -1.0 } else { 1.0 };
                particle.fill_ml += ahead * JUMP * self.capacity_ml * dice.waiting();
                *log -= JUMP_COST;
            }
            particle.fill_ml = particle.fill_ml.clamp(0.0, self.fullest_ml);
        }
    }

    /// Weighs the cloud by a frame's evidence, and draws it anew where few particles carry it.
    pub fn weigh(&mut self, evidence: &Evidence) {
        for (worth, at) in self.worth.iter_mut().zip(&evidence.at) {
            let ratio = at.min(MOST).exp();
            *worth = self
                .heard
                .map(|heard| FRAME * (1.0 - heard + heard * ratio).ln());
        }
        self.weigh_beyond();
        for at in 0..COUNT {
            self.logs[at] += self.worth_of(&self.all[at], 0.0);
        }
        let carriers = self.normalise();
        self.learn_heard(evidence);
        if carriers < 0.5 * COUNT as f64 {
            self.resample();
        }
    }

    /// A mode where none is looked for is worth as much as one at a wrong place: the mean of the octave beside. Were it worth nothing, a
    /// cloud that hears little of a mode would move it out of hearing, where nothing speaks against it. 41 simulated pours that were
    /// stopped by note below 250 Hz, with hum, ended 31 cents too high in the mean for that, and end 16.
    fn weigh_beyond(&mut self) {
        let (low, high) = (self.looked_for.0 as usize + 1, self.looked_for.1 as usize);
        let mean = |from: usize, to: usize| {
            let part = &self.worth[from..to];
            let of = |mode| part.iter().map(|worth| worth[mode]).sum::<f64>() / part.len() as f64;
            std::array::from_fn(of)
        };
        self.beyond = [mean(low, low + BESIDE), mean(high - BESIDE, high)];
    }

    /// Weighs the cloud by how many deviations each fill and error of the lowest mode is off.
    pub fn weigh_by(&mut self, deviations: impl Fn(f64, f64) -> Option<f64>) {
        for (log, particle) in self.logs.iter_mut().zip(&self.all) {
            let off = deviations(particle.fill_ml, particle.error_cents[0]);
            *log -= off.map_or(FARTHEST, |off| (0.5 * off * off).min(FARTHEST));
        }
        self.normalise();
    }

    /// Makes weights of their logarithms; gives how many particles carry the cloud.
    fn normalise(&mut self) -> f64 {
        let most = self.logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut sum = 0.0;
        for (weight, log) in self.weights.iter_mut().zip(&mut self.logs) {
            *log -= most;
            *weight = log.exp();
            sum += *weight;
        }
        let mut squares = 0.0;
        for weight in &mut self.weights {
            *weight /= sum;
            squares += *weight * *weight;
        }
        1.0 / squares
    }

    /// How often each mode is heard where the cloud has it.
    fn learn_heard(&mut self, evidence: &Evidence) {
        for mode in 0..MODES {
            let (mut heard, mut looked) = (0.0, 0.0);
            for (particle, weight) in self.all.iter().zip(&self.weights).step_by(8) {
                let place = self.place(particle, mode);
                if place > self.looked_for.0 && place < self.looked_for.1 {
                    let ratio = evidence.at[place as usize].min(MOST).exp();
                    let here = self.heard[mode];
                    heard += weight * here * ratio / (1.0 - here + here * ratio);
                    looked += weight;
                }
            }
            if looked > 0.0 {
                let share = HOP_S / HEARD_S;
                let learnt = self.heard[mode] + share * (heard / looked - self.heard[mode]);
                self.heard[mode] = learnt.clamp(HEARD_RANGE.0, HEARD_RANGE.1);
            }
        }
    }

    #[inline]
    fn place(&self, particle: &Particle, mode: usize) -> f64 {
        let at = particle.fill_ml * self.per_ml;
        let row = (at as usize).min(STEPS - 2);
        let (low, high) = (self.table[row][mode], self.table[row + 1][mode]);
        let error = particle.error_cents[usize::from(mode > 0)];
        low + (at - row as f64) * (high - low) + error / CENTS_PER_PLACE
    }

    /// What the evidence says for one particle, its modes moved by `shift` places.
    #[inline]
    fn worth_of(&self, particle: &Particle, shift: f64) -> f64 {
        let at = particle.fill_ml * self.per_ml;
        let row = (at as usize).min(STEPS - 2);
        let share = at - row as f64;
        let (low, high) = (&self.table[row], &self.table[row + 1]);
        let mut worth = 0.0;
        for mode in 0..MODES {
            let error = particle.error_cents[usize::from(mode > 0)];
            let place = low[mode]
                + share * (high[mode] - low[mode])
                + error * (1.0 / CENTS_PER_PLACE)
                + shift;
            // A mode that is not a number is too high to be in the table.
            if place <= self.looked_for.0 {
                worth += self.beyond[0][mode];
            } else if place.is_nan() || place >= self.looked_for.1 {
                worth += self.beyond[1][mode];
            } else {
                let cell = place as usize;
                let share = place - cell as f64;
                let (low, high) = (self.worth[cell][mode], self.worth[cell + 1][mode]);
                worth += low + share * (high - low);
            }
        }
        worth
    }

    /// What the cloud's modes are worth now, moved by `shift` places: its mean over the weights, of one frame in full.
    pub fn worth(&self, shift: f64) -> f64 {
        // One particle in four is plenty for a mean.
        let (mut sum, mut total) = (0.0, 0.0);
        for at in (0..COUNT).step_by(4) {
            sum += self.weights[at] * self.worth_of(&self.all[at], shift);
            total += self.weights[at];
        }
        sum / (FRAME * total.max(1e-12))
    }

    fn mean(&self, of: impl Fn(&Particle) -> f64) -> f64 {
        let all = self.all.iter().zip(&self.weights);
        all.map(|(particle, weight)| weight * of(particle)).sum()
    }

    fn spread(&self, mean: f64, of: impl Fn(&Particle) -> f64) -> f64 {
        self.mean(|particle| (of(particle) - mean).powi(2)).sqrt()
    }

    fn resample(&mut self) {
        let moments = |of: &dyn Fn(&Particle) -> f64| {
            let mean = self.mean(of);
            (mean, self.spread(mean, of))
        };
        let first = moments(&|p| p.error_cents[0]);
        let others = moments(&|p| p.error_cents[1]);
        let flow = moments(&|p| p.flow);
        let mut reached = self.weights[0];
        let start = self.dice.share() / COUNT as f64;
        let mut from = 0;
        for at in 0..COUNT {
            let wanted = start + at as f64 / COUNT as f64;
            while reached < wanted && from + 1 < COUNT {
                from += 1;
                reached += self.weights[from];
            }
            self.next[at] = self.all[from];
        }
        let loose = (1.0 - SHRINK * SHRINK).sqrt();
        let (dice, fill_jitter) = (&mut self.dice, FILL_JITTER * self.capacity_ml);
        let mut kernel = |value: f64, (mean, spread): (f64, f64)| {
            SHRINK * value + (1.0 - SHRINK) * mean + loose * spread * dice.normal()
        };
        for particle in &mut self.next {
            particle.error_cents[0] = kernel(particle.error_cents[0], first);
            particle.error_cents[1] = kernel(particle.error_cents[1], others);
            particle.flow = kernel(particle.flow, flow);
            let moved = particle.fill_ml + kernel(0.0, (0.0, fill_jitter / loose));
            particle.fill_ml = moved.clamp(0.0, self.fullest_ml);
        }
        std::mem::swap(&mut self.all, &mut self.next);
        self.logs.fill(0.0);
        self.weights.fill(1.0 / COUNT as f64);
    }

    /// What the cloud says now.
    pub fn guess(&mut self) -> Guess {
        for (value, particle) in self.values.iter_mut().zip(&self.all) {
            *value = particle.fill_ml;
        }
        let [low_ml, fill_ml, high_ml] = self.quantiles([0.025, 0.5, 0.975]);
        let error_cents = self.mean(|p| p.error_cents[0]);
        Guess {
            fill_ml,
            low_ml,
            high_ml,
            flow_ml_s: self.mean(|p| p.flow + p.wander).exp(),
            error_cents,
            error_spread_cents: self.spread(error_cents, |p| p.error_cents[0]),
            other_error_cents: self.mean(|p| p.error_cents[1]),
        }
    }

    /// The median of what is missing, if `mark_ml` is the mark at an error of the lowest mode.
    pub fn median_left(&mut self, mark_ml: impl Fn(f64) -> f64) -> f64 {
        for (value, particle) in self.values.iter_mut().zip(&self.all) {
            *value = mark_ml(particle.error_cents[0]) - particle.fill_ml;
        }
        let [median] = self.quantiles([0.5]);
        median
    }

    /// Quantiles of the values over the weights, at rising shares, by counting: two thousand values sorted 50 times a second
    /// cost more than all else.
    fn quantiles<const N: usize>(&mut self, shares: [f64; N]) -> [f64; N] {
        let ends = (f64::INFINITY, f64::NEG_INFINITY);
        let (low, high) = (self.values.iter()).fold(ends, |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
        let width = ((high - low) / CELLS as f64).max(1e-9);
        self.cells.fill(0.0);
        for (value, weight) in self.values.iter().zip(&self.weights) {
            let cell = (((value - low) / width) as usize).min(CELLS - 1);
            self.cells[cell] += weight;
        }
        let mut found = [high; N];
        let (mut reached, mut next) = (0.0, 0);
        for (cell, weight) in self.cells.iter().enumerate() {
            while next < N && reached + weight >= shares[next] {
                let share = (shares[next] - reached) / weight.max(1e-300);
                found[next] = low + width * (cell as f64 + share);
                next += 1;
            }
            reached += weight;
        }
        found
    }

    /// Where the modes of a guess stand.
    pub fn places_of(&self, guess: &Guess) -> [f64; MODES] {
        let row = ((guess.fill_ml * self.per_ml) as usize).min(STEPS - 1);
        let mut places = self.table[row];
        for (mode, place) in places.iter_mut().enumerate() {
            let error = if mode == 0 {
                guess.error_cents
            } else {
                guess.other_error_cents
            };
            *place += error / CENTS_PER_PLACE;
        }
        places
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::units::{Frequency, Volume};

    /// A vessel whose modes stand where they are, whatever is in it.
    fn still(modes_hz: [f64; MODES]) -> Modes {
        let row = |ml: f64| {
            let modes = modes_hz.map(Frequency::from_hz).to_vec();
            (Volume::from_ml(ml), modes)
        };
        Modes::measured(Volume::from_ml(1_000.0), &[row(0.0), row(900.0)]).unwrap()
    }

    #[test]
    fn what_says_the_same_of_every_place_moves_no_mode_out_of_hearing() {
        let mut evidence = Evidence::new();
        // As where a mode is not heard: a little is said against any place.
        evidence.at.fill(-0.5);
        // The lowest at the lower end of what is looked for, the highest at the upper.
        for modes_hz in [
            [112.0, 400.0, 900.0, 1_800.0],
            [300.0, 900.0, 1_900.0, 3_750.0],
        ] {
            let mut particles = Particles::new(&still(modes_hz), 3);
            particles.scatter(&Prior {
                fill_ml: (0.0, 10.0),
                error_cents: [0.0; 2],
                spread_cents: 70.0,
            });
            for _ in 0..250 {
                particles.step();
                particles.weigh(&evidence);
            }
            let guess = particles.guess();
            // Of 2,000 particles the mean is known to 70 / sqrt(2000) = 1.6 cents; five of those, for what is drawn anew.
            for error_cents in [guess.error_cents, guess.other_error_cents] {
                assert!(error_cents.abs() < 8.0, "{modes_hz:?}: {guess:?}");
            }
        }
    }
}
