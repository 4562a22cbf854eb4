//! What can be asked of the window: all that a panel can do, one enum for each part of the window that does it.
//!
//! [`Ask`] says whose it is, and every one of the enums in it is matched in one place, without a wildcard: an ask that
//! nobody handles does not compile.

use std::path::PathBuf;

pub use super::gesture::Gesture;
use super::keyboard::Layout;
use super::making::{CrateAsk, PlanAsk};
use super::pouring::PourAsk;
use super::practice::PracticeAsk;
use super::state::{Drift, Looks, Panel, Place};
use super::tuner::TunerAsk;
use crate::index::{KindIndex, PourIndex};
use crate::live::DeviceWish;
use crate::set::Way;
use crate::set::change::{Change, Key};
use crate::units::{Frequency, Volume};

/// What was asked, by who does it.
#[derive(Clone, Debug, PartialEq)]
pub enum Ask {
    /// A change of the set.
    Edit(EditAsk),
    /// Bottles are blown and left.
    Play(PlayAsk),
    /// The sound card, the level, the walls.
    Sound(SoundAsk),
    /// The set's file and other files.
    File(FileAsk),
    /// What was unsaved when the set was to be closed.
    Leave(LeaveAsk),
    /// Writing down what is played.
    Take(TakeAsk),
    /// What is shown, and how large.
    View(ViewAsk),
    /// The keyboard.
    Board(BoardAsk),
    /// The piece that plays along.
    Practice(PracticeAsk),
    /// The tuner.
    Tuner(TunerAsk),
    /// Pouring by ear.
    Pour(PourAsk),
    /// The bottles in the crate.
    Crate(CrateAsk),
    /// The plan.
    Plan(PlanAsk),
}

/// A change of the set, or its undoing. Bottles are counted as the set's pours are.
#[derive(Clone, Debug, PartialEq)]
pub enum EditAsk {
    /// This much is to be in a bottle.
    Fill(PourIndex, Volume, Gesture),
    /// A bottle is to be set to this, in millilitres, bar or millimetres: see what the panel shows of it.
    Set(PourIndex, f64, Gesture),
    /// As much as its note needs.
    Tune(PourIndex),
    /// Every bottle as much as its note needs.
    TuneAll,
    /// Another note for a bottle, as typed.
    Note(PourIndex, String),
    /// A bottle of the shelf more, less or another.
    Shelf(ShelfAsk),
    /// The room.
    Room(RoomAsk, Gesture),
    /// What a change of the room does.
    Drift(Drift),
    /// One step back.
    Undo,
    /// One step forth.
    Redo,
}

/// A bottle of the shelf more, less or another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShelfAsk {
    /// The same once more.
    Duplicate(PourIndex),
    /// Without it.
    Remove(PourIndex),
    /// Its note in another kind of bottle.
    Into(PourIndex, KindIndex),
    /// Sounded another way.
    Way(PourIndex, Way),
}

/// A change of the room, the filling, the lips, or of what the notes mean.
#[derive(Clone, Debug, PartialEq)]
pub enum RoomAsk {
    /// One of the conditions; a share that is out of range goes to its nearer end.
    Condition(Change),
    /// One of the conditions as typed, such as a gas by its name.
    Typed(Key, String),
    /// Share of warm breath in the neck, 0 to 1.
    Breath(f64),
    /// The pitch of A4.
    A4(Frequency),
}

/// Bottles are blown and left. They are counted as the set's pours are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PlayAsk {
    /// A pointer, a finger or the focus blows a bottle, 0 to 1.
    Blow(PourIndex, f32),
    /// It leaves it.
    LetGo(PourIndex),
    /// Both at once: a tap that was over before anybody looked.
    Tap(PourIndex, f32),
    /// It sounds on by itself, or no longer.
    Hold(PourIndex),
    /// Equal temperament, or as it stands.
    Equal(bool),
    /// A plain tone at the target of a bottle, or none.
    Tone(Option<PourIndex>),
    /// Everybody lets go.
    AllOff,
    /// Silence at once.
    Silence,
}

/// The sound card, the level, the walls.
#[derive(Clone, Debug, PartialEq)]
pub enum SoundAsk {
    /// The master level, dB.
    Level(f64),
    /// Nothing is heard, or it is again.
    Mute(bool),
    /// The part from the walls, 0 to 1.
    Wet(f32),
    /// Another output.
    Output(DeviceWish),
    /// The same output once more.
    Retry,
    /// Look for sound cards.
    LookForOutputs,
}

/// The set's file and other files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FileAsk {
    /// An empty crate.
    New,
    /// One of the sets that come with the program.
    Example(usize),
    /// What was unsaved when the program did not end as it should.
    Recover,
    /// It is not needed.
    ForgetDraft,
    /// The pour sheet as a page to print.
    PrintSheet,
    /// Write every player's part of the piece and show the pages.
    PrintParts,
    /// Choose a file to open.
    Choose,
    /// Open this file: a set, or a piece that plays along.
    Open(PathBuf),
    /// Write the file.
    Save,
    /// Choose a file to write.
    SaveAs,
    /// The file that was to be named, as typed.
    Named(String),
    /// No file after all.
    Unnamed,
}

/// The set is to be closed, and what becomes of what is unsaved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeaveAsk {
    /// Close the window.
    Close,
    /// Leave in spite of the changes.
    Anyway,
    /// Save, then leave.
    SaveFirst,
    /// Stay.
    Stay,
}

/// Writing down what is played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TakeAsk {
    /// Choose a file for the sound.
    Sound,
    /// Choose a file for the keys.
    Keys,
    /// End of both.
    Stop,
}

/// What is shown, and how large.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ViewAsk {
    /// Show this bottle, counted as the set's pours are.
    Select(PourIndex),
    /// Another place.
    Place(Place),
    /// Only the bottles, large enough for a class, or everything again.
    Stage(bool),
    /// The list of keys.
    Help(bool),
    /// It is poured, or not yet.
    Poured(PourIndex, bool),
    /// Another panel.
    Panel(Panel),
    /// The bottles again, where a panel had taken their place.
    Shelf,
    /// Light or dark.
    Looks(Looks),
    /// Size of everything.
    Zoom(f32),
    /// What the program had to say has been read.
    Dismiss,
}

/// A change of the computer keyboard.
#[derive(Clone, Debug, PartialEq)]
pub enum BoardAsk {
    /// The next key pressed is to give this note; nothing stops waiting.
    WaitFor(Option<u8>),
    /// A setting of it.
    Set(BoardSetting),
}

/// A setting of the computer keyboard.
#[derive(Clone, Debug, PartialEq)]
pub enum BoardSetting {
    /// How keys stand for notes.
    Layout(Layout),
    /// Octaves or rows up.
    Shift(i32),
    /// How hard keys are struck.
    Velocity(u8),
    /// A press starts, the next one ends.
    Latch(bool),
    /// No key has a note of its own.
    ForgetOwn,
}

/// An ask of one kind is an [`Ask`].
macro_rules! asks {
    ($($kind:ident: $ask:ident),+) => {
        $(impl From<$ask> for Ask {
            fn from(ask: $ask) -> Self {
                Self::$kind(ask)
            }
        })+
    };
}

asks!(
    Edit: EditAsk,
    Play: PlayAsk,
    Sound: SoundAsk,
    File: FileAsk,
    Leave: LeaveAsk,
    Take: TakeAsk,
    View: ViewAsk,
    Board: BoardAsk,
    Practice: PracticeAsk,
    Tuner: TunerAsk,
    Pour: PourAsk,
    Crate: CrateAsk,
    Plan: PlanAsk
);
