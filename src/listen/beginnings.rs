//! When each of some bottles begins to sound in a recording of all of them.
//!
//! A blown bottle has next to no overtones, so that each is listened for at its own pitch alone, however many sound at once. The
//! band is as narrow as the nearest neighbour asks for, and so as quick as it can be.
//!
//! ```
//! use ullage::listen::beginnings::begun;
//! use ullage::units::{Frequency, SampleRate};
//! let (low, high) = (Frequency::from_hz(196.0), Frequency::from_hz(220.0));
//! let tone = |n: usize, hz: f64| (std::f64::consts::TAU * hz * n as f64 / 8000.0).sin() as f32;
//! // A tenth of a second of silence, half a second of the higher one, then the lower one.
//! let sound = |n: usize| match n {
//!     0..800 => 0.0,
//!     800..4800 => 0.3 * tone(n, 220.0),
//!     _ => 0.3 * tone(n, 196.0),
//! };
//! let samples: Vec<f32> = (0..9600).map(sound).collect();
//! let heard = begun(&samples, SampleRate::from_hz(8000.0), &[low, high]);
//! assert_eq!(heard.iter().map(|note| note.bottle).collect::<Vec<_>>(), [1, 0]);
//! assert!((heard[0].at.s() - 0.1).abs() < 0.02 && (heard[1].at.s() - 0.6).abs() < 0.02);
//! ```

use std::f64::consts::{PI, TAU};

use crate::units::{Duration, Frequency, SampleRate};

/// From one look at a level to the next, s.
const HOP_S: f64 = 0.005;
/// Shortest and longest stretch of sound that a level is that of, s.
const STRETCHES_S: (f64, f64) = (0.05, 0.30);
/// And at least so many of its periods, so that little of the hiss is heard.
const LEAST_PERIODS: f64 = 8.0;
/// A bottle that is never louder than this share of the loudest is not in the recording: −22 dB; overtones are 33 below.
const LEAST_OF_ALL: f64 = 0.08;
/// A note is at least so loud beside the bottle's loudest.
const LEAST_OF_OWN: f64 = 0.25;
/// A neighbour within this interval leaks: a note is at least so loud beside it.
const NEAR_CENTS: f64 = 260.0;
const LEAST_OF_NEAR: f64 = 0.5;
/// Between two notes of a bottle its level falls to this share of the quieter one: by 10 dB. Breath wanders by one, but a room in
/// which the walls are louder than the bottle makes it come and go by more. Of the demo set's piece, 189 notes of eleven players
/// in a minute, 163 are heard without its room, and none that is not there; in it 174, and 39 that are not there.
/// (At 4 dB it is 166 and 2, and 180 and 111.) Those that are missed follow another of the same bottle without a breath between.
const VALLEY: f64 = 0.3;
/// What is left of a note in its room comes and goes: so soon after it, s, the next one is at least so loud beside it.
const ROOM_S: f64 = 0.6;
const LEAST_OF_LAST: f64 = 0.7;
/// A note stays over so much of the level that it begins with for so long, s.
const STAYS: f64 = 0.5;
const STAYS_S: f64 = 0.10;
/// The level that a note begins with is its loudest in so long, s.
const BEGINNING_S: f64 = 0.30;
/// It begins where it has this share of that.
const BEGUN_AT: f64 = 0.5;

/// A note that begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Begun {
    /// Which of the bottles, in the order in which they were given.
    pub bottle: usize,
    /// When it has half its level, from the start of the recording.
    pub at: Duration,
}

