//! How the bottles of a set sound together: every pair, and every chord that the set can play.
//!
//! A set is in tune when its intervals are, not its bottles: two bottles 8 cents sharp are in tune with
//! each other. So each pair is measured against the equal-tempered interval that its notes ask for and
//! against the nearest whole-number ratio, with the beats to listen for while pouring.
//!
//! Answers do not depend on the order of the bottles. Pitches must be positive; a pitch that is not a
//! number gives numbers that are none, and no panic.

mod chord;
mod just;

pub use chord::{Chord, ChordKind};
pub use just::JustRatio;

use super::roughness::{Partial, roughness};
use crate::tuning::NoteName;
use crate::units::{Frequency, Interval};
use serde::Serialize;

/// How far two partials may lie apart and still be heard as one that beats, cents. Above it a third or a
/// sixth would be taken for its neighbour: those are 84 cents and more from each other's ratio.
const COINCIDENT_CENTS: f64 = 70.0;

/// Fundamentals nearer than this beat or rasp with each other, whatever their overtones do, cents.
/// About a critical band at the pitch of bottles: a minor third.
const CLOSE_CENTS: f64 = 300.0;

/// How far a blown pitch wanders about its own, standard deviation, cents: the median of recordings of blown bottles, 3 to 14
/// (tests/data/real_blown.csv and others). A struck one does not wander.
pub const BLOWN_WANDER: Interval = Interval::from_cents(6.6);

/// A bottle that sounds.
#[derive(Clone, Debug, PartialEq)]
pub struct Sounding {
    /// What the bottle is called.
    pub name: String,
    /// The note that it is to give.
    pub note: NoteName,
    /// The pitch that it gives.
    pub pitch: Frequency,
    /// How far it wanders about that while it sounds, standard deviation.
    pub wander: Interval,
    /// Its partials in order, the fundamental first, for blown bottles at whole multiples of it.
    pub partials: Vec<Partial>,
}

/// An interval between two sounding notes, measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Measured {
    /// From the lower note to the higher, cents; negative if the notes sound the other way round.
    pub interval_cents: f64,
    /// How much wider it is than the equal-tempered interval between the keys of the two notes, cents.
    pub off_equal_cents: f64,
    /// The nearest just interval.
    pub just: JustRatio,
    /// How much wider it is than the just interval, cents.
    pub off_just_cents: f64,
}

/// Beats between one partial of each of two tones.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Beats {
    /// How often the loudness comes and goes in a second, at the pitches themselves.
    pub beats_per_s: f64,
    /// The slowest and the fastest that it is most of the time, since both pitches wander: one standard deviation to either side.
    pub least_per_s: f64,
    /// The fastest.
    pub most_per_s: f64,
    /// Which partial of the lower tone, the fundamental counted as 1.
    pub lower_partial: usize,
    /// Which partial of the higher tone.
    pub upper_partial: usize,
}

/// Two bottles together, the lower note first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    /// The bottle of the lower note.
    pub a: String,
    /// The lower note.
    pub a_note: NoteName,
    /// The bottle of the higher note.
    pub b: String,
    /// The higher note.
    pub b_note: NoteName,
    /// The interval between them.
    #[serde(flatten)]
    pub interval: Measured,
    /// What beats; nothing when no partials lie close together.
    pub beats: Option<Beats>,
    /// By [`roughness`]: 1 is two pure tones of amplitude 1 at their roughest.
    pub roughness: f64,
}

/// A whole set.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    /// Every pair, by lower note, then by higher.
    pub pairs: Vec<Pair>,
    /// Every chord, the smoothest first.
    pub chords: Vec<Chord>,
    /// The pair to put right first, by [`worst_tuned_pair`].
    pub worst_tuned_pair: Option<Pair>,
}

/// Listens to every pair and every chord of a set.
///
/// ```
/// use ullage::plan::{roughness::Partial, together::{Sounding, together}};
/// use ullage::units::{Frequency, Interval};
/// let bottle = |name: &str, note: &str, hz| Sounding {
///     name: name.into(),
///     note: note.parse().unwrap(),
///     pitch: Frequency::from_hz(hz),
///     wander: Interval::from_cents(6.0),
///     partials: Partial::whole(hz, &[1.0, 0.1, 0.05]),
/// };
/// let set = [bottle("green", "A3", 220.0), bottle("brown", "E4", 331.0)];
/// let fifth = &together(&set).pairs[0];
/// assert_eq!(fifth.interval.just.to_string(), "3:2");
/// let beats = fifth.beats.unwrap();
/// assert_eq!(beats.beats_per_s, 2.0);
/// // A cent is 0.4 Hz at 660: 6 of one player and 6 of the other are more than the 2 Hz between them.
/// assert!(beats.least_per_s == 0.0 && (5.0..5.5).contains(&beats.most_per_s));
/// ```
#[must_use]
pub fn together(bottles: &[Sounding]) -> Together {
    let sorted = sorted(bottles);
    let mut pairs = Vec::new();
    for (index, lower) in sorted.iter().enumerate() {
        pairs.extend(sorted[index + 1..].iter().map(|upper| pair(lower, upper)));
    }
    let worst_tuned_pair = worst_tuned_pair(&pairs).cloned();
    Together {
        chords: chord::chords(&sorted),
        pairs,
        worst_tuned_pair,
    }
}

