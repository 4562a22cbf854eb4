//! What goes wrong, as it is reported: what was tried, why it failed, and a way out.

use std::fmt;
use std::path::Path;
use std::process::ExitCode;

use super::print::JSON_VERSION;
use crate::file::atomic::WriteError;
use crate::file::read::ReadError;
use crate::set::{OpenError, SetError, SilentPour, Way};
use crate::stage::{OutOfRange, Quantity, StageError};

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
            WriteError::Exists { .. } => format!("use --force, or another name after {option}"),
            WriteError::DiskFull { .. } => {
                format!("make room on the disk, or name a folder on another after {option}")
            }
            _ => format!("use another name or folder after {option}"),
        };
        Self::cannot(format!("write {}", path.display()), error).or_try(way_out)
    }

    /// A value of an option that the stage does not take.
    pub fn outside(what: &str, error: OutOfRange) -> Self {
        let option = match error.quantity {
            Quantity::Breath => "--breath",
            Quantity::Rate => "--rate-hz",
            Quantity::Loudness => "--lufs",
            Quantity::Level => "--level-db",
            Quantity::Tempo => "--tempo-pct",
            Quantity::Scatter => "--humanise-ms",
            Quantity::Change => "--change-s",
            Quantity::Shorter => "--shorten-pct",
        };
        let OutOfRange {
            value, min, max, ..
        } = error;
        Self::bad(what, format!("{option} {value} is outside {min} to {max}"))
    }

    /// Adds a way out.
    #[must_use]
    pub fn or_try(mut self, way_out: impl Into<String>) -> Self {
        self.way_out = Some(way_out.into());
        self
    }

    /// Why it failed, without what was tried and without the way out.
    pub fn because(&self) -> &str {
        self.because.trim_end()
    }

    /// The same for programs.
    pub fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "version": JSON_VERSION,
            "error": {
                "what": legible(&self.what),
                "because": legible(self.because.trim_end()),
                "try": self.way_out,
            },
            "exit": if self.bad_input { 2 } else { 1 },
        })
    }

    /// 1 or 2.
    #[must_use]
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(if self.bad_input { 2 } else { 1 })
    }
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        let is_text = matches!(error, ReadError::NotText { .. });
        let failure = Self::bad(format!("read {}", error.path().display()), error);
        if is_text {
            failure.or_try("save it as UTF-8 in the editor, if it is a shelf or a set at all")
        } else {
            failure
        }
    }
}

impl From<OpenError> for Failure {
    fn from(error: OpenError) -> Self {
        match error {
            OpenError::Read { source, .. } => source.into(),
            OpenError::Refused { path, source } => match *source {
                SetError::Fit { name, source } => {
                    let path = path.display();
                    let (what, keys) = match source.is_of_wall() {
                        false => (
                            format!("fit {name:?} of {path} to what was heard"),
                            "fill_ml and hz",
                        ),
                        true => (
                            format!("fit the wall of {name:?} of {path} to what was heard"),
                            "fill_ml, gauge_bar and hz",
                        ),
                    };
                    Self::bad(what, source).or_try(format!(
                        "check {keys} of that pitch, or leave it out of heard"
                    ))
                }
                source => Self::bad(format!("use {}", path.display()), source).or_try(
                    "see ullage schema shelf, or ullage schema set, for every key and what it means",
                ),
            },
        }
    }
}

impl From<SilentPour> for Failure {
    fn from(pour: SilentPour) -> Self {
        let what = format!("sound {} in {:?}", pour.note, pour.bottle);
        Self::cannot(what, pour.source).or_try(match pour.way {
            Way::Blown => "use another bottle for this note, or less in it",
            _ => "use another bottle for this note, or ullage plan to choose one",
        })
    }
}

impl From<StageError> for Failure {
    fn from(error: StageError) -> Self {
        match error {
            StageError::Silent(pour) => pour.into(),
            StageError::Rail { bottle, source } => {
                Self::cannot(format!("slide {bottle:?}"), source)
            }
            StageError::SilentThere {
                note,
                situation,
                source,
            } => Self::cannot(format!("sound {note} with \"{situation}\""), source)
                .or_try("choose conditions that it sounds in"),
            StageError::Voice(error) => Self::cannot("voice this set", error),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "error: {}", legible(&self.what))?;
        let because = self.because.trim_end();
        // Lines of the reader's picture of a file keep their columns below the first, and what they show.
        let because = if because.contains('\n') {
            because.replace('\n', "\n    ")
        } else {
            legible(because)
        };
        write!(f, "\n  because: {because}")?;
        if let Some(way_out) = &self.way_out {
            write!(f, "\n  try: {way_out}")?;
        }
        Ok(())
    }
}

/// The same with numbers of more than thirty digits, which nobody counts, by their power of ten.
fn legible(text: &str) -> String {
    let word = |word: &str| {
        let is_long = word.len() > 30 && word.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        match word.parse::<f64>() {
            Ok(number) if is_long => format!("{number:e}"),
            _ => word.to_owned(),
        }
    };
    let words: Vec<String> = text.split(' ').map(word).collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_that_nobody_counts_is_written_by_its_power_of_ten_and_a_name_as_it_is() {
        let said = |what: String| Failure::cannot(what, "so").to_string();
        assert_eq!(
            said(format!("pour {} ml", 1e300)),
            "error: cannot pour 1e300 ml\n  because: so"
        );
        let name = format!("write /tmp/{}.wav", "1".repeat(40));
        assert_eq!(
            said(name.clone()),
            format!("error: cannot {name}\n  because: so")
        );
        assert_eq!(
            said("pour 12.5 ml".into()),
            "error: cannot pour 12.5 ml\n  because: so"
        );
    }
}
