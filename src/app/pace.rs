//! How the sound card's stream runs beside the clock.

use std::collections::VecDeque;

/// Time over which it is watched, s.
const WATCHED_S: f64 = 4.0;

/// How the stream's frames run beside the clock. Reports come late, never early: the one that is least late counts.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Pace {
    rate_hz: u32,
    last_frames: u64,
    /// When, and the frames made by then less those that the clock says.
    seen: VecDeque<(f64, f64)>,
}

impl Pace {
    /// What is known at `clock_s`.
    pub(super) fn see(&mut self, clock_s: f64, now_frames: u64, rate_hz: u32) {
        if rate_hz != self.rate_hz || now_frames < self.last_frames {
            self.seen.clear();
        }
        (self.rate_hz, self.last_frames) = (rate_hz, now_frames);
        let ahead = now_frames as f64 - clock_s * f64::from(rate_hz);
        self.seen.push_back((clock_s, ahead));
        while self
            .seen
            .front()
            .is_some_and(|(at, _)| *at < clock_s - WATCHED_S)
        {
            self.seen.pop_front();
        }
    }

    /// The frames made at a time.
    pub(super) fn frame_at(&self, clock_s: f64) -> i64 {
        let ahead = self
            .seen
            .iter()
            .fold(f64::MIN, |most, (_, ahead)| most.max(*ahead));
        let ahead = if self.seen.is_empty() { 0.0 } else { ahead };
        (clock_s * f64::from(self.rate_hz) + ahead).round() as i64
    }
}
