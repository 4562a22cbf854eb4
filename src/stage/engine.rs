//! From a set to the engine that plays it live.

use super::error::StageError;
use super::rails::SetRails;
use super::ready::Stage;
use crate::index::{BottleIndex, PourIndex};
use crate::physics::mouth::MIN_OPEN_SHARE;
use crate::physics::prediction::Blown;
use crate::set::{Pour, Set, Way};
use crate::sounding::Sounded;
use crate::synth::{Balance, EngineSpec, OnRail, PlayedBottle, Rail, RoomSpec};
use crate::units::{Frequency, Interval, Level, SampleRate};

/// Share of the lips' opening that is left when a player bends down as far as it goes: a matter of taste.
const BENT_OPENING: f64 = 0.5;
/// How far a harder jet raises a bottle whose mouth is free already, cents: a matter of taste, kept within the ±29
/// cents or so that the phase of the jet can pull.
const FREE_BEND_UP_CENTS: f64 = 30.0;
/// Rate whose range every card's reaches: what it cannot carry is left out for all.
const LIVE_RATE: SampleRate = SampleRate::from_hz(44_100.0);
/// Seed of the breath noise when played live.
const LIVE_SEED: u64 = 1;

/// How an engine for playing live is set up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EngineOptions {
    /// Master level, −60 to 12 dB.
    pub level: Level,
    /// Without the room.
    pub dry: bool,
    /// A key without a bottle goes to the nearest.
    pub nearest: bool,
    /// MIDI channels listened to, a bit each.
    pub channels: u16,
}

/// An engine, and where each pour of its set is in it.
#[derive(Clone, Debug)]
pub struct Played {
    /// The engine: the bottles in the order of the pours, the notes of one sliding bottle being one player.
    pub spec: EngineSpec,
    /// For each pour its player, one of [`EngineSpec::players`].
    pub player_of: Vec<BottleIndex>,
    /// For each pour of a bottle that slides its rail and its place there, 0 to 1.
    pub place_of: Vec<Option<(u16, f64)>>,
}

impl Stage {
    /// The bottles with their keys, as an engine plays them live. The pours have the places in [`Played::player_of`].
    ///
    /// # Errors
    /// A bottle that cannot be voiced.
    ///
    /// ```
    /// use ullage::stage::{EngineOptions, Stage};
    /// use ullage::units::Level;
    /// let set = ullage::set::open("presets/slide/set.toml")?;
    /// let options = EngineOptions {
    ///     level: Level::from_db(-12.0),
    ///     dry: true,
    ///     nearest: false,
    ///     channels: u16::MAX,
    /// };
    /// let played = Stage::new(&set)?.engine(&options)?;
    /// // The notes of one sliding bottle are one player's.
    /// assert!(played.spec.players.len() < set.pours.len());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn engine(&self, options: &EngineOptions) -> Result<Played, StageError> {
        let (set, rails) = (self.set(), self.rails());
        let voices = self.voices(Balance::default(), LIVE_RATE)?;
        let mut players = Vec::with_capacity(voices.len());
        for (index, voice) in PourIndex::all(voices.len()).zip(voices) {
            if rails.voice_of[index] != index {
                continue;
            }
            let pour = &set.pours[index];
            let (bend_down, bend_up) = bends(set, pour, &self.sounded()[index]);
            players.push(PlayedBottle {
                bend_down,
                bend_up,
                rail: on_rail(set, rails, index),
                ..PlayedBottle::new(voice, pour.note.midi())
            });
        }
        let starts = rails.rails.iter().map(|rail| Rail {
            start: rail.marks.first().map_or(0.0, |mark| mark.1),
            ..Rail::default()
        });
        let place = |pour: PourIndex| {
            let number = u16::try_from(rails.rail_of[pour]?).ok()?;
            Some((number, rails.place(pour)?.1))
        };
        let spec = EngineSpec {
            level: options.level,
            rails: starts.collect(),
            room: (!options.dry).then(|| RoomSpec::from(set.listening)),
            nearest: options.nearest,
            channels: options.channels,
            seed: LIVE_SEED,
            ..EngineSpec::new(players)
        };
        Ok(Played {
            spec,
            player_of: players_of(rails),
            place_of: PourIndex::all(set.pours.len()).map(place).collect(),
        })
    }
}

