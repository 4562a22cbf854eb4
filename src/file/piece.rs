//! A piece from a file of any kind that is read: the bytes say which.
//!
//! [`open`] is for who has a file; what there is to say of it comes with it as data, and is said by who opened it.

use std::path::{Path, PathBuf};

use super::musicxml::{self, MusicXmlError, from_musicxml};
use super::read::{ReadError, bytes};
use super::smf::{Percussion, SmfError, from_smf_to_the_break};
use crate::score::Score;

/// Largest file that is read as a piece, bytes.
const MAX_PIECE_BYTES: u64 = 16 << 20;

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

/// What is done about a MIDI file that is broken after its header.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WhenBroken {
    /// It is refused, and the error says how much could be read.
    #[default]
    Refuse,
    /// What could be read is the piece, if there is a note in it; [`OpenedPiece::broken`] says where it breaks.
    UpToBreak,
}

/// How much there is of a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Readable {
    /// Notes.
    pub notes: usize,
    /// Bars up to the end of the last of them.
    pub bars: usize,
}

impl Readable {
    fn of(score: &Score) -> Self {
        Self {
            notes: score.notes.len(),
            bars: score.bars_to_the_end().len(),
        }
    }
}

impl std::fmt::Display for Readable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let many = |count: usize, one: &str| match count {
            1 => format!("1 {one}"),
            count => format!("{count} {one}s"),
        };
        match self.notes {
            0 => f.write_str("no note"),
            notes => write!(f, "{} in {}", many(notes, "note"), many(self.bars, "bar")),
        }
    }
}

/// A piece that was opened, and what there is to say about it.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenedPiece {
    /// Its file.
    pub path: PathBuf,
    /// Its notes, without percussion.
    pub score: Score,
    /// What of it is not played as written, each in a sentence.
    pub remarks: Vec<String>,
    /// Where the file is broken, if it is and that was to be passed over: the piece ends or has gaps there.
    pub broken: Option<SmfError>,
}

impl OpenedPiece {
    /// How much there is of it.
    #[must_use]
    pub fn readable(&self) -> Readable {
        Readable::of(&self.score)
    }

    /// What it is called where its music is listed: "the piece" and its file's name.
    #[must_use]
    pub fn title(&self) -> String {
        let name = self.path.file_name().unwrap_or(self.path.as_os_str());
        format!("the piece {}", name.to_string_lossy())
    }
}

/// Why a piece was not opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PieceOpenError {
    /// It cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: ReadError,
    },
    /// It is no piece.
    #[error("cannot use {}: {source}", path.display())]
    Refused {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: PieceError,
    },
    /// It is broken.
    #[error("cannot use {}: {source}; {readable} can be read", path.display())]
    Broken {
        /// The file.
        path: PathBuf,
        /// Where and why.
        source: SmfError,
        /// How much of it there is up to there.
        readable: Readable,
    },
}

/// Opens a piece, without its percussion: a MIDI file or MusicXML, whatever it is called, of up to 16 MiB. A broken one is
/// refused.
///
/// # Errors
/// See [`PieceOpenError`].
///
/// ```
/// let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
/// assert_eq!(piece.readable().bars, 24);
/// # Ok::<(), ullage::file::piece::PieceOpenError>(())
/// ```
pub fn open(path: impl AsRef<Path>) -> Result<OpenedPiece, PieceOpenError> {
    open_with(path, WhenBroken::Refuse)
}

/// The same, with a choice of what is done about a broken one.
///
/// # Errors
/// See [`PieceOpenError`]; a file that breaks before its first note is refused in any case.
pub fn open_with(
    path: impl AsRef<Path>,
    when_broken: WhenBroken,
) -> Result<OpenedPiece, PieceOpenError> {
    let path = path.as_ref().to_path_buf();
    let bytes = match bytes(&path, MAX_PIECE_BYTES, "that is read") {
        Ok(bytes) => bytes,
        Err(source) => return Err(PieceOpenError::Read { path, source }),
    };
    let read = match read_piece(&bytes, Percussion::Skip) {
        Ok(read) => read,
        Err(source) => return Err(PieceOpenError::Refused { path, source }),
    };
    let goes_on = when_broken == WhenBroken::UpToBreak && !read.score.notes.is_empty();
    match read.broken {
        Some(source) if !goes_on => Err(PieceOpenError::Broken {
            path,
            source,
            readable: Readable::of(&read.score),
        }),
        broken => Ok(OpenedPiece {
            path,
            score: read.score,
            remarks: read.remarks,
            broken,
        }),
    }
}
