//! What several test files share.
#![allow(dead_code, reason = "each test file uses its own part")]

pub mod measure;
