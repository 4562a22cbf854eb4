//! What a command told.

use std::process::Output;

use serde_json::Value;

/// The object that a command printed with `--json`; it must have gone well.
#[track_caller]
pub fn report(output: &Output) -> Value {
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{told}");
    serde_json::from_slice(&output.stdout).unwrap()
}
