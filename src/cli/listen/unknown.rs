//! A bottle that stands in no file: what its pitch says of it.

use super::ListenArgs;
use crate::cli::Failure;
use crate::listen::HeardNote;

pub(super) fn run(_args: &ListenArgs, _notes: &[HeardNote]) -> Result<(), Failure> {
    Err(Failure::cannot("infer a bottle", "it is not built yet"))
}
