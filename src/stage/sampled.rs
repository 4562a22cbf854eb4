//! A set as a sampled instrument: what a sampler or a notation program is given.

use std::f64::consts::PI;

use super::ranges::{OutOfRange, Quantity};
use super::ready::Stage;
use crate::file::mts;
use crate::file::sampler::{Holds, Instrument, Key, Layer, Take};
use crate::plan::programme::USUAL_BREATH;
use crate::sounding::Sounded;
use crate::synth::{Apart, Balance, BottleVoice, VoiceError, record_strike};
use crate::tuning::NoteName;
use crate::units::{Frequency, LN_60_DB, SampleRate};

/// Layers of a loudness to be recorded.
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
/// Seeds of the breath noise and of the strokes: as many takes, played in turn.
const SEEDS: [u64; 2] = [1, 2];
/// Time in which breath noise falls by 60 dB after the key is let go, s: breath ends over 150 ms or a little more. A matter of
/// taste.
const NOISE_RELEASE_S: f64 = 0.5;

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
    /// the order of [`Stage::order`]. Of a blown bottle tone and noise are apart: the tone steady, in a loop that holds its
    /// pitch, and the noise in two takes. Of a struck one there are two strokes.
    ///
    /// # Errors
    /// Two bottles of one key, a rate out of range, or a note that no voice has at it.
    ///
    /// ```
    /// use ullage::stage::Stage;
    /// let set = ullage::set::open("presets/struck/set.toml")?;
    /// let instrument = Stage::new(&set)?.instrument(8_000)?;
    /// let sfz = ullage::file::sfz::text(&instrument);
    /// // Soft and hard, each in two takes.
    /// assert_eq!(sfz.matches("<region>").count(), 4 * set.pours.len());
    /// assert_eq!(sfz.matches("seq_position=2").count(), 2 * set.pours.len());
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
            let rings_s = LN_60_DB * resonance.quality / (PI * resonance.frequency.hz());
            keys.push(Key {
                key: pour.note.midi(),
                name: format!("{} {}", pour.note, set.kind_of(pour).name),
                layers: layers(&voices[index], rate, rings_s)?,
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

fn layers(voice: &BottleVoice, rate: SampleRate, rings_s: f64) -> Result<Vec<Layer>, VoiceError> {
    let mut all = Vec::new();
    for of in LAYERS {
        match voice {
            BottleVoice::Blown(spec) => {
                let apart = Apart::record(spec, rate, of.breath, &SEEDS)?;
                all.push(Layer {
                    name: of.name.to_owned(),
                    holds: Holds::Tone,
                    take: Take::ONLY,
                    velocities: of.velocities,
                    release_60_db_s: rings_s,
                    samples: apart.tone.samples,
                    loop_start: apart.tone.loop_start,
                    loop_end: apart.tone.loop_end,
                });
                all.extend(
                    apart
                        .noises
                        .into_iter()
                        .zip(takes())
                        .map(|(noise, take)| Layer {
                            name: format!("{}-noise-{}", of.name, take.number),
                            holds: Holds::Noise,
                            take,
                            velocities: of.velocities,
                            release_60_db_s: NOISE_RELEASE_S,
                            samples: noise.samples,
                            loop_start: noise.loop_start,
                            loop_end: noise.loop_end,
                        }),
                );
            }
            BottleVoice::Struck(voice) => {
                for (seed, take) in SEEDS.into_iter().zip(takes()) {
                    all.push(Layer {
                        name: format!("{}-{}", of.name, take.number),
                        holds: Holds::Stroke,
                        take,
                        velocities: of.velocities,
                        release_60_db_s: rings_s,
                        samples: record_strike(voice, rate, of.breath / USUAL_BREATH, seed)?,
                        loop_start: 0,
                        loop_end: 0,
                    });
                }
            }
        }
    }
    Ok(all)
}

/// As many takes as there are seeds.
fn takes() -> impl Iterator<Item = Take> {
    let of = SEEDS.len() as u8;
    (1..=of).map(move |number| Take { number, of })
}

/// Brings all to one loudness: tone and noise, which sound together, stay under the peak together.
fn level(instrument: &mut Instrument) {
    let peak_of = |key: &Key, velocities: (u8, u8), noise: bool| {
        let of = key.layers.iter().filter(|layer| {
            layer.velocities == velocities && (layer.holds == Holds::Noise) == noise
        });
        let samples = of.flat_map(|layer| &layer.samples);
        samples.fold(0.0f32, |peak, sample| peak.max(sample.abs()))
    };
    let together = |key: &Key| {
        let loudness = LAYERS.iter().map(|of| of.velocities);
        let peaks = loudness.map(|v| peak_of(key, v, false) + peak_of(key, v, true));
        peaks.fold(0.0, f32::max)
    };
    let peak = instrument.keys.iter().map(together).fold(0.0, f32::max);
    let gain = PEAK / peak.max(f32::MIN_POSITIVE);
    for layer in instrument.keys.iter_mut().flat_map(|key| &mut key.layers) {
        layer.samples.iter_mut().for_each(|sample| *sample *= gain);
    }
}
