//! The demo set exported as an instrument, for those who read it.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::common::command::json;
use crate::common::files::{QUAY_SET, arg};

/// The rate of everything that is played, Hz.
pub const RATE_HZ: f64 = 48_000.0;
/// A velocity for each layer.
pub const VELOCITIES: [u8; 2] = [40, 100];

pub fn export(out: &Path, more: &[&str]) -> Value {
    json(&[&["export", QUAY_SET, "--out", arg(out)], more].concat())
}

/// The one file of a report whose name ends so.
pub fn file(report: &Value, ending: &str) -> PathBuf {
    let all = report["files"].as_array().unwrap().iter();
    let mut named = all
        .filter_map(Value::as_str)
        .filter(|f| f.ends_with(ending));
    let found = PathBuf::from(named.next().unwrap());
    assert!(named.next().is_none());
    found
}
