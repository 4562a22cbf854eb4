//! `ullage man`: the manual page.

use clap::CommandFactory;

use super::Failure;
use super::commands::Cli;
use super::print::print;

pub(super) fn run() -> Result<(), Failure> {
    let mut page = Vec::new();
    clap_mangen::Man::new(Cli::command())
        .render(&mut page)
        .map_err(|error| Failure::cannot("print the manual page", error))?;
    print(&String::from_utf8_lossy(&page))
}
