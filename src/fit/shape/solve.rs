//! The likeliest shape for what was measured, and an ensemble of those that are as likely.
//!
//! Every shape of the ensemble starts from a draw of the prior and of the measurements' errors and is then
//! moved to where the two agree best (randomised maximum likelihood: Oliver, He & Reynolds 1996; Kitanidis
//! 1995), by Gauss and Newton with Broyden's update of the slopes. One seed, one ensemble.

use super::base::{Base, Shape};
use super::family::{self, Theta, UNKNOWNS, at};
use super::seen::{Around, Seen};
use crate::physics::material::Material;

/// Rounds to the likeliest shape.
const ROUNDS: usize = 14;
/// A measurement missed by so many standard deviations: another way may lead nearer.
const STUCK: f64 = 3.5;
/// Step of the derivatives, in standard deviations.
const STEP: f64 = 2e-3;
/// Farthest that one round goes, in standard deviations.
const FARTHEST: f64 = 2.5;

/// The most that a player takes from the mouth, in its radii: it has 0.6 to 0.8 of one.
const SHORTEST_MOUTH: f64 = -0.45;

/// What is to be explained.
#[derive(Clone, Debug)]
pub(super) struct Problem {
    pub base: Base,
    pub seen: Vec<Seen>,
    pub material: Material,
    pub around: Around,
    /// Standard deviation of what a player adds to the mouth, in its radii.
    pub player: f64,
    /// What makes every pitch unsure besides, and moves none, cents (one standard deviation).
    pub besides: f64,
}

/// Slopes of the whitened measurements, one row each.
pub(super) type Slopes = Vec<Theta>;

impl Problem {
    pub(super) fn shape(&self, x: &Theta) -> Shape {
        let mut shape = self.base.shape(x, self.material);
        // Nothing that a player does leaves no air before the mouth.
        shape.player = match self.player > 0.0 {
            true => family::above(self.player * x[at::PLAYER], SHORTEST_MOUTH, 0.1),
            false => 0.0,
        };
        shape
    }

    /// How far a shape is above what was measured, in standard deviations; the last is its strain.
    pub(super) fn off(&self, x: &Theta) -> Vec<f64> {
        let shape = self.shape(x);
        let mut off: Vec<f64> = self
            .seen
            .iter()
            .map(|seen| (shape.of(seen.what, self.around) - seen.value) / seen.sigma)
            .collect();
        off.push(shape.strained);
        off
    }

    pub(super) fn slopes(&self, x: &Theta, here: &[f64], free: &[bool; UNKNOWNS]) -> Slopes {
        let mut slopes = vec![[0.0; UNKNOWNS]; here.len()];
        for unknown in (0..UNKNOWNS).filter(|&u| free[u]) {
            let mut turned = *x;
            turned[unknown] += STEP;
            for (row, (there, here)) in slopes.iter_mut().zip(self.off(&turned).iter().zip(here)) {
                row[unknown] = (there - here) / STEP;
            }
        }
        slopes
    }

    /// The likeliest shape around `centre`, begun at `start`, with its slopes.
    pub(super) fn likeliest(
        &self,
        centre: &Theta,
        start: &Theta,
        free: &[bool; UNKNOWNS],
    ) -> (Theta, Slopes) {
        // What is far away is come to by steps: first the shape alone, all errors taken for larger than they are.
        let mut x = *start;
        let off = self.off(&x);
        let worst = off.iter().fold(0.0_f64, |most, o| most.max(o.abs()));
        if worst > 12.0 {
            for (blur, pitches) in [(30.0, false), (6.0, false), (20.0, true), (5.0, true)] {
                let mut easier = self.clone();
                if !pitches {
                    easier
                        .seen
                        .retain(|seen| !matches!(seen.what, super::seen::What::Pitch { .. }));
                }
                for seen in &mut easier.seen {
                    seen.sigma *= blur;
                }
                if pitches
                    && easier
                        .seen
                        .iter()
                        .all(|seen| !matches!(seen.what, super::seen::What::Pitch { .. }))
                {
                    continue;
                }
                (x, _) = easier.climbed(centre, &x, free);
            }
        }
        let (mut best, mut slopes) = self.climbed(centre, &x, free);
        // A hill that leads nowhere: begin again from elsewhere, waists and shoulders of other kinds.
        let judged = |x: &Theta| {
            let off = self.off(x);
            let worst = off.iter().fold(0.0_f64, |most, o| most.max(o.abs()));
            (worst, cost(x, centre, &off, &vec![0.0; off.len()]))
        };
        let (mut worst, mut least) = judged(&best);
        for (unknown, away) in [
            (at::WAIST, 2.2),
            (at::SHOULDER, 1.5),
            (at::SHOULDER, -2.0),
            (at::FLARE, 1.3),
            (at::TAPER, -1.5),
            (at::CONE, -2.0),
        ] {
            if worst < STUCK || !free[unknown] || !matches!(self.base, Base::Family) {
                break;
            }
            // From where the last one led, and from the commonest bottle, which is far from where that got stuck.
            for mut start in [best, *centre] {
                start[unknown] = away;
                let (x, its) = self.climbed(centre, &start, free);
                let (its_worst, its_cost) = judged(&x);
                if its_cost < least {
                    (best, slopes, worst, least) = (x, its, its_worst, its_cost);
                }
            }
        }
        (best, slopes)
    }

