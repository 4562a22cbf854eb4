//! The window: see the shelf, blow it, drag its levels, hear at once what comes of it.
//!
//! [`State`] is plain data, [`Derived`] is what the models say about it, and every panel draws the two and returns
//! what was asked as [`Ask`]s. [`Session::apply`] is the only place where anything changes, and the only one that
//! sends commands to the sound. No panel holds a formula, and nothing here waits for a device or a disk: dialogs,
//! lists of devices and recordings have threads of their own.
//!
//! | file | holds |
//! |---|---|
//! | `state`, `ask` | what there is to see, and what can be asked |
//! | `document` | a set and its file, written back with its comments |
//! | `history` | undo and redo |
//! | `derived` | what each bottle gives as it stands |
//! | `session` | asks to changes and commands |
//! | `keyboard`, `keys` | the computer keyboard: positions, what is held |
//! | `events` | key presses taken before any frame |
//! | `tuner`, `judge` | what is heard of the bottles, and what that says about them |
//! | `hearing` | the microphone and the thread that listens; `kept`: what was heard, into the file |
//! | `sound` | the little of the desk that is needed, so that a test can listen |
//! | `practice`, `practising` | a piece that plays along: what is sent when, and what is asked of it |
//! | `draw`, `panels/` | the picture |
//!
//! To add a panel: a file in `panels/` with `show(ui, &View, &mut Vec<Ask>)`, a variant of [`Panel`] with its title,
//! and a line in `panels::show`.

mod apply;
mod ask;
mod derived;
mod document;
mod draw;
mod events;
mod files;
mod hearing;
mod history;
mod judge;
mod kept;
mod keyboard;
mod keys;
mod palette;
mod panels;
mod practice;
mod practising;
mod session;
mod settings;
mod sound;
mod state;
mod take;
mod tuner;
mod tuner_asks;
mod window;

pub use crate::stage::EngineOptions;
pub use ask::{Ask, BoardAsk, Gesture, RoomAsk};
pub use derived::{Derived, More, Pitch, Shown};
pub use document::{Document, DocumentError, Model};
pub use draw::draw;
pub use files::Purpose;
pub use hearing::{Microphone, Opener};
pub use keyboard::{Board, KeySink, Keyboard, Layout, Press};
pub use panels::View;
pub use practice::{Clock, Coming, Passed, PracticeAsk, Practising};
pub use session::{Session, Setup};
pub use settings::Settings;
pub use sound::Sound;
pub use state::{Drift, Leaving, Looks, Naming, Note, Panel, State, Taking};
pub use tuner::{Heard, Point, Tuner, TunerAsk};
pub use window::{AppError, Start, run};
