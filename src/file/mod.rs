//! Files.
pub mod atomic;
pub mod smf;
