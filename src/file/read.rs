//! Reading a whole file, with a limit: a device that goes on for ever, or the wrong file, must not fill the memory.
//!
//! ```
//! use ullage::file::read;
//! let folder = tempfile::tempdir()?;
//! let path = folder.path().join("names.txt");
//! std::fs::write(&path, "jug\nkrügli\n")?;
//! assert_eq!(read::text(&path, 1_000, "of a list")?, "jug\nkrügli\n");
//! // Eleven characters with the ends of the lines, but ü takes two bytes.
//! let error = read::text(&path, 11, "of a list").unwrap_err();
//! assert_eq!(error.to_string(), "12 bytes are more than 11, the most of a list");
//! // The same list as an old editor wrote it: in Latin-1 ü is the one byte FC, which is no UTF-8.
//! std::fs::write(&path, b"jug\nkr\xFCgli\n")?;
//! let error = read::text(&path, 1_000, "of a list").unwrap_err();
//! assert_eq!(error.to_string(), "byte 7 (line 2) is not UTF-8 text");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Why a file was not read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The system refuses.
    #[error("{source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// It is too long.
    #[error("{size} are more than {limit_bytes}, the most {what}")]
    TooLong {
        /// The file.
        path: PathBuf,
        /// As far as it is known, in words.
        size: String,
        /// The most that is read, bytes.
        limit_bytes: u64,
        /// Whose limit it is.
        what: &'static str,
    },
    /// It is not text.
    #[error("byte {byte} (line {line}) is not UTF-8 text")]
    NotText {
        /// The file.
        path: PathBuf,
        /// The first that is no text, counted from one.
        byte: usize,
        /// Its line, counted from one.
        line: usize,
    },
}

impl ReadError {
    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        match self {
            Self::Io { path, .. } | Self::TooLong { path, .. } | Self::NotText { path, .. } => path,
        }
    }
}

/// The bytes of a file of at most `limit_bytes`; `what` ends the sentence "… are more than …, the most".
///
/// # Errors
/// No such file, one that cannot be read, or more bytes than that.
pub fn bytes(path: &Path, limit_bytes: u64, what: &'static str) -> Result<Vec<u8>, ReadError> {
    let io = |source| ReadError::Io {
        path: path.to_path_buf(),
        source,
    };
    let too_long = |size: String| ReadError::TooLong {
        path: path.to_path_buf(),
        size,
        limit_bytes,
        what,
    };
    let file = File::open(path).map_err(io)?;
    let size = file.metadata().map_err(io)?.len();
    if size > limit_bytes {
        return Err(too_long(format!("{size} bytes")));
    }
    // A device says that it has no length and goes on for ever.
    let mut bytes = Vec::new();
    file.take(limit_bytes + 1)
        .read_to_end(&mut bytes)
        .map_err(io)?;
    if bytes.len() as u64 > limit_bytes {
        return Err(too_long("its bytes".to_owned()));
    }
    Ok(bytes)
}

/// The same as text.
///
/// # Errors
/// As [`bytes`], or bytes that are not UTF-8.
pub fn text(path: &Path, limit_bytes: u64, what: &'static str) -> Result<String, ReadError> {
    String::from_utf8(bytes(path, limit_bytes, what)?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let lines_before = error.as_bytes()[..at].iter().filter(|b| **b == b'\n');
        ReadError::NotText {
            path: path.to_path_buf(),
            byte: at + 1,
            line: 1 + lines_before.count(),
        }
    })
}
