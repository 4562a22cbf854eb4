//! Whether a piece can be played with a set: range, speed, roughness, and keys that would suit better.
//!
//! ```
//! use ullage::plan::{check::transpositions, wanted::scale};
//! use ullage::score::{Score, ScoreNote};
//! use ullage::tuning::NoteName;
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let keyed = ullage::stage::Stage::new(&set)?.keyed();
//! let note = |n: &NoteName| ScoreNote { start_s: 0.0, stop_s: 1.0, key: n.midi(), velocity: 80, track: 0, channel: 0 };
//! let notes = scale("G major", "G3".parse()?, "G4".parse()?)?;
//! let score = Score { notes: notes.iter().map(note).collect(), ..Score::default() };
//! // The set is in G. Up a fourth or a fifth, C and D major each want one note that G major has not; A major wants two.
//! for asked in [(0, 0), (5, 1), (7, 1), (2, 2)] {
//!     assert!(transpositions(&score, &keyed).iter().any(|t| (t.semitones, t.missing_keys) == asked));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;

use serde::Serialize;

use super::piece::{KEYBOARD_LEGATO_S, Keyed, bar_at};
use super::programme::{Breath, ring_s};
use super::spelling::key_of;
use super::together::{Pair, Sounding, pair};
use crate::index::PourIndex;
use crate::score::{Bar, Score};

/// How far transpositions are tried, semitones either way.
pub const FARTHEST_SEMITONES: i32 = 24;

/// The keys of a piece beside those of a set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Range {
    /// The lowest note of the piece and the highest; nothing for a piece without notes.
    pub piece: Option<[String; 2]>,
    /// The lowest note of the set and the highest.
    pub set: Option<[String; 2]>,
    /// Notes of the piece below every bottle.
    pub below: usize,
    /// Notes of the piece above every bottle.
    pub above: usize,
}

/// The range of a piece and of a set.
#[must_use]
pub fn range(score: &Score, bottles: &[Keyed]) -> Range {
    let spelling = key_of(score);
    let ends = |keys: &[u8]| Some((*keys.iter().min()?, *keys.iter().max()?));
    let names = |(low, high)| [low, high].map(|key| spelling.spelled(key).to_string());
    let set = ends(&bottles.iter().map(|b| b.key).collect::<Vec<_>>());
    let count = |outside: &dyn Fn(u8, (u8, u8)) -> bool| {
        let notes = score.notes.iter();
        set.map_or(0, |set| notes.filter(|n| outside(n.key, set)).count())
    };
    Range {
        piece: ends(&score.keys()).map(names),
        set: set.map(names),
        below: count(&|key, (low, _)| key < low),
        above: count(&|key, (_, high)| key > high),
    }
}

/// The nearest bottle to a key, and how many semitones above it that is.
#[must_use]
pub fn nearest(bottles: &[Keyed], key: u8) -> Option<(PourIndex, i32)> {
    let off = |b: &Keyed| i32::from(b.key) - i32::from(key);
    let all = PourIndex::each(bottles).map(|(pour, bottle)| (pour, off(bottle)));
    all.min_by_key(|(_, semitones)| (semitones.abs(), *semitones))
}

/// A piece moved to another key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Transposition {
    /// How far up.
    pub semitones: i32,
    /// Notes without a bottle.
    pub missing_notes: usize,
    /// Keys without a bottle.
    pub missing_keys: usize,
}

/// Every transposition of two octaves either way, the one with the fewest missing notes first, and
/// among equals the nearest.
#[must_use]
pub fn transpositions(score: &Score, bottles: &[Keyed]) -> Vec<Transposition> {
    let mut times: BTreeMap<u8, usize> = BTreeMap::new();
    for note in score.notes.iter().filter(|n| n.held_s() > 0.0) {
        *times.entry(note.key).or_default() += 1;
    }
    let moved = |semitones: i32| {
        let lacking = times.iter().filter(|(key, _)| {
            let wanted = i32::from(**key) + semitones;
            bottles.iter().all(|b| i32::from(b.key) != wanted)
        });
        let (keys, notes) = lacking.fold((0, 0), |(k, n), (_, times)| (k + 1, n + times));
        Transposition {
            semitones,
            missing_notes: notes,
            missing_keys: keys,
        }
    };
    let mut all: Vec<Transposition> = (-FARTHEST_SEMITONES..=FARTHEST_SEMITONES)
        .map(moved)
        .collect();
    all.sort_by_key(|t| (t.missing_notes, t.semitones.abs(), t.semitones));
    all
}

