//! Numbers as they are printed.

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
