//! Why a text is not edited.

use crate::index::PourIndex;
use crate::set::SetError;

/// Why the text of a set is not edited.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EditError {
    /// It was no set to begin with.
    #[error(transparent)]
    Read(Box<SetError>),
    /// It cannot be taken apart.
    #[error(transparent)]
    Toml(#[from] toml_edit::TomlError),
    /// It cannot be put together.
    #[error(transparent)]
    Write(#[from] toml::ser::Error),
    /// Something is written in a form that cannot be edited in place.
    #[error("{name} is not written as a table or a list of tables")]
    Form {
        /// What.
        name: &'static str,
    },
    /// There is no pour in that place.
    #[error("there is no pour at index {index} of {count}")]
    NoSuchPour {
        /// As asked for, from zero.
        index: PourIndex,
        /// How many there are.
        count: usize,
    },
    /// There is no pair in that place.
    #[error("there is no joined pair at index {index} of {count}")]
    NoSuchPair {
        /// As asked for, from zero.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// No bottle has that name.
    #[error("no [[bottle]] is called {name:?}")]
    NoSuchBottle {
        /// As asked for.
        name: String,
    },
    /// The edited text makes no set.
    #[error(transparent)]
    ReadBack(Box<SetError>),
}
