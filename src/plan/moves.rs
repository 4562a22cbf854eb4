//! What can be done with a piece whose notes a set has not all: the whole of it moved to another key,
//! missing notes moved by octaves, or both; each with what it costs.
//!
//! ```
//! use ullage::plan::{moves::moves, wanted::scale};
//! use ullage::score::{Score, ScoreNote};
//! use ullage::tuning::NoteName;
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let keyed = ullage::stage::Stage::new(&set)?.keyed();
//! let note = |n: &NoteName| ScoreNote { start_s: 0.0, stop_s: 1.0, key: n.midi(), velocity: 80, track: 0, channel: 0 };
//! let notes = scale("C major", "C4".parse()?, "C5".parse()?)?;
//! let score = Score { notes: notes.iter().map(note).collect(), ..Score::default() };
//! // The set is in G and has no F: a piece in C is played a fourth lower.
//! let best = &moves(&score, &keyed)[0];
//! assert_eq!((best.semitones, best.kept_notes, best.lost_notes), (-5, 8, 0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;

use serde::Serialize;

use super::check::FARTHEST_SEMITONES;
use super::piece::{Keyed, Playing, play};
use super::spelling::key_of;
use crate::score::Score;
use crate::tuning::Key;

/// How far a note is moved, octaves.
const FARTHEST_OCTAVES: i32 = 4;

/// A pitch of the piece, after its transposition, that is moved to another octave or lost.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Affected {
    /// Its name after the transposition.
    pub note: String,
    /// Where it is moved to; nothing if it is lost.
    pub to: Option<String>,
    /// How far up, octaves.
    pub octaves: i32,
    /// How many notes of it there are.
    pub times: usize,
}

/// A way to play a piece with a set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Move {
    /// The whole piece is moved up so far.
    pub semitones: i32,
    /// The key that it is in there.
    pub key: String,
    /// The same, to be said in other words.
    #[serde(skip)]
    pub in_key: Key,
    /// Notes that then lack a bottle are moved by octaves where that helps.
    pub folded: bool,
    /// Notes that are played in their own octave.
    pub kept_notes: usize,
    /// Notes that are played in another octave.
    pub moved_notes: usize,
    /// Notes without a bottle.
    pub lost_notes: usize,
    /// Notes that share a bottle with another at the same time: one voice of the two is lost.
    pub shared_notes: usize,
    /// The pitches that are moved or lost, lowest first.
    pub affected: Vec<Affected>,
}

impl Move {
    /// What it costs: voices lost, then notes moved by octaves, then how far the whole is moved.
    fn cost(&self) -> (usize, usize, i32, i32) {
        let lost = self.lost_notes + self.shared_notes;
        (lost, self.moved_notes, self.semitones.abs(), self.semitones)
    }
}

/// Every transposition of two octaves either way, with and without moving notes by octaves; the one
/// with the fewest voices lost first, among equals the one with the fewest notes moved by octaves, then
/// the nearest. What moving by octaves does not better is listed once, without.
#[must_use]
pub fn moves(score: &Score, bottles: &[Keyed]) -> Vec<Move> {
    let mut times: BTreeMap<i32, usize> = BTreeMap::new();
    for note in score.notes.iter().filter(|n| n.held_s() > 0.0) {
        *times.entry(i32::from(note.key)).or_default() += 1;
    }
    let mut all = Vec::new();
    let key = key_of(score);
    for semitones in -FARTHEST_SEMITONES..=FARTHEST_SEMITONES {
        let to = To {
            semitones,
            folded: false,
            key: key.transposed(semitones),
        };
        let plain = moved(score, bottles, &times, to);
        let folded = moved(score, bottles, &times, To { folded: true, ..to });
        let helps = folded.moved_notes > 0;
        all.push(plain);
        all.extend(helps.then_some(folded));
    }
    all.sort_by_key(|m| (m.cost(), m.folded));
    all
}

/// Where a piece is moved.
#[derive(Clone, Copy)]
struct To {
    semitones: i32,
    /// Notes that have no bottle are moved by octaves.
    folded: bool,
    /// The key there.
    key: Key,
}

fn moved(score: &Score, bottles: &[Keyed], times: &BTreeMap<i32, usize>, there: To) -> Move {
    let To {
        semitones,
        folded,
        key: spelling,
    } = there;
    let name = |key| name(spelling, key);
    let (mut to, mut affected) = (BTreeMap::new(), Vec::new());
    let (mut kept_notes, mut moved_notes, mut lost_notes) = (0, 0, 0);
    for (&key, &times) in times {
        let wanted = key + semitones;
        let octaves = octaves(bottles, wanted, folded);
        match octaves {
            Some(0) => kept_notes += times,
            Some(_) => moved_notes += times,
            None => lost_notes += times,
        }
        if let Some(octaves) = octaves {
            to.insert(key, wanted + 12 * octaves);
        }
        if octaves != Some(0) {
            let octaves = octaves.unwrap_or(0);
            affected.push(Affected {
                note: name(wanted),
                to: to.get(&key).map(|key| name(*key)),
                octaves,
                times,
            });
        }
    }
    Move {
        semitones,
        key: spelling.to_string(),
        in_key: spelling,
        folded,
        kept_notes,
        moved_notes,
        lost_notes,
        shared_notes: shared(score, bottles, &to),
        affected,
    }
}

