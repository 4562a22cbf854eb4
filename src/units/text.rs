//! Quantities as people write them, with the unit behind the number: `2.5 in`, `12 fl oz`, `68 °F`.
//!
//! ```
//! use ullage::units::text::{length, temperature, volume};
//! assert!((length("2 1/2 in")?.mm() - 63.5).abs() < 1e-9);
//! assert!((volume("12 fl oz")?.ml() - 354.882).abs() < 1e-3);
//! assert!((temperature("68 °F")?.c() - 20.0).abs() < 1e-9);
//! // Without a unit it is the one that the program writes.
//! assert_eq!(length("63.5")?, length("63,5 mm")?);
//! # Ok::<(), ullage::units::text::QuantityError>(())
//! ```

use super::{Length, Temperature, Volume};

/// An inch, mm. International yard and pound agreement, 1959.
pub(super) const INCH_MM: f64 = 25.4;
/// A fluid ounce of the United States, ml: 231/128 cubic inches. NIST Handbook 44, appendix C.
pub(super) const US_FL_OZ_ML: f64 = 29.573_529_562_5;
/// An imperial fluid ounce, ml. UK Weights and Measures Act 1985.
pub(super) const IMPERIAL_FL_OZ_ML: f64 = 28.413_062_5;
/// Ounces in a pint of the United States, and of the United Kingdom.
const US_PINT_OZ: f64 = 16.0;
const IMPERIAL_PINT_OZ: f64 = 20.0;

/// Why a text is not a quantity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// There is no number in front.
    #[error("\"{text}\" does not begin with a number; write it as in {example}")]
    Number {
        /// As written.
        text: String,
        /// How it may look.
        example: &'static str,
    },
    /// The unit is not one of this quantity.
    #[error("\"{unit}\" in \"{text}\" is not a unit of {quantity}; these are: {known}")]
    Unit {
        /// As written.
        text: String,
        /// What stands for the unit.
        unit: String,
        /// What was expected.
        quantity: &'static str,
        /// The units of it.
        known: &'static str,
    },
}

/// A length: mm, cm, m, in (also with a fraction, `2 1/2 in`). A bare number is mm.
///
/// # Errors
/// See [`QuantityError`].
pub fn length(text: &str) -> Result<Length, QuantityError> {
    let (number, unit) = split(text, "63 mm or 2.5 in")?;
    let mm = match unit.as_str() {
        "" | "mm" => number,
        "cm" => 10.0 * number,
        "m" => 1000.0 * number,
        "in" | "inch" | "inches" | "\"" | "″" => INCH_MM * number,
        _ => return Err(unknown(text, unit, "length", "mm, cm, m, in")),
    };
    Ok(Length::from_mm(mm))
}

/// A volume: ml, cl, dl, l, fl oz, pt, qt and gal of the United States, imp fl oz and imp pt. A bare number is ml.
///
/// # Errors
/// See [`QuantityError`].
pub fn volume(text: &str) -> Result<Volume, QuantityError> {
    let (number, unit) = split(text, "330 ml or 12 fl oz")?;
    let ml = match unit.as_str() {
        "" | "ml" | "cc" => number,
        "cl" => 10.0 * number,
        "dl" => 100.0 * number,
        "l" | "litre" | "litres" | "liter" | "liters" => 1000.0 * number,
        "fl oz" | "floz" | "oz" | "us fl oz" => US_FL_OZ_ML * number,
        "pt" | "pint" | "pints" | "us pt" => US_PINT_OZ * US_FL_OZ_ML * number,
        "imp fl oz" | "imperial fl oz" | "uk fl oz" => IMPERIAL_FL_OZ_ML * number,
        "imp pt" | "imperial pint" | "uk pt" => IMPERIAL_PINT_OZ * IMPERIAL_FL_OZ_ML * number,
        "qt" | "quart" | "quarts" | "us qt" => 2.0 * US_PINT_OZ * US_FL_OZ_ML * number,
        "gal" | "gallon" | "gallons" | "us gal" => 8.0 * US_PINT_OZ * US_FL_OZ_ML * number,
        _ => {
            let known = "ml, cl, dl, l, fl oz, pt, qt, gal, imp fl oz, imp pt";
            return Err(unknown(text, unit, "volume", known));
        }
    };
    Ok(Volume::from_ml(ml))
}

/// A temperature: °C, °F, K. A bare number is °C.
///
/// # Errors
/// See [`QuantityError`].
pub fn temperature(text: &str) -> Result<Temperature, QuantityError> {
    let (number, unit) = split(text, "20 °C or 68 °F")?;
    let c = match unit.trim_start_matches('°').trim() {
        "" | "c" | "celsius" => number,
        "f" | "fahrenheit" => (number - 32.0) / 1.8,
        "k" | "kelvin" => number - 273.15,
        _ => return Err(unknown(text, unit, "temperature", "°C, °F, K")),
    };
    Ok(Temperature::from_c(c))
}

