//! What can be asked of a bottle, and when.

use super::spec::{HIGHEST_HZ, check_hz, check_q};
use crate::units::{Frequency, Interval};
use std::collections::VecDeque;

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
    /// The breath stops, in 20 ms; the bottle rings down by itself.
    Release,
    /// The pitch moves to `interval` beside the bottle's own, −2400 to 2400 cents, in 30 ms.
    Bend {
        /// Beside the bottle's own pitch.
        interval: Interval,
    },
    /// The bottle itself changes (a level drawn, a bottom slid, warmer air): 30 ms. Passive modes stay where they were.
    Tune {
        /// The new ringing frequency, 20 to 4000 Hz.
        frequency: Frequency,
        /// The new quality, 1 to 2000.
        q: f64,
    },
}

/// One thing that happens to one bottle at one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// The frame since `new` or `reset`; one already past happens at once.
    pub at_frames: u64,
    /// The bottle's place in the bank.
    pub bottle: usize,
    /// What happens.
    pub kind: EventKind,
}

impl Event {
    /// Whether every number in it is one that a voice can follow.
    pub(super) fn is_sound(&self) -> bool {
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
            EventKind::Tune { frequency, q } => {
                check_hz(frequency.hz(), HIGHEST_HZ).is_ok() && check_q(q).is_ok()
            }
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
