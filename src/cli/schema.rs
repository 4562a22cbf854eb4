//! `ullage schema`: the JSON Schema of what people write.

use clap::{Args, ValueEnum};

use super::Failure;
use crate::cli::print::print_json;
use crate::set::schema;

/// Which file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// Bottles alone
    Shelf,
    /// Bottles with notes
    Set,
}

/// Print the JSON Schema of a file.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage schema set > set.schema.json")]
pub struct Schema {
    /// Which file
    #[arg(value_enum)]
    pub of: SchemaOf,
}

pub(super) fn run(args: &Schema) -> Result<(), Failure> {
    let schema = match args.of {
        SchemaOf::Shelf => schema::shelf(),
        SchemaOf::Set => schema::set(),
    };
    print_json(&schema)
}
