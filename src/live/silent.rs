//! The device with no hardware: the engine runs by the clock on the wall, and nobody hears it.
//!
//! Queues empty as they always do, lights follow what would sound, a recording goes on; so everything but the
//! ears can work without a sound card.

use std::time::{Duration, Instant};

use super::render::Renderer;

/// After a longer pause (a laptop that slept) the time between is not made up for.
const LONGEST: Duration = Duration::from_millis(500);
/// Frames made at a time.
const PIECE_FRAMES: usize = 256;

/// Counts what the clock on the wall asks for.
pub(super) struct SilentClock {
    since: Instant,
    given: u64,
}

impl SilentClock {
    pub(super) fn started(now: Instant) -> Self {
        Self {
            since: now,
            given: 0,
        }
    }

    /// Makes what is due at `now` and throws it away.
    pub(super) fn drive(&mut self, renderer: &mut Renderer, now: Instant) {
        let rate_hz = f64::from(renderer.rate_hz());
        let frames = |time: Duration| (time.as_secs_f64() * rate_hz) as u64;
        let mut due = frames(now.saturating_duration_since(self.since)).saturating_sub(self.given);
        if due > frames(LONGEST) {
            *self = Self::started(now);
            due = PIECE_FRAMES as u64;
        } else {
            self.given += due;
        }
        let mut nowhere = [0.0f32; PIECE_FRAMES];
        while due > 0 {
            let count = due.min(PIECE_FRAMES as u64) as usize;
            renderer.fill(&mut nowhere[..count], 1);
            due -= count as u64;
        }
    }
}
