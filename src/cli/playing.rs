//! From a set to the engine that plays it live.

use super::Failure;
use super::voicing::{from_low_to_high, note, poured, specs};
use crate::physics::mouth::MIN_OPEN_SHARE;
use crate::physics::prediction::Blown;
use crate::plan::fill::Poured;
use crate::preset::{Pour, Set};
use crate::synth::{Balance, EngineSpec, PlayedBottle, RoomSpec};
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

/// The bottles of `set` with their keys, as an engine plays them; in the order of its pours.
///
/// # Errors
/// A bottle that does not sound, or cannot be voiced.
pub(crate) fn engine_spec(set: &Set, options: &EngineOptions) -> Result<EngineSpec, Failure> {
    let poured = poured(set)?;
    let order = from_low_to_high(&poured);
    let voices = specs(&poured, &order, Balance::default(), LIVE_RATE)
        .map_err(|because| Failure::cannot("voice the set", because))?;
    let mut players = Vec::with_capacity(voices.len());
    for ((pour, poured), voice) in set.pours.iter().zip(&poured).zip(voices) {
        let (bend_down, bend_up) = bends(set, pour, poured);
        players.push(PlayedBottle {
            bend_down,
            bend_up,
            ..PlayedBottle::new(voice, pour.note.midi())
        });
    }
    Ok(EngineSpec {
        level: options.level,
        room: (!options.dry).then(RoomSpec::default),
        nearest: options.nearest,
        channels: options.channels,
        seed: LIVE_SEED,
        ..EngineSpec::new(players)
    })
}

/// How far lips can bend a bottle down and up: by covering half of what is open, and by opening all of it.
fn bends(set: &Set, pour: &Pour, poured: &Poured) -> (Interval, Interval) {
    let open = set.conditions.lip_open;
    let at = |lip_open: f64| -> Option<Frequency> {
        let mut conditions = set.conditions.clone();
        conditions.lip_open = lip_open;
        let blown = Blown::new(&set.kind_of(pour).bottle, &conditions).ok()?;
        Some(blown.fundamental(poured.prediction.fill).ok()?.frequency)
    };
    let here = note(poured).frequency;
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
    use crate::preset::read_set;

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
        engine_spec(&set, &options).expect("it can be played")
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
