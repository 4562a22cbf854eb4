//! A piece played with a set: which bottle is blown when, and which notes have no bottle.
//!
//! A note is played by a bottle of its own key; a neighbour is never put in its place. Where several
//! bottles have the key, the first that is free takes it. A bottle has one voice: of two notes at once
//! on one bottle the later takes over, and two that begin together are one, held as long as the longer
//! and blown as hard as the harder.
//!
//! ```
//! use ullage::plan::piece::{Playing, at_tempo, play};
//!
//! let keyed = ullage::stage::Stage::new(&ullage::set::open("presets/quay/set.toml")?)?.keyed();
//! let score = ullage::file::piece::open("presets/quay/piece.mid")?.score;
//! let starts_s = |score: &_, playing: &Playing| -> Vec<f64> {
//!     play(score, "", &keyed, playing).programme.breaths().map(|breath| breath.start_s).collect()
//! };
//! let whole = Playing::whole(2.5);
//! let written_s = starts_s(&score, &whole);
//! // A score counts whole microseconds a quarter note: off by half of one for each, at most.
//! let most_s = 0.5e-6 * score.quarter_at(score.duration_s());
//! // At three quarters of the tempo everything comes 4/3 as late, whether the players slow down or the score is rewritten.
//! let slower = Playing { tempo: 0.75, ..whole.clone() };
//! for slow_s in [starts_s(&score, &slower), starts_s(&at_tempo(&score, 0.75), &whole)] {
//!     assert_eq!(slow_s.len(), score.notes.len());
//!     assert!(written_s.iter().zip(&slow_s).all(|(written_s, slow_s)| (slow_s - written_s * 4.0 / 3.0).abs() < most_s));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;

use serde::Serialize;

use super::programme::{Breath, Part, Programme, SAME_S, Spoken};
use super::spelling::key_of;
use crate::index::PourIndex;
use crate::score::{Bar, Score, ScoreNote, Tempo, USUAL_VELOCITY};
use crate::tuning::Key;

/// The softest breath, over the threshold: less would not be sure to speak.
const SOFTEST: f64 = 1.1;
/// Notes of one bottle that overlap by no more are a keyboard's legato, not two notes at once, s. Common practice, no
/// source.
pub(super) const KEYBOARD_LEGATO_S: f64 = 0.03;
/// The most beats that are counted.
const MOST_BEATS: usize = 4_000_000;

/// A bottle that can play a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyed {
    /// Its key in MIDI's count.
    pub key: u8,
    /// What it sounds like.
    pub spoken: Spoken,
}

/// How a piece is played.
#[derive(Clone, Debug, PartialEq)]
pub struct Playing {
    /// Times the file's tempo; above 0.
    pub tempo: f64,
    /// The first bar and the last, counted from 1; `None` for all.
    pub bars: Option<(u64, u64)>,
    /// The tracks that are played, counted from 0; empty for all.
    pub tracks: Vec<usize>,
    /// For each bottle, whether it is left out. A bottle left out still takes its notes, so that the
    /// others play what they would have played with it.
    pub silent: Vec<bool>,
    /// Breath at the usual velocity of 80, over the threshold of sounding; above 1.
    pub breath: f64,
}

impl Playing {
    /// All of a piece at its own tempo, at a breath of `breath` times the threshold of sounding.
    #[must_use]
    pub fn whole(breath: f64) -> Self {
        Self {
            tempo: 1.0,
            bars: None,
            tracks: Vec::new(),
            silent: Vec::new(),
            breath,
        }
    }
}

/// A key of the piece that no bottle of the set has.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Missing {
    /// Its name.
    pub note: String,
    /// In MIDI's count.
    pub key: u8,
    /// How often it is asked for.
    pub times: usize,
    /// The bars it is asked for in, each once.
    pub bars: Vec<u64>,
    /// When it is asked for, seconds of the file's own time.
    pub at_s: Vec<f64>,
}

/// A beat to click on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// When, seconds as played.
    pub at_s: f64,
    /// It begins a bar.
    pub first: bool,
}

/// A piece on the bottles of a set. Times are as played: from the first bar that is, at its tempo.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedPiece {
    /// Who is blown when, in one part.
    pub programme: Programme,
    /// What has no bottle, lowest first.
    pub missing: Vec<Missing>,
    /// Every beat.
    pub beats: Vec<Beat>,
    /// Notes asked for, with or without a bottle.
    pub asked: usize,
    /// Where a note is cut short because its bottle is wanted again.
    pub cut: Vec<Cut>,
    /// What is not played on bottles, in order of their beginning.
    pub others: Vec<Other>,
}

