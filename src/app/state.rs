//! What there is to see besides the set itself: plain data.

use std::path::PathBuf;

use super::files::Purpose;
use super::pouring::Pouring;
use super::practice::Practising;
use super::tuner::Tuner;
use crate::index::PourIndex;
use crate::live::HostInfo;
use crate::synth::RoomSpec;

/// The panels at the side.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Panel {
    /// The selected bottle.
    #[default]
    Bottle,
    /// What sounds together.
    Together,
    /// What the microphone hears.
    Tuner,
    /// A bottle that is poured into by ear.
    Pour,
    /// The room, the filling and the lips.
    Room,
    /// A piece that plays along.
    Practice,
    /// The sound card and MIDI.
    Desk,
    /// The computer keyboard and the looks.
    Keys,
}

impl Panel {
    /// All of them, as they stand in a row.
    pub const ALL: [Self; 8] = [
        Self::Bottle,
        Self::Together,
        Self::Tuner,
        Self::Pour,
        Self::Room,
        Self::Practice,
        Self::Desk,
        Self::Keys,
    ];

    /// Those that stand beside the shelf: pouring has a place of its own.
    pub const TABS: [Self; 7] = [
        Self::Bottle,
        Self::Together,
        Self::Tuner,
        Self::Room,
        Self::Practice,
        Self::Desk,
        Self::Keys,
    ];

    /// Its title.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Bottle => "Bottle",
            Self::Together => "Together",
            Self::Tuner => "Tuner",
            Self::Pour => "Pour",
            Self::Room => "Room",
            Self::Practice => "Piece",
            Self::Desk => "Sound",
            Self::Keys => "Keys",
        }
    }
}

/// Where one is: what fills the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Place {
    /// Sets to begin with.
    Start,
    /// The bottles that there are.
    Crate,
    /// Which of them plays what.
    Plan,
    /// One bottle after the other is poured.
    Pour,
    /// The shelf.
    #[default]
    Play,
}

impl Place {
    /// All of them, as they follow each other.
    pub const ALL: [Self; 5] = [Self::Start, Self::Crate, Self::Plan, Self::Pour, Self::Play];

    /// Its name.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Start => "Home",
            Self::Crate => "Crate",
            Self::Plan => "Plan",
            Self::Pour => "Pour",
            Self::Play => "Play",
        }
    }

    /// What is done there.
    #[must_use]
    pub const fn hint(self) -> &'static str {
        match self {
            Self::Start => "Open a set, or begin one",
            Self::Crate => "The bottles that you have",
            Self::Plan => "Which bottle plays which note",
            Self::Pour => "Fill them, one after the other",
            Self::Play => "Hear the set and play it",
        }
    }
}

/// What happens to the fills when the room changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Drift {
    /// They stay as they were poured, and the pitch drifts.
    #[default]
    AsPoured,
    /// Every bottle is poured again, and stays in tune.
    PourAgain,
}

/// Light or dark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Looks {
    /// As the system has it.
    #[default]
    System,
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
}

impl Looks {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::System, Self::Light, Self::Dark];

    /// Its name, on a button and in the settings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::System => "system",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

/// What the program has to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// In one line or a few.
    pub text: String,
    /// Whether something went wrong.
    pub is_bad: bool,
}

/// What is about to replace or close the set while it has changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Leaving {
    /// The window closes.
    Window,
    /// Another file is opened in its place.
    For(PathBuf),
    /// An example is opened in its place.
    Example(usize),
    /// An empty crate takes its place.
    New,
}

/// A file that is to be named in the window itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Naming {
    /// What for.
    pub purpose: Purpose,
    /// The name to begin with.
    pub suggested: String,
    /// This one exists already; it is replaced only if it is named again.
    pub exists: Option<PathBuf>,
}

/// What is written down while it is played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Taking {
    /// The sound, into this file.
    Wav(PathBuf),
    /// The keys, into this file.
    Smf(PathBuf),
}

/// What there is to see besides the set.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Where one is.
    pub place: Place,
    /// Only the bottles are shown, large enough for a class.
    pub stage: bool,
    /// The list of keys is shown.
    pub help: bool,
    /// Nothing is heard.
    pub muted: bool,
    /// The panel at the side.
    pub panel: Panel,
    /// Where there is no room for both, the panel is shown and not the shelf.
    pub panel_first: bool,
    /// The bottle that is shown there.
    pub selected: Option<PourIndex>,
    /// What a change of the room does.
    pub drift: Drift,
    /// Every bottle sounds at the equal-tempered pitch of its note, whatever is in it.
    pub equal: bool,
    /// The plain tone, at the target of this bottle.
    pub tone: Option<PourIndex>,
    /// Bottles that a pointer or the focus blows, and how hard.
    pub blown: Vec<(PourIndex, f32)>,
    /// Bottles that sound on by themselves.
    pub held: Vec<PourIndex>,
    /// The master level, dB.
    pub level_db: f64,
    /// The part of the sound that comes from the walls, 0 to 1.
    pub wet: f32,
    /// There are no walls: the set is played without a room.
    pub dry: bool,
    /// What the program has to say.
    pub note: Option<Note>,
    /// Waiting for an answer: there are changes.
    pub leaving: Option<Leaving>,
    /// The note that waits for a key of its own.
    pub wants_key: Option<u8>,
    /// The sound cards that were found.
    pub outputs: Option<Vec<HostInfo>>,
    /// They are being looked for.
    pub looking: bool,
    /// A file dialog is open.
    pub asking: bool,
    /// A file is to be named here, since the desktop has no dialog for it.
    pub naming: Option<Naming>,
    /// What is being written down.
    pub taking: Vec<Taking>,
    /// The piece that plays along.
    pub practice: Option<Practising>,
    /// What the microphone hears.
    pub tuner: Tuner,
    /// A bottle that is poured into by ear.
    pub pouring: Pouring,
    /// Light or dark.
    pub looks: Looks,
    /// Size of everything.
    pub zoom: f32,
    /// The window may close.
    pub quit: bool,
}

impl Default for State {
    fn default() -> Self {
        Self {
            place: Place::default(),
            stage: false,
            help: false,
            muted: false,
            panel: Panel::default(),
            panel_first: false,
            selected: None,
            drift: Drift::default(),
            equal: false,
            tone: None,
            blown: Vec::new(),
            held: Vec::new(),
            level_db: -12.0,
            wet: RoomSpec::default().wet_part() as f32,
            dry: false,
            note: None,
            leaving: None,
            wants_key: None,
            outputs: None,
            looking: false,
            asking: false,
            naming: None,
            taking: Vec::new(),
            practice: None,
            tuner: Tuner::default(),
            pouring: Pouring::default(),
            looks: Looks::default(),
            zoom: 1.0,
            quit: false,
        }
    }
}
