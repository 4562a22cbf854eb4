//! Bytes to our types and back.

pub mod smf;
