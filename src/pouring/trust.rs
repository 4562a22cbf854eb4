//! Whether what the cloud says may be shown, and how wide.

use super::particles::{Guess, Particles};
use super::spectrum::HOP_S;

/// Clearness is a mean over so long, s.
const CLEAR_S: f64 = 1.0;
/// Half an octave, places: where the modes are not.
const AWAY: f64 = 60.0;

/// The judge of the cloud.
pub(super) struct Trust {
    clearness: f64,
    heard_s: f64,
}

impl Trust {
    pub fn new() -> Self {
        Self { clearness: 0.0, heard_s: 0.0 }
    }

    pub fn take(&mut self, particles: &Particles) {
        let here = particles.worth(0.0);
        let away = 0.5 * (particles.worth(AWAY) + particles.worth(-AWAY));
        self.heard_s += HOP_S;
        let share = (HOP_S / self.heard_s.min(CLEAR_S)).min(1.0);
        self.clearness += share * (here - away - self.clearness);
    }

    pub fn clearness(&self) -> f64 {
        self.clearness
    }

    pub fn band(&self, guess: &Guess, capacity_ml: f64) -> Option<(f64, f64)> {
        let least = 0.03 * capacity_ml;
        Some((guess.low_ml.min(guess.fill_ml - least), guess.high_ml.max(guess.fill_ml + least)))
    }
}
