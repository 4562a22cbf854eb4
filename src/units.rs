//! Quantities: what crosses a module is one of these, and its constructor and getter name the unit.
//!
//! SI inside. Conversion factors live here and nowhere else. The constructors accept any number; the
//! range that makes sense is checked where a quantity is used for something, with a message that
//! names the limit.

pub mod shown;
pub mod text;

use serde::{Deserialize, Serialize};

/// Zero degrees Celsius in kelvin, exact by definition of the scale.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// One standard atmosphere, Pa, exact by definition.
pub const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;

/// Cents in an octave, by definition.
pub const CENTS_PER_OCTAVE: f64 = 1200.0;

/// Nepers in 60 dB, ln 1000: an amplitude falls by them in this over its rate.
pub const LN_60_DB: f64 = 6.907_755_278_982_137;

/// Defines a quantity as a newtype over `f64` in its SI unit, with a constructor and a getter for
/// each unit that people write it in.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident { $($(#[$unit_doc:meta])* $from:ident / $get:ident = $factor:expr),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            $(
                $(#[$unit_doc])*
                #[must_use]
                pub const fn $from(value: f64) -> Self {
                    Self(value * $factor)
                }

                $(#[$unit_doc])*
                #[must_use]
                pub const fn $get(self) -> f64 {
                    self.0 / $factor
                }
            )+

            /// The larger of the two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// The smaller of the two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl std::ops::Div<$name> for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
    };
}

quantity!(
    /// A pitch or a rate of change.
    Frequency {
        /// Hertz.
        from_hz / hz = 1.0,
    }
);
quantity!(
    /// A volume of liquid or gas.
    Volume {
        /// Cubic metres.
        from_m3 / m3 = 1.0,
        /// Millilitres.
        from_ml / ml = 1e-6,
        /// Litres.
        from_l / l = 1e-3,
    }
);
quantity!(
    /// A length, a height or a diameter.
    Length {
        /// Metres.
        from_m / m = 1.0,
        /// Millimetres.
        from_mm / mm = 1e-3,
    }
);
quantity!(
    /// A mass.
    Mass {
        /// Kilograms.
        from_kg / kg = 1.0,
        /// Grams.
        from_g / g = 1e-3,
    }
);
quantity!(
    /// An absolute pressure.
    Pressure {
        /// Pascals.
        from_pa / pa = 1.0,
        /// Kilopascals.
        from_kpa / kpa = 1e3,
        /// Bar.
        from_bar / bar = 1e5,
    }
);
quantity!(
    /// A span of time.
    Duration {
        /// Seconds.
        from_s / s = 1.0,
        /// Milliseconds.
        from_ms / ms = 1e-3,
    }
);
quantity!(
    /// A musical interval: twelve hundred cents are an octave.
    Interval {
        /// Cents.
        from_cents / cents = 1.0,
        /// Equal-tempered semitones.
        from_semitones / semitones = 100.0,
    }
);
quantity!(
    /// A level relative to full scale or to another level.
    Level {
        /// Decibels.
        from_db / db = 1.0,
    }
);
quantity!(
    /// Samples a second.
    SampleRate {
        /// Hertz.
        from_hz / hz = 1.0,
    }
);

/// A temperature.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Temperature(f64);

impl Temperature {
    /// Kelvin.
    #[must_use]
    pub const fn from_k(kelvin: f64) -> Self {
        Self(kelvin)
    }

    /// Degrees Celsius.
    #[must_use]
    pub const fn from_c(celsius: f64) -> Self {
        Self(celsius + ZERO_CELSIUS_K)
    }

    /// Kelvin.
    #[must_use]
    pub const fn k(self) -> f64 {
        self.0
    }

    /// Degrees Celsius.
    #[must_use]
    pub const fn c(self) -> f64 {
        self.0 - ZERO_CELSIUS_K
    }

    /// This temperature moved by `kelvin`.
    #[must_use]
    pub const fn warmed_by_k(self, kelvin: f64) -> Self {
        Self(self.0 + kelvin)
    }
}

impl Frequency {
    /// The interval from `reference` up to this frequency.
    ///
    /// ```
    /// use ullage::units::Frequency;
    /// let fifth = Frequency::from_hz(660.0).interval_above(Frequency::from_hz(440.0));
    /// assert!((fifth.cents() - 701.955).abs() < 0.001);
    /// ```
    #[must_use]
    pub fn interval_above(self, reference: Self) -> Interval {
        Interval::from_cents(CENTS_PER_OCTAVE * (self.0 / reference.0).log2())
    }

    /// This frequency moved up by `interval`.
    #[must_use]
    pub fn raised_by(self, interval: Interval) -> Self {
        Self(self.0 * interval.ratio())
    }
}

impl Interval {
    /// The ratio of frequencies that makes this interval.
    #[must_use]
    pub fn ratio(self) -> f64 {
        (self.cents() / CENTS_PER_OCTAVE).exp2()
    }

    /// The interval of a ratio of frequencies.
    #[must_use]
    pub fn from_ratio(ratio: f64) -> Self {
        Self::from_cents(CENTS_PER_OCTAVE * ratio.log2())
    }
}

impl Level {
    /// The factor on an amplitude.
    #[must_use]
    pub fn gain(self) -> f64 {
        10f64.powf(self.db() / 20.0)
    }

    /// The level of a factor on an amplitude.
    #[must_use]
    pub fn from_gain(gain: f64) -> Self {
        Self::from_db(20.0 * gain.log10())
    }
}
