//! Some bottles of the demo set exported as an instrument, for those who read it.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::common::command::json;
use crate::common::files::{Folder, QUAY_SET, arg, read};

/// The rate of everything that is played, Hz.
pub const RATE_HZ: f64 = 48_000.0;
/// A velocity for each layer.
pub const VELOCITIES: [u8; 2] = [40, 100];

/// Every `step`th bottle of the demo set, from the lowest. Of every fourth there are every key and every layer as of all: 4 of 15 are
/// read in a quarter of the time.
pub fn some_bottles(step: usize) -> String {
    const POUR: &str = "\n[[pour]]";
    let text = read(QUAY_SET);
    let (shelf, pours) = text.split_once(POUR).unwrap();
    let some = pours.split(POUR).step_by(step);
    some.fold(shelf.to_owned(), |text, pour| text + POUR + pour)
}

/// The whole demo set as an instrument; returns the report.
pub fn export_all(out: &Path, more: &[&str]) -> Value {
    json(&[&["export", QUAY_SET, "--out", arg(out)], more].concat())
}

/// [`some_bottles`] as an instrument; returns the report.
pub fn export(out: &Path, more: &[&str]) -> Value {
    let folder = Folder::new();
    let set = folder.write("some.toml", some_bottles(4));
    json(&[&["export", arg(&set), "--out", arg(out)], more].concat())
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
