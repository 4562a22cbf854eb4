//! A set ready to be played: its bottles' voices, what slides in it, what is played of it, and where that goes.
//!
//! [`Stage`] is where every sound begins. From it come
//!
//! - a [`Performance`]: the set's own [`Stage::audition_programme`], or a piece, whole with [`Stage::programme`] or in part
//!   with [`Stage::programme_of`];
//! - a [`Rendering`] of that to a file, to stems, or to samples, described by a [`RenderSpec`];
//! - [`Stage::engine`], which plays it live, and [`Stage::instrument`] for samplers;
//! - [`Stage::harmony`] and [`Stage::drift`]: how the bottles sit together and how they move;
//! - [`OnSet`]: who could play a piece; [`TwoStates`]: the set before and after something changes.
//!
//! Nothing here prints or asks; errors are [`StageError`], [`PlayError`], [`RenderError`] and [`SampledError`], with the
//! value and the limit.
//!
//! ```
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("quay.wav");
//! let set = ullage::set::open("presets/quay/set.toml")?;      // read, checked, fitted
//! let stage = ullage::stage::Stage::new(&set)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! # let rate = ullage::units::SampleRate::from_hz(8_000.0);
//! stage.render(&stage.programme(&piece))
//! #   .rate(rate)
//!     .dry()
//!     .to_wav(&path)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod convolved;
mod engine;
mod error;
mod harmony;
mod mix;
mod on_set;
mod performance;
mod piece;
mod rails;
mod ranges;
mod ready;
mod render;
mod sampled;
mod schedule;
mod spec;
mod stems;
mod two;
mod voices;

pub use engine::{EngineOptions, Played};
pub use error::{RailError, RenderError, StageError};
pub use harmony::{Harmony, WorstPair};
pub use on_set::{LostNote, OnSet, SharingSpec};
pub use performance::Performance;
pub use piece::{PieceSpec, PlayError};
pub use rails::{Rider, SetRail, SetRails};
pub use ranges::{OutOfRange, Quantity};
pub use ready::Stage;
pub use render::{Progress, Rendering, Samples};
pub use sampled::SampledError;
pub use spec::RenderSpec;
pub use stems::StemsBy;
pub use two::{Situation, TwoStates};
pub use voices::{pan, partials, wander};