/// A note that no bottle plays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Other {
    /// It begins, seconds as played.
    pub start_s: f64,
    /// It is let go, seconds as played.
    pub stop_s: f64,
    /// In MIDI's count.
    pub key: u8,
    /// How hard, 1 to 127.
    pub velocity: u8,
    /// It is in a track that is played, and no bottle has it; else it is in another track.
    pub missing: bool,
}

/// A note that another takes over from.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cut {
    /// The pour of both.
    #[serde(rename = "bottle")]
    pub pour: PourIndex,
    /// When, seconds as played.
    pub at_s: f64,
    /// In which bar.
    pub bar: u64,
}

/// The bars of a piece, up to the end of its last note.
#[must_use]
pub fn bars(score: &Score) -> Vec<Bar> {
    score.bars_to_the_end()
}

/// The bar that a time is in, counted from 1.
#[must_use]
pub fn bar_at(bars: &[Bar], at_s: f64) -> u64 {
    // A note on the bar line belongs to the bar that begins there, whatever the last bit says.
    let begun = bars.partition_point(|bar| bar.start_s <= at_s + SAME_S);
    begun.max(1) as u64
}

/// Every beat of these bars of a piece, in its own time; of a broken file the first four million.
#[must_use]
pub fn beats(score: &Score, bars: &[Bar]) -> Vec<Beat> {
    let mut beats = Vec::new();
    for (index, bar) in bars.iter().enumerate() {
        let next_s = bars.get(index + 1).map_or(f64::INFINITY, |b| b.start_s);
        let quarter = score.quarter_at(bar.start_s);
        if beats.len() >= MOST_BEATS {
            break;
        }
        for beat in 0..bar.metre.beats {
            let beat_quarter = quarter + 4.0 * f64::from(beat) / f64::from(bar.metre.unit);
            let at_s = score.seconds_at(beat_quarter);
            if at_s < next_s - SAME_S {
                let first = beat == 0;
                beats.push(Beat { at_s, first });
            }
        }
    }
    beats
}

/// Breath for a velocity, over the threshold: what is above the threshold goes with the velocity.
#[must_use]
pub fn breath_of(velocity: u8, breath: f64) -> f64 {
    (1.0 + (breath - 1.0) * f64::from(velocity) / f64::from(USUAL_VELOCITY)).max(SOFTEST)
}

/// The piece at `factor` times its tempo; above 0. Its notes stay on their places in the bars.
#[must_use]
pub fn at_tempo(score: &Score, factor: f64) -> Score {
    let mut quick = score.clone();
    if factor == 1.0 {
        return quick;
    }
    let mut start_s = 0.0;
    let mut before: Option<Tempo> = None;
    for tempo in &mut quick.tempos {
        if let Some(last) = before {
            let quarters = tempo.start_quarter - last.start_quarter;
            start_s += quarters * f64::from(last.us_per_quarter) / 1e6;
        }
        // The cast takes what is too slow for the number to its end.
        let us_per_quarter = (f64::from(tempo.us_per_quarter) / factor).round().max(1.0) as u32;
        *tempo = Tempo {
            start_s,
            us_per_quarter,
            ..*tempo
        };
        before = Some(*tempo);
    }
    let moved_s = |s: f64| quick.seconds_at(score.quarter_at(s));
    let notes = score.notes.iter().map(|n| ScoreNote {
        start_s: moved_s(n.start_s),
        stop_s: moved_s(n.stop_s),
        ..*n
    });
    quick.notes = notes.collect();
    quick
}

/// The piece with the notes of these tracks only; of all if none is named.
#[must_use]
pub fn of_tracks(score: &Score, tracks: &[usize]) -> Score {
    let mut some = score.clone();
    some.notes
        .retain(|n| tracks.is_empty() || tracks.contains(&n.track));
    some
}

