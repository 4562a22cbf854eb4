//! Trials that need a tool, a server or a display, or take long: each skips itself or is small unless asked.

#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

#[cfg(unix)]
mod browser;
mod cli_storm;
#[cfg(all(feature = "window", unix))]
mod display;
#[cfg(unix)]
mod firefox;
#[cfg(all(feature = "jack", unix))]
mod jack;
#[cfg(unix)]
mod kills;
#[cfg(all(feature = "window", unix))]
mod lesson;
#[cfg(all(feature = "jack", unix))]
mod live;
#[cfg(unix)]
mod page;
#[cfg(unix)]
mod page_firefox;
mod pour_printed;
mod real;
#[cfg(all(feature = "jack", feature = "window", unix))]
mod window;
#[cfg(all(feature = "window", unix))]
mod window_saves;

/// What a rig has found: printed, and added to the file `ULLAGE_FOUND` where that is named, since nobody sees what a test that
/// passes has printed.
fn found(what: &str) {
    use std::io::Write;
    println!("{what}");
    if let Ok(path) = std::env::var("ULLAGE_FOUND") {
        let mut file = std::fs::File::options()
            .create(true)
            .append(true)
            .open(path)
            .unwrap();
        writeln!(file, "{what}").unwrap();
    }
}