/// The notes of `bottles` in `samples` (mono, full scale 1), in the order of their beginnings. Bottles that are not heard, and
/// those of less than 1 Hz or more than 0.45 of the rate, have none. A bottle may be half a semitone off its pitch.
#[must_use]
pub fn begun(samples: &[f32], rate: SampleRate, bottles: &[Frequency]) -> Vec<Begun> {
    let levels: Vec<Vec<f64>> = (bottles.iter())
        .map(|pitch| levels(samples, rate.hz(), pitch.hz(), stretch_s(*pitch, bottles)))
        .collect();
    let most = |levels: &Vec<f64>| levels.iter().fold(0.0f64, |most, level| most.max(*level));
    let all = levels.iter().map(most).fold(0.0, f64::max);
    let mut notes = Vec::new();
    for (bottle, own) in levels.iter().enumerate() {
        let loudest = most(own);
        if loudest <= LEAST_OF_ALL * all {
            continue;
        }
        let near: Vec<&Vec<f64>> = (0..bottles.len())
            .filter(|other| *other != bottle)
            .filter(|other| {
                let apart = bottles[*other].interval_above(bottles[bottle]);
                apart.cents().abs() < NEAR_CENTS
            })
            .map(|other| &levels[other])
            .collect();
        let is_own = |k: usize| near.iter().all(|other| own[k] > LEAST_OF_NEAR * other[k]);
        let starts = rises(own, LEAST_OF_OWN * loudest, is_own);
        notes.extend(starts.into_iter().map(|hops| Begun {
            bottle,
            at: Duration::from_s(hops * HOP_S),
        }));
    }
    notes.sort_by(|a, b| a.at.s().total_cmp(&b.at.s()).then(a.bottle.cmp(&b.bottle)));
    notes
}

/// How long a stretch keeps a bottle apart from its nearest neighbour: that lies where a stretch of this length hears nothing.
fn stretch_s(pitch: Frequency, bottles: &[Frequency]) -> f64 {
    let apart_hz = bottles
        .iter()
        .map(|other| (other.hz() - pitch.hz()).abs())
        .filter(|apart_hz| *apart_hz > 1.0)
        .fold(f64::INFINITY, f64::min);
    (3.0 / apart_hz)
        .max(LEAST_PERIODS / pitch.hz())
        .clamp(STRETCHES_S.0, STRETCHES_S.1)
}

/// The level at a pitch, hop by hop, each of a stretch about its moment that is weighted by Blackman's window: what lies three
/// turns of the stretch away is not heard, and nothing farther by more than −58 dB.
fn levels(samples: &[f32], rate_hz: f64, hz: f64, stretch_s: f64) -> Vec<f64> {
    let hop = (HOP_S * rate_hz).round().max(1.0) as usize;
    if !(1.0..0.45 * rate_hz).contains(&hz) {
        return vec![0.0; samples.len().div_ceil(hop)];
    }
    let turn = TAU * hz / rate_hz;
    let sum = |(place, part): (usize, &[f32])| {
        let mut sum = [0.0; 2];
        for (k, x) in part.iter().enumerate() {
            let (sin, cos) = (turn * (place * hop + k) as f64).sin_cos();
            let x = if x.is_finite() { f64::from(*x) } else { 0.0 };
            sum = [sum[0] + x * cos, sum[1] - x * sin];
        }
        sum
    };
    let sums: Vec<[f64; 2]> = samples.chunks(hop).enumerate().map(sum).collect();
    let half = (0.5 * stretch_s / HOP_S).round() as isize;
    let weight = |k: isize| {
        let part = PI * k as f64 / (half + 1) as f64;
        0.42 + 0.5 * part.cos() + 0.08 * (2.0 * part).cos()
    };
    let weights: Vec<f64> = (-half..=half).map(weight).collect();
    let whole: f64 = weights.iter().sum::<f64>() * hop as f64;
    let level = |middle: usize| {
        let mut sum = [0.0; 2];
        for (weight, k) in weights.iter().zip(-half..) {
            if let Some(part) = middle.checked_add_signed(k).and_then(|at| sums.get(at)) {
                sum = [sum[0] + weight * part[0], sum[1] + weight * part[1]];
            }
        }
        2.0 * sum[0].hypot(sum[1]) / whole
    };
    (0..sums.len()).map(level).collect()
}

/// Where a level rises to a note, hops: out of a valley, over `least`, while it is the bottle's own, and to stay.
fn rises(levels: &[f64], least: f64, is_own: impl Fn(usize) -> bool) -> Vec<f64> {
    let hops = |s: f64| (s / HOP_S) as usize;
    let mut starts = Vec::new();
    // The lowest since the last note, and where; the loudest of that note, and where it was left.
    let (mut valley, mut valley_at) = (0.0f64, 0);
    let (mut loudest, mut left_at) = (0.0f64, None);
    let mut is_on = false;
    for (k, &level) in levels.iter().enumerate() {
        if is_on {
            loudest = loudest.max(level);
            if level < VALLEY * loudest {
                is_on = false;
                (valley, valley_at, left_at) = (level, k, Some(k));
            }
            continue;
        }
        if level < valley {
            (valley, valley_at) = (level, k);
        }
        let is_rise = level > least && level > valley / VALLEY && is_own(k);
        if !is_rise {
            continue;
        }
        let beginning = &levels[k..(k + hops(BEGINNING_S)).min(levels.len())];
        let first = beginning.iter().fold(0.0f64, |most, l| most.max(*l));
        let in_room = left_at.is_some_and(|at| k - at < hops(ROOM_S));
        let long = beginning.iter().filter(|l| **l > STAYS * first).count();
        let is_note = VALLEY * first > valley
            && long >= hops(STAYS_S)
            && (!in_room || first > LEAST_OF_LAST * loudest);
        if is_note {
            let half = valley + BEGUN_AT * (first - valley);
            starts.push(crossing(levels, valley_at, half));
            (is_on, loudest) = (true, level);
        }
    }
    starts
}

