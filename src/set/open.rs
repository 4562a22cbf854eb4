//! Opening files of bottles: read, checked and fitted to what was heard, in one call.

use std::path::{Path, PathBuf};

use super::error::SetError;
use super::mistakes::placed;
use super::{Set, ShelfOrSet, read_any_in, read_set};
use crate::file::read::{self, ReadError};
use crate::physics::conditions::Conditions;

/// Largest file that is read as a shelf or a set, bytes.
const MAX_FILE_BYTES: u64 = 16 << 20;

/// Why a file of bottles was not opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// It cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: ReadError,
    },
    /// It is not a shelf or a set, or a bottle in it cannot be what it is said to be.
    #[error("cannot use {}: {source}", path.display())]
    Refused {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: Box<SetError>,
    },
}

/// Opens a set: read, checked, and its bottles fitted to what was heard from them.
///
/// # Errors
/// See [`OpenError`].
///
/// ```
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// assert_eq!(set.pours.len(), 15);
/// # Ok::<(), ullage::set::OpenError>(())
/// ```
pub fn open(path: impl AsRef<Path>) -> Result<Set, OpenError> {
    let path = path.as_ref();
    open_text(path, &file_text(path)?)
}

/// The same with the text that was read from `path`, as [`file_text`] gives it.
///
/// # Errors
/// [`OpenError::Refused`].
pub fn open_text(path: &Path, text: &str) -> Result<Set, OpenError> {
    refused(path, text, read_set(text))
}

/// Opens a shelf or a set, whichever it is. What was heard from the bottles of a shelf was heard in `shelf_room`; a set has a
/// room of its own.
///
/// # Errors
/// See [`OpenError`].
pub fn open_any(path: impl AsRef<Path>, shelf_room: &Conditions) -> Result<ShelfOrSet, OpenError> {
    let path = path.as_ref();
    let text = file_text(path)?;
    refused(path, &text, read_any_in(&text, shelf_room))
}

/// The text of a file of bottles.
///
/// # Errors
/// [`OpenError::Read`].
pub fn file_text(path: &Path) -> Result<String, OpenError> {
    read::text(path, MAX_FILE_BYTES, "that a shelf or set may have").map_err(|source| {
        OpenError::Read {
            path: path.to_path_buf(),
            source,
        }
    })
}

fn refused<T>(path: &Path, text: &str, result: Result<T, SetError>) -> Result<T, OpenError> {
    result.map_err(|source| OpenError::Refused {
        path: path.to_path_buf(),
        source: Box::new(placed(text, source)),
    })
}
