//! The part of the desk that the window needs.

use super::keyboard::KeySink;
use crate::live::{Desk, DeskState, DeviceWish, KeyQueue, RecordError, Recorded, Sink, When};
use crate::synth::{Command, EngineSpec};

/// Something that sounds, or notes down what it was asked.
pub trait Sound {
    /// Sends a command; false if it found no room.
    fn send(&mut self, command: Command) -> bool;
    /// Sends a command for a time, such as a frame of the stream; what has no stream does it at once.
    fn send_at(&mut self, _when: When, command: Command) -> bool {
        self.send(command)
    }
    /// How things stand; called once a frame, never waits.
    fn poll(&mut self) -> &DeskState;
    /// MIDI messages since the last time, with their times on [`Sound::clock_s`].
    fn heard(&mut self) -> Vec<(f64, [u8; 3])>;
    /// The clock, s.
    fn clock_s(&self) -> f64;
    /// A queue of its own for the key handler; there is one.
    fn keys(&mut self) -> Option<Box<dyn KeySink>>;
    /// Plays other bottles.
    fn replace(&mut self, spec: EngineSpec);
    /// Plays through another output.
    fn choose_output(&mut self, wish: DeviceWish);
    /// Tries the output once more.
    fn retry(&mut self);
    /// Records from now on.
    ///
    /// # Errors
    /// As [`Desk::record`].
    fn record(&mut self, sink: Sink) -> Result<(), RecordError>;
    /// Asks for the end of the recording; does not wait for it.
    fn end_record(&mut self);
    /// What was recorded, once, when the end has come.
    fn recorded(&mut self) -> Option<Recorded>;
}

impl Sound for Desk {
    fn send(&mut self, command: Command) -> bool {
        Desk::send(self, command)
    }

    fn send_at(&mut self, when: When, command: Command) -> bool {
        Desk::send_at(self, when, command)
    }

    fn poll(&mut self) -> &DeskState {
        Desk::poll(self)
    }

    fn heard(&mut self) -> Vec<(f64, [u8; 3])> {
        self.state_mut().heard.drain(..).collect()
    }

    fn clock_s(&self) -> f64 {
        Desk::clock_s(self)
    }

    fn keys(&mut self) -> Option<Box<dyn KeySink>> {
        let queue = Desk::keys(self)?;
        Some(Box::new(queue))
    }

    fn replace(&mut self, spec: EngineSpec) {
        Desk::replace(self, spec);
    }

    fn choose_output(&mut self, wish: DeviceWish) {
        Desk::choose_output(self, wish);
    }

    fn retry(&mut self) {
        Desk::retry(self);
    }

    fn record(&mut self, sink: Sink) -> Result<(), RecordError> {
        Desk::record(self, sink)
    }

    fn end_record(&mut self) {
        Desk::end_record(self);
    }

    fn recorded(&mut self) -> Option<Recorded> {
        Desk::recorded(self)
    }
}

impl KeySink for KeyQueue {
    fn send(&mut self, command: Command) -> bool {
        KeyQueue::send(self, command)
    }
}
