//! `ullage audition`.
use super::Failure;
use super::args::Audition;
pub(super) fn run(_args: &Audition) -> Result<(), Failure> {
    Err(Failure::cannot("audition", "not merged yet"))
}
