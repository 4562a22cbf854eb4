//! Trials that need a tool, a server or a display, or take long: each skips itself or is small unless asked.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

#[cfg(unix)]
mod browser;
mod cli_storm;
#[cfg(all(feature = "jack", unix))]
mod jack;
#[cfg(unix)]
mod kills;
#[cfg(all(feature = "jack", unix))]
mod live;
#[cfg(unix)]
mod page;
mod pour_printed;
mod real;
#[cfg(all(feature = "jack", feature = "window", unix))]
mod window;
