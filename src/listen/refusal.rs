//! What is taken for a blown bottle and is none: a tap that rings, a voice, hum.

use super::chord::{Chord, Tone, is_multiple};
use super::comb::company;
use super::phase::turned_back;
use crate::units::{Duration, Frequency};

/// A tone that falls by so much within so long of its beginning was tapped: no breath ends like this, dB, s.
const TAP_FALL_DB: f64 = 30.0;
const TAP_FALL_S: f64 = 0.3;
/// It was never held: this near to its loudest only for so long, dB, s. A short blow rises slower than a tap falls.
const HELD_DB: f64 = 6.0;
const HELD_S: f64 = 0.08;
/// A stretch that ends earlier falls as steeply by at least so much, dB.
const LEAST_FALL_DB: f64 = 10.0;
/// A long ring after a tap falls from third to third by so much at least, dB, and at this rate, dB/s.
const RING_FALL_DB: f64 = 1.5;
const RING_DB_PER_S: f64 = 12.0;
/// Below this the air rings, not the wall, Hz.
const RING_HZ: f64 = 700.0;
/// Windows of the envelope, s.
const ENVELOPE_S: f64 = 0.02;
/// A voice has overtones as strong as its strongest partial: a bottle has not.
const LEAST_PURITY: f64 = 0.5;
/// A voice has so many strong lines beside the one that was taken for a note, where a bottle has none, two if it clips, and one for each
/// other bottle. Of 2,040 recordings of speech the notes that were left had 1 to 18, 4.5 in the middle. A syllable is shorter than
/// this, s, and gives less time to tell its lines from noise.
const LINES: f64 = 3.0;
const LINES_OF_SYLLABLE: f64 = 2.0;
const SYLLABLE_S: f64 = 0.5;
/// A bottle that is expected may be heard by a small microphone, which lifts its overtones.
const LINES_OF_EXPECTED: f64 = 5.0;
/// A pitch that moves by so much while it is held is a voice's, cents: a bottle's moves by 3 to 14 (rms), as measured in
/// `real_blown.csv`.
const MOST_WANDER_CENTS: f64 = 30.0;
/// And that long a note must last to show it, s.
const WANDERS_S: f64 = 0.12;
/// Mains hum lies within this of a multiple of 50 or 60 Hz, as a share, and is at most so high, Hz.
const MAINS_SHARE: f64 = 0.004;
const MAINS_HIGHEST_HZ: f64 = 370.0;
/// It was there when the recording began, s, and does not wander: a blown note does, cents (95 %).
const MAINS_START_S: f64 = 0.2;
const MAINS_CENTS: f64 = 0.6;
/// Or it is one of at least so many multiples of the mains and nothing else, this near to them, Hz, of which another one is as strong
/// within 12 dB and no overtone of it, unless it is the lowest of them: no bottle has an overtone so strong.
const MAINS_LINES: usize = 3;
const MAINS_OFF_HZ: f64 = 0.5;
const MAINS_BESIDE: f64 = 0.06;

/// Why a tone is no blown note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotBlown {
    /// It rings down from its beginning.
    Tapped,
    /// It has a voice's overtones, or glides as one.
    Voice,
    /// It is the mains'.
    Hum,
}

impl std::fmt::Display for NotBlown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Tapped => "was tapped, and rings down",
            Self::Voice => "moves or is coloured like a voice",
            Self::Hum => "is the hum of the mains",
        })
    }
}

/// A tone that may be a blown bottle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Suspect<'a> {
    /// From a little before its beginning to its end.
    pub(super) samples: &'a [f64],
    /// While it sounds.
    pub(super) held: &'a [f64],
    pub(super) rate_hz: f64,
    pub(super) hz: f64,
    pub(super) plus_minus_cents: f64,
    /// Pitches of its frames.
    pub(super) pitches_hz: &'a [f64],
    /// When it began.
    pub(super) start: Duration,
    /// Something was tapped shortly before.
    pub(super) may_ring: bool,
    pub(super) chord: &'a Chord,
    /// A bottle of the set should sound here.
    pub(super) is_expected: bool,
}

