//! The commands that a build without the sound card or without photographs leaves out: who asks for them is told how to
//! build them in.

use clap::Args;

use super::Failure;

/// Recordings of other kinds than WAV.
#[cfg(not(feature = "recordings"))]
pub(super) const RECORDINGS: &str = "a WAV file, or a build with the feature recordings: cargo build --release --features recordings";

/// Whatever follows the command.
#[derive(Debug, Args)]
pub struct LeftOut {
    #[arg(hide = true, trailing_var_arg = true, allow_hyphen_values = true)]
    rest: Vec<String>,
}

/// This build cannot read photographs.
#[cfg(not(feature = "photographs"))]
pub(super) fn photographs_left_out() -> Failure {
    let because = "this build reads no photographs: it was made with --no-default-features";
    Failure::cannot("trace", because)
        .or_try("cargo run --release --no-default-features --features photographs -- trace …")
}

/// This build cannot do what `words` ask for.
#[cfg(not(feature = "live"))]
pub(super) fn left_out(words: &str) -> Failure {
    let because = "this build has no window, no sound card and no MIDI: it was made with --no-default-features";
    Failure::cannot(words, because).or_try(format!("cargo run --release -- {words} …"))
}
