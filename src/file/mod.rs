//! Files.
pub mod atomic;
