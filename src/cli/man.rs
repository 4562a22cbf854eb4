//! `ullage man`: the manual page.

use super::Failure;
use super::print::print;

/// The page of the program `cli`.
pub(super) fn run(cli: clap::Command) -> Result<(), Failure> {
    let mut page = Vec::new();
    clap_mangen::Man::new(cli)
        .render(&mut page)
        .map_err(|error| Failure::cannot("print the manual page", error))?;
    print(&String::from_utf8_lossy(&page))
}