fn unknown(text: &str, unit: String, quantity: &'static str, known: &'static str) -> QuantityError {
    QuantityError::Unit {
        text: text.trim().to_owned(),
        unit,
        quantity,
        known,
    }
}

/// The number in front, a fraction behind it if there is one, and the unit in small letters with single spaces.
fn split(text: &str, example: &'static str) -> Result<(f64, String), QuantityError> {
    let bad = || QuantityError::Number {
        text: text.trim().to_owned(),
        example,
    };
    let is_of_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '−' | '+');
    let rest = text.trim();
    let end = rest.find(|c| !is_of_number(c)).unwrap_or(rest.len());
    let (number, rest) = rest.split_at(end);
    let number = number.replace(',', ".").replace('−', "-");
    let (fraction, rest) = fraction(rest);
    let whole: f64 = match (number.is_empty(), fraction) {
        (true, Some(_)) => 0.0,
        _ => number.parse().map_err(|_| bad())?,
    };
    // "1/2": what was taken for the whole is the upper number.
    let (value, rest) = match rest.strip_prefix('/') {
        Some(behind) if fraction.is_none() => {
            let end = behind
                .find(|c: char| !c.is_ascii_digit())
                .unwrap_or(behind.len());
            let lower: f64 = behind[..end].parse().map_err(|_| bad())?;
            (whole / lower, &behind[end..])
        }
        _ => (whole + fraction.unwrap_or(0.0), rest),
    };
    if !value.is_finite() {
        return Err(bad());
    }
    let unit = rest.to_lowercase().replace('.', " ");
    Ok((value, unit.split_whitespace().collect::<Vec<_>>().join(" ")))
}

/// A fraction behind a whole number: ` 1/2` or `½`; and what follows it.
fn fraction(text: &str) -> (Option<f64>, &str) {
    let trimmed = text.trim_start();
    let signs = [
        ('½', 0.5),
        ('¼', 0.25),
        ('¾', 0.75),
        ('⅛', 0.125),
        ('⅜', 0.375),
        ('⅝', 0.625),
        ('⅞', 0.875),
    ];
    for (sign, value) in signs {
        if let Some(rest) = trimmed.strip_prefix(sign) {
            return (Some(value), rest);
        }
    }
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let upper = digits(trimmed);
    let behind = trimmed[upper..].strip_prefix('/');
    if upper > 0
        && let Some(behind) = behind
    {
        let lower = digits(behind);
        let parsed = (
            trimmed[..upper].parse::<f64>(),
            behind[..lower].parse::<f64>(),
        );
        if let (Ok(above), Ok(below)) = parsed
            && below > 0.0
        {
            return (Some(above / below), &behind[lower..]);
        }
    }
    (None, text)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn every_way_of_writing_a_length_or_a_volume_is_the_same_one() {
        for text in [
            "63.5", "63,5 mm", "6.35cm", "2.5 in", "2 1/2 in", "2½\"", "5/2 inch", "0.0635 m",
        ] {
            assert!((length(text).unwrap().mm() - 63.5).abs() < 1e-9, "{text}");
        }
        for (text, ml) in [
            ("355", 355.0),
            ("0.33 l", 330.0),
            ("33 cl", 330.0),
            ("12 fl. oz.", 354.882_354_75),
            ("1 pt", 473.176_473),
            ("20 imp fl oz", 568.261_25),
            ("1 imp pt", 568.261_25),
            ("1 qt", 946.352_946),
            // 231 cubic inches.
            ("1 gal", 3_785.411_784),
        ] {
            assert!((volume(text).unwrap().ml() - ml).abs() < 1e-6, "{text}");
        }
        for (text, c) in [
            ("20", 20.0),
            ("-4 °C", -4.0),
            ("212 F", 100.0),
            ("273.15 K", 0.0),
        ] {
            assert!((temperature(text).unwrap().c() - c).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn what_is_no_quantity_says_how_it_may_look() {
        for text in ["", "tall", "mm 3", "1/0 in", "--3", "1..2"] {
            let error = length(text).unwrap_err().to_string();
            assert!(error.contains("63 mm or 2.5 in"), "{text:?}: {error}");
        }
        let error = volume("12 in").unwrap_err().to_string();
        assert!(
            error.contains("\"in\"") && error.contains("fl oz"),
            "{error}"
        );
        assert!(temperature("20 bar").is_err());
    }
}
