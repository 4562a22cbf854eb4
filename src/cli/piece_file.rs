//! Reading a piece that a command is given, and what is said of a broken one.

use std::path::Path;

use clap::Args;

use super::Failure;
use super::print::say;
#[cfg(feature = "window")]
use crate::app::Document;
use crate::file::piece::{OpenedPiece, PieceError, PieceOpenError, WhenBroken, open_with};
use crate::score::Score;
use crate::set::Set;

/// What to do about a broken piece.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct BreakOptions {
    /// If the MIDI file is broken, go on with what can be read up to the break
    #[arg(long, requires = "piece")]
    pub up_to_break: bool,
}

/// In which key a piece is played.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct KeyOptions {
    /// Move the piece by semitones [-48 to 48; default: as far as the set says, which plan --best-key has written]
    #[arg(long, value_name = "SEMITONES", requires = "piece", allow_negative_numbers = true,
          value_parser = clap::value_parser!(i32).range(-48..=48))]
    pub transpose: Option<i32>,
}

impl KeyOptions {
    /// The set as it plays pieces in this key.
    pub fn over(self, set: Set) -> Set {
        Set {
            transpose: self.transpose.unwrap_or(set.transpose),
            ..set
        }
    }
}

#[cfg(feature = "window")]
impl KeyOptions {
    /// The same of the set in the window.
    pub fn over_document(self, document: Document) -> Document {
        match self.transpose {
            Some(semitones) => document.playing_moved(semitones),
            None => document,
        }
    }
}

impl From<BreakOptions> for WhenBroken {
    fn from(options: BreakOptions) -> Self {
        if options.up_to_break {
            Self::UpToBreak
        } else {
            Self::Refuse
        }
    }
}

/// Opens a piece. What is not played as written is printed on standard error.
pub fn opened(path: &Path, options: BreakOptions) -> Result<OpenedPiece, Failure> {
    let piece = open_with(path, options.into())?;
    if let Some(error) = &piece.broken {
        let (path, there) = (path.display(), piece.readable());
        say!("warning: {path} is broken and not whole: {error}\n  going on with {there}");
    }
    for remark in &piece.remarks {
        say!("note: {}: {remark}", path.display());
    }
    Ok(piece)
}

/// The notes of [`opened`].
pub fn piece(path: &Path, options: BreakOptions) -> Result<Score, Failure> {
    Ok(opened(path, options)?.score)
}

impl From<PieceOpenError> for Failure {
    fn from(error: PieceOpenError) -> Self {
        match error {
            PieceOpenError::Read { source, .. } => source.into(),
            PieceOpenError::Refused { path, source } => {
                let way_out = match source {
                    PieceError::MusicXml(_) => {
                        "write the piece out again as MusicXML, or as a MIDI file"
                    }
                    _ => "write the piece out again as a Standard MIDI File or as MusicXML",
                };
                Self::bad(format!("use {}", path.display()), source).or_try(way_out)
            }
            PieceOpenError::Broken {
                path,
                source,
                readable,
            } => {
                let mut way_out = "write the piece out again as a Standard MIDI File".to_owned();
                if readable.notes > 0 {
                    way_out = format!("--up-to-break to go on with {readable}, or {way_out}");
                }
                let because = format!("{source}\n{readable} can be read");
                Self::bad(format!("use {}", path.display()), because).or_try(way_out)
            }
        }
    }
}