impl Suspect<'_> {
    /// Why it is none.
    pub(super) fn refused(&self) -> Option<NotBlown> {
        if self.is_tap() {
            return Some(NotBlown::Tapped);
        }
        if !self.is_expected && self.is_hum() {
            return Some(NotBlown::Hum);
        }
        let is_pure = self.chord.purity(self.hz) >= LEAST_PURITY;
        let is_steady = self.wander_cents() <= MOST_WANDER_CENTS;
        let is_voice = !is_steady || !(is_pure || self.is_expected) || self.is_of_a_comb();
        is_voice.then_some(NotBlown::Voice)
    }

    fn is_of_a_comb(&self) -> bool {
        let bottles = self.chord.bottles.len() as f64;
        let limit = if self.is_expected {
            LINES_OF_EXPECTED
        } else if (self.held.len() as f64) < SYLLABLE_S * self.rate_hz {
            LINES_OF_SYLLABLE.max(bottles)
        } else {
            LINES.max(bottles + 2.0)
        };
        let beside = company(self.held, self.rate_hz, self.hz);
        beside.lines >= limit && beside.odd >= 1.0
    }

    fn is_hum(&self) -> bool {
        // What the mains are, if it is one of their multiples.
        let mains_hz = |nominal_hz: f64| {
            let hz = self.hz / (self.hz / nominal_hz).round().max(1.0);
            ((hz / nominal_hz - 1.0).abs() < MAINS_SHARE).then_some(hz)
        };
        let steady = self.start.s() < MAINS_START_S && self.plus_minus_cents < MAINS_CENTS;
        let mut mains = [50.0, 60.0].into_iter().filter_map(mains_hz);
        self.hz < MAINS_HIGHEST_HZ && mains.any(|hz| steady || self.is_all_mains(hz))
    }

    /// All that sounds are multiples of `mains_hz`, and not of this tone alone.
    fn is_all_mains(&self, mains_hz: f64) -> bool {
        let tones = &self.chord.tones;
        let off_hz = |hz: f64| (hz - mains_hz * (hz / mains_hz).round().max(1.0)).abs();
        let own = tones.iter().filter(|tone| is_multiple(tone.hz, self.hz));
        let loudest = own.map(|tone| tone.power).fold(0.0, f64::max);
        let is_lowest = self.hz < 1.5 * mains_hz;
        let is_other = |tone: &Tone| {
            let apart = match is_lowest {
                true => tone.hz > 1.5 * self.hz,
                false => !is_multiple(tone.hz, self.hz),
            };
            apart && tone.power > MAINS_BESIDE * loudest
        };
        tones.len() >= MAINS_LINES
            && tones.iter().all(|tone| off_hz(tone.hz) < MAINS_OFF_HZ)
            && tones.iter().any(is_other)
    }

    /// How far its pitch moves from the first to the last third of what is held of it, cents.
    fn wander_cents(&self) -> f64 {
        let held = &self.pitches_hz[self.pitches_hz.len() / 6..];
        let third = held.len() / 3;
        let span_s = self.samples.len() as f64 / self.rate_hz;
        if third < 2 || span_s < WANDERS_S {
            return 0.0;
        }
        let middle = |pitches: &[f64]| super::phase::median(&mut pitches.to_vec());
        let (first, last) = (middle(&held[..third]), middle(&held[held.len() - third..]));
        Frequency::from_hz(last)
            .interval_above(Frequency::from_hz(first))
            .cents()
            .abs()
    }

    fn is_tap(&self) -> bool {
        let window_s = ENVELOPE_S.max(3.0 / self.hz);
        let tone = turned_back(self.samples, self.rate_hz, self.hz, window_s);
        let db: Vec<f64> = tone
            .value
            .iter()
            .map(|z| 20.0 * z.norm().max(1e-9).log10())
            .collect();
        let step_s = 0.5 * window_s;
        let Some(peak) = (0..db.len()).max_by(|a, b| db[*a].total_cmp(&db[*b])) else {
            return false;
        };
        let begins = (0..peak).rev().find(|i| db[*i] < db[peak] - TAP_FALL_DB);
        let begin = begins.map_or(0, |i| i + 1);
        let rise_s = (peak - begin) as f64 * step_s;
        let held = db
            .iter()
            .filter(|db_here| **db_here > db[peak] - HELD_DB)
            .count();
        let within = begin + (TAP_FALL_S / step_s) as usize;
        let soon = &db[peak..db.len().min(within.max(peak) + 1)];
        let lowest = soon.iter().copied().fold(f64::INFINITY, f64::min);
        let (fall_db, fall_s) = (db[peak] - lowest, soon.len() as f64 * step_s);
        let is_steep =
            fall_db >= TAP_FALL_DB * (fall_s / TAP_FALL_S).min(1.0) && fall_db >= LEAST_FALL_DB;
        let is_short = held as f64 * step_s <= HELD_S && rise_s <= HELD_S && is_steep;
        is_short || (self.hz > RING_HZ && self.may_ring && rings(&db[begin..], step_s))
    }
}

/// Each third of it is softer than the one before: what is blown is held first.
fn rings(db: &[f64], step_s: f64) -> bool {
    let third = db.len() / 3;
    if third == 0 {
        return false;
    }
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let parts = [&db[..third], &db[third..2 * third], &db[2 * third..]].map(mean);
    let falls = [parts[0] - parts[1], parts[1] - parts[2]];
    let rate = (parts[0] - parts[2]) / (2.0 * third as f64 * step_s);
    falls.iter().all(|fall_db| *fall_db > RING_FALL_DB) && rate > RING_DB_PER_S
}
