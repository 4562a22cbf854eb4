//! What can be asked of a bottle, and when.

use super::blown_voice::{HIGHEST_HZ, HIGHEST_Q, check_hz};
use super::struck::{HIGHEST_STRUCK_HZ, HIGHEST_STRUCK_Q};
use crate::index::BottleIndex;
use crate::units::{Frequency, Interval};
use std::collections::VecDeque;

/// How hard the tongue begins a note where nothing else is asked for, 0 to 1: a matter of taste.
pub const USUAL_TONGUE: f64 = 0.6;

/// How a breath begins.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Attack {
    /// The breath alone: the tone grows as fast as the bottle lets it.
    #[default]
    Natural,
    /// With the tongue: a puff of noise, a push on the air and a moment of harder breath, so that it speaks at
    /// once. `strength` is 0 to 1.
    Tongued {
        /// 0 (none) to 1 (a hard "t").
        strength: f64,
    },
}

/// What happens to a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EventKind {
    /// Breath of `g` times the threshold of sounding, 0 to 6; reached in 20 ms.
    Blow {
        /// Breath over threshold: 1 just speaks.
        g: f64,
        /// How it begins.
        attack: Attack,
    },
    /// The breath stops, in 20 ms; the bottle rings down by itself. A struck bottle rings on: nothing held it.
    Release,
    /// A mallet strikes at `speed`, 0 to 10 m/s; faster is louder, and brighter since the contact is shorter. Blown bottles
    /// pass it over, as struck ones do a `Blow`.
    Strike {
        /// The mallet's speed, m/s.
        speed: f64,
    },
    /// A hand on a struck bottle, in 30 ms; it leaves at once. Blown bottles pass it over.
    Damp {
        /// 0 (lifted) to 1 (the whole palm).
        hand: f64,
    },
    /// The pitch moves to `interval` beside the bottle's own, −2400 to 2400 cents, in 30 ms.
    Bend {
        /// Beside the bottle's own pitch.
        interval: Interval,
    },
    /// The bottle itself changes (a level drawn, warmer air): 30 ms. Passive modes stay where they were; all modes of a
    /// struck bottle move with its note.
    Tune {
        /// The new ringing frequency, 20 to 4000 Hz; of a struck bottle's note, 20 to 20,000 Hz.
        frequency: Frequency,
        /// The new quality, 1 to 2000; of a struck bottle's note, 1 to 20,000.
        q: f64,
    },
    /// The bottle changes as in `Tune`, at one speed in cents and taking `over_s`: one of these after the other makes any
    /// curve, a slide for one.
    Glide {
        /// Where it ends; as in `Tune`.
        frequency: Frequency,
        /// The quality there; as in `Tune`.
        q: f64,
        /// How long it takes, 0 to 60 s; 0 is at once.
        over_s: f64,
    },
}

/// Fastest mallet, m/s.
const FASTEST_M_S: f64 = 10.0;
/// Longest glide, s.
const LONGEST_GLIDE_S: f64 = 60.0;

/// One thing that happens to one bottle at one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// The frame since `new` or `reset`; one already past happens at once.
    pub at_frames: u64,
    /// Which bottle of the bank or the row.
    pub bottle: BottleIndex,
    /// What happens.
    pub kind: EventKind,
}

impl Event {
    /// Whether every number in it is one that a blown voice can follow.
    pub(super) fn is_sound(&self) -> bool {
        self.is_within(HIGHEST_HZ, HIGHEST_Q)
    }

    /// Whether every number in it is one that a struck voice can follow.
    pub(super) fn is_sound_struck(&self) -> bool {
        self.is_within(HIGHEST_STRUCK_HZ, HIGHEST_STRUCK_Q)
    }

    fn is_within(&self, highest_hz: f64, highest_q: f64) -> bool {
        let tuned = |frequency: Frequency, q| {
            check_hz(frequency.hz(), highest_hz).is_ok() && (1.0..=highest_q).contains(&q)
        };
        match self.kind {
            EventKind::Blow { g, attack } => {
                let tongue = match attack {
                    Attack::Natural => 0.0,
                    Attack::Tongued { strength } => strength,
                };
                g.is_finite() && g >= 0.0 && (0.0..=1.0).contains(&tongue)
            }
            EventKind::Release => true,
            EventKind::Bend { interval } => interval.cents().abs() <= 2400.0,
            EventKind::Strike { speed } => (0.0..=FASTEST_M_S).contains(&speed),
            EventKind::Damp { hand } => (0.0..=1.0).contains(&hand),
            EventKind::Tune { frequency, q } => tuned(frequency, q),
            EventKind::Glide {
                frequency,
                q,
                over_s,
            } => tuned(frequency, q) && (0.0..=LONGEST_GLIDE_S).contains(&over_s),
        }
    }
}

/// Events in the order of their frames; those of one frame in the order they came.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Schedule {
    waiting: VecDeque<Event>,
    room: usize,
}

impl Schedule {
    pub(super) fn with_room(room: usize) -> Self {
        Self {
            waiting: VecDeque::with_capacity(room),
            room,
        }
    }

    /// Makes room for `room` events in all. Allocates.
    pub(super) fn grow(&mut self, room: usize) {
        self.room = self.room.max(room);
        self.waiting
            .reserve(self.room.saturating_sub(self.waiting.len()));
    }

    /// Lines `event` up, or hands it back if the queue is full.
    pub(super) fn push(&mut self, event: Event) -> Result<(), Event> {
        if self.waiting.len() >= self.room {
            return Err(event);
        }
        // Nearly always the end: events come in order.
        let place = self
            .waiting
            .partition_point(|e| e.at_frames <= event.at_frames);
        self.waiting.insert(place, event);
        Ok(())
    }

    /// The next event if it is due at `frame`.
    pub(super) fn pop_due(&mut self, frame: u64) -> Option<Event> {
        if self.next_frame()? <= frame {
            self.waiting.pop_front()
        } else {
            None
        }
    }

    pub(super) fn next_frame(&self) -> Option<u64> {
        self.waiting.front().map(|e| e.at_frames)
    }

    pub(super) fn clear(&mut self) {
        self.waiting.clear();
    }
}
