//! The commands as they are typed, and what they print and write.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod audition;
mod audition_piece;
mod audition_room;
mod audition_ways;
mod broken_piece;
mod calibrate;
mod check;
mod cli;
mod compare;
mod limits;
mod listen;
#[cfg(feature = "live")]
mod live;
mod names;
mod one_answer;
mod others;
mod page;
mod parts;
mod plan;
mod pour_heard;
mod practise;
mod sweep;
mod ways;
