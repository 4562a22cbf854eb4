//! The window, without a display, a sound card or a microphone.

#![cfg(feature = "window")]
#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod playing;
mod practice;
mod tuner;
