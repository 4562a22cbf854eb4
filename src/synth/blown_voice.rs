//! What one blown bottle is, for its voice: checked once here, then trusted.

use crate::units::{Frequency, Interval};

/// Lowest ringing frequency of a voice, Hz.
pub const LOWEST_HZ: f64 = 20.0;
/// Highest ringing frequency of a voice, Hz.
pub const HIGHEST_HZ: f64 = 4000.0;
/// Highest frequency of a passive mode, Hz.
pub const HIGHEST_MODE_HZ: f64 = 20_000.0;
/// Highest quality of a voice or a mode; the lowest is 1.
pub const HIGHEST_Q: f64 = 2000.0;
/// Passive modes that one voice may have.
pub const MOST_MODES: usize = super::strip::MODES;
/// The breath at which a bottle is at its own pitch and a loudness of 1, over the threshold of sounding.
pub const USUAL_BREATH: f64 = 2.5;
/// Breath is used up to this many times the threshold.
pub const HARDEST_BREATH: f64 = 6.0;
/// How far the pitch rises with a doubling of the breath, cents: as recordings have it.
pub(super) const BREATH_PULL_CENTS: f64 = 30.0;
/// The part of the sample rate up to which a bottle may ring: above it the sampled tone is not safe.
pub const HIGHEST_PART_OF_RATE: f64 = 0.45;

/// Why a voice was refused.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own numbers")]
pub enum VoiceError {
    /// The bottle rings too low or too high.
    #[error("a ringing frequency of {hz} Hz is outside {min_hz} to {max_hz} Hz")]
    Frequency { hz: f64, min_hz: f64, max_hz: f64 },
    /// The quality makes no sense for a resonance.
    #[error("a quality of {q} is outside {min} to {max}")]
    Quality { q: f64, min: f64, max: f64 },
    /// More higher air modes than the voice has room for.
    #[error("{count} passive modes are more than the {max} that a voice has")]
    Modes { count: usize, max: usize },
    /// A struck bottle with no mode at all, or more than the voice has room for.
    #[error("{count} ringing modes are outside the 1 to {max} that a struck voice has")]
    RingingModes { count: usize, max: usize },
    /// Too few or too many places on a rail.
    #[error("{count} places of a rail are outside {min} to {max}")]
    Places {
        count: usize,
        min: usize,
        max: usize,
    },
    /// A gain or an amount is negative, too large or not a number.
    #[error("{what} of {value} is outside {min} to {max}")]
    Amount {
        what: &'static str,
        value: f64,
        min: f64,
        max: f64,
    },
    /// The sample rate is out of range.
    #[error("a sample rate of {hz} Hz is outside {min_hz} to {max_hz} Hz")]
    SampleRate { hz: f64, min_hz: f64, max_hz: f64 },
}

/// A higher air mode: it rings passively, driven by the breath noise, and colours the breath.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PassiveMode {
    /// Ringing frequency, up to [`HIGHEST_MODE_HZ`]; above 0.45 of the sample rate it is left out.
    pub frequency: Frequency,
    /// Quality as it rings by itself, 1 to [`HIGHEST_Q`]; the breath lets it have no more than 35.
    pub q: f64,
    /// How strongly the breath lights it: its noise beside the tone, both under the usual breath, as a ratio of amplitudes.
    /// 0 to 100.
    pub gain: f64,
}

/// How loud low notes are beside high ones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Balance {
    /// Every note alike.
    #[default]
    Even,
    /// As a small source radiates: the pressure follows the rate of change of the flow, so it grows with f.
    Physical,
}

impl Balance {
    /// The gain for [`BlownVoice::with_radiation_gain`], 1 at 440 Hz.
    #[must_use]
    pub fn gain(self, frequency: Frequency) -> f64 {
        match self {
            Self::Even => 1.0,
            Self::Physical => frequency.hz() / 440.0,
        }
    }
}

