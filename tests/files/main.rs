//! What is read and written: sets, pieces, sound, sheets and instruments, whole, broken and mangled.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod broken;
mod export;
mod independent;
mod instrument;
mod mangled;
mod musicxml;
#[cfg(feature = "photographs")]
mod photographed;
#[cfg(feature = "photographs")]
mod photographs;
mod pour;
mod presets;
mod recordings;
mod smf;
mod sounds;
mod version_1;
mod wav;
mod wav_broken;
mod ways;
mod year;