/// A note that comes again before its bottle can speak.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TooFast {
    /// Which bottle.
    #[serde(rename = "bottle")]
    pub pour: PourIndex,
    /// When it is to speak again, s.
    pub at_s: f64,
    /// In which bar.
    pub bar: u64,
    /// Time from the beginning of the note before, s.
    pub every_s: f64,
    /// Time that the bottle takes to speak, s.
    pub speaks_in_s: f64,
}

/// Repeated notes that come faster than their bottle speaks at their breath. Tongued, it may be heard
/// before it has fully spoken; that is not counted on here.
#[must_use]
pub fn too_fast(breaths: &[Breath], bottles: &[Keyed], bars: &[Bar]) -> Vec<TooFast> {
    let mut before: Vec<Option<f64>> = vec![None; bottles.len()];
    let mut found = Vec::new();
    for b in breaths {
        let speaks_in_s = bottles[b.pour].spoken.speaking_s(b.over_threshold);
        if let Some(last_s) = before[b.pour].replace(b.start_s)
            && b.start_s - last_s < speaks_in_s
        {
            found.push(TooFast {
                pour: b.pour,
                at_s: b.start_s,
                bar: bar_at(bars, b.start_s),
                every_s: b.start_s - last_s,
                speaks_in_s,
            });
        }
    }
    found
}

/// A struck bottle that rings on over the end of its notes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RingsOn {
    /// Which bottle.
    #[serde(rename = "bottle")]
    pub pour: PourIndex,
    /// How many of its notes are shorter than its ring.
    pub times: usize,
    /// Time in which it falls by 60 dB, s.
    pub rings_s: f64,
    /// The shortest of its notes, s.
    pub shortest_s: f64,
    /// The bar of the first such note.
    pub bar: u64,
}

/// Struck bottles whose notes are written shorter than they ring: unless a hand stops them, they sound on into what
/// follows. In the bottles' order.
#[must_use]
pub fn rings_on(breaths: &[Breath], bottles: &[Keyed], bars: &[Bar]) -> Vec<RingsOn> {
    let mut found: BTreeMap<PourIndex, RingsOn> = BTreeMap::new();
    for b in breaths.iter().filter(|b| bottles[b.pour].spoken.struck) {
        let rings_s = ring_s(bottles[b.pour].spoken.resonance);
        let held_s = b.stop_s - b.start_s;
        if held_s >= rings_s {
            continue;
        }
        let entry = found.entry(b.pour).or_insert(RingsOn {
            pour: b.pour,
            times: 0,
            rings_s,
            shortest_s: held_s,
            bar: bar_at(bars, b.start_s),
        });
        entry.times += 1;
        entry.shortest_s = entry.shortest_s.min(held_s);
    }
    found.into_values().collect()
}

/// Two notes at once that one floor, or one joined pair, cannot give.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Clash {
    /// The one that sounds.
    #[serde(rename = "bottle")]
    pub pour: PourIndex,
    /// The one that is wanted.
    pub other: PourIndex,
    /// When, s.
    pub at_s: f64,
    /// In which bar.
    pub bar: u64,
}

/// Notes that begin while another of what slides with them sounds. `slides_with` says for each bottle what it slides
/// with, if it slides.
#[must_use]
pub fn clashes(breaths: &[Breath], slides_with: &[Option<usize>], bars: &[Bar]) -> Vec<Clash> {
    let mut sounding: BTreeMap<usize, &Breath> = BTreeMap::new();
    let mut found = Vec::new();
    for b in breaths {
        let Some(slide) = slides_with[b.pour] else {
            continue;
        };
        if let Some(before) = sounding.get(&slide)
            && before.pour != b.pour
            && before.stop_s > b.start_s + KEYBOARD_LEGATO_S
        {
            found.push(Clash {
                pour: before.pour,
                other: b.pour,
                at_s: b.start_s,
                bar: bar_at(bars, b.start_s),
            });
        }
        let ends_later = |before: &&Breath| before.stop_s >= b.stop_s;
        if !sounding.get(&slide).is_some_and(ends_later) {
            sounding.insert(slide, b);
        }
    }
    found
}

