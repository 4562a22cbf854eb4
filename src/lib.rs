//! Plan bottle sets, hear them before any liquid is poured, and say what to pour.
//!
//! # The way through the house
//!
//! ```text
//! shelf + room + notes                  what you have, and what you want
//!     │  physics   f, Q and partials of any bottle at any filling
//!     ▼
//!    plan          which bottle, how much, how sure
//!     │
//!     ▼
//!    set           the one file that everything below reads
//!     ├─► synth ──► cli audition   WAV of the scale, the chords, a pair
//!     └─► report                   the pour sheet
//! ```
//!
//! | module | what it is | may import |
//! |---|---|---|
//! | [`units`], [`tuning`], [`score`] | quantities, note names and temperaments, notes in time | `units` |
//! | [`physics`] | what a bottle sounds like: pure functions in f64 | `units` |
//! | [`preset`] | shelves and sets in TOML, checked once and then trusted | `units`, `tuning`, `physics` |
//! | [`plan`] | which bottle, how much, what is played, how notes sit together | `units`, `tuning`, `score`, `physics` |
//! | [`synth`] | tuned bottles and events in, blocks of samples out; real-time code | `units`, `score`, `physics` |
//! | [`mod@file`] | bytes and our types: WAV, MIDI files, whole files or none | `units`, `score` |
//! | [`report`] | the pour sheet: a page to print, strips, plots, CSV | `units`, `tuning`, `physics`, `plan`, `preset` |
//! | [`listen`] | pitch and ring from a recording | `units`, `physics`, `fit` |
//! | [`tuner`] | what is heard against what was planned: which bottle, how far off, what to pour | all above but `live` and `report` |
//! | `live` | the sound card and MIDI, and the queues to the engine (feature `live`) | `units`, `score`, `synth` |
//! | [`cli`] | joins the pieces, one file a command | all of the above |
//! | `app` | the window: panels that draw plain data and return what was asked (feature `window`) | all of the above |
//!
//! `tests/layers.rs` reads the sources and holds the table.
//!
//! # Threads
//!
//! Everything runs on the caller's thread but `live`: there a thread of its own holds the sound card and another watches
//! the MIDI ports; commands reach the engine in the card's callback through bounded queues, one for each source, and
//! meters and retired engines come back through another. What is in `synth` is fit for an audio callback: it allocates,
//! locks and waits for nothing once it is made.
//!
//! # Hear a piece
//!
//! A set that is opened is finished; put on the stage it can be played.
//!
//! ```
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("quay.wav");
//! let set = ullage::set::open("presets/quay/set.toml")?; // read, checked, fitted
//! for pour in set.sounded()? {
//!     println!("{:.2} Hz ±{:.0} cents", pour.frequency().hz(), pour.plus_minus().cents());
//! }
//! let stage = ullage::stage::Stage::new(&set)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! stage.render(&stage.programme(&piece)).dry().to_wav(&path)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Hear a note
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::sounding::Poured;
//! use ullage::set::read_shelf;
//! use ullage::synth::{Attack, Bank, Event, EventKind, VoiceSpec};
//! use ullage::units::{Frequency, SampleRate};
//!
//! let shelf = read_shelf(
//!     r#"
//!     [[bottle]]
//!     name = "half litre"
//!     capacity_ml = 500
//!     mouth_bore_mm = 18
//!     neck_length_mm = 60
//!     body_diameter_mm = 66
//!     "#,
//! )?;
//! let a3 = Frequency::from_hz(220.0);
//! let poured = Poured::solved(&shelf.kinds[0].bottle, a3, &Conditions::default())?;
//! println!("pour {:.0} ml", poured.prediction.fill.ml());
//!
//! let note = poured.prediction.note();
//! let rate = SampleRate::from_hz(48_000.0);
//! let mut bank = Bank::new(&[VoiceSpec::new(note.frequency, note.quality)?], rate, 1)?;
//! let blow = EventKind::Blow { g: 2.5, attack: Attack::Natural };
//! bank.push(Event { at_frames: 0, bottle: 0, kind: blow }).expect("the queue is empty");
//! let (mut left, mut right) = (vec![0.0; 48_000], vec![0.0; 48_000]);
//! bank.add_block(&mut left, &mut right);
//! assert!(left.iter().any(|sample| sample.abs() > 0.1));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[cfg(feature = "window")]
pub mod app;
pub mod cli;
pub mod file;
pub mod fit;
pub mod listen;
#[cfg(feature = "live")]
pub mod live;
pub mod number;
pub mod physics;
pub mod plan;
pub mod report;
pub mod score;
pub mod set;
pub mod sounding;
pub mod stage;
pub mod synth;
pub mod tuner;
pub mod tuning;
pub mod units;
