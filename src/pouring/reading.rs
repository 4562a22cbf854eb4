//! What is said every 20 ms.

use crate::units::{Duration, Frequency, Interval, Volume};

/// Where to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mark {
    /// At so much liquid.
    Fill(Volume),
    /// Where the bottle, blown, gives this note. What is learnt of the bottle on the way moves the mark.
    Note(Frequency),
}

/// How the pour is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hearing {
    /// The room is listened to: nothing should be poured yet.
    Room,
    /// Waits for the pour to begin.
    Waiting,
    /// It is poured, and followed.
    Pouring,
    /// Nothing is poured just now.
    Paused,
    /// It is poured and cannot be followed: there is no bar to show.
    Deaf,
}

/// What to call out; what was called stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Call {
    /// Pour on.
    Pour,
    /// More slowly: two seconds are left.
    Slower,
    /// Stop.
    Stop,
}

/// A fill with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Its lower end.
    pub low: Volume,
    /// The likeliest.
    pub fill: Volume,
    /// Its upper end.
    pub high: Volume,
}

/// What is heard now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// How much sound had been heard.
    pub at: Duration,
    /// How the pour is heard.
    pub state: Hearing,
    /// What is in the bottle now; nothing while that cannot be said.
    pub fill: Option<Band>,
    /// Flow, ml/s; 0 while nothing is poured.
    pub flow_ml_s: f64,
    /// The fill to stop at, the early stop taken off; for a note, by what was learnt of the bottle so far.
    pub mark: Volume,
    /// Until then, at this flow.
    pub left: Duration,
    /// What to call out.
    pub call: Call,
    /// How far the bottle sounds above its model.
    pub off: Interval,
    /// Of that, half the width of the 95 % interval.
    pub off_plus_minus: Interval,
    /// How much better what is heard fits the bottle's modes than modes half an octave away: 0 is not at all, and above
    /// 0.5 it can be followed.
    pub clearness: f64,
    /// The microphone was at full scale.
    pub clipped: bool,
}
