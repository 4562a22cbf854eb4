//! What can be asked of the window: all that a panel can do.

use std::path::PathBuf;

use super::keyboard::Layout;
use super::practice::PracticeAsk;
use super::state::{Drift, Looks, Panel};
use super::tuner::TunerAsk;
use crate::live::DeviceWish;
use crate::units::{Frequency, Pressure, Temperature, Volume};

/// Whether a change is one of many that belong together, such as the steps of a drag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gesture {
    /// By itself: one step to undo.
    Single,
    /// Part of the drag of this number, which is one step in all.
    Drag(u64),
}

/// A change of the room, the filling or the lips.
#[derive(Clone, Debug, PartialEq)]
pub enum RoomAsk {
    /// How warm it is.
    Temperature(Temperature),
    /// Relative humidity, 0 to 1.
    Humidity(f64),
    /// Air pressure.
    Pressure(Pressure),
    /// Gas above the liquid, by its name.
    Gas(String),
    /// What is poured, by its name.
    Liquid(String),
    /// How far its vapour fills the gas, by its name.
    Headspace(String),
    /// Share of the mouth that the lips leave open.
    LipOpen(f64),
    /// Share of warm breath in the neck.
    Breath(f64),
    /// The pitch of A4.
    A4(Frequency),
}

/// A change of the computer keyboard.
#[derive(Clone, Debug, PartialEq)]
pub enum BoardAsk {
    /// How keys stand for notes.
    Layout(Layout),
    /// Octaves or rows up.
    Shift(i32),
    /// How hard keys are struck.
    Velocity(u8),
    /// A press starts, the next one ends.
    Latch(bool),
    /// The next key pressed is to give this note; nothing stops waiting.
    WaitFor(Option<u8>),
    /// No key has a note of its own.
    Forget,
}

/// What was asked.
#[derive(Clone, Debug, PartialEq)]
pub enum Ask {
    /// A pointer, a finger or the focus blows a bottle, 0 to 1.
    Blow(usize, f32),
    /// It leaves it.
    LetGo(usize),
    /// Show this bottle.
    Select(usize),
    /// This much is to be in a bottle.
    Fill(usize, Volume, Gesture),
    /// A bottle is to be set to this, in millilitres, bar or millimetres: see what the panel shows of it.
    Set(usize, f64, Gesture),
    /// As much as its note needs.
    Tune(usize),
    /// Every bottle as much as its note needs.
    TuneAll,
    /// Another note for a bottle, as typed.
    Note(usize, String),
    /// The room.
    Room(RoomAsk, Gesture),
    /// What a change of the room does.
    Drift(Drift),
    /// Equal temperament, or as it stands.
    Equal(bool),
    /// A plain tone at the target of a bottle, or none.
    Tone(Option<usize>),
    /// The master level, dB.
    Level(f64),
    /// The part from the walls.
    Wet(f32),
    /// Everybody lets go.
    AllOff,
    /// Silence at once.
    Silence,
    /// Another output.
    Output(DeviceWish),
    /// The same output once more.
    Retry,
    /// Look for sound cards.
    LookForOutputs,
    /// One step back.
    Undo,
    /// One step forth.
    Redo,
    /// Choose a file to open.
    Open,
    /// Open this file.
    OpenFile(PathBuf),
    /// Write the file.
    Save,
    /// Choose a file to write.
    SaveAs,
    /// Choose a file for the sound.
    RecordWav,
    /// Choose a file for the keys.
    RecordSmf,
    /// The file that was to be named, as typed.
    Named(String),
    /// No file after all.
    Unnamed,
    /// End of both.
    StopRecording,
    /// The keyboard.
    Board(BoardAsk),
    /// The piece that plays along.
    Practice(PracticeAsk),
    /// The tuner.
    Tuner(TunerAsk),
    /// Another panel.
    Panel(Panel),
    /// Light or dark.
    Looks(Looks),
    /// Size of everything.
    Zoom(f32),
    /// It has been read.
    Dismiss,
    /// Close the window.
    Close,
    /// Leave in spite of the changes.
    LeaveAnyway,
    /// Save, then leave.
    SaveAndLeave,
    /// Stay.
    Stay,
}
