//! Playing live: the sound card, the MIDI inputs, and the queues between them and the engine.
//!
//! This is the only folder that opens a device. It promises that [`Desk::start`] always comes up: whatever is
//! missing is said in one line and the rest works; that nothing which a window calls waits for a device; and that
//! the callback ([`Renderer::fill`]) allocates, locks and waits for nothing. What is played, and how it sounds, is
//! the engine's business; file formats are others'.
//!
//! ```text
//! window ───commands──► [queue] ──┐
//! key handler ────────► [queue] ──┼──► callback: Renderer ──reports──► [queue] ──► window
//! MIDI input n ───────► [queue] ──┘       │    ▲
//!                                 retired │    │ engines, taps
//!                                         ▼    │
//!                                  ullage-audio: owns the stream, opens it, watches it, builds it again
//! ```
//!
//! | thread | does |
//! |---|---|
//! | the card's | [`Renderer::fill`] and nothing else |
//! | `ullage-audio` | opens, watches and rebuilds the stream; builds and drops engines; without a card, is the clock |
//! | `ullage-midi` | looks for MIDI ports once a second, connects and disconnects them |
//! | one a MIDI input, the system's | cuts bytes into messages, into its own queue |
//! | `ullage-recorder` | feeds what is played to a sink, while recording |
//! | `ullage-ear` | the same for the microphone as `ullage-audio` for the card: only while somebody has an [`Ear`] |
//!
//! A note is heard one callback after its key: what arrives between two callbacks is spread over the next one as it
//! came, so that the time is the same for every note. On top of that come the ceiling's look-ahead and the card.

mod audio;
mod bridge;
mod desk;
mod device;
mod ear;
mod ear_stream;
mod growth;
mod health;
mod hush;
mod input;
mod memory;
mod message;
mod midi;
mod recorder;
mod render;
mod silent;
mod stream;

pub use audio::OutputState;
pub use bridge::{
    COMMAND_ROOM, CommandQueue, Gauges, Install, KeyQueue, MOST_PORTS, OwnerWires, Report, Retired,
    Timed, When, Wires,
};
pub use desk::{Desk, DeskState, RecordError};
pub use device::{
    DeviceInfo, DeviceWish, HostInfo, NotListed, OutputError, list_inputs, list_outputs,
};
pub use ear::{Ear, EarState, InputState};
pub use input::InputError;
pub use midi::{MidiError, MidiPort, MidiWish, list_midi};
pub use recorder::{Recorded, Sink, Tap};
pub use render::{BLOCK_FRAMES, Renderer};
