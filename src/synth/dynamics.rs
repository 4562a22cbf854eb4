//! What another breath makes of a blown bottle, against the usual one: for whoever plays a recording of it.

use super::blown_voice::{BREATH_PULL_CENTS, USUAL_BREATH, overtones};
use super::bottle::swing;
use crate::units::{Frequency, Interval, Level};

/// The breath noise goes with this power of the breath.
pub(super) const NOISE_POWER: f64 = 1.5;

/// How a breath differs from the usual one.
///
/// ```
/// use ullage::synth::{Dynamics, USUAL_BREATH};
/// let (usual, hard) = (Dynamics::at(USUAL_BREATH), Dynamics::at(4.5));
/// assert!((usual.tone - 1.0).abs() < 1e-9 && usual.overtones.db().abs() < 1e-9 && usual.pull.cents().abs() < 1e-9);
/// // Harder is louder, noisier, brighter and higher.
/// assert!(hard.tone > 1.5 && hard.noise > hard.tone && hard.overtones.db() > 1.0 && hard.pull.cents() > 20.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dynamics {
    /// Amplitude of the tone, of the usual one's.
    pub tone: f64,
    /// Amplitude of the breath noise, of the usual one's.
    pub noise: f64,
    /// How much more there is of the overtones beside the tone.
    pub overtones: Level,
    /// How far the pitch rises.
    pub pull: Interval,
}

impl Dynamics {
    /// Of a breath of `g` times the threshold, above 1.
    #[must_use]
    pub fn at(g: f64) -> Self {
        // Their sizes go with the pitch, how they go with the breath does not.
        let second = |g| overtones(Frequency::from_hz(440.0), g)[0];
        Self {
            tone: swing(g) / swing(USUAL_BREATH),
            noise: (g / USUAL_BREATH).powf(NOISE_POWER),
            overtones: Level::from_gain(second(g) / second(USUAL_BREATH)),
            pull: Interval::from_cents(BREATH_PULL_CENTS * (g / USUAL_BREATH).log2()),
        }
    }
}
