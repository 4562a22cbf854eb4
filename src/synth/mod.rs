//! Sound: bottles and events in, blocks of samples out. This folder is real-time code.
//!
//! Everything here has one life. `new` may allocate and is called off the audio thread; `reset` leaves it
//! as `new` did; `add_block` or `process` works on blocks of any length, and neither allocates, locks,
//! waits nor calls the system. Numbers are checked at the door ([`BlownVoice`], [`BlownBank::push`]), never in the loop.
//!
//! A blown bottle is the normal form of a self-sustained oscillation at its onset: a complex number that turns at
//! the bottle's frequency, shrinks by its losses, and is fed by the breath. Below a threshold of breath it is a
//! resonance that colours noise, above it a steady tone, and without breath it rings down with its own quality.
//!
//! A struck bottle is a bank of damped modes, each a pair of two near ones, which a mallet's push sets going; what slides, or is
//! joined to another by a hose, is a blown bottle on a rail. One [`Row`] holds bottles of both kinds.
//!
//! It takes bottles, not plans: what they are and why they sound like this is known to others.

mod bank;
mod blown_bank;
mod blown_kernel;
mod blown_voice;
mod bottle;
mod breath;
mod ceiling;
mod chance;
mod click;
mod colour;
mod contact;
mod dynamics;
mod engine;
mod event;
mod hands;
mod lone_kernel;
mod looped;
mod manner;
mod noise;
mod one_shot;
mod played;
mod pulse;
mod rail;
mod ring_kernel;
mod room;
mod row;
mod said;
mod smooth;
mod stereo;
mod strip;
mod stroke;
mod struck;
mod struck_bank;
mod struck_bottle;
mod tones;
mod unit;

pub use blown_bank::BlownBank;
pub use blown_voice::{
    Balance, BlownVoice, HARDEST_BREATH, HIGHEST_HZ, HIGHEST_MODE_HZ, HIGHEST_PART_OF_RATE,
    HIGHEST_Q, LOWEST_HZ, MOST_MODES, PassiveMode, USUAL_BREATH, VoiceError, overtones,
};
pub use ceiling::Ceiling;
pub use click::Click;
pub use dynamics::Dynamics;
pub use engine::Engine;
pub use event::{Attack, Event, EventKind, USUAL_TONGUE};
pub use hands::{HARDEST_HAND, SOFTEST_HAND, hand_blowing, hand_striking};
pub use looped::{Apart, Looped};
pub use one_shot::record_strike;
pub use played::{Command, EngineError, EngineSpec, Meters, PlayedBottle};
pub use rail::{OnRail, Rail, RailCurve, SLIDE_STEP_S};
pub use room::{Room, RoomError, RoomSpec};
pub use row::{BottleVoice, Row};
pub use struck::{
    HIGHEST_STRUCK_HZ, HIGHEST_STRUCK_Q, MOST_RINGING_MODES, RingingMode, StruckVoice, USUAL_SPLIT,
};
pub use tones::{PlainNote, PlainTones};
pub use unit::BottleUnit;
