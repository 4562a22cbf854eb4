//! How each bottle of a set is played, and which key plays it.

use super::played::PlayedBottle;
use super::row::BottleVoice;
use crate::index::BottleIndex;

/// Keys of MIDI.
pub(super) const KEYS: usize = 128;

/// How a bottle is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Manner {
    /// Whether a mallet makes it sound.
    pub struck: bool,
    /// Whether a hand stops it when it is let go.
    pub damped: bool,
    /// Whether the wheel moves a rail and not its lips.
    pub on_rail: bool,
    /// How far the wheel bends it down and up, cents.
    pub bends: (f64, f64),
}

/// What a key plays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Target {
    /// The bottle.
    pub bottle: BottleIndex,
    /// Where its rail must go first.
    pub mark: Option<f64>,
}

impl Manner {
    pub(super) fn of(player: &PlayedBottle) -> Self {
        let damped = match &player.voice {
            BottleVoice::Blown(_) => false,
            BottleVoice::Struck(voice) => voice.damp_on_release,
        };
        Self {
            struck: player.voice.is_struck(),
            damped,
            on_rail: player.rail.is_some(),
            bends: (player.bend_down.cents().abs(), player.bend_up.cents().abs()),
        }
    }
}

/// For every key the first mark that has it, or else the first bottle; with `nearest` the nearest, the lower of two as near.
pub(super) fn targets(players: &[PlayedBottle], nearest: bool) -> [Option<Target>; KEYS] {
    let bottles = || players.iter().zip(BottleIndex::all(players.len()));
    let marks = bottles().flat_map(|(player, bottle)| {
        let marks = player.rail.iter().flat_map(|on| &on.marks);
        marks.map(move |&(key, position)| (key, bottle, Some(position)))
    });
    let own = bottles().map(|(player, bottle)| (player.key, bottle, None));
    let all: Vec<(u8, BottleIndex, Option<f64>)> = marks.chain(own).collect();
    std::array::from_fn(|at| {
        let away = |key: u8| usize::from(key).abs_diff(at);
        let &(key, bottle, mark) = all.iter().min_by_key(|(key, ..)| (away(*key), *key))?;
        (nearest || away(key) == 0).then_some(Target { bottle, mark })
    })
}
