//! A struck bottle as a recording that a sampler plays through once.

use super::{BottleVoice, Event, EventKind, Row, StruckVoice, VoiceError};
use crate::index::BottleIndex;
use crate::units::SampleRate;
use std::f64::consts::PI;

/// Fall after which the recording ends, dB.
const FALL_DB: f64 = 72.0;
/// Longest recording, s.
const LONGEST_S: f64 = 12.0;
/// Shortest, s: the stroke itself and a little room.
const SHORTEST_S: f64 = 0.1;
/// Fade at the end, s.
const FADE_S: f64 = 0.010;

/// Records a bottle struck once at `speed` (above 0, to 10 m/s) at `rate`, mono, until every mode has rung down by 72 dB, at
/// most 12 s. Each `take` is another stroke of the same hand.
///
/// # Errors
/// A rate at which it cannot ring, or a speed outside its range.
pub fn record_strike(
    voice: &StruckVoice,
    rate: SampleRate,
    speed: f64,
    take: u64,
) -> Result<Vec<f32>, VoiceError> {
    let (min, max) = (0.0, 10.0);
    if !(speed > min && speed <= max) {
        return Err(VoiceError::Amount {
            what: "a mallet's speed in m/s",
            value: speed,
            min,
            max,
        });
    }
    let slowest_s = voice
        .ringing()
        .iter()
        .map(|mode| FALL_DB / 20.0 * std::f64::consts::LN_10 * mode.q / (PI * mode.frequency.hz()))
        .fold(SHORTEST_S, f64::max);
    let frames = (slowest_s.min(LONGEST_S) * rate.hz()).ceil() as usize;
    let mut row = Row::new(&[BottleVoice::from(voice.clone())], rate, take)?;
    row.push(Event {
        at_frames: 0,
        bottle: BottleIndex::new(0),
        kind: EventKind::Strike { speed },
    })
    .expect("a new row has room for a sound event");
    let mut mono = vec![0.0f32; frames];
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    row.add_block_with_taps(&mut left, &mut right, &mut [&mut mono[..]]);
    let fade = ((FADE_S * rate.hz()) as usize).min(frames);
    for (left_over, sample) in mono.iter_mut().rev().take(fade).enumerate() {
        *sample *= left_over as f32 / fade as f32;
    }
    Ok(mono)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synth::RingingMode;
    use crate::units::Frequency;

    #[test]
    fn a_harder_stroke_is_recorded_louder_and_both_end_in_silence() -> Result<(), VoiceError> {
        let mode = RingingMode {
            frequency: Frequency::from_hz(1500.0),
            q: 600.0,
            level: 1.0,
        };
        let voice = StruckVoice::new(vec![mode])?.evened();
        let rate = SampleRate::from_hz(48_000.0);
        let peak = |samples: &[f32]| samples.iter().fold(0.0f32, |m, s| m.max(s.abs()));
        let soft = record_strike(&voice, rate, 0.5, 1)?;
        let hard = record_strike(&voice, rate, 2.0, 1)?;
        assert!(peak(&hard) > 2.0 * peak(&soft) && peak(&soft) > 0.01);
        assert!(hard.last().is_some_and(|last| last.abs() < 1e-6));
        assert!(record_strike(&voice, rate, 0.0, 1).is_err());
        assert!(record_strike(&voice, rate, 2.0, 2)? != hard);
        assert!(record_strike(&voice, rate, 2.0, 1)? == hard);
        Ok(())
    }
}
