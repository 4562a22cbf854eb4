//! How many frames a card is asked for at a time: at first what is wished, and twice as many when that was too few.
//!
//! A short buffer is soon heard and soon empty. How short a card bears, nobody can ask it: a sound server in between, or a
//! machine that is busy, shows only by sound that breaks up.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use super::device::BUFFER_FRAMES;

/// The most that is asked for: 85 ms at 48 kHz, beyond which nobody can play.
const MOST_FRAMES: u32 = 4096;
/// So often the sound breaks up in [`WATCHED`] before the buffer grows.
const BREAKS: usize = 2;
/// Time in which breaks belong together. Taste.
const WATCHED: Duration = Duration::from_secs(10);

/// How the sound broke up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Break {
    /// The card ran dry and went on.
    Dropout,
    /// The stream had to be built again.
    Loss,
}

/// What a card is asked for.
#[derive(Debug)]
pub(super) struct Growth {
    /// What the player wished for.
    wished: Option<u32>,
    asked: u32,
    breaks: VecDeque<Instant>,
    /// What the card gave last.
    given: Option<u32>,
    /// What it gave before the buffer grew.
    before: Option<u32>,
    /// More was asked for, and nothing was given since.
    is_new: bool,
    /// It gives what it gives, such as a server with a buffer of its own.
    is_fixed: bool,
}

impl Growth {
    /// Begins with `wished`, or the usual.
    pub(super) fn new(wished: Option<u32>) -> Self {
        Self {
            wished,
            asked: wished.unwrap_or(BUFFER_FRAMES),
            breaks: VecDeque::new(),
            given: None,
            before: None,
            is_new: false,
            is_fixed: false,
        }
    }

    /// Frames to ask for.
    pub(super) fn frames(&self) -> u32 {
        self.asked
    }

    /// Frames that the card gave before it grew; nothing if it never did.
    pub(super) fn grown_from(&self) -> Option<u32> {
        self.before.filter(|before| Some(*before) != self.given)
    }

    /// A stream is open and gives so many frames a callback.
    pub(super) fn gave(&mut self, frames: u32) {
        let asked_for_more = std::mem::take(&mut self.is_new);
        self.is_fixed |= asked_for_more && self.given.is_some_and(|given| frames <= given);
        self.given = Some(frames);
    }

    /// The sound broke up. Says whether more frames are to be asked for: the stream is to be opened again then.
    ///
    /// Whoever chose a number keeps it while the stream runs on, clicks and all.
    pub(super) fn broke(&mut self, how: Break, now: Instant) -> bool {
        if self.wished.is_some() && how == Break::Dropout {
            return false;
        }
        self.breaks.push_back(now);
        while self
            .breaks
            .front()
            .is_some_and(|&at| now.saturating_duration_since(at) > WATCHED)
        {
            self.breaks.pop_front();
        }
        // Nobody knows what a stream would give that never ran.
        let Some(given) = self.given else {
            return false;
        };
        if self.breaks.len() < BREAKS || self.is_fixed || self.asked >= MOST_FRAMES {
            return false;
        }
        self.breaks.clear();
        self.asked = self.asked.saturating_mul(2).min(MOST_FRAMES);
        self.before = self.before.or(Some(given));
        self.is_new = true;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(start: Instant, s: f64) -> Instant {
        start + Duration::from_secs_f64(s)
    }

    #[test]
    fn the_buffer_doubles_whenever_the_sound_has_broken_up_twice() {
        let start = Instant::now();
        let mut growth = Growth::new(None);
        growth.gave(170);
        assert_eq!((growth.frames(), growth.grown_from()), (256, None));
        assert!(!growth.broke(Break::Dropout, start));
        assert!(growth.broke(Break::Loss, at(start, 2.0)));
        growth.gave(341);
        assert_eq!((growth.frames(), growth.grown_from()), (512, Some(170)));
        assert!(!growth.broke(Break::Dropout, at(start, 2.5)), "counts anew");
        assert!(growth.broke(Break::Dropout, at(start, 3.0)));
        growth.gave(682);
        assert_eq!((growth.frames(), growth.grown_from()), (1024, Some(170)));
    }

    #[test]
    fn breaks_that_are_far_apart_are_borne() {
        let start = Instant::now();
        let mut growth = Growth::new(None);
        growth.gave(256);
        for n in 0..20 {
            assert!(!growth.broke(Break::Dropout, at(start, 11.0 * f64::from(n))));
        }
        assert_eq!(growth.frames(), 256);
    }

    #[test]
    fn a_number_that_was_chosen_stays_until_the_stream_is_lost() {
        let start = Instant::now();
        let mut growth = Growth::new(Some(64));
        growth.gave(64);
        for n in 0..9 {
            assert!(!growth.broke(Break::Dropout, at(start, f64::from(n))));
        }
        assert!(!growth.broke(Break::Loss, at(start, 9.0)));
        assert!(growth.broke(Break::Loss, at(start, 9.5)));
        assert_eq!(growth.frames(), 128);
    }

    #[test]
    fn a_card_that_gives_what_it_gives_is_not_asked_for_ever() {
        let start = Instant::now();
        let mut growth = Growth::new(None);
        growth.gave(1024);
        assert!(!growth.broke(Break::Dropout, start));
        assert!(growth.broke(Break::Dropout, start));
        growth.gave(1024);
        assert_eq!(growth.grown_from(), None, "nothing to tell of");
        for _ in 0..9 {
            assert!(!growth.broke(Break::Dropout, start));
        }
        assert_eq!(growth.frames(), 512);
    }

    #[test]
    fn it_ends_at_what_can_still_be_played() {
        let start = Instant::now();
        let mut growth = Growth::new(Some(1500));
        let mut grown = 0;
        for _ in 0..40 {
            growth.gave(growth.frames());
            grown += usize::from(growth.broke(Break::Loss, start));
        }
        assert_eq!((grown, growth.frames()), (2, MOST_FRAMES));
    }

    #[test]
    fn a_stream_that_never_ran_tells_nothing_about_its_buffer() {
        let mut growth = Growth::new(None);
        for _ in 0..9 {
            assert!(!growth.broke(Break::Loss, Instant::now()));
        }
    }
}
