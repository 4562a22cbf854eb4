//! The units that amounts are printed in: those of every file, or those of a kitchen in the United States or in Britain.
//!
//! ```
//! use ullage::units::{Length, Temperature, Volume, shown::Units};
//! let bottle = Volume::from_ml(355.0);
//! assert_eq!(Units::Si.volume(bottle), "355.0");
//! assert_eq!(Units::Us.volume(bottle), "12.004");
//! assert_eq!(Units::Imperial.volume(bottle), "12.494");
//! assert_eq!(Units::Us.length(Length::from_mm(63.5)), "2.500");
//! assert_eq!(Units::Us.temperature(Temperature::from_c(20.0)), "68.0 °F");
//! ```

use std::fmt;

use super::text::{IMPERIAL_FL_OZ_ML, INCH_MM, US_FL_OZ_ML};
use super::{Length, Mass, Temperature, Volume};

/// An avoirdupois ounce, g. International yard and pound agreement, 1959.
const OUNCE_G: f64 = 28.349_523_125;
/// Digits of what is printed, so that the last is about as fine as a tenth of a millilitre, a gram or a millimetre.
const METRIC_DIGITS: usize = 1;
const OTHER_DIGITS: usize = 3;

/// A family of units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Units {
    /// Millilitres, grams, millimetres, °C.
    #[default]
    Si,
    /// Fluid ounces of the United States, ounces, inches, °F.
    Us,
    /// Imperial fluid ounces, ounces, inches, °F.
    Imperial,
}

impl Units {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Si, Self::Us, Self::Imperial];

    /// Its name, as it is chosen.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Us => "us",
            Self::Imperial => "imperial",
        }
    }

    /// The unit of volumes.
    #[must_use]
    pub const fn of_volume(self) -> &'static str {
        match self {
            Self::Si => "ml",
            Self::Us | Self::Imperial => "fl oz",
        }
    }

    /// The unit of lengths.
    #[must_use]
    pub const fn of_length(self) -> &'static str {
        match self {
            Self::Si => "mm",
            Self::Us | Self::Imperial => "in",
        }
    }

    /// The unit of masses.
    #[must_use]
    pub const fn of_mass(self) -> &'static str {
        match self {
            Self::Si => "g",
            Self::Us | Self::Imperial => "oz",
        }
    }

    /// Millilitres in one unit of volume.
    #[must_use]
    pub const fn ml(self) -> f64 {
        match self {
            Self::Si => 1.0,
            Self::Us => US_FL_OZ_ML,
            Self::Imperial => IMPERIAL_FL_OZ_ML,
        }
    }

    /// Millimetres in one unit of length.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::Si => 1.0,
            Self::Us | Self::Imperial => INCH_MM,
        }
    }

    /// Grams in one unit of mass.
    #[must_use]
    pub const fn g(self) -> f64 {
        match self {
            Self::Si => 1.0,
            Self::Us | Self::Imperial => OUNCE_G,
        }
    }

    /// Digits behind the point of what is printed.
    #[must_use]
    pub const fn digits(self) -> usize {
        match self {
            Self::Si => METRIC_DIGITS,
            Self::Us | Self::Imperial => OTHER_DIGITS,
        }
    }

    /// A volume, without its unit.
    #[must_use]
    pub fn volume(self, volume: Volume) -> String {
        format!("{:.*}", self.digits(), volume.ml() / self.ml())
    }

    /// A length, without its unit.
    #[must_use]
    pub fn length(self, length: Length) -> String {
        format!("{:.*}", self.digits(), length.mm() / self.mm())
    }

    /// A mass, without its unit.
    #[must_use]
    pub fn mass(self, mass: Mass) -> String {
        format!("{:.*}", self.digits(), mass.g() / self.g())
    }

    /// A temperature, with its unit.
    #[must_use]
    pub fn temperature(self, temperature: Temperature) -> String {
        match self {
            Self::Si => format!("{:.1} °C", temperature.c()),
            Self::Us | Self::Imperial => format!("{:.1} °F", 32.0 + 1.8 * temperature.c()),
        }
    }
}

impl fmt::Display for Units {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::super::text;
    use super::*;

    #[test]
    fn what_is_printed_reads_back_as_the_same_amount() {
        let prefix = |units| match units {
            Units::Imperial => "imp ",
            Units::Si | Units::Us => "",
        };
        for units in Units::ALL {
            let volume = Volume::from_ml(330.0);
            let written = format!(
                "{} {}{}",
                units.volume(volume),
                prefix(units),
                units.of_volume()
            );
            // Half of the last digit: 0.05 ml, or a two-thousandth of a fluid ounce.
            assert!(
                (text::volume(&written).unwrap().ml() - 330.0).abs() < 0.051,
                "{written}"
            );
            let written = format!(
                "{} {}",
                units.length(Length::from_mm(123.4)),
                units.of_length()
            );
            assert!(
                (text::length(&written).unwrap().mm() - 123.4).abs() < 0.051,
                "{written}"
            );
            let written = units.temperature(Temperature::from_c(21.5));
            assert!(
                (text::temperature(&written).unwrap().c() - 21.5).abs() < 0.051,
                "{written}"
            );
        }
        assert_eq!(Units::Us.mass(Mass::from_g(453.592_37)), "16.000");
    }
}
