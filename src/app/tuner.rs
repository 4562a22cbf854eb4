//! What the tuner shows: plain data.

use std::collections::VecDeque;

use crate::index::PourIndex;
use crate::live::{DeviceWish, EarState, HostInfo};
use crate::tuner::Verdict;
use crate::units::Length;

use super::palette::IN_TUNE_CENTS;

/// How much of the past is shown, s.
pub const HISTORY_S: f64 = 60.0;
/// Farther from its aim than this it is another bottle, cents.
pub const FAR_CENTS: f64 = 300.0;
/// Narrowest and widest band that counts as in tune, cents.
pub const BANDS_CENTS: (f64, f64) = (1.0, 50.0);

/// What can be asked of the tuner.
#[derive(Clone, Debug, PartialEq)]
pub enum TunerAsk {
    /// Open the microphone.
    Listen,
    /// Close it.
    Stop,
    /// Try it once more.
    Retry,
    /// Another input.
    Input(DeviceWish),
    /// Look for inputs.
    LookForInputs,
    /// The bottle that is nearest to what is heard selects itself.
    Follow(bool),
    /// How far off still counts as in tune, cents.
    Within(f64),
    /// The bottle holds what was poured: the model moves to what was heard.
    HoldsPoured,
    /// It holds less or more: the fill moves to what was heard.
    HoldsOther,
}

/// One moment of the history.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When, in seconds of sound since the start.
    pub at_s: f64,
    /// How far above its aim, cents.
    pub cents: f64,
    /// Which bottle.
    pub index: PourIndex,
}

/// What the tuner shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Tuner {
    /// How the microphone is; nothing while it is closed.
    pub ear: Option<EarState>,
    /// Which one.
    pub input: DeviceWish,
    /// The inputs that were found.
    pub inputs: Option<Vec<HostInfo>>,
    /// They are being looked for.
    pub looking: bool,
    /// The bottle that is nearest to what is heard selects itself.
    pub follows: bool,
    /// How far off still counts as in tune, cents.
    pub within_cents: f64,
    /// What was heard last, and what it says.
    pub heard: Option<Verdict>,
    /// It sounds still.
    pub sounds: bool,
    /// The pitch of whatever was heard last, of a bottle that nobody knows yet as well, Hz.
    pub tone_hz: Option<f64>,
    /// No bottle of the set is listened for, but whatever sounds.
    pub is_free: bool,
    /// The last minute.
    pub history: VecDeque<Point>,
    /// Seconds of sound that were listened to.
    pub clock_s: f64,
    /// Frames that came faster than they could be listened to.
    pub missed: u64,
}

impl Default for Tuner {
    fn default() -> Self {
        Self {
            ear: None,
            input: DeviceWish::default(),
            inputs: None,
            looking: false,
            follows: true,
            within_cents: IN_TUNE_CENTS,
            heard: None,
            sounds: false,
            tone_hz: None,
            is_free: false,
            history: VecDeque::new(),
            clock_s: 0.0,
            missed: 0,
        }
    }
}

impl Tuner {
    /// The microphone was asked for.
    #[must_use]
    pub fn listens(&self) -> bool {
        self.ear.is_some()
    }

    /// What was heard last of this bottle.
    #[must_use]
    pub fn of(&self, index: PourIndex) -> Option<&Verdict> {
        let heard = self.heard.as_ref();
        heard.filter(|heard| heard.pour == Some(index))
    }

    /// Where a bottle seems to be filled to, while it is listened to.
    #[must_use]
    pub fn seems(&self, index: PourIndex) -> Option<Length> {
        self.of(index).filter(|_| self.listens())?.seems_level
    }

    /// Forgets what was heard.
    pub fn forget(&mut self) {
        self.heard = None;
        self.history.clear();
    }

    pub(super) fn note(&mut self, point: Point) {
        self.history.push_back(point);
    }

    pub(super) fn tick(&mut self, clock_s: f64) {
        self.clock_s = clock_s;
        let from_s = clock_s - HISTORY_S;
        while self.history.front().is_some_and(|p| p.at_s < from_s) {
            self.history.pop_front();
        }
    }
}
