//! What runs beside or in the sound card's callback, without a card.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

#[cfg(feature = "live")]
mod callback;
#[cfg(feature = "live")]
mod desk;
mod no_allocation;
mod storm;

use assert_no_alloc::AllocDisabler;

#[global_allocator]
static GUARD: AllocDisabler = AllocDisabler;
