//! A bottle as the page sounds it: what the engine renders of it, in as few samples as are not heard to be few.
//!
//! Of a blown bottle the tone and its breath noise are apart. Each has a loop of its own, and the two are not equally long, so that
//! the sound as a whole comes round after minutes. The tone wanders as a player's does, about its own pitch; its ring-down is not
//! recorded, since it can begin at any moment: the page lets the tone fall by the bottle's own Q. A struck bottle is recorded until
//! it has rung down, softly and hard.

use std::f64::consts::{FRAC_PI_2, PI};
use std::ops::Range;

use super::looped::{STEP_FRAMES, Slow, blend};
use crate::index::BottleIndex;
use crate::synth::{
    Attack, BlownBank, BlownVoice, BottleVoice, Event, EventKind, StruckVoice, USUAL_BREATH,
    USUAL_TONGUE, VoiceError, record_strike,
};
use crate::units::{Interval, SampleRate};

/// Highest note of a blown bottle at the lower rate, Hz: its fourth partial is carried.
const HIGHEST_LOW_RATE_HZ: f64 = 2_600.0;
/// The tone's loop, s: no repeat of a wander is heard over so long. Common practice, no source.
const TONE_LOOP_S: (f64, f64) = (4.5, 6.0);
/// Where it may begin after the tone is steady, s.
const TONE_CHOICE_S: f64 = 1.5;
/// The noise's loop, s.
const NOISE_LOOP_S: f64 = 3.7;
/// How long what comes before a loop is blended into its end, s: of a tone that wanders no longer than its two ends stay together,
/// of noise long enough that nobody hears where.
const TONE_BLEND_S: f64 = 0.06;
const NOISE_BLEND_S: f64 = 0.2;
/// The tone is steady so many of its own relaxation times after the attack.
const SETTLE_TIMES: f64 = 8.0;
/// Attack that is always left alone, and the most that is waited for the tone to be steady, s: the tongue's noise falls in 0.15 s
/// and the pitch comes from elsewhere in 0.4.
const SETTLE_S: (f64, f64) = (0.45, 3.0);
/// Speeds of the mallet of a soft and a hard stroke, m/s: of the size that hands reach, a matter of taste.
pub(super) const STROKES_M_S: [f64; 2] = [0.4, 1.4];
/// Highest sample that is stored of a stroke, and of a blown tone: at 16 bits its rounding is 86 dB under it, and its breath noise
/// 38, so that more would only be larger.
const PEAK: f32 = 0.98;
const TONE_PEAK: f32 = 0.25;
/// Frames of a loop's beginning that are repeated after its end, for browsers whose filters look ahead when they change the rate.
const GUARD_FRAMES: usize = 160;
/// Root mean square of stored noise, in steps of 16 bits: its rounding is 41 dB under it.
const NOISE_STEPS: f32 = 32.0;

/// A recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Samples a second.
    pub rate_hz: u32,
    /// Mono; 1 is full scale.
    pub samples: Vec<f32>,
    /// What comes again and again, if anything does.
    pub looped: Option<Range<usize>>,
    /// What the samples are multiplied by to be as loud as the engine is.
    pub gain: f32,
}

/// What is recorded of a bottle.
#[derive(Clone, Debug, PartialEq)]
pub enum Recorded {
    /// A blown bottle at the usual breath.
    Blown {
        /// Its tone.
        tone: Clip,
        /// The breath beside it.
        noise: Clip,
    },
    /// A struck one.
    Struck {
        /// A soft stroke and a hard one.
        strokes: [Clip; 2],
    },
}

impl Recorded {
    /// Of blown bottles: above half of it their breath is 60 dB under their tone.
    pub const LOW_RATE: SampleRate = SampleRate::from_hz(24_000.0);
    /// Of struck ones, and of those so high that their overtones need it.
    pub const FULL_RATE: SampleRate = SampleRate::from_hz(48_000.0);

    /// The rate at which a voice is to be made that is recorded.
    #[must_use]
    pub fn rate(voice: &BottleVoice) -> SampleRate {
        let low = !voice.is_struck() && voice.frequency().hz() <= HIGHEST_LOW_RATE_HZ;
        if low { Self::LOW_RATE } else { Self::FULL_RATE }
    }

    /// Records a voice that was made for `rate`. Bottles are to have a `seed` each, or they would all wander alike.
    ///
    /// # Errors
    /// A pitch that no voice has at this rate.
    ///
    /// ```
    /// use ullage::page::Recorded;
    /// use ullage::synth::{BlownVoice, BottleVoice};
    /// use ullage::units::Frequency;
    /// let voice = BottleVoice::from(BlownVoice::new(Frequency::from_hz(220.0), 30.0)?);
    /// let Recorded::Blown { tone, noise } = Recorded::of(&voice, Recorded::rate(&voice), 1)? else {
    ///     unreachable!("it is blown");
    /// };
    /// let (tone, noise) = (tone.looped.expect("a loop"), noise.looped.expect("a loop"));
    /// // Whatever whole number of periods it holds, they are within half a cent; and the two come round together only after a long time.
    /// let periods = 220.0 * tone.len() as f64 / 24_000.0;
    /// assert!((periods - periods.round()).abs() / periods * 1731.0 < 0.5);
    /// assert_ne!(tone.len(), noise.len());
    /// # Ok::<(), ullage::synth::VoiceError>(())
    /// ```
    pub fn of(voice: &BottleVoice, rate: SampleRate, seed: u64) -> Result<Self, VoiceError> {
        match voice {
            BottleVoice::Blown(voice) => blown(voice, rate, seed),
            BottleVoice::Struck(voice) => {
                let stroke = |speed| stroke(voice, rate, speed, seed);
                let [soft, hard] = STROKES_M_S;
                Ok(Self::Struck {
                    strokes: [stroke(soft)?, stroke(hard)?],
                })
            }
        }
    }
}

