//! The list of commands, and what each runs.

use clap::{CommandFactory, Parser, Subcommand};

use super::Failure;
#[cfg(not(all(feature = "live", feature = "photographs")))]
use super::left_out::LeftOut;
#[cfg(not(feature = "live"))]
use super::left_out::left_out;
#[cfg(not(feature = "photographs"))]
use super::left_out::photographs_left_out;
use super::licences::{self, Licences};
#[cfg(feature = "photographs")]
use super::trace;
use super::{
    audition, check, compare, completions, describe, export, fill, listen, man, marks, page, parts,
    plan, pour, practise, predict, retune, schema,
};
#[cfg(feature = "live")]
use super::{devices, play};

/// Plan a bottle set, hear it, and pour it.
///
/// Computes what each bottle sounds like from its shape, its filling and the air, and plays the set
/// before any liquid is poured. Files are TOML with the units in every name.
#[derive(Debug, Parser)]
#[command(
    name = "ullage",
    version,
    arg_required_else_help = true,
    args_conflicts_with_subcommands = true
)]
pub struct Cli {
    /// List what is inside the program, with its licences; =texts prints these whole, with those whom they name
    #[arg(
        long,
        value_enum,
        value_name = "WHAT",
        num_args = 0..=1,
        require_equals = true,
        default_missing_value = "list"
    )]
    pub licences: Option<Licences>,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

impl Cli {
    /// Whether it ends by itself, and whole, at Ctrl-C.
    pub fn takes_ctrl_c(&self) -> bool {
        self.command.as_ref().is_some_and(Command::takes_ctrl_c)
    }

    /// Runs what was asked for.
    pub fn run(&self) -> Result<(), Failure> {
        if let Some(what) = self.licences {
            licences::run(what)?;
        }
        self.command.as_ref().map_or(Ok(()), Command::run)
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Say what a bottle sounds like: pitch, Q, and how fast they move
    Predict(predict::PredictArgs),
    /// Describe a bottle in a conversation, and add it to a shelf
    Describe(describe::DescribeArgs),
    /// Choose which bottle plays which note, and how much goes into each
    Plan(Box<plan::PlanArgs>),
    /// Solve how much goes into each bottle of a set
    Fill(fill::Fill),
    /// Say where sliding floors and joined bottles stand for their notes
    Marks(marks::MarksArgs),
    /// Say what to add or take out when the room or the pitch changes
    Retune(retune::RetuneArgs),
    /// Make the pour sheet: drawings, amounts, and strips to tape to the bottles
    Pour(pour::PourArgs),
    /// Make a page that plays: the set, its pieces and what to pour, for any browser and any phone
    Page(page::PageArgs),
    /// Say how far a set moves from one condition to another: chilled, left in the sun, filled with CO2
    Compare(compare::CompareArgs),
    /// Say whether a piece can be played with a set, and by how many players
    Check(check::CheckArgs),
    /// Write each player's part of a piece: a page to print, MIDI and MusicXML
    Parts(parts::PartsArgs),
    /// Say what was early, late, missed and wrong in a recorded pass
    Practise(practise::PractiseArgs),
    /// Render a set to a WAV file, to hear it before pouring
    Audition(audition::Audition),
    /// Write a set's sounds for samplers and notation programs: SFZ, SoundFont, tuning
    Export(export::ExportArgs),
    /// Play a set live: from MIDI, and from the window
    #[cfg(feature = "live")]
    Play(Box<play::PlayArgs>),
    /// List the sound cards and MIDI inputs there are
    #[cfg(feature = "live")]
    Devices(devices::DevicesArgs),
    /// Play a set live: not in this build
    #[cfg(not(feature = "live"))]
    Play(LeftOut),
    /// List the sound cards and MIDI inputs there are: not in this build
    #[cfg(not(feature = "live"))]
    Devices(LeftOut),
    /// Hear a poured bottle, and say what to add or take out
    Listen(Box<listen::ListenArgs>),
    /// Trace the outline of a bottle in a photograph, as lines for a shelf
    #[cfg(feature = "photographs")]
    Trace(trace::TraceArgs),
    /// Trace the outline of a bottle in a photograph: not in this build
    #[cfg(not(feature = "photographs"))]
    Trace(LeftOut),
    /// Print the JSON Schema of a file
    Schema(schema::Schema),
    /// Print shell completions
    Completions(completions::CompletionsArgs),
    /// Print the manual page, or write one for each command
    Man(man::ManArgs),
}

impl Command {
    /// Whether it ends by itself, and whole, at Ctrl-C.
    fn takes_ctrl_c(&self) -> bool {
        match self {
            Self::Play(_) => true,
            Self::Listen(args) => args.is_live(),
            _ => false,
        }
    }

    /// Runs it.
    fn run(&self) -> Result<(), Failure> {
        match self {
            Self::Predict(args) => predict::run(args),
            Self::Describe(args) => describe::run(args),
            Self::Plan(args) => plan::run(args),
            Self::Fill(args) => fill::run(args),
            Self::Marks(args) => marks::run(args),
            Self::Retune(args) => retune::run(args),
            Self::Pour(args) => pour::run(args),
            Self::Page(args) => page::run(args),
            Self::Compare(args) => compare::run(args),
            Self::Check(args) => check::run(args),
            Self::Parts(args) => parts::run(args),
            Self::Practise(args) => practise::run(args),
            Self::Audition(args) => audition::run(args),
            Self::Export(args) => export::run(args),
            #[cfg(feature = "live")]
            Self::Play(args) => play::run(args),
            #[cfg(feature = "live")]
            Self::Devices(args) => devices::run(args),
            #[cfg(not(feature = "live"))]
            Self::Play(_) => Err(left_out("play")),
            #[cfg(not(feature = "live"))]
            Self::Devices(_) => Err(left_out("devices")),
            Self::Listen(args) => listen::run(args),
            #[cfg(feature = "photographs")]
            Self::Trace(args) => trace::run(args),
            #[cfg(not(feature = "photographs"))]
            Self::Trace(_) => Err(photographs_left_out()),
            Self::Schema(args) => schema::run(args),
            Self::Completions(args) => completions::run(args, Cli::command()),
            Self::Man(args) => man::run(args, Cli::command()),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn the_commands_are_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn every_room_option_says_whether_the_set_is_heard_or_poured_in_that_room() {
        let cli = Cli::command();
        let help = |name: &str| {
            let command = cli.find_subcommand(name)?;
            let temp_c = command.get_arguments().find(|a| a.get_id() == "temp_c")?;
            Some(temp_c.get_help()?.to_string())
        };
        for name in ["fill", "plan", "pour"] {
            let said = help(name).unwrap();
            assert!(said.contains("poured and heard"), "{name}: {said}");
            assert!(!said.contains("swells"), "{name}: {said}");
        }
        for name in [
            "predict", "audition", "export", "page", "check", "parts", "practise", "retune",
            "listen", "marks",
        ] {
            let said = help(name).unwrap();
            assert!(
                said.contains("heard") && said.contains("swells"),
                "{name}: {said}"
            );
        }
    }
}
