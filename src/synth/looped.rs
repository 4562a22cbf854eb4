//! A blown bottle as a recording that a sampler can hold for ever: attack, steady tone, and a loop in it.

use super::{Attack, BlownBank, BlownVoice, Event, EventKind, USUAL_TONGUE, VoiceError};
use crate::index::BottleIndex;
use crate::units::SampleRate;
use std::f64::consts::PI;

/// Shortest loop, s: breath noise that comes round sooner is heard as a pulse. Common practice, no source.
const SHORTEST_LOOP_S: f64 = 1.5;
/// Loops up to this much longer are tried for the one whose ends fit best, s.
const LOOP_CHOICE_S: f64 = 0.5;
/// Loops tried at most.
const MOST_TRIED: usize = 64;
/// How long the end of the loop is blended into what comes before its start, s.
const BLEND_S: f64 = 0.2;
/// The tone is steady this many of its own relaxation times after the attack: e⁻⁸ is −69 dB.
const SETTLE_TIMES: f64 = 8.0;
/// Attack that is always left alone, and the most that is waited for the tone to be steady, s.
const SETTLE_S: (f64, f64) = (0.25, 6.0);
/// Frames of the loop's beginning repeated after its end, for players that read ahead.
const GUARD_FRAMES: usize = 64;

/// A recording with a loop; it plays `samples[..loop_end]`, then `samples[loop_start..loop_end]` again and again.
#[derive(Clone, Debug, PartialEq)]
pub struct Looped {
    /// Mono, 1 is full scale; the loop's beginning is repeated after its end.
    pub samples: Vec<f32>,
    /// First frame of the loop.
    pub loop_start: usize,
    /// First frame after the loop.
    pub loop_end: usize,
}

impl Looped {
    /// Records a bottle blown with `g` times its threshold (above 1) at `rate`; 1.5 to 2 s of it are a loop of
    /// a whole number of periods.
    ///
    /// # Errors
    /// A rate that the bank refuses, or a breath outside 1.1 to 6, with which it would not sound.
    pub fn record(
        spec: &BlownVoice,
        rate: SampleRate,
        g: f64,
        seed: u64,
    ) -> Result<Self, VoiceError> {
        if !(1.1..=super::HARDEST_BREATH).contains(&g) {
            return Err(VoiceError::Amount {
                what: "a breath",
                value: g,
                min: 1.1,
                max: super::HARDEST_BREATH,
            });
        }
        let frames = |s: f64| (s * rate.hz()).round() as usize;
        let (loop_start, recorded) = lengths(spec, g, &frames);
        let samples = blown(spec, rate, g, seed, recorded)?;
        let blend = frames(BLEND_S);
        let period_frames = rate.hz() / spec.frequency().hz();
        let loop_end =
            loop_start + best_length(&samples, loop_start, blend, period_frames, &frames);
        Ok(Self::blended(
            samples,
            (loop_start, loop_end),
            blend,
            |part| {
                // Both ends are one tone: their weights add up to 1.
                let weight = 0.5 - 0.5 * (PI * part).cos();
                [1.0 - weight, weight]
            },
        ))
    }

    /// `samples` with a loop whose end is blended into what comes before its start, by the weights of the two at each part of
    /// the blend.
    fn blended(
        mut samples: Vec<f32>,
        (loop_start, loop_end): (usize, usize),
        blend: usize,
        weights: impl Fn(f64) -> [f64; 2],
    ) -> Self {
        for i in 0..blend {
            let [end, start] = weights((i + 1) as f64 / blend as f64);
            let before = samples[loop_start - blend + i];
            let here = &mut samples[loop_end - blend + i];
            *here = (end * f64::from(*here) + start * f64::from(before)) as f32;
        }
        samples.truncate(loop_end);
        samples.extend_from_within(loop_start..loop_start + GUARD_FRAMES);
        Self {
            samples,
            loop_start,
            loop_end,
        }
    }
}

/// A blown bottle's tone and its breath noise, each a recording of its own, for samplers that sound them together.
#[derive(Clone, Debug, PartialEq)]
pub struct Apart {
    /// The tone without any noise: steady, so that its loop holds the pitch.
    pub tone: Looped,
    /// The noise alone, a take for each seed, as long as the tone.
    pub noises: Vec<Looped>,
}

