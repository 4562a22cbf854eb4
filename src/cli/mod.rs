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
mod describe;
#[cfg(feature = "live")]
mod devices;
mod export;
mod failure;
mod fill;
mod inputs;
mod interrupt;
#[cfg(not(all(feature = "live", feature = "photographs")))]
mod left_out;
mod licences;
mod listen;
mod man;
mod marks;
mod measured;
mod options;
mod page;
mod parts;
mod pdf;
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
#[cfg(feature = "photographs")]
mod trace;

use std::process::ExitCode;

use clap::Parser;

use commands::Cli;
use failure::Failure;
use print::say;

/// Parses what was typed, runs it, and gives the exit code: 0 done, 1 cannot be done, 2 bad usage or file.
#[must_use]
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => return not_parsed(&error),
    };
    if !cli.takes_ctrl_c() {
        interrupt::clean_up();
    }
    match cli.run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            report(&failure);
            failure.exit_code()
        }
    }
}

/// What the parser says: a mistake, or the help or version that was asked for.
fn not_parsed(error: &clap::Error) -> ExitCode {
    if !error.use_stderr() {
        // A closed pipe is no reason to fail.
        let _ = error.print();
        return ExitCode::SUCCESS;
    }
    if wants_json() {
        let said = error.to_string();
        let said = said.trim().trim_start_matches("error: ");
        report(&Failure::bad("read the command line", said));
    } else {
        let _ = error.print();
    }
    ExitCode::from(2)
}

/// Prints what went wrong on standard error: as a program reads it if it asked for JSON.
fn report(failure: &Failure) {
    if wants_json() {
        say!("{}", failure.json());
    } else {
        say!("{failure}");
    }
}

/// Whether one JSON object was asked for, whatever the command.
fn wants_json() -> bool {
    let mut typed = std::env::args_os().take_while(|arg| arg != "--");
    typed.any(|arg| arg == "--json")
}
