//! Bytes and our types: sound files, and the writing of any file so that nothing is lost.
//!
//! What this folder promises:
//!
//! - a file appears whole or not at all ([`atomic`]): a run that fails or is killed leaves the old
//!   file as it was;
//! - what is written as WAV reads back the same ([`wav`]), and a broken file is an error that says
//!   where it broke;
//! - a rendering reaches a stated loudness without going over a stated peak ([`master`], measured by
//!   [`loudness`]), with memory that is flat in its length.
//!
//! It knows formats, not music: what the samples mean is for others.

pub mod atomic;
mod block;
pub mod class_data;
mod dither;
mod int24;
pub mod loudness;
pub mod markup;
pub mod master;
pub mod mts;
pub mod musicxml;
pub mod piece;
pub mod read;
pub mod recording;
#[cfg(feature = "recordings")]
mod recording_decode;
mod recording_error;
pub mod sampler;
pub mod sf2;
pub mod sfz;
pub mod smf;
pub mod wav;
mod wav_error;
mod wav_read;
