//! Voices in banks and rows, and what they sound like in a test.

use ullage::index::BottleIndex;
use ullage::synth::{
    Attack, BlownBank, BlownVoice, Command, Engine, Event, EventKind, RingingMode, Row, StruckVoice,
};
use ullage::units::{Frequency, SampleRate};

pub fn spec(hz: f64, q: f64) -> BlownVoice {
    BlownVoice::new(Frequency::from_hz(hz), q).unwrap()
}

/// A steady bank: every pitch as it is said to be.
pub fn bank(specs: &[BlownVoice], rate_hz: f64) -> BlownBank {
    living(specs, rate_hz).steady()
}

/// A bank as it is heard, whose breath wanders and whose notes differ.
pub fn living(specs: &[BlownVoice], rate_hz: f64) -> BlownBank {
    BlownBank::new(specs, SampleRate::from_hz(rate_hz), 7).unwrap()
}

pub fn mode(hz: f64, q: f64, level: f64) -> RingingMode {
    RingingMode {
        frequency: Frequency::from_hz(hz),
        q,
        level,
    }
}

/// A glass bottle that is struck: four modes of its wall and one of its air.
pub fn glass() -> StruckVoice {
    let modes = vec![
        mode(2730.0, 800.0, 0.6),
        mode(3599.0, 700.0, -0.3),
        mode(4431.0, 600.0, 0.2),
        mode(5887.0, 500.0, 0.15),
    ];
    StruckVoice::new(modes)
        .unwrap()
        .with_air_mode(mode(190.0, 25.0, 0.02))
        .unwrap()
}

/// What takes events and adds its sound to a block.
pub trait Source {
    fn take(&mut self, event: Event);
    fn add(&mut self, left: &mut [f32], right: &mut [f32]);
}

impl Source for BlownBank {
    fn take(&mut self, event: Event) {
        self.push(event).unwrap();
    }

    fn add(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.add_block(left, right);
    }
}

impl Source for Row {
    fn take(&mut self, event: Event) {
        self.push(event).unwrap();
    }

    fn add(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.add_block(left, right);
    }
}

pub fn ask(source: &mut impl Source, at_frames: u64, bottle: usize, kind: EventKind) {
    source.take(Event {
        at_frames,
        bottle: BottleIndex::new(bottle),
        kind,
    });
}

pub fn blow(source: &mut impl Source, at_frames: u64, bottle: usize, g: f64) {
    let attack = Attack::Natural;
    ask(source, at_frames, bottle, EventKind::Blow { g, attack });
}

pub fn tongue(source: &mut impl Source, at_frames: u64, bottle: usize, g: f64) {
    let attack = Attack::Tongued { strength: 1.0 };
    ask(source, at_frames, bottle, EventKind::Blow { g, attack });
}

pub fn midi(bytes: [u8; 3]) -> Command {
    Command::Midi { bytes }
}

/// The left of what `engine` makes in `seconds` from `commands` at their seconds.
pub fn heard(engine: &mut Engine, commands: &[(f64, Command)], seconds: f64) -> Vec<f32> {
    let rate_hz = engine.rate().hz();
    for (at_s, command) in commands {
        let at_frames = (at_s * rate_hz) as u64 + engine.now_frames();
        engine.push(at_frames, *command).unwrap();
    }
    let frames = (seconds * rate_hz) as usize;
    // An engine writes its block and does not add to it.
    let (mut left, mut right) = (vec![9.0; frames], vec![9.0; frames]);
    engine.process(&mut left, &mut right);
    left
}

/// Both sides, in blocks of these sizes, over and over.
pub fn in_blocks(
    source: &mut impl Source,
    frames: usize,
    blocks: &[usize],
) -> (Vec<f32>, Vec<f32>) {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    let (mut start, mut sizes) = (0, blocks.iter().cycle());
    while start < frames {
        let end = (start + sizes.next().unwrap()).min(frames);
        source.add(&mut left[start..end], &mut right[start..end]);
        start = end;
    }
    (left, right)
}

/// Both sides, in one block.
pub fn whole(source: &mut impl Source, frames: usize) -> (Vec<f32>, Vec<f32>) {
    in_blocks(source, frames, &[frames])
}

/// The left side; in the middle it is 0.707 of the voice.
pub fn left(source: &mut impl Source, frames: usize) -> Vec<f32> {
    whole(source, frames).0
}

pub fn seconds(rate_hz: f64, s: f64) -> usize {
    (rate_hz * s) as usize
}
