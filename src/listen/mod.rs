//! What a poured bottle really sounds like, from a recording or a microphone.
//!
//! [`Listener`] takes blocks of sound and gives the blown notes in them; [`together`] makes one pitch of several blows;
//! [`taps`] and [`strike`] do the same for struck ones; [`unknown`] says what bottle it may be where nobody has
//! measured it; [`beginnings`] when each bottle of a set begins in a recording of a piece. What a pitch says of a planned set is the business of [`tuner`](crate::tuner).
//! Opens no device and reads no file: whoever has samples pushes them in.

pub mod beginnings;
mod blown;
mod chord;
mod coarse;
mod comb;
mod damped;
mod decimate;
mod filter;
mod octave;
mod onset;
mod partials;
mod phase;
mod refusal;
mod ring;
pub mod strike;
pub mod taps;
pub mod together;
mod tones;
pub mod unknown;
mod windowed;

pub use blown::{HeardNote, Listener};
pub use refusal::NotBlown;
pub use ring::Ring;

/// Why nothing can be heard.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ListenError {
    /// The sample rate is out of range.
    #[error("a sample rate of {rate_hz} Hz is outside {min_hz} to {max_hz} Hz")]
    Rate {
        /// As given.
        rate_hz: f64,
        /// Lowest.
        min_hz: f64,
        /// Highest.
        max_hz: f64,
    },
    /// There is nothing to hear in it.
    #[error("{seconds:.2} s of sound have no blown note of at least {least_s} s in them")]
    NoNote {
        /// Length of the sound.
        seconds: f64,
        /// Shortest note that is heard.
        least_s: f64,
    },
    /// What sounds in it is something else.
    #[error("{seconds:.2} s of sound have no blown note in them: what sounds {was}")]
    NotBlown {
        /// Length of the sound.
        seconds: f64,
        /// What it was.
        was: NotBlown,
    },
    /// Something was tapped that is no bottle.
    #[error(
        "what was tapped is no bottle that is known: its strongest partial is {hz:.0} Hz ±{plus_minus_cents:.0} cents, Q {quality:.0}"
    )]
    NoWall {
        /// The strongest partial.
        hz: f64,
        /// Its 95 % interval, half the width.
        plus_minus_cents: f64,
        /// Its quality.
        quality: f64,
    },
    /// Nobody tapped.
    #[error("{seconds:.2} s of sound have no tap in them that rings for {least_s} s")]
    NoTap {
        /// Length of the sound.
        seconds: f64,
        /// Shortest ring that is heard.
        least_s: f64,
    },
}
