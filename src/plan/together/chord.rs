//! The chords that a set can play.

use super::{Measured, Pair, Sounding, measured, pair};
use crate::tuning::NoteName;
use serde::Serialize;
use std::collections::BTreeMap;

/// The widest that a chord may lie, semitones from its root: an octave and a half.
const WIDEST_SEMITONES: u8 = 18;

/// Which chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ChordKind {
    /// Major third and fifth.
    Major,
    /// Minor third and fifth.
    Minor,
    /// Minor third and diminished fifth.
    Diminished,
    /// Fourth and fifth.
    SuspendedFourth,
    /// Major third, fifth and minor seventh.
    DominantSeventh,
}

impl ChordKind {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Major,
        Self::Minor,
        Self::Diminished,
        Self::SuspendedFourth,
        Self::DominantSeventh,
    ];

    /// Its notes above the root, semitones.
    const fn above_root(self) -> &'static [u8] {
        match self {
            Self::Major => &[4, 7],
            Self::Minor => &[3, 7],
            Self::Diminished => &[3, 6],
            Self::SuspendedFourth => &[5, 7],
            Self::DominantSeventh => &[4, 7, 10],
        }
    }

    /// As it stands behind the name of the root.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Major => "major",
            Self::Minor => "minor",
            Self::Diminished => "diminished",
            Self::SuspendedFourth => "suspended fourth",
            Self::DominantSeventh => "dominant seventh",
        }
    }
}

/// A chord with its root lowest.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chord {
    /// As in "D major".
    pub name: String,
    /// Which chord.
    pub kind: ChordKind,
    /// Its notes, the root first.
    pub notes: Vec<NoteName>,
    /// The bottles that give them.
    pub bottles: Vec<String>,
    /// Each of the other notes above the root.
    pub above_root: Vec<Measured>,
    /// The fastest beats between two of its notes; nothing if none beat.
    pub worst_beats_per_s: Option<f64>,
    /// The slowest and the fastest that these are most of the time, [`super::Beats::least_per_s`].
    pub worst_beats_least_per_s: Option<f64>,
    /// The fastest.
    pub worst_beats_most_per_s: Option<f64>,
    /// The notes that beat fastest, the lower first.
    pub worst_pair: Option<[NoteName; 2]>,
    /// The sum over its pairs.
    pub roughness: f64,
}

/// Every chord with its root lowest and the rest within an octave and a half, the smoothest first.
///
/// A note that is there twice is taken from the first bottle; a chord note that is missing just above the
/// root may lie an octave higher.
pub(super) fn chords(sorted: &[&Sounding]) -> Vec<Chord> {
    let mut by_key: BTreeMap<u8, &Sounding> = BTreeMap::new();
    for bottle in sorted {
        by_key.entry(bottle.note.midi()).or_insert(bottle);
    }
    let mut chords: Vec<Chord> = by_key
        .keys()
        .flat_map(|&root| ChordKind::ALL.map(|kind| (root, kind)))
        .filter_map(|(root, kind)| Some(chord(kind, &voices(&by_key, root, kind)?)))
        .collect();
    // The sort keeps equals in order: by root, then by kind.
    chords.sort_by(|a, b| a.roughness.total_cmp(&b.roughness));
    chords
}

/// The bottles of a chord, lowest first, if the set has them.
fn voices<'a>(
    by_key: &BTreeMap<u8, &'a Sounding>,
    root: u8,
    kind: ChordKind,
) -> Option<Vec<&'a Sounding>> {
    let mut keys = vec![root];
    for &step in kind.above_root() {
        let octaves = [step, step + 12];
        let reachable = octaves.into_iter().filter(|&up| up <= WIDEST_SEMITONES);
        keys.push(
            reachable
                .map(|up| root + up)
                .find(|key| by_key.contains_key(key))?,
        );
    }
    keys.sort_unstable();
    keys.iter().map(|key| by_key.get(key).copied()).collect()
}

fn chord(kind: ChordKind, voices: &[&Sounding]) -> Chord {
    let mut pairs: Vec<Pair> = Vec::new();
    for (index, lower) in voices.iter().enumerate() {
        pairs.extend(voices[index + 1..].iter().map(|upper| pair(lower, upper)));
    }
    let beating = pairs
        .iter()
        .filter_map(|p| Some((p.beats?, [p.a_note, p.b_note])));
    let worst = beating.max_by(|a, b| a.0.beats_per_s.total_cmp(&b.0.beats_per_s));
    let root = voices[0];
    Chord {
        name: format!("{} {}", root.note.class(), kind.name()),
        kind,
        notes: voices.iter().map(|v| v.note).collect(),
        bottles: voices.iter().map(|v| v.name.clone()).collect(),
        above_root: voices[1..]
            .iter()
            .map(|upper| measured(root, upper))
            .collect(),
        worst_beats_per_s: worst.map(|w| w.0.beats_per_s),
        worst_beats_least_per_s: worst.map(|w| w.0.least_per_s),
        worst_beats_most_per_s: worst.map(|w| w.0.most_per_s),
        worst_pair: worst.map(|w| w.1),
        roughness: pairs.iter().map(|p| p.roughness).sum(),
    }
}
