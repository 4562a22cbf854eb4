//! From measures to a score: repeats written out, ties joined, quarter notes to seconds.

use std::collections::{BTreeSet, HashMap};

use super::measure::{Measure, Part};
use super::order::{Signs, loose, played};
use super::{MusicXmlError, Read};
use crate::file::smf::Percussion;
use crate::score::{Metre, Score, ScoreNote, Tempo, Track};

/// The most notes with the repeats written out.
const MOST_NOTES: usize = 2_000_000;
/// The finest grid, ticks in a quarter note: what a MIDI file holds. Also the grid of a piece whose
/// parts have no grid in common.
const FINEST_GRID: u32 = 32_767;
const USUAL_GRID: u16 = 960;
/// Channel 10 of those who count from 1: percussion by General MIDI 1.
const PERCUSSION_CHANNEL: u8 = 9;
/// Tempo until a piece says otherwise, quarter notes a minute.
const USUAL_TEMPO: f64 = 120.0;

/// A note in quarter notes from the beginning.
struct Placed {
    start: f64,
    stop: f64,
    note: ScoreNote,
}

pub(super) fn unrolled(
    mut parts: Vec<Part>,
    percussion: Percussion,
) -> Result<Read, MusicXmlError> {
    let mut remarks: BTreeSet<String> = parts
        .iter_mut()
        .flat_map(|p| std::mem::take(&mut p.remarks))
        .collect();
    let count = parts.iter().map(|p| p.measures.len()).max().unwrap_or(0);
    let of_all = |m: usize| parts.iter().filter_map(move |p| p.measures.get(m));
    let signs: Vec<Signs> = (0..count)
        .map(|m| together(of_all(m).map(|x| &x.signs)))
        .collect();
    let order = played(&signs)?;
    for jump in loose(&signs) {
        remarks.insert(format!(
            "the jump {jump} is not followed: what it leads to is missing"
        ));
    }
    if order.len() != count {
        remarks.insert(format!(
            "repeats and jumps are written out: {} bars as they are played",
            order.len()
        ));
    }
    let grid = grid(&parts);
    let (mut score, starts) = time(&parts, &order, grid);
    let mut placed = Vec::new();
    for (track, part) in parts.iter().enumerate() {
        place(&mut placed, (track, part), (&order, &starts), percussion)?;
    }
    let on_grid = |quarter: f64| (quarter * f64::from(grid)).round() / f64::from(grid);
    score.notes = placed
        .into_iter()
        .map(|p| ScoreNote {
            start_s: score.seconds_at(on_grid(p.start)),
            stop_s: score.seconds_at(on_grid(p.stop)),
            ..p.note
        })
        .collect();
    score.signature = parts.iter().find_map(|p| p.signature);
    score.tracks = parts.into_iter().map(|p| Track { name: p.name }).collect();
    score.sort();
    let remarks = remarks.into_iter().collect();
    Ok(Read { score, remarks })
}

/// What any part says of the bar lines holds for all.
fn together<'a>(all: impl Iterator<Item = &'a Signs>) -> Signs {
    all.fold(Signs::default(), |sum, one| Signs {
        forward: sum.forward || one.forward,
        backward: sum.backward.or(one.backward),
        ending: sum.ending.or_else(|| one.ending.clone()),
        back: sum.back.or(one.back),
        segno: sum.segno || one.segno,
        to_coda: sum.to_coda || one.to_coda,
        fine: sum.fine || one.fine,
        coda: sum.coda || one.coda,
    })
}

/// The least grid that all lengths of all parts are on.
fn grid(parts: &[Part]) -> u16 {
    let gcd = |mut a: u64, mut b: u64| {
        while b > 0 {
            (a, b) = (b, a % b);
        }
        a
    };
    let mut all = parts.iter().flat_map(|p| &p.divisions);
    let common = all.try_fold(1u64, |grid, d| {
        let d = u64::from(*d);
        let next = grid / gcd(grid, d) * d;
        (next <= u64::from(FINEST_GRID)).then_some(next)
    });
    let Some(common) = common else {
        return USUAL_GRID;
    };
    // As fine as usual, for tempos and bars between the notes.
    let times = (u64::from(USUAL_GRID) / common).max(1);
    u16::try_from(common * times).unwrap_or(USUAL_GRID)
}