/// One blown bottle as its voice needs it.
///
/// ```
/// use ullage::synth::{PassiveMode, BlownVoice};
/// use ullage::units::Frequency;
/// let mode = PassiveMode { frequency: Frequency::from_hz(1152.0), q: 40.0, gain: 0.5 };
/// let spec = BlownVoice::new(Frequency::from_hz(192.0), 32.0)?.with_modes(vec![mode])?.with_pan(-0.3)?;
/// assert!(BlownVoice::new(Frequency::from_hz(9000.0), 32.0).is_err());
/// # let _ = spec; Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct BlownVoice {
    pub(super) hz: f64,
    pub(super) q: f64,
    pub(super) modes: Vec<PassiveMode>,
    pub(super) radiation_gain: f64,
    pub(super) pan: f64,
    pub(super) overtone_gain: f64,
    pub(super) breath_gain: f64,
    pub(super) breath_pull_cents: f64,
    pub(super) seed: u64,
}

pub(super) fn amount(
    what: &'static str,
    value: f64,
    min: f64,
    max: f64,
) -> Result<f64, VoiceError> {
    if (min..=max).contains(&value) {
        Ok(value)
    } else {
        Err(VoiceError::Amount {
            what,
            value,
            min,
            max,
        })
    }
}

/// `hz` if it is a frequency for a voice, 20 to 4000 Hz.
pub(super) fn check_hz(hz: f64, max_hz: f64) -> Result<f64, VoiceError> {
    if (LOWEST_HZ..=max_hz).contains(&hz) {
        Ok(hz)
    } else {
        Err(VoiceError::Frequency {
            hz,
            min_hz: LOWEST_HZ,
            max_hz,
        })
    }
}

/// `q` if it is a quality, 1 to 2000.
pub(super) fn check_q(q: f64) -> Result<f64, VoiceError> {
    if (1.0..=HIGHEST_Q).contains(&q) {
        Ok(q)
    } else {
        Err(VoiceError::Quality {
            q,
            min: 1.0,
            max: HIGHEST_Q,
        })
    }
}

impl BlownVoice {
    /// A bottle that rings at `frequency` (20 to 4000 Hz: the frequency of its free ring-down) with quality `q`
    /// (1 to 2000), in the middle, at gain 1, with the usual overtones and breath, and no passive modes.
    ///
    /// # Errors
    /// A frequency or a quality outside its range.
    pub fn new(frequency: Frequency, q: f64) -> Result<Self, VoiceError> {
        Ok(Self {
            hz: check_hz(frequency.hz(), HIGHEST_HZ)?,
            q: check_q(q)?,
            modes: Vec::new(),
            radiation_gain: 1.0,
            pan: 0.0,
            overtone_gain: 1.0,
            breath_gain: 1.0,
            breath_pull_cents: BREATH_PULL_CENTS,
            seed: 0,
        })
    }

    /// The higher air modes, at most seven.
    ///
    /// # Errors
    /// Too many modes, or one with a frequency, quality or gain outside its range.
    pub fn with_modes(mut self, modes: Vec<PassiveMode>) -> Result<Self, VoiceError> {
        if modes.len() > MOST_MODES {
            return Err(VoiceError::Modes {
                count: modes.len(),
                max: MOST_MODES,
            });
        }
        for mode in &modes {
            check_hz(mode.frequency.hz(), HIGHEST_MODE_HZ)?;
            check_q(mode.q)?;
            amount("a passive mode's gain", mode.gain, 0.0, 100.0)?;
        }
        self.modes = modes;
        Ok(self)
    }

    /// The gain from the flow in the mouth to the sound, 0 to 100; [`Balance::gain`] computes the usual two.
    ///
    /// # Errors
    /// A gain outside its range.
    pub fn with_radiation_gain(mut self, gain: f64) -> Result<Self, VoiceError> {
        self.radiation_gain = amount("a radiation gain", gain, 0.0, 100.0)?;
        Ok(self)
    }

