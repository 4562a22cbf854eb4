//! Whether anything is being poured, by the level between 1 and 7 kHz against that of the room before the pour.

use super::reading::Hearing;
use super::spectrum::HOP_S;

/// The level is smoothed over so long, s.
const SMOOTH_S: f64 = 0.08;
/// A pour begins where the level is so far above the room's, dB, for so long, s: loud at once, or quiet for longer.
const LOUD: (f64, f64) = (2.5, 0.1);
const QUIET: (f64, f64) = (1.2, 0.3);
/// It pauses below this share of how far the stream usually is above the room, within these, dB.
const PAUSE_SHARE: f64 = 0.4;
const PAUSES_DB: (f64, f64) = (0.7, 2.5);
/// The usual level of the stream is learnt over so long, s.
const STREAM_S: f64 = 2.0;
/// Frames of the room, at most.
const ROOM_FRAMES: usize = 256;

/// The gate.
pub(super) struct Gate {
    /// Nothing to listen to first: always open.
    is_open: bool,
    room_s: f64,
    state: Hearing,
    heard_s: f64,
    /// Levels of the room; their median stands, so that a clink does not count.
    room: Vec<f64>,
    floor: f64,
    level: f64,
    /// How far the stream usually is above the room, dB.
    stream_db: f64,
    loud_s: f64,
    quiet_s: f64,
    /// A pour was found to have begun so long ago, s; 0 but in the frame that found it.
    pub late_s: f64,
}

impl Gate {
    /// With a room to listen to first, or without one: then it is always open.
    pub fn new(room_first: bool, room_s: f64) -> Self {
        let mut gate = Self {
            is_open: !room_first,
            room_s,
            state: Hearing::Pouring,
            heard_s: 0.0,
            room: Vec::with_capacity(ROOM_FRAMES),
            floor: 0.0,
            level: 0.0,
            stream_db: 0.0,
            loud_s: 0.0,
            quiet_s: 0.0,
            late_s: 0.0,
        };
        gate.reset();
        gate
    }

    pub fn reset(&mut self) {
        self.state = if self.is_open {
            Hearing::Pouring
        } else {
            Hearing::Room
        };
        self.room.clear();
        (self.heard_s, self.floor, self.level) = (0.0, 0.0, 0.0);
        (self.loud_s, self.quiet_s, self.late_s) = (0.0, 0.0, 0.0);
        self.stream_db = PAUSES_DB.1 / PAUSE_SHARE;
    }

    pub fn state(&self) -> Hearing {
        self.state
    }

    /// Takes the level of a frame, as a power.
    pub fn take(&mut self, level: f64) -> Hearing {
        if self.is_open {
            return self.state;
        }
        self.late_s = 0.0;
        self.heard_s += HOP_S;
        self.level += (HOP_S / SMOOTH_S).min(1.0) * (level - self.level);
        if self.state == Hearing::Room {
            self.listen_to_room(level);
            return self.state;
        }
        let over_db = 10.0 * (self.level / self.floor.max(1e-30)).max(1e-9).log10();
        if self.state == Hearing::Waiting {
            let lasts = |before_s: f64, db: f64| if over_db >= db { before_s + HOP_S } else { 0.0 };
            self.loud_s = lasts(self.loud_s, LOUD.0);
            self.quiet_s = lasts(self.quiet_s, QUIET.0);
            if self.loud_s >= LOUD.1 || self.quiet_s >= QUIET.1 {
                self.state = Hearing::Pouring;
                self.stream_db = over_db;
                self.late_s = self.loud_s.max(self.quiet_s) + SMOOTH_S;
            }
            return self.state;
        }
        let pause_db = (PAUSE_SHARE * self.stream_db).clamp(PAUSES_DB.0, PAUSES_DB.1);
        self.state = if over_db >= pause_db {
            self.stream_db += HOP_S / STREAM_S * (over_db - self.stream_db);
            Hearing::Pouring
        } else {
            Hearing::Paused
        };
        self.state
    }

    fn listen_to_room(&mut self, level: f64) {
        self.level = level;
        if self.room.len() < ROOM_FRAMES {
            self.room.push(level);
        }
        if self.heard_s >= self.room_s {
            self.room.sort_unstable_by(f64::total_cmp);
            self.floor = self.room[self.room.len() / 2];
            self.level = self.floor;
            self.state = Hearing::Waiting;
        }
    }
}
