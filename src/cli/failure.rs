//! What goes wrong, as it is told: what was tried, why it failed, and a way out.

use std::fmt;
use std::path::Path;
use std::process::ExitCode;

use crate::file::atomic::WriteError;

/// A command that failed.
#[derive(Debug)]
pub struct Failure {
    what: String,
    because: String,
    way_out: Option<String>,
    bad_input: bool,
}

impl Failure {
    /// It cannot be done; exit code 1.
    pub fn cannot(what: impl Into<String>, because: impl fmt::Display) -> Self {
        Self {
            what: format!("cannot {}", what.into()),
            because: because.to_string(),
            way_out: None,
            bad_input: false,
        }
    }

    /// The usage or a file is bad; exit code 2.
    pub fn bad(what: impl Into<String>, because: impl fmt::Display) -> Self {
        Self {
            bad_input: true,
            ..Self::cannot(what, because)
        }
    }

    /// A file that could not be written under the name that `option` gave it.
    pub fn unwritten(path: &Path, error: WriteError, option: &str) -> Self {
        let way_out = match error {
            WriteError::Exists { .. } => format!("--force, or another name after {option}"),
            WriteError::DiskFull { .. } => {
                format!("making room on the disk, or a folder on another after {option}")
            }
            _ => format!("another name or folder after {option}"),
        };
        Self::cannot(format!("write {}", path.display()), error).or_try(way_out)
    }

    /// Adds a way out.
    #[must_use]
    pub fn or_try(mut self, way_out: impl Into<String>) -> Self {
        self.way_out = Some(way_out.into());
        self
    }

    /// 1 or 2.
    #[must_use]
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(if self.bad_input { 2 } else { 1 })
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "error: {}", self.what)?;
        // Lines of the reader's picture of a file keep their columns below the first.
        let because = self.because.trim_end().replace('\n', "\n    ");
        write!(f, "\n  because: {because}")?;
        if let Some(way_out) = &self.way_out {
            write!(f, "\n  try: {way_out}")?;
        }
        Ok(())
    }
}