/// By note, then by pitch, then by name, so that the order they come in makes no difference.
fn sorted(bottles: &[Sounding]) -> Vec<&Sounding> {
    let mut sorted: Vec<&Sounding> = bottles.iter().collect();
    sorted.sort_by(|a, b| {
        let by_key = a.note.midi().cmp(&b.note.midi());
        by_key
            .then(a.pitch.hz().total_cmp(&b.pitch.hz()))
            .then_with(|| a.name.cmp(&b.name))
    });
    sorted
}

/// Two bottles together, `lower` being the lower note.
#[must_use]
pub fn pair(lower: &Sounding, upper: &Sounding) -> Pair {
    Pair {
        a: lower.name.clone(),
        a_note: lower.note,
        b: upper.name.clone(),
        b_note: upper.note,
        interval: measured(lower, upper),
        beats: beats(lower, upper),
        roughness: roughness(&lower.partials, &upper.partials),
    }
}

fn semitones(lower: &Sounding, upper: &Sounding) -> i32 {
    i32::from(upper.note.midi()) - i32::from(lower.note.midi())
}

fn measured(lower: &Sounding, upper: &Sounding) -> Measured {
    let interval = upper.pitch.interval_above(lower.pitch);
    // The interval that the notes ask for, not the nearest semitone: a bottle 60 cents flat is that, and
    // not one of the next note 40 cents sharp.
    let equal = Interval::from_semitones(f64::from(semitones(lower, upper)));
    let just = JustRatio::nearest(interval);
    Measured {
        interval_cents: interval.cents(),
        off_equal_cents: (interval - equal).cents(),
        just,
        off_just_cents: (interval - just.interval()).cents(),
    }
}

/// The loudest beat of two tones.
///
/// Of all partials that lie within 70 cents of one of the other tone, the pair whose weaker partial is
/// strongest, since that is the depth of the beat; the lower pair of two that are equal, and never a
/// multiple of a lower one. Without any, the fundamentals, if they are less than a minor third apart.
#[must_use]
pub fn beats(lower: &Sounding, upper: &Sounding) -> Option<Beats> {
    let mut loudest: Option<(f64, usize, usize)> = None;
    for (p, low) in (1..).zip(&lower.partials) {
        for (q, high) in (1..).zip(&upper.partials) {
            let depth = low.amplitude.min(high.amplitude);
            let louder = loudest.is_none_or(|(most, ..)| depth > most);
            if louder && depth > 0.0 && gcd(p, q) == 1 && apart_cents(low, high) <= COINCIDENT_CENTS
            {
                loudest = Some((depth, p, q));
            }
        }
    }
    let fundamentals = || {
        let apart = apart_cents(lower.partials.first()?, upper.partials.first()?);
        (apart < CLOSE_CENTS).then_some((0.0, 1, 1))
    };
    let (_, lower_partial, upper_partial) = loudest.or_else(fundamentals)?;
    let low_hz = lower.partials[lower_partial - 1].hz;
    let high_hz = upper.partials[upper_partial - 1].hz;
    let beats_per_s = (high_hz - low_hz).abs();
    let wander = |bottle: &Sounding, hz: f64| hz * (bottle.wander.ratio() - 1.0);
    let wander_hz = wander(lower, low_hz).hypot(wander(upper, high_hz));
    Some(Beats {
        beats_per_s,
        least_per_s: (beats_per_s - wander_hz).max(0.0),
        most_per_s: beats_per_s + wander_hz,
        lower_partial,
        upper_partial,
    })
}

fn apart_cents(one: &Partial, other: &Partial) -> f64 {
    Interval::from_ratio(one.hz / other.hz).cents().abs()
}

const fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// The pair that most needs to be put right: the largest distance from its equal-tempered interval, times
/// how much the interval shows it.
///
/// Unisons and octaves count 1, fifths and fourths 0.8, thirds and sixths 0.5, all others 0.1, at any
/// number of octaves: the simpler the ratio, the smaller the fault that is heard. The weights are ours.
#[must_use]
pub fn worst_tuned_pair(pairs: &[Pair]) -> Option<&Pair> {
    let fault = |pair: &Pair| {
        let semitones = i32::from(pair.b_note.midi()) - i32::from(pair.a_note.midi());
        weight(semitones) * pair.interval.off_equal_cents.abs()
    };
    // The first of equals, as the pairs stand in their order.
    pairs
        .iter()
        .rev()
        .max_by(|a, b| fault(a).total_cmp(&fault(b)))
}

const fn weight(semitones: i32) -> f64 {
    match semitones.rem_euclid(12) {
        0 => 1.0,
        5 | 7 => 0.8,
        3 | 4 | 8 | 9 => 0.5,
        _ => 0.1,
    }
}

/// How far a set has moved, as when the room warms.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Drift {
    /// The mean of all bottles, cents up: what a new reference pitch would take away.
    pub common_cents: f64,
    /// From the bottle that moved up least to the one that moved up most, cents: what puts the set out
    /// of tune with itself.
    pub spread_cents: f64,
}

/// Compares the pitches of the same bottles before and after; `None` if there are none or the lists are
/// not equally long.
#[must_use]
pub fn drift_cents(before: &[Frequency], after: &[Frequency]) -> Option<Drift> {
    if before.is_empty() || before.len() != after.len() {
        return None;
    }
    let moved = before.iter().zip(after);
    let moved_cents: Vec<f64> = moved.map(|(b, a)| a.interval_above(*b).cents()).collect();
    let least = moved_cents.iter().copied().fold(f64::INFINITY, f64::min);
    let most = moved_cents
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    Some(Drift {
        common_cents: moved_cents.iter().sum::<f64>() / moved_cents.len() as f64,
        spread_cents: most - least,
    })
}
