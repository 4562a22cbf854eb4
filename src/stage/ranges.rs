//! What a rendering may be asked for: every range, once.

use crate::synth::HARDEST_BREATH;

/// A quantity that has a range on the stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Quantity {
    /// How hard bottles are blown, over the threshold of sounding: 1.1 to 6.
    Breath,
    /// Samples a second, Hz: 8,000 to 192,000.
    Rate,
    /// Loudness to aim at, LUFS: −40 to −9.
    Loudness,
    /// Level on top of the loudness, dB: −60 to 20.
    Level,
    /// Tempo, percent of the piece's own: 25 to 400.
    Tempo,
    /// Standard deviation of the timing, ms: 0 to 200.
    Scatter,
    /// Time that a player needs between two bottles, s: 0 to 60.
    Change,
    /// How much of a note may be cut off its end, percent of it: 0 to 90.
    Shorter,
}

impl Quantity {
    /// The least and the most of it.
    #[must_use]
    pub fn range(self) -> (f64, f64) {
        match self {
            Self::Breath => (1.1, HARDEST_BREATH),
            Self::Rate => (8_000.0, 192_000.0),
            Self::Loudness => (-40.0, -9.0),
            Self::Level => (-60.0, 20.0),
            Self::Tempo => (25.0, 400.0),
            Self::Scatter => (0.0, 200.0),
            Self::Change => (0.0, 60.0),
            Self::Shorter => (0.0, 90.0),
        }
    }

    /// Refuses a value outside the range, and one that is not a number.
    ///
    /// # Errors
    /// [`OutOfRange`] with the value and the range.
    ///
    /// ```
    /// use ullage::stage::Quantity;
    /// assert!(Quantity::Breath.check(2.5).is_ok());
    /// let refused = Quantity::Tempo.check(12.0).unwrap_err();
    /// assert_eq!(refused.to_string(), "a tempo of 12 % is outside 25 to 400 %");
    /// ```
    pub fn check(self, value: f64) -> Result<(), OutOfRange> {
        let (min, max) = self.range();
        if (min..=max).contains(&value) {
            return Ok(());
        }
        Err(OutOfRange {
            quantity: self,
            value,
            min,
            max,
        })
    }

    fn name(self) -> &'static str {
        match self {
            Self::Breath => "a breath",
            Self::Rate => "a sample rate",
            Self::Loudness => "a loudness",
            Self::Level => "a level",
            Self::Tempo => "a tempo",
            Self::Scatter => "a scatter of the timing",
            Self::Change => "a change of bottle",
            Self::Shorter => "a cut off a note",
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Self::Breath => "times the threshold",
            Self::Rate => "Hz",
            Self::Loudness => "LUFS",
            Self::Level => "dB",
            Self::Tempo | Self::Shorter => "%",
            Self::Scatter => "ms",
            Self::Change => "s",
        }
    }
}

/// A value that the stage does not take.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "{} of {value} {unit} is outside {min} to {max} {unit}",
    quantity.name(),
    unit = quantity.unit()
)]
pub struct OutOfRange {
    /// Of what.
    pub quantity: Quantity,
    /// As it was asked for, in the unit of the quantity.
    pub value: f64,
    /// The least.
    pub min: f64,
    /// The most.
    pub max: f64,
}