/// For each pour of `rails`' set the player that plays it.
fn players_of(rails: &SetRails) -> Vec<BottleIndex> {
    let mut player_of = Vec::with_capacity(rails.voice_of.len());
    let mut players = 0;
    for (index, &voice) in PourIndex::each(&rails.voice_of) {
        if voice == index {
            player_of.push(BottleIndex::new(players));
            players += 1;
        } else {
            // The voice of a rail is the first of its pours, so that it is known by now.
            player_of.push(player_of[voice]);
        }
    }
    player_of
}

/// What slides the bottle of a pour, and the keys of its marks.
fn on_rail(set: &Set, rails: &SetRails, voice: PourIndex) -> Option<OnRail> {
    let number = rails.rail_of[voice]?;
    let rail = &rails.rails[number];
    let rider = rail.riders.iter().find(|rider| rider.voice == voice)?;
    let own = rail
        .marks
        .iter()
        .filter(|(pour, _)| rails.voice_of[*pour] == voice);
    Some(OnRail {
        rail: u16::try_from(number).ok()?,
        curve: rider.curve.clone(),
        marks: own
            .map(|(pour, place)| (set.pours[*pour].note.midi(), *place))
            .collect(),
    })
}

/// How far lips can bend a bottle down and up: by covering half of what is open, and by opening all of it.
fn bends(set: &Set, pour: &Pour, sounded: &Sounded) -> (Interval, Interval) {
    if pour.way != Way::Blown {
        // A mallet bends nothing, and what slides is bent by sliding.
        return Default::default();
    }
    let open = set.conditions.lip_open;
    let at = |lip_open: f64| -> Option<Frequency> {
        let mut conditions = set.conditions.clone();
        conditions.lip_open = lip_open;
        let blown = Blown::new(&set.kind_of(pour).bottle, &conditions).ok()?;
        Some(blown.fundamental(sounded.fill).ok()?.frequency)
    };
    let here = sounded.frequency();
    // A bottle that no longer rings with its mouth half covered is not bent down.
    let covered = at((open * BENT_OPENING).max(MIN_OPEN_SHARE));
    let down = covered.map_or(0.0, |hz| here.interval_above(hz).cents().max(0.0));
    let up = if open < 1.0 {
        at(1.0).map_or(0.0, |hz| hz.interval_above(here).cents().max(0.0))
    } else {
        FREE_BEND_UP_CENTS
    };
    (Interval::from_cents(down), Interval::from_cents(up))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::set::read_set;

    fn spec(lip_open: f64) -> EngineSpec {
        let text = std::fs::read_to_string("presets/quay/set.toml").expect("the demo set is there");
        let mut set = read_set(&text).expect("it is sound");
        set.conditions.lip_open = lip_open;
        let options = EngineOptions {
            level: Level::from_db(-12.0),
            dry: true,
            nearest: false,
            channels: u16::MAX,
        };
        let stage = Stage::new(&set).expect("every bottle sounds");
        stage.engine(&options).expect("it can be played").spec
    }

    #[test]
    fn lips_bend_a_free_bottle_down_by_what_half_a_mouth_takes_and_up_a_little() {
        for player in spec(1.0).players {
            let (down, up) = (player.bend_down.cents(), player.bend_up.cents());
            // Half the opening makes the end correction about 1.4 times as large and adds the step inside: of a neck of 50 to 90
            // mm with 18 mm of mouth that is a semitone to a minor third.
            assert!((50.0..400.0).contains(&down), "{down} cents down");
            assert_eq!(up, 30.0);
        }
    }

    #[test]
    fn half_covered_lips_open_to_where_the_free_bottle_is() {
        let (free, half) = (spec(1.0), spec(0.5));
        for (free, half) in free.players.iter().zip(&half.players) {
            let up = half.bend_up.cents();
            let reached = half.voice.frequency().raised_by(half.bend_up);
            assert!(up > 50.0, "{up} cents up");
            let off = reached.interval_above(free.voice.frequency()).cents();
            assert!(off.abs() < 0.01, "{off} cents beside the free bottle");
        }
    }
}
