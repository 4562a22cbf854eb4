//! A set as a sampled instrument: what a sampler or a notation program is given.

use std::f64::consts::PI;

use super::ranges::{OutOfRange, Quantity};
use super::ready::Stage;
use crate::file::mts;
use crate::file::sampler::{Instrument, Key, Layer};
use crate::plan::programme::USUAL_BREATH;
use crate::sounding::Sounded;
use crate::synth::{Balance, BottleVoice, Looped, VoiceError, record_strike};
use crate::tuning::NoteName;
use crate::units::{Frequency, LN_60_DB, SampleRate};

/// A layer to be recorded.
#[derive(Clone, Copy, Debug)]
struct Loudness {
    name: &'static str,
    velocities: (u8, u8),
    /// Over the threshold of sounding.
    breath: f64,
}

/// From soft to hard.
const LAYERS: [Loudness; 2] = [
    Loudness {
        name: "soft",
        velocities: (1, 63),
        breath: 1.5,
    },
    Loudness {
        name: "hard",
        velocities: (64, 127),
        breath: 3.5,
    },
];
/// Highest sample of the loudest recording; the others keep their loudness beside it. Headroom for chords.
const PEAK: f32 = 0.7;
/// Seed of the breath noise.
const SEED: u64 = 1;

/// Why a set is no sampled instrument.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SampledError {
    /// A rate that is not recorded at.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Two bottles of one key.
    #[error("{first} and {second} are both key {key}")]
    SameKey {
        /// The note of the one.
        first: NoteName,
        /// The note of the other.
        second: NoteName,
        /// In MIDI's count.
        key: u8,
    },
    /// A note that no voice has at this rate.
    #[error("cannot voice this set: {0}")]
    Voice(#[from] VoiceError),
}

impl Stage {
    /// Records every layer of every bottle at `rate_hz`, 8,000 to 192,000, and brings all to one loudness. The keys are in
    /// the order of [`Stage::order`].
    ///
    /// # Errors
    /// Two bottles of one key, a rate out of range, or a note that no voice has at it.
    ///
    /// ```
    /// use ullage::stage::Stage;
    /// let set = ullage::set::open("presets/struck/set.toml")?;
    /// let instrument = Stage::new(&set)?.instrument(8_000)?;
    /// let sfz = ullage::file::sfz::text(&instrument);
    /// assert_eq!(sfz.matches("<region>").count(), 2 * set.pours.len());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn instrument(&self, rate_hz: u32) -> Result<Instrument, SampledError> {
        Quantity::Rate.check(f64::from(rate_hz))?;
        self.one_bottle_a_key()?;
        let (set, rate) = (self.set(), SampleRate::from_hz(f64::from(rate_hz)));
        let voices = self.voices(Balance::Even, rate)?;
        let mut keys = Vec::with_capacity(voices.len());
        for &index in self.order() {
            let (pour, resonance) = (&set.pours[index], self.sounded()[index].note());
            keys.push(Key {
                key: pour.note.midi(),
                name: format!("{} {}", pour.note, set.kind_of(pour).name),
                release_60_db_s: LN_60_DB * resonance.quality / (PI * resonance.frequency.hz()),
                layers: layers(&voices[index], rate)?,
            });
        }
        let mut instrument = Instrument {
            name: if set.title.trim().is_empty() {
                "bottles".to_owned()
            } else {
                set.title.clone()
            },
            rate_hz,
            keys,
        };
        level(&mut instrument);
        Ok(instrument)
    }

    /// The pitches as a bulk dump of the MIDI Tuning Standard: keys without a bottle are equal-tempered.
    #[must_use]
    pub fn tuning_dump(&self) -> Vec<u8> {
        let a4 = Frequency::from_hz(440.0);
        let semitones = |s: &Sounded| 69.0 + s.frequency().interval_above(a4).cents() / 100.0;
        let pours = self.set().pours.iter().zip(self.sounded());
        let keys: Vec<(u8, f64)> = pours
            .map(|(pour, sounded)| (pour.note.midi(), semitones(sounded)))
            .collect();
        mts::bulk_dump(&self.set().title, &keys)
    }

    fn one_bottle_a_key(&self) -> Result<(), SampledError> {
        let pours = &self.set().pours;
        for (index, pour) in pours.iter().enumerate() {
            let key = pour.note.midi();
            let mut before = pours[..index].iter();
            if let Some(before) = before.find(|other| other.note.midi() == key) {
                return Err(SampledError::SameKey {
                    first: before.note,
                    second: pour.note,
                    key,
                });
            }
        }
        Ok(())
    }
}

fn layers(voice: &BottleVoice, rate: SampleRate) -> Result<Vec<Layer>, VoiceError> {
    let layer = |of: Loudness| {
        let (samples, loop_start, loop_end) = match voice {
            BottleVoice::Blown(spec) => {
                let looped = Looped::record(spec, rate, of.breath, SEED)?;
                (looped.samples, looped.loop_start, looped.loop_end)
            }
            BottleVoice::Struck(voice) => {
                (record_strike(voice, rate, of.breath / USUAL_BREATH)?, 0, 0)
            }
        };
        Ok(Layer {
            name: of.name,
            velocities: of.velocities,
            samples,
            loop_start,
            loop_end,
        })
    };
    LAYERS.into_iter().map(layer).collect()
}

fn level(instrument: &mut Instrument) {
    let layers = instrument.keys.iter().flat_map(|key| &key.layers);
    let peak = layers
        .flat_map(|layer| &layer.samples)
        .fold(0.0f32, |peak, sample| peak.max(sample.abs()));
    let gain = PEAK / peak.max(f32::MIN_POSITIVE);
    for layer in instrument.keys.iter_mut().flat_map(|key| &mut key.layers) {
        layer.samples.iter_mut().for_each(|sample| *sample *= gain);
    }
}
