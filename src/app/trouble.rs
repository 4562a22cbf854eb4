//! What went wrong, in the words of the window: what could not be done, why, and what to do about it here.

use std::fmt;
use std::path::Path;

use super::document::DocumentError;
use crate::file::piece::PieceOpenError;
use crate::report::words::plain;
use crate::set::edit::EditError;
use crate::set::{OpenError, SetError};

/// Something that could not be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    what: String,
    because: String,
    way_out: Option<String>,
}

impl Trouble {
    /// `what` could not be done, such as "open quay.toml".
    pub fn cannot(what: impl Into<String>, because: impl fmt::Display) -> Self {
        Self {
            what: what.into(),
            because: because.to_string(),
            way_out: None,
        }
    }

    /// Adds what to do about it, as an imperative: in the window, and never by an option of the command line.
    #[must_use]
    pub fn or_try(mut self, way_out: impl Into<String>) -> Self {
        self.way_out = Some(way_out.into());
        self
    }

    /// A recording that could not be written into `path`.
    pub(super) fn unwritten(path: &Path, error: impl fmt::Display) -> Self {
        Self::cannot(format!("write {}", path.display()), error)
            .or_try("record once more, into another file or folder")
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let because = self.because.trim_end();
        write!(f, "cannot {}\nbecause: {because}", self.what)?;
        if let Some(way_out) = &self.way_out {
            write!(f, "\ntry: {way_out}")?;
        }
        Ok(())
    }
}

impl From<DocumentError> for Trouble {
    fn from(error: DocumentError) -> Self {
        const ELSEWHERE: &str = "press \"Save as…\" and choose another name or folder";
        match error {
            DocumentError::Open(error) => error.into(),
            DocumentError::Set(error) => Self::cannot("do this", plain(&error.to_string())),
            DocumentError::Unnamed => {
                Self::cannot("save the set", "it has no file yet").or_try(ELSEWHERE)
            }
            DocumentError::Refit(EditError::ReadBack(error))
                if matches!(*error, SetError::Fit { .. }) =>
            {
                Self::cannot("keep what was heard", error)
                    .or_try("say first what is really in it, or select the right bottle")
            }
            DocumentError::Refit(error) => Self::cannot("keep what was heard", error)
                .or_try("mend the file in an editor, then open it again"),
            DocumentError::Changed { path } => Self::cannot(
                format!("save {}", path.display()),
                "another program has changed it since it was opened",
            )
            .or_try(ELSEWHERE),
            DocumentError::Edit(error) => {
                Self::cannot("write the set into its file's text", error).or_try(ELSEWHERE)
            }
            DocumentError::Write(error) => Self::cannot("save the set", error).or_try(ELSEWHERE),
        }
    }
}

impl From<OpenError> for Trouble {
    fn from(error: OpenError) -> Self {
        match error {
            OpenError::Read { path, source } => {
                Self::cannot(format!("read {}", path.display()), source)
                    .or_try("open another file; a bottle set is a text whose name ends in .toml")
            }
            OpenError::Refused { path, source } => match *source {
                SetError::Fit { name, source } => {
                    let what = format!("fit {name:?} of {} to what was heard", path.display());
                    Self::cannot(what, source).or_try(
                        "check that pitch and its fill in the file, or leave it out of heard",
                    )
                }
                source => Self::cannot(format!("use {}", path.display()), source)
                    .or_try("mend it in an editor, then open it again"),
            },
        }
    }
}

impl From<PieceOpenError> for Trouble {
    fn from(error: PieceOpenError) -> Self {
        match error {
            PieceOpenError::Read { path, source } => {
                Self::cannot(format!("read {}", path.display()), source).or_try("open another file")
            }
            PieceOpenError::Refused { path, source } => {
                Self::cannot(format!("use {}", path.display()), source)
                    .or_try("open a Standard MIDI File or MusicXML")
            }
            PieceOpenError::Broken {
                path,
                source,
                readable,
            } => {
                let because = format!("{source}\n{readable} can be read");
                Self::cannot(format!("use {}", path.display()), because)
                    .or_try("write the piece out again as a Standard MIDI File")
            }
        }
    }
}
