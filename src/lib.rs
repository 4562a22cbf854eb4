//! Plan bottle sets, hear them before any liquid is poured, and say what to pour.
//!
//! ```no_run
//! let set = ullage::set::open("presets/quay/set.toml")?; // read, checked, fitted to what was heard
//! for (pour, sounded) in set.pours.iter().zip(set.sounded()?) {
//!     let (hz, plus_minus) = (sounded.frequency().hz(), sounded.plus_minus().cents());
//!     println!("{} {hz:.2} Hz ±{plus_minus:.0} cents", pour.note);
//! }
//! let stage = ullage::stage::Stage::new(&set)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! stage.render(&stage.programme(&piece)).dry().to_wav("quay.wav")?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Where to begin
//!
//! | you want | begin at |
//! |---|---|
//! | a file of bottles, opened, heard in another room, edited | [`set`] |
//! | to hear a set: a WAV, stems, samples, an engine for a sound card | [`stage::Stage`] |
//! | one bottle, at one filling or for one note | [`sounding::Source`] |
//! | which of many bottles plays which note, and how much goes into it | [`plan`] |
//! | a bottle's outline, from a photograph | `trace` |
//! | what was really poured, from a recording | [`listen`], and [`tuner`] against a set |
//! | the pour sheet, on paper | [`report`] |
//! | the parts of a piece | [`parts`] |
//! | the physics alone: gases, liquids, bores, walls | [`physics`] |
//! | voices alone, in your own audio callback | [`synth`] |
//!
//! # The way through the house
//!
//! ```text
//! bottles + room + notes                what you have, and what you want
//!     │  physics, sounding   f, Q and partials of any bottle, at any filling, in any of its ways
//!     ▼
//!    plan                    which bottle, how much, how sure
//!     │
//!     ▼
//!    set                     the one file that everything below reads; fit: what was heard bends it
//!     ├─► stage ──► synth    voices, rails and a programme; WAV, stems, samplers, or live to a sound card
//!     ├─► tuner ◄── listen   what is heard against what was planned
//!     └─► report             the pour sheet, parts, plots
//! ```
//!
//! Nothing below names anything above it:
//!
//! | module | what it is | may import |
//! |---|---|---|
//! | [`number`], [`units`], [`tuning`], [`score`] | rounding, quantities, note names and temperaments, notes in time | `units` |
//! | [`physics`] | what a bottle sounds like: pure functions in f64 | `units` |
//! | [`sounding`] | one bottle in one of its ways: what to set, and what comes of it | `units`, `physics` |
//! | [`fit`] | a bottle's shape from all that was measured and heard of it | `units`, `physics` |
//! | [`mod@file`] | bytes and our types: WAV, MIDI files, whole files or none | `units`, `score` |
//! | `trace` | the outline of a bottle from a photograph (feature `photographs`) | `units` |
//! | [`set`] | shelves and sets: opened, checked, fitted, edited | all above but `score` |
//! | [`plan`] | which bottle, how much, who plays, how it sits together | `sounding` and what that imports, `tuning`, `score` |
//! | [`synth`] | tuned bottles and events in, blocks of samples out; real-time code | `units`, `score`, `physics` |
//! | [`stage`] | a set ready to be played | all above |
//! | [`listen`] | pitch and ring from sound | `units`, `physics`, `fit` |
//! | [`pouring`] | the fill of a bottle followed by ear while it is poured into; real-time code | `units`, `physics` |
//! | [`tuner`] | what is heard against what was planned, and what to do about it | all above |
//! | `live` | the sound card and MIDI, and the queues to the engine (feature `live`) | `units`, `score`, `synth` |
//! | [`report`] | paper: the pour sheet, strips, parts, plots, CSV | `set`, `plan` and what those import |
//! | [`parts`] | the parts of a piece: pages, MIDI and notation for each player | `stage`, `report` and what those import |
//! | [`page`] | a page that plays in any browser: sound, pieces and cards in one HTML file | `stage`, `report` and what those import |
//! | `app` | the window: panels that draw plain data and return what was asked (feature `window`) | all above |
//! | [`cli`] | the commands | everything |
//!
//! `tests/layers` reads the sources and holds the table.
//!
//! # Threads
//!
//! Everything runs on the caller's thread but `live`: there a thread of its own holds the sound card and another watches
//! the MIDI ports; commands reach the engine in the card's callback through bounded queues, one for each source, and
//! meters and retired engines come back through another. What is in `synth` is fit for an audio callback: it allocates,
//! locks and waits for nothing once it is made.

#[cfg(feature = "window")]
pub mod app;
pub mod cli;
pub mod file;
pub mod fit;
pub mod index;
pub mod listen;
#[cfg(feature = "live")]
pub mod live;
pub mod number;
pub mod page;
pub mod parts;
pub mod physics;
pub mod plan;
pub mod pouring;
pub mod report;
pub mod score;
pub mod set;
pub mod sounding;
pub mod stage;
pub mod synth;
#[cfg(feature = "photographs")]
pub mod trace;
pub mod tuner;
pub mod tuning;
pub mod units;