impl Apart {
    /// Records a bottle as [`Looped::record`] does, tone and noise apart.
    ///
    /// # Errors
    /// As [`Looped::record`].
    ///
    /// ```
    /// use ullage::synth::{Apart, BlownVoice};
    /// use ullage::units::{Frequency, SampleRate};
    /// let bottle = BlownVoice::new(Frequency::from_hz(220.0), 20.0)?;
    /// let apart = Apart::record(&bottle, SampleRate::from_hz(8_000.0), 2.5, &[1, 2])?;
    /// let rms = |s: &[f32]| (s.iter().map(|s| s * s).sum::<f32>() / s.len() as f32).sqrt();
    /// let steady = apart.tone.loop_start..apart.tone.loop_end;
    /// let (tone, noise) = (&apart.tone.samples[steady.clone()], &apart.noises[0].samples[steady]);
    /// assert!(rms(tone) > 10.0 * rms(noise) && rms(noise) > 0.0);
    /// assert_ne!(apart.noises[0], apart.noises[1]);
    /// # Ok::<(), ullage::synth::VoiceError>(())
    /// ```
    pub fn record(
        spec: &BlownVoice,
        rate: SampleRate,
        g: f64,
        seeds: &[u64],
    ) -> Result<Self, VoiceError> {
        let frames = |s: f64| (s * rate.hz()).round() as usize;
        let alone = spec.clone().with_breath_gain(0.0)?;
        let tone = Looped::record(&alone, rate, g, seeds.first().copied().unwrap_or(0))?;
        let noise = |&seed: &u64| {
            // What is heard beside the tone is added to it: the rest of a take without its tone.
            let mut samples = blown(spec, rate, g, seed, tone.loop_end)?;
            let toned = blown(&alone, rate, g, seed, tone.loop_end)?;
            for (sample, toned) in samples.iter_mut().zip(toned) {
                *sample -= toned;
            }
            let ends = (tone.loop_start, tone.loop_end);
            Ok(Looped::blended(samples, ends, frames(BLEND_S), |part| {
                // Noises are strangers: the squares of their weights add up to 1.
                let (sin, cos) = (0.5 * PI * part).sin_cos();
                [cos, sin]
            }))
        };
        let noises = seeds.iter().map(noise).collect::<Result<_, VoiceError>>()?;
        Ok(Self { tone, noises })
    }
}

/// The first frame of the loop, and frames to be recorded, of a bottle blown with `g` times its threshold.
fn lengths(spec: &BlownVoice, g: f64, frames: &impl Fn(f64) -> usize) -> (usize, usize) {
    // Linearised about its steady swing, the normal form relaxes at 2 (g − 1) π f / Q.
    let relax_s = spec.q() / (2.0 * (g - 1.0) * PI * spec.frequency().hz());
    let settle_s = (SETTLE_S.0 + SETTLE_TIMES * relax_s).min(SETTLE_S.1);
    let loop_start = frames(settle_s + BLEND_S);
    let longest = frames(SHORTEST_LOOP_S + LOOP_CHOICE_S + 0.1);
    (loop_start, loop_start + longest)
}

/// The whole number of periods, in frames, after which the sound before the loop's end is most like that before
/// its start: the breath makes the phase wander, and where it has wandered back the ends fit.
fn best_length(
    samples: &[f32],
    start: usize,
    blend: usize,
    period_frames: f64,
    frames: &impl Fn(f64) -> usize,
) -> usize {
    let fewest = (frames(SHORTEST_LOOP_S) as f64 / period_frames).ceil() as usize;
    let count = (frames(LOOP_CHOICE_S) as f64 / period_frames) as usize + 1;
    let misfit = |length: &usize| -> f64 {
        (start - blend..start)
            .map(|i| f64::from(samples[i] - samples[i + length]).powi(2))
            .sum()
    };
    (0..count)
        .step_by(count.div_ceil(MOST_TRIED))
        .map(|more| ((fewest + more) as f64 * period_frames).round() as usize)
        .min_by(|a, b| misfit(a).total_cmp(&misfit(b)))
        .expect("at least one length is tried")
}

/// One bottle alone, before it is placed.
fn blown(
    spec: &BlownVoice,
    rate: SampleRate,
    g: f64,
    seed: u64,
    frames: usize,
) -> Result<Vec<f32>, VoiceError> {
    let mut bank = BlownBank::new(std::slice::from_ref(spec), rate, seed)?.steady();
    // A key must speak at once.
    let attack = Attack::Tongued {
        strength: USUAL_TONGUE,
    };
    bank.push(Event {
        at_frames: 0,
        bottle: BottleIndex::new(0),
        kind: EventKind::Blow { g, attack },
    })
    .expect("a new bank has room for a sound event");
    let mut mono = vec![0.0; frames];
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    bank.add_block_with_taps(&mut left, &mut right, &mut [&mut mono[..]]);
    Ok(mono)
}