    pub(super) fn climbed(
        &self,
        centre: &Theta,
        start: &Theta,
        free: &[bool; UNKNOWNS],
    ) -> (Theta, Slopes) {
        let wanted = vec![0.0; self.seen.len() + 1];
        let mut x = *start;
        let mut off = self.off(&x);
        let mut cost = cost(&x, centre, &off, &wanted);
        let mut slopes = self.slopes(&x, &off, free);
        for _ in 0..ROUNDS {
            let there = newton(&x, centre, &off, &wanted, &slopes);
            let Some((next, next_off, next_cost)) = self.better(&x, &there, centre, &wanted, cost)
            else {
                break;
            };
            let gained = cost - next_cost;
            (x, off, cost) = (next, next_off, next_cost);
            slopes = self.slopes(&x, &off, free);
            if gained < 1e-3 {
                break;
            }
        }
        (x, slopes)
    }

    /// A place on the way to `there` that costs less.
    fn better(
        &self,
        from: &Theta,
        there: &Theta,
        centre: &Theta,
        wanted: &[f64],
        before: f64,
    ) -> Option<(Theta, Vec<f64>, f64)> {
        let longest = from
            .iter()
            .zip(there)
            .fold(0.0_f64, |most, (a, b)| most.max((b - a).abs()));
        let mut share = if longest > FARTHEST {
            FARTHEST / longest
        } else {
            1.0
        };
        for _ in 0..5 {
            let mut x = *from;
            for (x, to) in x.iter_mut().zip(there) {
                *x += share * (to - *x);
            }
            let off = self.off(&x);
            let now = cost(&x, centre, &off, wanted);
            if now < before {
                return Some((x, off, now));
            }
            share *= 0.4;
        }
        None
    }

    /// The shape that agrees best with one draw of prior and errors.
    pub(super) fn drawn(
        &self,
        centre: &Theta,
        wanted: &[f64],
        (start, slopes, start_off): (&Theta, &Slopes, &[f64]),
        rounds: usize,
    ) -> Theta {
        let mut slopes = slopes.clone();
        let mut x = *start;
        let mut off = start_off.to_vec();
        let mut now = cost(&x, centre, &off, wanted);
        for _ in 0..rounds {
            let there = newton(&x, centre, &off, wanted, &slopes);
            let Some((next, next_off, next_cost)) = self.better(&x, &there, centre, wanted, now)
            else {
                break;
            };
            broyden(&mut slopes, &x, &next, &off, &next_off);
            let gained = now - next_cost;
            (x, off, now) = (next, next_off, next_cost);
            if gained < 0.02 {
                break;
            }
        }
        x
    }
}

fn cost(x: &Theta, centre: &Theta, off: &[f64], wanted: &[f64]) -> f64 {
    let prior: f64 = x.iter().zip(centre).map(|(a, b)| (a - b) * (a - b)).sum();
    let seen: f64 = off.iter().zip(wanted).map(|(a, b)| (a - b) * (a - b)).sum();
    0.5 * (prior + seen)
}

/// Broyden 1965: the slopes that explain the last step and differ least from those before.
fn broyden(slopes: &mut Slopes, from: &Theta, to: &Theta, before: &[f64], after: &[f64]) {
    let mut step = [0.0; UNKNOWNS];
    let mut square = 0.0;
    for (s, (a, b)) in step.iter_mut().zip(to.iter().zip(from)) {
        *s = a - b;
        square += *s * *s;
    }
    if square < 1e-12 {
        return;
    }
    for (row, (before, after)) in slopes.iter_mut().zip(before.iter().zip(after)) {
        let foretold: f64 = row.iter().zip(&step).map(|(a, b)| a * b).sum();
        let more = (after - before - foretold) / square;
        for (r, s) in row.iter_mut().zip(&step) {
            *r += more * s;
        }
    }
}

/// Where the cost would be least if the slopes held: centre + Jᵀ (J Jᵀ + 1)⁻¹ (J (x − centre) − r).
fn newton(x: &Theta, centre: &Theta, off: &[f64], wanted: &[f64], slopes: &Slopes) -> Theta {
    let count = off.len();
    let mut side: Vec<f64> = Vec::with_capacity(count);
    for ((row, off), wanted) in slopes.iter().zip(off).zip(wanted) {
        let along: f64 = row
            .iter()
            .zip(x.iter().zip(centre))
            .map(|(r, (a, b))| r * (a - b))
            .sum();
        side.push(along - (off - wanted));
    }
    let mut matrix = vec![0.0; count * count];
    for i in 0..count {
        for j in 0..=i {
            let product: f64 = slopes[i].iter().zip(&slopes[j]).map(|(a, b)| a * b).sum();
            matrix[i * count + j] = product + if i == j { 1.0 } else { 0.0 };
        }
    }
    solve_cholesky(&mut matrix, &mut side, count);
    let mut there = *centre;
    for (row, weight) in slopes.iter().zip(&side) {
        for (t, r) in there.iter_mut().zip(row) {
            *t += r * weight;
        }
    }
    there
}

/// Solves in place; the matrix is symmetric and at least one in every direction.
fn solve_cholesky(matrix: &mut [f64], side: &mut [f64], count: usize) {
    for i in 0..count {
        for j in 0..=i {
            let mut sum = matrix[i * count + j];
            for k in 0..j {
                sum -= matrix[i * count + k] * matrix[j * count + k];
            }
            matrix[i * count + j] = if i == j {
                sum.max(1e-12).sqrt()
            } else {
                sum / matrix[j * count + j]
            };
        }
    }
    for i in 0..count {
        let mut sum = side[i];
        for k in 0..i {
            sum -= matrix[i * count + k] * side[k];
        }
        side[i] = sum / matrix[i * count + i];
    }
    for i in (0..count).rev() {
        let mut sum = side[i];
        for k in i + 1..count {
            sum -= matrix[k * count + i] * side[k];
        }
        side[i] = sum / matrix[i * count + i];
    }
}