/// How far to move a key, octaves, the least that does; of two as near, towards the middle of the set.
fn octaves(bottles: &[Keyed], wanted: i32, fold: bool) -> Option<i32> {
    let has = |key: i32| bottles.iter().any(|b| i32::from(b.key) == key);
    let farthest = if fold { FARTHEST_OCTAVES } else { 0 };
    let keys = bottles.iter().map(|b| i32::from(b.key));
    let middle = keys.clone().min()? + keys.max()?;
    let there = (-farthest..=farthest).filter(|octaves| has(wanted + 12 * octaves));
    there.min_by_key(|octaves| (octaves.abs(), (2 * (wanted + 12 * octaves) - middle).abs()))
}

/// Notes that lose their bottle to another, or are one with it.
fn shared(score: &Score, bottles: &[Keyed], to: &BTreeMap<i32, i32>) -> usize {
    let mut there = score.clone();
    there.notes.retain_mut(|note| {
        let key = to
            .get(&i32::from(note.key))
            .and_then(|k| u8::try_from(*k).ok());
        note.key = key.unwrap_or(note.key);
        key.is_some()
    });
    there.sort();
    let playing = Playing {
        tempo: 1.0,
        bars: None,
        tracks: Vec::new(),
        silent: Vec::new(),
        breath: 2.0,
    };
    let played = play(&there, "", bottles, &playing);
    let breaths = played.programme.breaths().count();
    played.asked - breaths + played.cut.len()
}

fn name(spelling: Key, key: i32) -> String {
    match u8::try_from(key).ok().filter(|key| *key < 128) {
        Some(key) => spelling.spelled(key).to_string(),
        None => format!("key {key}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::resonance::Resonance;
    use crate::score::ScoreNote;
    use crate::units::Frequency;

    fn set(keys: &[u8]) -> Vec<Keyed> {
        let resonance = Resonance {
            frequency: Frequency::from_hz(300.0),
            quality: 50.0,
        };
        keys.iter()
            .map(|&key| Keyed {
                key,
                spoken: crate::plan::programme::Spoken {
                    resonance,
                    struck: false,
                },
            })
            .collect()
    }

    /// One note after another, or all at once.
    fn piece(keys: &[u8], at_once: bool) -> Score {
        let notes = keys.iter().zip(0..).map(|(&key, n)| {
            let start_s = if at_once { 0.0 } else { f64::from(n) };
            ScoreNote {
                start_s,
                stop_s: start_s + 0.5,
                key,
                velocity: 80,
                track: 0,
                channel: 0,
            }
        });
        let mut score = Score {
            notes: notes.collect(),
            ..Score::default()
        };
        score.sort();
        score
    }

    fn find(all: &[Move], semitones: i32, folded: bool) -> &Move {
        let mut found = all
            .iter()
            .filter(|m| (m.semitones, m.folded) == (semitones, folded));
        found.next().expect("every transposition is tried")
    }

    #[test]
    fn a_transposition_that_loses_nothing_comes_before_notes_moved_by_octaves_and_those_before_losses()
     {
        let all = moves(
            &piece(&[60, 62, 76], false),
            &set(&[55, 57, 60, 62, 64, 71]),
        );
        // A fourth down all is there; as written E5 can go down an octave, or be lost.
        assert_eq!(
            (all[0].semitones, all[0].folded, all[0].moved_notes),
            (-5, false, 0)
        );
        let folded = find(&all, 0, true);
        assert_eq!(
            (folded.kept_notes, folded.moved_notes, folded.lost_notes),
            (2, 1, 0)
        );
        assert_eq!(
            folded.affected,
            [Affected {
                note: "E5".into(),
                to: Some("E4".into()),
                octaves: -1,
                times: 1
            }]
        );
        let plain = find(&all, 0, false);
        assert_eq!((plain.kept_notes, plain.lost_notes), (2, 1));
        assert_eq!(plain.affected[0].to, None);
        let place = |m: &Move| all.iter().position(|other| other == m);
        assert!(place(folded) < place(plain));
        // The ranking is that of the costs.
        assert!(all.windows(2).all(|w| w[0].cost() <= w[1].cost()));
        assert!(
            all.iter()
                .all(|m| m.kept_notes + m.moved_notes + m.lost_notes == 3)
        );
    }

    #[test]
    fn an_octave_that_puts_two_voices_on_one_bottle_costs_a_voice() {
        let all = moves(&piece(&[60, 72], true), &set(&[60]));
        let folded = find(&all, 0, true);
        assert_eq!((folded.lost_notes, folded.shared_notes), (0, 1));
        let apart = moves(&piece(&[60, 72], false), &set(&[60]));
        assert_eq!(find(&apart, 0, true).shared_notes, 0);
    }

    #[test]
    fn of_two_octaves_the_one_towards_the_middle_of_the_set_is_taken() {
        assert_eq!(octaves(&set(&[48, 72, 79]), 60, true), Some(1));
        assert_eq!(octaves(&set(&[41, 48, 72]), 60, true), Some(-1));
        assert_eq!(octaves(&set(&[48, 72]), 61, true), None);
        assert_eq!(octaves(&[], 60, true), None);
        assert!(
            moves(&Score::default(), &[])
                .iter()
                .all(|m| m.lost_notes == 0)
        );
    }
}