/// Tempos and bars as they are played, and where each measure begins, quarter notes.
fn time(parts: &[Part], order: &[usize], grid: u16) -> (Score, Vec<f64>) {
    let mut score = Score {
        ticks_per_quarter: grid,
        ..Score::default()
    };
    let at_start = tempos_at_start(parts);
    let (mut start, mut starts, mut tempo) = (0.0, Vec::with_capacity(order.len()), USUAL_TEMPO);
    let mut expected = (Metre::default(), 0.0);
    for &m in order {
        starts.push(start);
        let measures: Vec<&Measure> = parts.iter().filter_map(|p| p.measures.get(m)).collect();
        let mut changes: Vec<(f64, f64)> = vec![(0.0, at_start[m])];
        changes.extend(measures.iter().flat_map(|x| x.tempos.iter().copied()));
        changes.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (at, quarters_a_minute) in changes.into_iter().filter(|c| c.1 > 0.0) {
            if quarters_a_minute != tempo {
                tempo = quarters_a_minute;
                set_tempo(&mut score, start + at, tempo);
            }
        }
        let metre = measures.first().map_or((4, 4), |x| x.metre);
        let metre = Metre {
            start_quarter: start,
            beats: metre.0,
            unit: metre.1,
        };
        let filled = measures
            .iter()
            .map(|x| x.filled_quarters)
            .fold(0.0, f64::max);
        let whole = metre.quarters_per_bar();
        let length = if filled > 1e-6 { filled } else { whole };
        // A bar that is longer than its metre gets one that fits.
        let metre = if length > whole + 1e-6 {
            fitting(metre, length)
        } else {
            metre
        };
        let same = (expected.0.beats, expected.0.unit) == (metre.beats, metre.unit);
        if !same || (expected.1 - start).abs() > 1e-6 {
            if score
                .metres
                .last()
                .is_some_and(|last| last.start_quarter >= start)
            {
                score.metres.pop();
            }
            score.metres.push(metre);
        }
        expected = (metre, start + metre.quarters_per_bar());
        start += length;
    }
    (score, starts)
}

/// The tempo at the beginning of each measure, in the order of the file.
fn tempos_at_start(parts: &[Part]) -> Vec<f64> {
    let count = parts.iter().map(|p| p.measures.len()).max().unwrap_or(0);
    let mut now = USUAL_TEMPO;
    let mut all = Vec::with_capacity(count);
    for m in 0..count {
        all.push(now);
        let own = parts.iter().filter_map(|p| p.measures.get(m));
        let own = own.flat_map(|x| &x.tempos);
        now = own
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(now, |last| last.1);
    }
    all
}

fn set_tempo(score: &mut Score, start_quarter: f64, quarters_a_minute: f64) {
    let start_s = score.seconds_at(start_quarter);
    let us_per_quarter = (60e6 / quarters_a_minute).round().clamp(1.0, 16_777_215.0) as u32;
    if score
        .tempos
        .last()
        .is_some_and(|last| last.start_quarter >= start_quarter)
    {
        score.tempos.pop();
    }
    score.tempos.push(Tempo {
        start_s,
        start_quarter,
        us_per_quarter,
    });
}

/// A metre whose bar is as long; the one given if there is none.
fn fitting(metre: Metre, quarters: f64) -> Metre {
    let units = (0..=7)
        .map(|power| 1u8 << power)
        .filter(|unit| *unit >= metre.unit);
    let fits = |unit: u8| {
        let beats = quarters * f64::from(unit) / 4.0;
        let whole = (beats - beats.round()).abs() < 1e-6 && (1.0..=255.0).contains(&beats);
        whole.then(|| Metre {
            beats: beats.round() as u8,
            unit,
            ..metre
        })
    };
    units.filter_map(fits).next().unwrap_or(metre)
}

fn place(
    placed: &mut Vec<Placed>,
    (track, part): (usize, &Part),
    (order, starts): (&[usize], &[f64]),
    percussion: Percussion,
) -> Result<(), MusicXmlError> {
    // Notes that are tied on, by key.
    let mut open: HashMap<u8, usize> = HashMap::new();
    for (&m, &from) in order.iter().zip(starts) {
        for written in part.measures.get(m).into_iter().flat_map(|x| &x.notes) {
            if written.channel == PERCUSSION_CHANNEL && percussion == Percussion::Skip {
                continue;
            }
            let (start, stop) = (
                from + written.start_quarter,
                from + written.start_quarter + written.quarters,
            );
            let before = open.get(&written.key).copied().filter(|_| written.tied.0);
            let joined = before.filter(|&b| (placed[b].stop - start).abs() < 1e-4);
            let index = joined.unwrap_or(placed.len());
            if let Some(before) = joined {
                placed[before].stop = stop;
            } else {
                if placed.len() >= MOST_NOTES {
                    let what = "notes with their repeats";
                    let limit = MOST_NOTES as u64;
                    return Err(MusicXmlError::TooMuch { what, limit });
                }
                placed.push(Placed {
                    start,
                    stop,
                    note: ScoreNote {
                        start_s: 0.0,
                        stop_s: 0.0,
                        key: written.key,
                        velocity: written.velocity,
                        track,
                        channel: written.channel,
                    },
                });
            }
            if written.tied.1 {
                open.insert(written.key, index);
            } else if joined.is_some() {
                open.remove(&written.key);
            }
        }
    }
    Ok(())
}