/// Where the level crosses `wanted` upwards from hop `from` on, between two hops.
fn crossing(levels: &[f64], from: usize, wanted: f64) -> f64 {
    let over = (from..levels.len())
        .find(|k| levels[*k] >= wanted)
        .unwrap_or(from);
    // The middle of a hop.
    let middle = 0.5;
    match over
        .checked_sub(1)
        .map(|before| (levels[before], levels[over]))
    {
        Some((low, high)) if high > low => {
            let part = ((wanted - low) / (high - low)).clamp(0.0, 1.0);
            over as f64 - 1.0 + part + middle
        }
        _ => over as f64 + middle,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 8000.0;

    /// A tone that comes in 80 ms and goes in 60, and wanders by a decibel.
    fn add(samples: &mut [f32], hz: f64, from_s: f64, to_s: f64, level: f64) {
        for (n, sample) in samples.iter_mut().enumerate() {
            let t = n as f64 / RATE_HZ;
            if t < from_s {
                continue;
            }
            let comes = ((t - from_s) / 0.08).min(1.0);
            let goes = (-(t - to_s).max(0.0) / 0.06).exp();
            let wanders = 1.0 + 0.12 * (TAU * 3.0 * t).sin();
            *sample += (level * comes * goes * wanders * (TAU * hz * t).sin()) as f32;
        }
    }

    fn heard(samples: &[f32], pitches: &[f64]) -> Vec<(usize, f64)> {
        let bottles: Vec<Frequency> = pitches.iter().map(|hz| Frequency::from_hz(*hz)).collect();
        begun(samples, SampleRate::from_hz(RATE_HZ), &bottles)
            .iter()
            .map(|note| (note.bottle, note.at.s()))
            .collect()
    }

    #[test]
    fn notes_of_one_bottle_after_each_other_and_chords_are_each_heard_once() {
        let pitches = [98.0, 196.0, 220.0, 261.6, 659.3];
        let mut samples = vec![0.0; 32_000];
        // Out of tune by a quarter of a semitone; the second twice, and three at once.
        let notes = [
            (1, 0.2, 0.6),
            (1, 0.9, 1.3),
            (2, 1.5, 2.4),
            (0, 1.9, 2.6),
            (4, 1.9, 2.5),
            (3, 3.0, 3.5),
        ];
        for (bottle, from_s, to_s) in notes {
            add(&mut samples, 1.0145 * pitches[bottle], from_s, to_s, 0.2);
        }
        let heard = heard(&samples, &pitches);
        let mut wanted: Vec<(usize, f64)> = notes.iter().map(|n| (n.0, n.1)).collect();
        wanted.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        assert_eq!(heard.len(), wanted.len(), "{heard:?}");
        for (got, want) in heard.iter().zip(&wanted) {
            assert_eq!(got.0, want.0, "{heard:?}");
            assert!((got.1 - want.1 - 0.04).abs() < 0.03, "{heard:?}");
        }
    }

    #[test]
    fn neither_silence_nor_an_overtone_nor_another_pitch_is_a_note() {
        assert_eq!(heard(&[], &[196.0]), []);
        assert_eq!(heard(&[0.0; 4000], &[196.0, 220.0]), []);
        let mut samples = vec![0.0; 16_000];
        add(&mut samples, 196.0, 0.2, 1.5, 0.3);
        add(&mut samples, 392.0, 0.2, 1.5, 0.3 * 0.022);
        let found = heard(&samples, &[196.0, 220.0, 392.0, 5000.0]);
        assert_eq!(found.len(), 1, "{found:?}");
    }
}
