//! Numbers as they are printed.
//!
//! ```
//! use ullage::number::{count, rounded, signed, times};
//!
//! let cents = |ratio: f64| 1200.0 * ratio.log2();
//! // A pure fifth has 701.955 cents, and a pure major third is 13.7 narrower than the tempered one.
//! assert_eq!(rounded(cents(3.0 / 2.0), 3), 701.955);
//! assert_eq!(signed(cents(5.0 / 4.0) - 400.0, 1), "-13.7");
//! // What rounds to zero is not negative.
//! assert_eq!(signed(-0.04, 1), "+0.0");
//! assert_eq!((count(1, "note"), count(4, "note"), times(1)), ("1 note".into(), "4 notes".into(), "once".into()));
//! ```

/// `value` with `digits` after the point: what is printed is no sharper than what is known.
#[must_use]
pub fn rounded(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    // Adding zero turns a negative zero into a plain one.
    (value * scale).round() / scale + 0.0
}

/// `value` with its sign and `digits` after the point; never a negative zero.
#[must_use]
pub fn signed(value: f64, digits: usize) -> String {
    format!("{:+.digits$}", rounded(value, digits as i32))
}

/// So many of a thing, whose plural ends in s.
#[must_use]
pub fn count(number: usize, thing: &str) -> String {
    match number {
        1 => format!("1 {thing}"),
        number => format!("{number} {thing}s"),
    }
}

/// How often.
#[must_use]
pub fn times(number: usize) -> String {
    match number {
        1 => "once".to_owned(),
        number => format!("{number} times"),
    }
}
