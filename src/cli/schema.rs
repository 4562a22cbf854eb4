//! `ullage schema`: the JSON Schema of what people write.

use super::Failure;
use super::args::{Schema, SchemaOf};
use super::table::print_json;
use crate::preset::written;

pub(super) fn run(args: &Schema) -> Result<(), Failure> {
    let schema = match args.of {
        SchemaOf::Shelf => schemars::schema_for!(written::Shelf),
        SchemaOf::Set => schemars::schema_for!(written::Set),
    };
    print_json(&schema)
}
