//! `ullage completions`: for the shell.

use clap::{Args, CommandFactory};

use super::Failure;
use super::commands::Cli;
use super::print::print;

/// Print shell completions.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage completions bash > /etc/bash_completion.d/ullage")]
pub struct CompletionsArgs {
    /// Which shell
    pub shell: clap_complete::Shell,
}

pub(super) fn run(args: &CompletionsArgs) -> Result<(), Failure> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "ullage", &mut text);
    print(&String::from_utf8_lossy(&text))
}
