//! A piece from a file of any kind that is read: the bytes say which.

use super::musicxml::{self, MusicXmlError, from_musicxml};
use super::smf::{Percussion, SmfError, from_smf_to_the_break};
use crate::score::Score;

/// A file that is no piece, or a broken one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PieceError {
    /// Neither kind of file.
    #[error(
        "neither a MIDI file nor MusicXML: it begins with {found:?} where \"MThd\", \"<\" or \"PK\" is expected"
    )]
    Unknown {
        /// The first bytes, as text.
        found: String,
    },
    /// A MIDI file of which nothing can be read.
    #[error(transparent)]
    Smf(#[from] SmfError),
    /// Broken MusicXML.
    #[error(transparent)]
    MusicXml(#[from] MusicXmlError),
}

/// What was read of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadPiece {
    /// The piece, or as much of it as could be read.
    pub score: Score,
    /// What of it is not played as written.
    pub remarks: Vec<String>,
    /// Where the file is broken, if it is: the piece ends or has gaps there.
    pub broken: Option<SmfError>,
}

/// Reads a MIDI file or MusicXML, packed or as text.
///
/// # Errors
/// [`PieceError`] names the byte or the line and what is wrong there. A MIDI file that breaks after its
/// header is no error here: see [`ReadPiece::broken`].
pub fn read_piece(bytes: &[u8], percussion: Percussion) -> Result<ReadPiece, PieceError> {
    if bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") {
        let (score, broken) = from_smf_to_the_break(bytes, percussion)?;
        let remarks = Vec::new();
        return Ok(ReadPiece {
            score,
            remarks,
            broken,
        });
    }
    if musicxml::looks_like(bytes) {
        let read = from_musicxml(bytes, percussion)?;
        return Ok(ReadPiece {
            score: read.score,
            remarks: read.remarks,
            broken: None,
        });
    }
    let found = String::from_utf8_lossy(&bytes[..bytes.len().min(4)]).into_owned();
    Err(PieceError::Unknown { found })
}
