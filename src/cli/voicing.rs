//! From a set to the bottles' voices: what `audition`, `export` and `play` share.

use super::Failure;
use crate::physics::mouth::MIN_OPEN_SHARE;
use crate::physics::prediction::Blown;
use crate::physics::resonance::Resonance;
use crate::plan::fill::Poured;
use crate::preset::{Pour, Set};
use crate::synth::{
    Balance, EngineSpec, HIGHEST_PART_OF_RATE, PassiveMode, PlayedBottle, RoomSpec, VoiceError,
    VoiceSpec,
};
use crate::units::{Frequency, Interval, Level, SampleRate};

/// How far to the sides the row of bottles reaches, 0 to 1.
const ROW_WIDTH: f64 = 0.7;
/// Loudness of the modes above the note beside it: a matter of taste, each half of the one below.
const MODE_GAIN: f64 = 0.5;
/// Breath heard beside the tone, over the voice's own: 40 dB below a full tone. A matter of taste.
const BREATH_GAIN: f64 = 2.5;
/// Share of the lips' opening that is left when a player bends down as far as it goes: a matter of taste.
const BENT_OPENING: f64 = 0.5;
/// How far a harder jet raises a bottle whose mouth is free already, cents: a matter of taste, kept within the ±29
/// cents or so that the phase of the jet can pull.
const FREE_BEND_UP_CENTS: f64 = 30.0;
/// Rate whose range every card's reaches: what it cannot carry is left out for all.
const LIVE_RATE: SampleRate = SampleRate::from_hz(44_100.0);
/// Seed of the breath noise when played live.
const LIVE_SEED: u64 = 1;

/// Every pour of a set with the fill it names, or else the fill that its note needs.
pub(super) fn poured(set: &Set) -> Result<Vec<Poured>, Failure> {
    let mut poured = Vec::with_capacity(set.pours.len());
    for pour in &set.pours {
        let (bottle, target) = (&set.kind_of(pour).bottle, set.target(pour));
        let result = Poured::planned_or_solved(bottle, target, pour.fill, &set.conditions);
        poured.push(result.map_err(|because| {
            Failure::cannot(
                format!("sound {} in {:?}", pour.note, set.kind_of(pour).name),
                because,
            )
            .or_try("another bottle for this note, or less in it")
        })?);
    }
    Ok(poured)
}

/// The pours as they stand in a row.
pub(super) fn from_low_to_high(poured: &[Poured]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..poured.len()).collect();
    let hz = |index: usize| note(&poured[index]).frequency.hz();
    order.sort_by(|&a, &b| hz(a).total_cmp(&hz(b)));
    order
}

pub(super) fn note(poured: &Poured) -> Resonance {
    poured.prediction.note()
}

/// Every bottle's voice, placed in a row from left to right as they stand from low to high.
pub(super) fn specs(
    poured: &[Poured],
    order: &[usize],
    balance: Balance,
    rate: SampleRate,
) -> Result<Vec<VoiceSpec>, VoiceError> {
    let places = order.len().max(2) - 1;
    let mut specs = Vec::with_capacity(poured.len());
    for (index, poured) in poured.iter().enumerate() {
        let place = order.iter().position(|&i| i == index).unwrap_or(0);
        let pan = ROW_WIDTH * (2.0 * place as f64 / places as f64 - 1.0);
        let highest_hz = HIGHEST_PART_OF_RATE * rate.hz();
        let above = poured
            .prediction
            .resonances
            .iter()
            .skip(1)
            .filter(|r| r.frequency.hz() < highest_hz);
        let modes = above.zip(1..).map(|(r, order)| PassiveMode {
            frequency: r.frequency,
            q: r.quality.max(1.0),
            gain: MODE_GAIN.powi(order),
        });
        let resonance = note(poured);
        specs.push(
            VoiceSpec::new(resonance.frequency, resonance.quality)?
                .with_modes(modes.collect())?
                .with_radiation_gain(balance.gain(resonance.frequency))?
                .with_breath_gain(BREATH_GAIN)?
                .with_pan(pan)?,
        );
    }
    Ok(specs)
}

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
            voice,
            key: pour.note.midi(),
            bend_down,
            bend_up,
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

#[cfg(all(test, feature = "live"))]
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