/// Gives every note of `score` its bottle.
#[must_use]
pub fn play(score: &Score, title: &str, bottles: &[Keyed], playing: &Playing) -> PlayedPiece {
    let (bars, key) = (bars(score), key_of(score));
    let span = Span::of(&bars, score, playing);
    let within = score
        .notes
        .iter()
        .filter(|n| n.held_s() > 0.0 && span.holds(n.start_s));
    let (notes, rest): (Vec<&ScoreNote>, Vec<&ScoreNote>) =
        within.partition(|n| playing.tracks.is_empty() || playing.tracks.contains(&n.track));
    let mut others: Vec<Other> = rest.iter().map(|n| span.other(n, false)).collect();
    let (mut missing, mut cut) = (BTreeMap::new(), Vec::new());
    let mut breaths: Vec<Breath> = Vec::with_capacity(notes.len());
    let mut last: Vec<Option<usize>> = vec![None; bottles.len()];
    for note in &notes {
        let start_s = span.played_s(note.start_s);
        let Some(pour) = choose(bottles, &last, &breaths, note.key, start_s) else {
            miss(&mut missing, key, note, bar_at(&bars, note.start_s));
            others.push(span.other(note, true));
            continue;
        };
        let stop_s = span.played_s(note.stop_s.min(span.end_s));
        let over_threshold = breath_of(note.velocity, playing.breath);
        if let Some(before) = last[pour].map(|index| &mut breaths[index]) {
            if before.start_s == start_s {
                before.stop_s = before.stop_s.max(stop_s);
                before.over_threshold = before.over_threshold.max(over_threshold);
                continue;
            }
            if before.stop_s > start_s + KEYBOARD_LEGATO_S {
                let bar = bar_at(&bars, note.start_s);
                cut.push(Cut {
                    pour,
                    at_s: start_s,
                    bar,
                });
            }
            before.stop_s = before.stop_s.min(start_s);
        }
        last[pour] = Some(breaths.len());
        breaths.push(Breath {
            pour,
            start_s,
            stop_s,
            end_s: stop_s,
            tongued: true,
            over_threshold,
        });
    }
    breaths.retain(|b| !playing.silent.get(b.pour.place()).copied().unwrap_or(false));
    others.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    PlayedPiece {
        asked: notes.len(),
        others,
        programme: programme(title, bottles, breaths),
        missing: missing.into_values().collect(),
        beats: span.beats(&bars, score),
        cut,
    }
}

/// A bottle of this key: the first that is free, or else the one that has been blown longest.
fn choose(
    bottles: &[Keyed],
    last: &[Option<usize>],
    breaths: &[Breath],
    key: u8,
    start_s: f64,
) -> Option<PourIndex> {
    let before = |pour: PourIndex| last[pour].map(|index| breaths[index]);
    let of_key = PourIndex::all(bottles.len()).filter(|&pour| bottles[pour].key == key);
    let busy_since_s = |pour: PourIndex| {
        before(pour)
            .filter(|b| b.stop_s > start_s)
            .map_or(f64::NEG_INFINITY, |b| b.start_s)
    };
    of_key.min_by(|&a, &b| busy_since_s(a).total_cmp(&busy_since_s(b)))
}

fn miss(missing: &mut BTreeMap<u8, Missing>, key: Key, note: &ScoreNote, bar: u64) {
    let entry = missing.entry(note.key).or_insert_with(|| Missing {
        note: key.spelled(note.key).to_string(),
        key: note.key,
        times: 0,
        bars: Vec::new(),
        at_s: Vec::new(),
    });
    entry.times += 1;
    entry.at_s.push(note.start_s);
    if entry.bars.last() != Some(&bar) {
        entry.bars.push(bar);
    }
}

fn programme(title: &str, bottles: &[Keyed], mut breaths: Vec<Breath>) -> Programme {
    for breath in &mut breaths {
        breath.end_s = bottles[breath.pour]
            .spoken
            .silent_s(breath.start_s, breath.stop_s);
    }
    let end_s = breaths.iter().map(|b| b.end_s).fold(0.0, f64::max);
    Programme {
        parts: vec![Part {
            title: title.to_owned(),
            start_s: 0.0,
            end_s,
            breaths,
            glides: Vec::new(),
        }],
    }
}

/// The stretch of the file that is played, in its own time, and how fast.
struct Span {
    start_s: f64,
    end_s: f64,
    tempo: f64,
}

impl Span {
    fn of(bars: &[Bar], score: &Score, playing: &Playing) -> Self {
        let begins_s = |number: u64| {
            let index = usize::try_from(number.saturating_sub(1)).unwrap_or(usize::MAX);
            bars.get(index).map(|bar| bar.start_s)
        };
        let end_s = score.duration_s();
        let (from, to) = playing.bars.unwrap_or((1, u64::MAX));
        Self {
            start_s: begins_s(from).unwrap_or(end_s),
            end_s: begins_s(to.saturating_add(1)).unwrap_or(end_s),
            tempo: playing.tempo,
        }
    }

    fn holds(&self, at_s: f64) -> bool {
        at_s >= self.start_s - SAME_S && at_s < self.end_s - SAME_S
    }

    fn played_s(&self, at_s: f64) -> f64 {
        ((at_s - self.start_s) / self.tempo).max(0.0)
    }

    fn other(&self, note: &ScoreNote, missing: bool) -> Other {
        Other {
            start_s: self.played_s(note.start_s),
            stop_s: self.played_s(note.stop_s.min(self.end_s)),
            key: note.key,
            velocity: note.velocity,
            missing,
        }
    }

    fn beats(&self, bars: &[Bar], score: &Score) -> Vec<Beat> {
        let all = beats(score, bars).into_iter();
        all.filter(|beat| self.holds(beat.at_s))
            .map(|beat| Beat {
                at_s: self.played_s(beat.at_s),
                ..beat
            })
            .collect()
    }
}