fn stroke(
    voice: &StruckVoice,
    rate: SampleRate,
    speed: f64,
    seed: u64,
) -> Result<Clip, VoiceError> {
    let mut samples = record_strike(voice, rate, speed, seed)?;
    let gain = scaled(&mut samples, PEAK);
    Ok(Clip {
        rate_hz: rate.hz() as u32,
        samples,
        looped: None,
        gain,
    })
}

fn blown(voice: &BlownVoice, rate: SampleRate, seed: u64) -> Result<Recorded, VoiceError> {
    let frames = |s: f64| (s * rate.hz()).round() as usize;
    let (hz, alone) = (voice.frequency().hz(), voice.clone().with_breath_gain(0.0)?);
    // Linearised about its steady swing, the normal form relaxes at 2 (g − 1) π f / Q.
    let relax_s = voice.q() / (2.0 * (USUAL_BREATH - 1.0) * PI * hz);
    let settle_s = (SETTLE_S.0 + SETTLE_TIMES * relax_s).min(SETTLE_S.1);
    let first = frames(settle_s + NOISE_BLEND_S);
    let longest = first + frames(TONE_CHOICE_S + TONE_LOOP_S.1 + TONE_BLEND_S);
    // A player's note is a few cents off and is brought back in time; on the page it is its own pitch in the mean.
    let note = |voice, lips, frames| note(voice, (rate, seed), lips, frames);
    let as_it_comes = note(&alone, Interval::from_cents(0.0), longest)?;
    let off_cents = Slow::of(&as_it_comes, rate.hz(), hz).mean_cents(first..longest);
    let lips = Interval::from_cents(-off_cents);
    let mut tone = note(&alone, lips, longest)?;
    let tone_loop = Slow::of(&tone, rate.hz(), hz)
        .best_loop(
            first..first + frames(TONE_CHOICE_S),
            frames(TONE_LOOP_S.0)..frames(TONE_LOOP_S.1),
            frames(TONE_BLEND_S),
        )
        .ok_or(VoiceError::Amount {
            what: "a tone that can be looped",
            value: hz,
            min: 20.0,
            max: 4000.0,
        })?;
    // What is heard beside the tone is added to it: the rest of a note without its tone.
    let start = first.next_multiple_of(STEP_FRAMES);
    let noise_loop = start..start + frames(NOISE_LOOP_S).next_multiple_of(STEP_FRAMES);
    let mut noise = note(voice, lips, noise_loop.end)?;
    noise.iter_mut().zip(&tone).for_each(|(n, tone)| *n -= tone);
    // Both ends are one tone: their weights add up to 1. Noises are strangers: the squares of theirs do.
    let blended = |s| (frames(s), GUARD_FRAMES);
    blend(&mut tone, &tone_loop, blended(TONE_BLEND_S), |part| {
        let weight = 0.5 - 0.5 * (PI * part).cos();
        [1.0 - weight, weight]
    });
    blend(&mut noise, &noise_loop, blended(NOISE_BLEND_S), |part| {
        let (sin, cos) = (FRAC_PI_2 * part).sin_cos();
        [cos, sin]
    });
    let gains = (scaled(&mut tone, TONE_PEAK), scaled_noise(&mut noise));
    let clip = |samples, looped, gain| Clip {
        rate_hz: rate.hz() as u32,
        samples,
        looped: Some(looped),
        gain,
    };
    Ok(Recorded::Blown {
        tone: clip(tone, tone_loop, gains.0),
        noise: clip(noise, noise_loop, gains.1),
    })
}

/// A note at the usual breath, its lips bent by `lips`.
fn note(
    voice: &BlownVoice,
    (rate, seed): (SampleRate, u64),
    lips: Interval,
    frames: usize,
) -> Result<Vec<f32>, VoiceError> {
    let mut bank = BlownBank::new(std::slice::from_ref(voice), rate, seed)?;
    let attack = Attack::Tongued {
        strength: USUAL_TONGUE,
    };
    let g = USUAL_BREATH;
    for kind in [
        EventKind::Bend { interval: lips },
        EventKind::Blow { g, attack },
    ] {
        let event = Event {
            at_frames: 0,
            bottle: BottleIndex::new(0),
            kind,
        };
        bank.push(event)
            .expect("a new bank has room for a sound event");
    }
    let mut mono = vec![0.0; frames];
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    bank.add_block_with_taps(&mut left, &mut right, &mut [&mut mono[..]]);
    Ok(mono)
}

/// Brings samples to a peak, and says by what they are to be multiplied.
fn scaled(samples: &mut [f32], to: f32) -> f32 {
    let peak = samples.iter().fold(0.0f32, |peak, s| peak.max(s.abs()));
    times(samples, to / peak.max(f32::MIN_POSITIVE))
}

/// The same of noise: to its loudness, under the same peak.
fn scaled_noise(samples: &mut [f32]) -> f32 {
    let (mut squares, mut peak) = (0.0f64, 0.0f32);
    for sample in samples.iter() {
        squares += f64::from(*sample).powi(2);
        peak = peak.max(sample.abs());
    }
    let rms = (squares / samples.len().max(1) as f64).sqrt() as f32;
    let by_loudness = NOISE_STEPS / 32_768.0 / rms.max(f32::MIN_POSITIVE);
    times(samples, by_loudness.min(PEAK / peak.max(f32::MIN_POSITIVE)))
}

fn times(samples: &mut [f32], by: f32) -> f32 {
    samples.iter_mut().for_each(|sample| *sample *= by);
    1.0 / by
}
