//! The command line: one file a command, its options beside what it does. Joins the pieces; holds no formula.
//!
//! [`run`] is all that it publishes. The list of commands is in `commands`, what several of them share in `options`,
//! `print` and `rows`, and what goes wrong in `failure`.
//!
//! ```no_run
//! // The whole of a program that takes the same commands.
//! fn main() -> std::process::ExitCode {
//!     ullage::cli::run()
//! }
//! ```

mod altered;
mod audition;
mod calibration;
mod check;
mod commands;
mod compare;
mod completions;
#[cfg(feature = "live")]
mod devices;
mod export;
mod failure;
mod fill;
mod inputs;
#[cfg(not(feature = "live"))]
mod left_out;
mod listen;
mod man;
mod marks;
mod options;
mod parts;
mod piece_file;
mod plan;
mod plan_set;
#[cfg(feature = "live")]
mod play;
mod pour;
mod practise;
mod predict;
mod print;
mod retune;
mod rows;
mod schema;
mod sharing;

use std::process::ExitCode;

use clap::Parser;

use commands::Cli;
use failure::Failure;

/// Parses what was typed, runs it, and gives the exit code: 0 done, 1 cannot be done, 2 bad usage or file.
#[must_use]
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version come this way too; a closed pipe is no reason to fail.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    match cli.command.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("{failure}");
            failure.exit_code()
        }
    }
}
