//! How a tone dies away: decay time and Q from the slope of its envelope.

use std::f64::consts::PI;

use super::phase::turned_back;
use crate::units::Duration;

/// The slope is read between these levels below the start of the decay, dB.
const TOP_DB: f64 = 4.0;
const BOTTOM_DB: f64 = 28.0;
/// A decay of fewer dB says nothing.
const LEAST_FALL_DB: f64 = 12.0;
/// A decay whose envelope strays farther from a straight line is none, dB rms.
const MOST_STRAY_DB: f64 = 1.5;
/// Fewest points of a slope.
const FEWEST_POINTS: usize = 5;

/// A ring-down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Time in which the amplitude falls to 1/e.
    pub decay: Duration,
    /// Quality: π f times that.
    pub quality: f64,
}

impl Ring {
    pub(super) fn new(decay_s: f64, hz: f64) -> Self {
        Self {
            decay: Duration::from_s(decay_s),
            quality: PI * hz * decay_s,
        }
    }
}

/// The ring-down at the end of a note at `hz` whose amplitude was `amplitude`; `None` if it was cut off,
/// drowned, or not a straight decay.
pub(super) fn ring_down(tail: &[f64], rate_hz: f64, hz: f64, amplitude: f64) -> Option<Ring> {
    let tone = turned_back(tail, rate_hz, hz, (3.0 / hz).max(4.0 / rate_hz));
    let db = |i: usize| 20.0 * (tone.value[i].norm() / amplitude).max(1e-9).log10();
    let count = tone.value.len();
    // From the last moment that was still loud.
    let start = (0..count).rev().find(|&i| db(i) > -TOP_DB)?;
    let mut points = Vec::new();
    for i in start + 1..count {
        if db(i) < -BOTTOM_DB || points.last().is_some_and(|(_, last)| db(i) > last + 0.5) {
            break;
        }
        points.push((tone.time_s[i], db(i)));
    }
    decay_of(&points).map(|decay_s| Ring::new(decay_s, hz))
}

/// Time to 1/e of points of time and level in dB.
pub(super) fn decay_of(points: &[(f64, f64)]) -> Option<f64> {
    let fall = points.first()?.1 - points.last()?.1;
    if points.len() < FEWEST_POINTS || fall < LEAST_FALL_DB {
        return None;
    }
    let count = points.len() as f64;
    let mean = |f: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(f).sum::<f64>() / count;
    let (mean_t, mean_db) = (mean(&|p| p.0), mean(&|p| p.1));
    let cross = mean(&|p| (p.0 - mean_t) * (p.1 - mean_db));
    let slope = cross / mean(&|p| (p.0 - mean_t).powi(2));
    let stray = mean(&|p| (p.1 - mean_db - slope * (p.0 - mean_t)).powi(2)).sqrt();
    // A neper is 8.686 dB.
    let nepers_per_s = -slope / (20.0 / 10f64.ln());
    (stray <= MOST_STRAY_DB && nepers_per_s > 0.0).then(|| 1.0 / nepers_per_s)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_ring_down_has_its_quality() {
        for (hz, q) in [(196.0, 32.0), (110.0, 45.0), (660.0, 25.0)] {
            let decay_s = q / (PI * hz);
            let tone = |n: usize| {
                let t = n as f64 / 12_000.0 - 0.05;
                (TAU * hz * t).sin() * (-t.max(0.0) / decay_s).exp()
            };
            let samples: Vec<f64> = (0..9000).map(tone).collect();
            let ring = ring_down(&samples, 12_000.0, hz, 1.0).unwrap();
            assert!((ring.quality / q - 1.0).abs() < 0.03, "{hz}: {ring:?}");
        }
    }
}
