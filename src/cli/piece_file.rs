//! Reading a piece that a command is given, and what is said of a broken one.

use std::path::Path;

use clap::Args;

use super::Failure;
use crate::file::piece::{OpenedPiece, PieceError, PieceOpenError, WhenBroken, open_with};
use crate::score::Score;

/// What to do about a broken piece.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct BreakOptions {
    /// If the MIDI file is broken, go on with what can be read up to the break
    #[arg(long, requires = "piece")]
    pub up_to_break: bool,
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
        eprintln!("warning: {path} is broken and not whole: {error}\n  going on with {there}");
    }
    for remark in &piece.remarks {
        eprintln!("note: {}: {remark}", path.display());
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
                        "writing the piece out again as MusicXML, or as a MIDI file"
                    }
                    _ => "writing the piece out again as a Standard MIDI File or as MusicXML",
                };
                Self::bad(format!("use {}", path.display()), source).or_try(way_out)
            }
            PieceOpenError::Broken {
                path,
                source,
                readable,
            } => {
                let mut way_out = "writing the piece out again as a Standard MIDI File".to_owned();
                if readable.notes > 0 {
                    way_out = format!("--up-to-break to go on with {readable}, or {way_out}");
                }
                let because = format!("{source}\n{readable} can be read");
                Self::bad(format!("use {}", path.display()), because).or_try(way_out)
            }
        }
    }
}
