//! `ullage completions`: for the shell.

use clap::Args;

use super::Failure;
use super::print::print;

/// Print shell completions.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage completions bash > /etc/bash_completion.d/ullage")]
pub struct CompletionsArgs {
    /// Which shell
    pub shell: clap_complete::Shell,
}

/// Those of the program `cli`.
pub(super) fn run(args: &CompletionsArgs, mut cli: clap::Command) -> Result<(), Failure> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut cli, "ullage", &mut text);
    print(&String::from_utf8_lossy(&text))
}
