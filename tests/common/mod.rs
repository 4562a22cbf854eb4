//! What several test files share.

#![allow(
    dead_code,
    clippy::unwrap_used,
    reason = "each test file uses its own part"
)]

pub mod command;
pub mod measure;

use ullage::synth::{Attack, Bank, Event, EventKind, VoiceSpec};
use ullage::units::{Frequency, SampleRate};

pub fn spec(hz: f64, q: f64) -> VoiceSpec {
    VoiceSpec::new(Frequency::from_hz(hz), q).unwrap()
}

pub fn bank(specs: &[VoiceSpec], rate_hz: f64) -> Bank {
    Bank::new(specs, SampleRate::from_hz(rate_hz), 7).unwrap()
}

pub fn ask(bank: &mut Bank, at_frames: u64, bottle: usize, kind: EventKind) {
    bank.push(Event {
        at_frames,
        bottle,
        kind,
    })
    .unwrap();
}

pub fn blow(bank: &mut Bank, at_frames: u64, bottle: usize, g: f64) {
    ask(
        bank,
        at_frames,
        bottle,
        EventKind::Blow {
            g,
            attack: Attack::Natural,
        },
    );
}

pub fn tongue(bank: &mut Bank, at_frames: u64, bottle: usize, g: f64) {
    ask(
        bank,
        at_frames,
        bottle,
        EventKind::Blow {
            g,
            attack: Attack::Tongued { strength: 1.0 },
        },
    );
}

/// The left side; in the middle it is 0.707 of the voice.
pub fn left(bank: &mut Bank, frames: usize) -> Vec<f32> {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    bank.add_block(&mut left, &mut right);
    left
}

pub fn seconds(rate_hz: f64, s: f64) -> usize {
    (rate_hz * s) as usize
}
