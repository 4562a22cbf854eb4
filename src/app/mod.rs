//! The window: see the shelf, blow it, drag its levels, hear at once what comes of it.
//!
//! [`State`] is plain data, [`Derived`] is what the models say about it, and every panel draws the two and returns
//! what was asked as [`Ask`]s. [`Session::apply`] is the only place where anything changes, and the only one that
//! sends commands to the sound. No panel holds a formula, and nothing here waits for a device or a disk: dialogs,
//! lists of devices and recordings have threads of their own.
//!
//! | file | holds |
//! |---|---|
//! | `state`, `ask` | what there is to see, and what can be asked: one enum for each part that does it |
//! | `session` | the joint: each ask goes to who does it, and what it changed is worked out, sounded and drawn |
//! | `edit_asks`, `play_asks`, `file_asks`, `view_asks` | what comes of an ask, by the enum that it is in |
//! | `practising`, `tuner_asks` | the same of the piece that plays along, and of the tuner |
//! | `editing` | the set, what it gives, and what can be undone |
//! | `document`, `derived`, `history`, `gesture` | a set and its file; what each bottle gives as it stands; undo and redo, a step for each gesture |
//! | `playing`, `sound` | the set in its engine; the little of the desk that is needed, so that a test can listen |
//! | `jobs`, `files` | what runs on threads of its own: dialogs, lists of devices, files that are written |
//! | `take`, `settings` | what is written down while it is played; what is kept for the next session |
//! | `practice`, `pace` | a piece that plays along: what is sent when; how the stream runs beside the clock |
//! | `making`, `form`, `crate_asks`, `plan_asks` | a set that is made: bottles described, notes planned; what comes of those asks |
//! | `picture`, `blind` | a photograph of a bottle and what a hand moves in it; what stands for it where none can be read |
//! | `planning` | a plan on its thread |
//! | `examples`, `paper` | sets that come with the program, and small pictures; the pour sheet and the parts as pages |
//! | `draft` | unsaved work, kept for the case that the program does not end as it should |
//! | `tuner` | what the tuner shows of what is heard |
//! | `hearing` | the microphone and the thread that listens |
//! | `keyboard`, `keys`, `events` | the computer keyboard: what is held, the positions, presses taken before any frame |
//! | `trouble` | what went wrong, in the window's words |
//! | `window`, `draw`, `palette`, `panels/` | the window, and the picture in it |
//!
//! To add a panel: a file in `panels/` with `show(ui, &View, &mut Vec<Ask>)`, a variant of [`Panel`] with its title,
//! and a line in `panels::show`.
//!
//! ```
//! use ullage::app::{Document, EditAsk, EngineOptions, Gesture, RoomAsk, Session, Settings, Setup};
//! use ullage::live::{Desk, DeviceWish, MidiWish};
//! use ullage::{set::change::Change, stage::Stage, units::{Level, Temperature}};
//!
//! let document = Document::open("presets/quay/set.toml".as_ref())?;
//! let engine = EngineOptions { level: Level::from_db(-12.0), dry: true, nearest: false, channels: u16::MAX };
//! let spec = Stage::new(&document.set())?.engine(&engine)?.spec;
//! // A card and a keyboard that nobody has: the desk is silent, and all else goes on.
//! let output = DeviceWish { host: Some("none".into()), ..DeviceWish::default() };
//! let midi = MidiWish { ports: vec!["none".into()], virtual_port: false };
//! let sound = Box::new(Desk::start(spec, output.clone(), midi));
//! let settings = Settings::default();
//! let mut session = Session::new(Setup { document, engine, output, sound, settings, settings_place: None });
//!
//! let hz = |session: &Session| session.derived().bottles[0].hz().ok_or("it is silent");
//! let at_19 = hz(&session)?;
//! let warmer = RoomAsk::Condition(Change::Temperature(Temperature::from_c(29.0)));
//! session.apply(EditAsk::Room(warmer, Gesture::Single));
//! // The speed of sound grows as the root of the warmth; damp and the swelling of the water add less than 0.5 %.
//! let (rise, of_sound) = (hz(&session)? / at_19, (302.15_f64 / 292.15).sqrt());
//! assert!(rise > of_sound && rise < 1.005 * of_sound);
//! session.apply(EditAsk::Undo);
//! assert_eq!(hz(&session)?, at_19);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod ask;
#[cfg(not(feature = "photographs"))]
mod blind;
mod crate_asks;
mod derived;
mod document;
mod draft;
mod draw;
mod edit_asks;
mod editing;
mod events;
mod examples;
mod file_asks;
mod files;
mod form;
mod gesture;
mod hearing;
mod history;
mod jobs;
mod keyboard;
mod keys;
mod making;
mod pace;
mod palette;
mod panels;
mod paper;
mod picture;
mod plan_asks;
mod planning;
mod play_asks;
mod playing;
mod pour_asks;
mod pouring;
mod practice;
mod practising;
mod session;
mod settings;
mod sound;
mod state;
mod take;
mod trouble;
mod tuner;
mod tuner_asks;
mod turns;
mod view_asks;
mod window;

pub use crate::stage::EngineOptions;
pub use ask::{
    Ask, BoardAsk, BoardSetting, EditAsk, FileAsk, Gesture, LeaveAsk, PlayAsk, RoomAsk, ShelfAsk,
    SoundAsk, TakeAsk, ViewAsk,
};
pub use derived::{Derived, More, Pitch, Shown, SilentBottle};
pub use document::{Document, DocumentError, Model};
pub use draw::draw;
pub use examples::{EXAMPLES, Example, Gallery, Small};
pub use files::Purpose;
pub use form::BottleForm;
pub use hearing::{Microphone, Opener};
pub use keyboard::{Board, KeySink, Keyboard, Layout, Press};
pub use making::{CrateAsk, Making, PlanAsk, PlanField, WantedFrom, Wish, Wishes};
pub use panels::View;
pub use picture::{Found, Moved, Photo, Picture, PictureAsk, Seen};
pub use planning::{InKey, LeftOut, Planned, Progress};
pub use pouring::{PourAsk, PourNow, Pouring};
pub use practice::{Clock, Coming, Passed, PracticeAsk, Practising, RunAsk};
pub use session::{Session, Setup};
pub use settings::{Settings, SettingsError};
pub use sound::Sound;
pub use state::{Drift, Leaving, Looks, Naming, Note, Panel, Place, State, Taking};
pub use trouble::Trouble;
pub use tuner::{Point, Tuner, TunerAsk};
pub use window::{AppError, Start, run};
