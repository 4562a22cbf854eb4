//! `ullage man`: the manual pages.

use std::path::PathBuf;

use clap::Args;

use super::Failure;
use super::print::{print, say};
use crate::file::atomic::{Overwrite, write_whole};

/// Print the manual page, or write one for each command.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage man > ullage.1 && man ./ullage.1\n\
                  Example: ullage man --out ~/.local/share/man/man1 && man ullage-plan")]
pub struct ManArgs {
    /// The folder to write a page into for the program and each command, as ullage.1 and ullage-plan.1
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace existing files
    #[arg(long, requires = "out")]
    pub force: bool,
}

/// The page of the program `cli`, or all of them.
pub(super) fn run(args: &ManArgs, mut cli: clap::Command) -> Result<(), Failure> {
    // Names the commands after the program, as their pages are called.
    cli.build();
    let Some(folder) = &args.out else {
        return print(&String::from_utf8_lossy(&page(cli)?));
    };
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::cannot(format!("make the folder {}", folder.display()), error))?;
    let commands: Vec<clap::Command> = cli.get_subcommands().cloned().collect();
    let mut count = 0;
    for command in std::iter::once(cli).chain(commands) {
        let name = command.get_display_name().unwrap_or(command.get_name());
        if name.ends_with("-help") {
            continue;
        }
        let path = folder.join(format!("{name}.1"));
        write_whole(&path, &page(command)?, Overwrite::forced(args.force))
            .map_err(|error| Failure::unwritten(&path, error, "--out"))?;
        count += 1;
    }
    say!("wrote {count} pages into {}", folder.display());
    Ok(())
}

fn page(command: clap::Command) -> Result<Vec<u8>, Failure> {
    let mut page = Vec::new();
    clap_mangen::Man::new(command)
        .render(&mut page)
        .map_err(|error| Failure::cannot("print the manual page", error))?;
    Ok(page)
}