/// The bar with the most to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Busiest {
    /// Which, counted from 1.
    pub bar: u64,
    /// Notes that begin in it.
    pub notes: usize,
}

/// The bar in which most notes begin, the first of several.
#[must_use]
pub fn busiest_bar(score: &Score, bars: &[Bar]) -> Option<Busiest> {
    let mut notes: BTreeMap<u64, usize> = BTreeMap::new();
    for note in &score.notes {
        *notes.entry(bar_at(bars, note.start_s)).or_default() += 1;
    }
    let most = notes
        .into_iter()
        .max_by_key(|&(bar, n)| (n, std::cmp::Reverse(bar)));
    most.map(|(bar, notes)| Busiest { bar, notes })
}

/// Two bottles that the piece blows at once.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RoughPair {
    /// How they sound together.
    #[serde(flatten)]
    pub pair: Pair,
    /// For how long, all in all, s.
    pub together_s: f64,
    /// The bar in which they first meet.
    pub bar: u64,
}

/// Every pair of bottles that is blown at once, the roughest first. `sounding` is in the bottles' order.
#[must_use]
pub fn rough_pairs(breaths: &[Breath], sounding: &[Sounding], bars: &[Bar]) -> Vec<RoughPair> {
    let mut met: BTreeMap<(PourIndex, PourIndex), (f64, f64)> = BTreeMap::new();
    let mut held: Vec<&Breath> = Vec::new();
    for b in breaths {
        held.retain(|h| h.stop_s > b.start_s);
        for h in held.iter().filter(|h| h.pour != b.pour) {
            let both_s = h.stop_s.min(b.stop_s) - b.start_s;
            if both_s > KEYBOARD_LEGATO_S {
                let key = (h.pour.min(b.pour), h.pour.max(b.pour));
                met.entry(key).or_insert((0.0, b.start_s)).0 += both_s;
            }
        }
        held.push(b);
    }
    let mut pairs: Vec<RoughPair> = met
        .into_iter()
        .map(|((a, b), (together_s, at_s))| {
            let (a, b) = (&sounding[a], &sounding[b]);
            let (low, high) = if a.pitch <= b.pitch { (a, b) } else { (b, a) };
            RoughPair {
                pair: pair(low, high),
                together_s,
                bar: bar_at(bars, at_s),
            }
        })
        .collect();
    pairs.sort_by(|a, b| b.pair.roughness.total_cmp(&a.pair.roughness));
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::resonance::Resonance;
    use crate::plan::programme::Spoken;
    use crate::units::Frequency;

    fn breath(pour: usize, start_s: f64, stop_s: f64) -> Breath {
        Breath {
            pour: PourIndex::new(pour),
            start_s,
            stop_s,
            end_s: stop_s,
            tongued: true,
            over_threshold: 2.5,
        }
    }

    #[test]
    fn a_struck_note_shorter_than_its_ring_is_told_and_a_blown_one_is_not() {
        let spoken = |struck| Spoken {
            // Falls by 60 dB in ln 1000 · 500 / (π · 1000 Hz) = 1.1 s.
            resonance: Resonance {
                frequency: Frequency::from_hz(1000.0),
                quality: 500.0,
            },
            struck,
        };
        let bottles = [false, true].map(|struck| Keyed {
            key: 60,
            spoken: spoken(struck),
        });
        let breaths = [
            breath(0, 0.0, 0.5),
            breath(1, 0.0, 0.5),
            breath(1, 2.0, 4.0),
        ];
        let found = rings_on(&breaths, &bottles, &[]);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].pour, found[0].times), (PourIndex::new(1), 1));
        assert!((found[0].rings_s - 1.0995).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn two_notes_of_one_slide_at_once_clash_and_one_after_the_other_do_not() {
        let slides_with = [Some(0), Some(0), None];
        let at_once = [
            breath(0, 0.0, 1.0),
            breath(1, 0.5, 1.5),
            breath(2, 0.6, 1.0),
        ];
        let found = clashes(&at_once, &slides_with, &[]);
        assert_eq!(found.len(), 1);
        assert_eq!([found[0].pour, found[0].other], [0, 1].map(PourIndex::new));
        let in_turn = [breath(0, 0.0, 1.0), breath(1, 1.0, 1.5)];
        assert!(clashes(&in_turn, &slides_with, &[]).is_empty());
    }
}