    /// The place between left (−1) and right (1), at constant power.
    ///
    /// # Errors
    /// A place outside −1 to 1.
    pub fn with_pan(mut self, pan: f64) -> Result<Self, VoiceError> {
        self.pan = amount("a pan", pan, -1.0, 1.0)?;
        Ok(self)
    }

    /// Scales the overtones of [`overtones`], 0 to 4; 0 is a pure tone.
    ///
    /// # Errors
    /// A gain outside its range.
    pub fn with_overtone_gain(mut self, gain: f64) -> Result<Self, VoiceError> {
        self.overtone_gain = amount("an overtone gain", gain, 0.0, 4.0)?;
        Ok(self)
    }

    /// Scales the breath heard beside the tone and the noise in the passive modes, 0 to 100; at 1 and the usual breath it is
    /// as loud as in recordings: 38.5 dB below the tone in the octave round 500 Hz.
    ///
    /// # Errors
    /// A gain outside its range.
    pub fn with_breath_gain(mut self, gain: f64) -> Result<Self, VoiceError> {
        self.breath_gain = amount("a breath gain", gain, 0.0, 100.0)?;
        Ok(self)
    }

    /// How far a doubling of the breath raises the pitch, −100 to 100 cents; 30 by default, as in recordings (2 to 4.3 cents for
    /// each dB of breath noise). A bank that is steady leaves it out.
    ///
    /// # Errors
    /// An interval outside its range.
    pub fn with_breath_pull(mut self, pull: Interval) -> Result<Self, VoiceError> {
        self.breath_pull_cents = amount("a breath pull in cents", pull.cents(), -100.0, 100.0)?;
        Ok(self)
    }

    /// A seed of this bottle's own, mixed with the bank's seed and the bottle's place in the bank.
    #[must_use]
    pub fn with_seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// The same bottle, with its air at `frequency` and `q`, which the caller has checked.
    pub(super) fn tuned_to(&self, frequency: Frequency, q: f64) -> Self {
        Self {
            hz: frequency.hz(),
            q,
            ..self.clone()
        }
    }

    /// The frequency of the free ring-down.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        Frequency::from_hz(self.hz)
    }

    /// The quality of the free ring-down.
    #[must_use]
    pub fn q(&self) -> f64 {
        self.q
    }
}

/// The amplitudes of the second, third and fourth overtone beside the fundamental, for a breath of `g` times the threshold.
///
/// s = 0.06 · √(f / 440 Hz) · (g − 1)/(g + 1), then 0.4 s and 0.13 s; nothing below the threshold. The sizes are those of
/// recordings at 123 to 190 Hz and the usual breath: −33 to −40, −37 to −51 and −52 to −58 dB. How they go with pitch and
/// breath is a matter of taste; common knowledge of played bottles is a share that grows with both.
#[must_use]
pub fn overtones(frequency: Frequency, g: f64) -> [f64; 3] {
    let breath_part = ((g - 1.0) / (g + 1.0)).max(0.0);
    let share = (0.06 * (frequency.hz() / 440.0).sqrt() * breath_part).min(0.3);
    [share, 0.4 * share, 0.13 * share]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overtones_grow_with_breath_and_with_pitch_and_are_small_when_low() {
        let at = |hz, g| overtones(Frequency::from_hz(hz), g)[0];
        assert!(at(440.0, 4.0) > at(440.0, 2.0) && at(880.0, 2.0) > at(220.0, 2.0));
        assert!(at(880.0, 0.9) == 0.0 && at(65.0, 6.0) < 0.05);
    }

    #[test]
    fn a_refused_voice_says_the_value_and_the_limit() {
        let refused = BlownVoice::new(Frequency::from_hz(5.0), 30.0)
            .map(|_| ())
            .map_err(|e| e.to_string());
        assert_eq!(
            refused,
            Err("a ringing frequency of 5 Hz is outside 20 to 4000 Hz".to_string())
        );
        let voice =
            BlownVoice::new(Frequency::from_hz(200.0), 30.0).and_then(|v| v.with_pan(f64::NAN));
        assert!(matches!(voice, Err(VoiceError::Amount { .. })));
    }
}
