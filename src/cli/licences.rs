//! `ullage --licences`: what is inside the program, and the notices that go along with it.

use clap::ValueEnum;
use serde::Deserialize;

use super::Failure;
use super::print::{print, table};

/// Crates, fonts, and what the compiler adds; `.ci/licences.py` makes it from Cargo.lock. Features and systems that are not
/// named are all of them; `none` is what only builds the program, or runs on systems that nobody asked for.
const INSIDE: &str = include_str!("licences/inside.csv");
/// The texts of their licences, and whom they name for which of them; made beside it.
const NOTICES: &str = include_str!("licences/notices.txt");
/// That of the program.
const OWN: &str = include_str!("../../LICENSE");
/// Features that bring something in, and whether this build has them.
const FEATURES: [(&str, bool); 5] = [
    ("photographs", cfg!(feature = "photographs")),
    ("recordings", cfg!(feature = "recordings")),
    ("live", cfg!(feature = "live")),
    ("window", cfg!(feature = "window")),
    ("jack", cfg!(feature = "jack")),
];
/// The system of this build, as the list names it.
const SYSTEM: &str = if cfg!(windows) {
    "windows"
} else if cfg!(target_vendor = "apple") {
    "macos"
} else {
    "linux"
};

/// What of the licences to print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Licences {
    /// A line for all that is inside: its version, its licence, where it comes from
    List,
    /// The same, and below it every licence's text with those whom it names
    Texts,
}

/// A row of the list.
#[derive(Debug, Deserialize)]
struct Part {
    name: String,
    version: String,
    licence: String,
    source: String,
    features: String,
    systems: String,
}

impl Part {
    /// Whether it is in this build.
    fn is_inside(&self) -> bool {
        let has = |feature: &str| FEATURES.contains(&(feature, true));
        let brought_in = self.features.is_empty() || self.features.split(' ').any(has);
        let here = self.systems.is_empty() || self.systems.split(' ').any(|name| name == SYSTEM);
        brought_in && here
    }

    /// Its line of the table.
    fn cells(self) -> Vec<String> {
        let source = match self.source.is_empty() {
            true => format!("https://crates.io/crates/{}/{}", self.name, self.version),
            false => self.source,
        };
        vec![self.name, self.version, self.licence, source]
    }
}

pub(super) fn run(what: Licences) -> Result<(), Failure> {
    let inside = parts()?.into_iter().filter(Part::is_inside);
    let rows: Vec<Vec<String>> = inside.map(Part::cells).collect();
    let list = format!(
        "ullage {} is under the {} licence. This build of it has {} crates and fonts of others inside, unchanged; the source \
         of each is at its address.\n\n{}",
        env!("CARGO_PKG_VERSION"),
        env!("CARGO_PKG_LICENSE"),
        rows.len(),
        table(&["name", "version", "licence", "from"], rows, &[0, 1, 2, 3]),
    );
    match what {
        Licences::List => print(&format!(
            "{list}\nTheir texts, and whom they name: ullage --licences=texts\n"
        )),
        Licences::Texts => print(&format!(
            "{list}\n{OWN}\nWhere there is a choice of licences, these are the ones that the program takes.\n\n{NOTICES}"
        )),
    }
}

fn parts() -> Result<Vec<Part>, Failure> {
    let mut rows = csv::Reader::from_reader(INSIDE.as_bytes());
    let parts: Result<Vec<Part>, csv::Error> = rows.deserialize().collect();
    parts.map_err(|error| Failure::cannot("read the list of what is inside", error))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn every_feature_and_every_system_of_the_list_is_known() {
        let parts = parts().unwrap();
        assert!(parts.len() > 300, "{}", parts.len());
        for part in parts {
            let known = |name: &str| FEATURES.iter().any(|(feature, _)| *feature == name);
            assert!(part.features.split_terminator(' ').all(known), "{part:?}");
            let known = |name: &str| ["linux", "macos", "windows", "none"].contains(&name);
            assert!(part.systems.split_terminator(' ').all(known), "{part:?}");
        }
    }
}
