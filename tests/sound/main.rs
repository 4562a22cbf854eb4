//! What is rendered and what is heard in it, measured on samples.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod bank;
mod engine;
mod library;
mod listen_blown;
mod listen_hard;
mod listen_loop;
mod listen_struck;
mod listen_unknown;
mod loudness;
mod pours;
mod rails;
mod real_sound;
mod room;
mod row;
mod struck_real;
mod struck_sound;
mod struck_voice;
mod voice;
