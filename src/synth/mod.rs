//! Sound: bottles and events in, blocks of samples out. This folder is real-time code.
//!
//! Everything here has one life. `new` may allocate and is called off the audio thread; `reset` leaves it
//! as `new` did; `add_block` or `process` works on blocks of any length, and neither allocates, locks,
//! waits nor calls the system. Numbers are checked at the door ([`VoiceSpec`], [`Bank::push`]), never in the loop.
//!
//! A blown bottle is the normal form of a self-sustained oscillation at its onset: a complex number that turns at
//! the bottle's frequency, shrinks by its losses, and is fed by the breath. Below a threshold of breath it is a
//! resonance that colours noise, above it a steady tone, and without breath it rings down with its own quality.
//!
//! It takes bottles, not plans: what they are and why they sound like this is known to others.

mod bank;
mod bottle;
mod click;
mod engine;
mod event;
mod hands;
mod kernel;
mod looped;
mod noise;
mod room;
mod smooth;
mod spec;
mod tones;
mod unit;

pub use bank::Bank;
pub use click::Click;
pub use engine::{Command, Engine, EngineError, EngineSpec, Meters, PlayedBottle};
pub use event::{Attack, Event, EventKind};
pub use looped::Looped;
pub use room::{Ceiling, Room, RoomError, RoomSpec};
pub use spec::{
    Balance, HARDEST_BREATH, HIGHEST_HZ, HIGHEST_MODE_HZ, HIGHEST_PART_OF_RATE, HIGHEST_Q,
    LOWEST_HZ, MOST_MODES, PassiveMode, VoiceError, VoiceSpec, overtones,
};
pub use tones::{PlainNote, PlainTones};
pub use unit::BottleUnit;
