//! What an engine is made of, what can be asked of it, and what can be read from it.

use super::blown_voice::VoiceError;
use super::rail::{OnRail, Rail};
use super::room::{RoomError, RoomSpec};
use super::row::BottleVoice;
use crate::index::BottleIndex;
use crate::units::{Frequency, Interval, Level};

/// Highest and lowest master level, dB.
pub(super) const LEVELS_DB: (f64, f64) = (-60.0, 12.0);

/// Why an engine could not be built.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EngineError {
    /// More bottles than hands could play.
    #[error("{count} bottles are more than the {max} that can be played")]
    Bottles {
        /// As given.
        count: usize,
        /// The most.
        max: usize,
    },
    /// A level that no ear should meet.
    #[error("a level of {db} dB is outside {} to {} dB", LEVELS_DB.0, LEVELS_DB.1)]
    Level {
        /// As given.
        db: f64,
    },
    /// A bottle that cannot be voiced.
    #[error(transparent)]
    Voice(#[from] VoiceError),
    /// A room or a ceiling that cannot be built.
    #[error(transparent)]
    Room(#[from] RoomError),
}

/// A bottle with the key that plays it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedBottle {
    /// How it sounds.
    pub voice: BottleVoice,
    /// Its MIDI key, 0 to 127. A bottle on a rail sounds wherever the rail stands when this is no key of a mark; give it the key of
    /// one of its marks if that is not wanted.
    pub key: u8,
    /// How far lips can lower it: the whole pitch wheel. Its sign is passed over. On a rail the wheel moves that instead.
    pub bend_down: Interval,
    /// How far lips can raise it.
    pub bend_up: Interval,
    /// The rail that moves its pitch, if it slides or is one of a joined pair.
    pub rail: Option<OnRail>,
}

impl PlayedBottle {
    /// A bottle on a key, which neither lips nor rail move.
    #[must_use]
    pub fn new(voice: impl Into<BottleVoice>, key: u8) -> Self {
        Self {
            voice: voice.into(),
            key,
            bend_down: Interval::from_cents(0.0),
            bend_up: Interval::from_cents(0.0),
            rail: None,
        }
    }
}

/// What an engine is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct EngineSpec {
    /// The bottles, each known by its [`BottleIndex`] here.
    pub players: Vec<PlayedBottle>,
    /// How each rail is moved, by its number; one that is not listed is as [`Rail::default`] has it.
    pub rails: Vec<Rail>,
    /// The room; without one the sound is dry.
    pub room: Option<RoomSpec>,
    /// No sample passes it, −60 to 0 dBFS.
    pub ceiling: Level,
    /// The level at the start, −60 to 12 dB.
    pub level: Level,
    /// A key that no bottle has goes to the nearest.
    pub nearest: bool,
    /// The MIDI channels that are listened to, a bit each, channel 1 the lowest.
    pub channels: u16,
    /// For the breath noise and all that is thrown anew for each note.
    pub seed: u64,
    /// Without anything that wanders or differs from note to note.
    pub steady: bool,
}

impl EngineSpec {
    /// `players` in a small room, at −12 dB under a ceiling of −6 dBFS, on every channel.
    #[must_use]
    pub fn new(players: Vec<PlayedBottle>) -> Self {
        Self {
            players,
            rails: Vec::new(),
            room: Some(RoomSpec::default()),
            ceiling: Level::from_db(-6.0),
            level: Level::from_db(-12.0),
            nearest: false,
            channels: u16::MAX,
            seed: 1,
            steady: false,
        }
    }
}

/// What can be asked of an engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    /// A channel message of MIDI 1.0; others are passed over.
    Midi {
        /// Status and up to two data bytes.
        bytes: [u8; 3],
    },
    /// A pointer blows a bottle; a struck one it strikes once, as it comes down.
    Blow {
        /// Which of [`EngineSpec::players`].
        bottle: BottleIndex,
        /// 0 (none) to 1 (as hard as it goes); speaks from 0.22. For a mallet its speed, as a key's velocity.
        breath: f32,
    },
    /// The pointer leaves a bottle.
    Release {
        /// Which of [`EngineSpec::players`].
        bottle: BottleIndex,
    },
    /// A bottle changes: poured, warmed. On a rail its whole curve moves as far.
    Tune {
        /// Which of [`EngineSpec::players`].
        bottle: BottleIndex,
        /// 20 to 4000 Hz; the note of a struck bottle 20 to 20,000 Hz.
        frequency: Frequency,
        /// 1 to 2000; of a struck bottle 1 to 20,000.
        q: f64,
    },
    /// A pointer puts a rail somewhere; it is there in 30 ms.
    Slide {
        /// The rail's number.
        rail: u16,
        /// 0 to 1.
        position: f32,
    },
    /// The master level, −60 to 12 dB.
    Level(Level),
    /// The part of the sound's energy that comes from the walls, 0 to 1.
    Wet(f32),
    /// A plain tone to compare with, 20 to 4000 Hz; none stops it.
    Tone {
        /// Its pitch.
        frequency: Option<Frequency>,
    },
    /// Every finger, pointer and pedal lets go; the bottles ring down.
    AllOff,
    /// Everything is silent in 5 ms.
    Silence,
    /// A beat is clicked, dry, under the master level.
    Click {
        /// It begins a bar.
        first: bool,
    },
    /// What pointers are to do at this command's frame or later, clicks and slides too, is not done after all. Takes
    /// hold at once; MIDI that waits stays.
    Forget,
}

/// What can be read from an engine.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Meters {
    /// Highest sample on the left since the last reading, after the ceiling.
    pub peak_left: f32,
    /// Highest sample on the right.
    pub peak_right: f32,
    /// By how much the loudest sample would have passed the ceiling, dB; 0 if none.
    pub limited_db: f32,
    /// Bottles that sound.
    pub sounding: u16,
    /// Commands and events that found their queue full, or made no sense.
    pub refused: u32,
    /// The last key that no bottle has.
    pub missing_key: Option<u8>,
    /// How many such keys there were.
    pub missing_count: u32,
}
