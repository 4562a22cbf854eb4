//! The blown bottles as one unit of a fundsp graph, so that its rooms, filters and meters can follow it.

use super::blown_bank::BlownBank;
use super::blown_voice::{BlownVoice, VoiceError};
use super::event::Event;
use crate::units::SampleRate;
use fundsp::MAX_BUFFER_SIZE;
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::{BufferMut, BufferRef};
use fundsp::signal::SignalFrame;

/// Tells this unit from others in a graph; only fundsp's own hashing reads it.
const UNIT_ID: u64 = 0x756C_6C61_6765;

/// A bank of blown bottles as a fundsp unit: no inputs, left and right out.
///
/// What it plays is given beforehand (for rendering) and played again from the start after a `reset`. A live engine
/// has no use for it: it owns a [`BlownBank`] and pushes events as they come.
///
/// Real time, except `new` and a change of the sample rate, which make the bank anew and allocate.
///
/// ```
/// use fundsp::prelude64::*;
/// use ullage::index::BottleIndex;
/// use ullage::synth::{Attack, BlownVoice, BottleUnit, Event, EventKind};
/// use ullage::units::{Frequency, SampleRate};
/// let spec = BlownVoice::new(Frequency::from_hz(196.0), 32.0)?;
/// let blow = EventKind::Blow { g: 3.0, attack: Attack::Tongued { strength: 1.0 } };
/// let score = vec![Event { at_frames: 0, bottle: BottleIndex::new(0), kind: blow }];
/// let bottles = BottleUnit::new(vec![spec], SampleRate::from_hz(48_000.0), 7, score)?;
/// let mut graph = unit::<U0, U2>(Box::new(bottles)) >> (lowpole_hz(4000.0) | lowpole_hz(4000.0));
/// graph.set_sample_rate(48_000.0);
/// assert!((0..9600).any(|_| graph.get_stereo().0.abs() > 0.2));
/// # Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug)]
pub struct BottleUnit {
    specs: Vec<BlownVoice>,
    seed: u64,
    score: Vec<Event>,
    bank: BlownBank,
}

impl BottleUnit {
    /// The bottles of `specs`, playing `score` (frames at `rate`). An event that the bank refuses is left out.
    ///
    /// # Errors
    /// What [`BlownBank::new`] refuses.
    pub fn new(
        specs: Vec<BlownVoice>,
        rate: SampleRate,
        seed: u64,
        score: Vec<Event>,
    ) -> Result<Self, VoiceError> {
        let mut bank = BlownBank::new(&specs, rate, seed)?;
        bank.reserve_events(score.len());
        let mut unit = Self {
            specs,
            seed,
            score,
            bank,
        };
        unit.line_up();
        Ok(unit)
    }

    fn line_up(&mut self) {
        for &event in &self.score {
            // Refused: a bottle or a number that does not exist. `new` says that these are left out.
            let _ = self.bank.push(event);
        }
    }
}

impl AudioUnit for BottleUnit {
    fn reset(&mut self) {
        self.bank.reset();
        self.line_up();
    }

    /// A rate that the bank refuses changes nothing.
    fn set_sample_rate(&mut self, sample_rate: f64) {
        let old_hz = self.bank.rate().hz();
        if sample_rate == old_hz {
            return;
        }
        let Ok(bank) = BlownBank::new(&self.specs, SampleRate::from_hz(sample_rate), self.seed)
        else {
            return;
        };
        self.bank = bank;
        self.bank.reserve_events(self.score.len());
        for event in &mut self.score {
            event.at_frames = (event.at_frames as f64 * sample_rate / old_hz).round() as u64;
        }
        self.line_up();
    }

    fn tick(&mut self, _input: &[f32], output: &mut [f32]) {
        let (mut left, mut right) = ([0.0], [0.0]);
        self.bank.add_block(&mut left, &mut right);
        output[0] = left[0];
        output[1] = right[0];
    }

    fn process(&mut self, size: usize, _input: &BufferRef, output: &mut BufferMut) {
        let mut sides = [[0.0; MAX_BUFFER_SIZE]; 2];
        let [left, right] = &mut sides;
        self.bank.add_block(&mut left[..size], &mut right[..size]);
        for (channel, side) in sides.iter().enumerate() {
            output.channel_f32_mut(channel)[..size].copy_from_slice(&side[..size]);
        }
    }

    fn inputs(&self) -> usize {
        0
    }

    fn outputs(&self) -> usize {
        2
    }

    /// Sound out of nothing has no response to a signal: unknown.
    fn route(&mut self, _input: &SignalFrame, _frequency: f64) -> SignalFrame {
        SignalFrame::new(2)
    }

    fn get_id(&self) -> u64 {
        UNIT_ID
    }

    fn footprint(&self) -> usize {
        size_of::<Self>()
    }
}
