//! Numbers of a file that may be written with another unit behind them: `mouth_bore_mm = "3/4 in"`, `capacity_ml = "12 fl oz"`,
//! `temp_c = "68 °F"`. A bare number has the unit of its key.

use std::fmt;

use serde::Deserializer;
use serde::de::{Error, Visitor};

use crate::units::text::{QuantityError, length, temperature, volume};

/// A number, or a text that `read` takes.
struct NumberOr {
    read: fn(&str) -> Result<f64, QuantityError>,
    expecting: &'static str,
}

impl Visitor<'_> for NumberOr {
    type Value = f64;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.expecting)
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<f64, E> {
        Ok(number)
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<f64, E> {
        Ok(number as f64)
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<f64, E> {
        (self.read)(text).map_err(E::custom)
    }
}

/// Millimetres.
pub(super) fn mm<'de, D: Deserializer<'de>>(input: D) -> Result<f64, D::Error> {
    input.deserialize_any(NumberOr {
        read: |text| Ok(length(text)?.mm()),
        expecting: "a number of millimetres, or a length such as \"2.5 in\"",
    })
}

/// Millimetres, where the key may be missing.
pub(super) fn maybe_mm<'de, D: Deserializer<'de>>(input: D) -> Result<Option<f64>, D::Error> {
    mm(input).map(Some)
}

/// Millilitres.
pub(super) fn ml<'de, D: Deserializer<'de>>(input: D) -> Result<f64, D::Error> {
    input.deserialize_any(NumberOr {
        read: |text| Ok(volume(text)?.ml()),
        expecting: "a number of millilitres, or a volume such as \"12 fl oz\"",
    })
}

/// Millilitres, where the key may be missing.
pub(super) fn maybe_ml<'de, D: Deserializer<'de>>(input: D) -> Result<Option<f64>, D::Error> {
    ml(input).map(Some)
}

/// Degrees Celsius.
pub(super) fn celsius<'de, D: Deserializer<'de>>(input: D) -> Result<f64, D::Error> {
    input.deserialize_any(NumberOr {
        read: |text| Ok(temperature(text)?.c()),
        expecting: "a number of degrees Celsius, or a temperature such as \"68 °F\"",
    })
}

/// Degrees Celsius, where the key may be missing.
pub(super) fn maybe_celsius<'de, D: Deserializer<'de>>(input: D) -> Result<Option<f64>, D::Error> {
    celsius(input).map(Some)
}
