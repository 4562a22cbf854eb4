//! `ullage schema`: the JSON Schema of what people write.

use super::Failure;
use super::args::{Schema, SchemaOf};
use crate::cli::print::print_json;
use crate::set::written;

pub(super) fn run(args: &Schema) -> Result<(), Failure> {
    let schema = match args.of {
        SchemaOf::Shelf => schemars::schema_for!(written::Shelf),
        SchemaOf::Set => schemars::schema_for!(written::Set),
    };
    print_json(&schema)
}
