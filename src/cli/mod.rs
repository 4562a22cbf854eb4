//! The command line: one file a command. Joins the pieces; holds no formula.

mod altered;
pub mod args;
mod audition;
mod calibration;
pub mod check;
pub mod compare;
#[cfg(feature = "live")]
pub mod devices;
pub mod export;
mod failure;
mod fill;
pub(crate) mod inputs;
pub mod listen;
pub mod marks;
pub mod parts;
pub mod piece_file;
pub mod plan;
mod plan_report;
mod plan_set;
#[cfg(feature = "live")]
pub mod play;
pub mod pour;
pub mod practise;
pub(crate) mod predict;
mod predict_way;
mod predict_way_text;
pub(crate) mod print;
pub mod retune;
mod rows;
mod schema;
pub mod sharing;
pub mod sweep;

use std::process::ExitCode;

use clap::{CommandFactory, Parser};

use args::{Cli, Command};
pub use failure::Failure;

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
    match dispatch(cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("{failure}");
            failure.exit_code()
        }
    }
}

fn dispatch(command: Command) -> Result<(), Failure> {
    match command {
        Command::Predict(args) => predict::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Fill(args) => fill::run(&args),
        Command::Marks(args) => marks::run(&args),
        Command::Retune(args) => retune::run(&args),
        Command::Pour(args) => pour::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Parts(args) => parts::run(&args),
        Command::Practise(args) => practise::run(&args),
        Command::Audition(args) => audition::run(&args),
        Command::Export(args) => export::run(&args),
        #[cfg(feature = "live")]
        Command::Play(args) => play::run(&args),
        #[cfg(feature = "live")]
        Command::Devices(args) => devices::run(&args),
        Command::Listen(args) => listen::run(&args),
        Command::Schema(args) => schema::run(&args),
        Command::Completions(args) => {
            let mut text = Vec::new();
            clap_complete::generate(args.shell, &mut Cli::command(), "ullage", &mut text);
            print::print(&String::from_utf8_lossy(&text))
        }
        Command::Man => {
            let mut page = Vec::new();
            clap_mangen::Man::new(Cli::command())
                .render(&mut page)
                .map_err(|e| Failure::cannot("print the manual page", e))?;
            print::print(&String::from_utf8_lossy(&page))
        }
    }
}
