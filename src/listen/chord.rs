//! How many bottles sound in a stretch of sound: the tones of its spectrum that are no overtones of each other.
//!
//! A blown bottle's tone is nearly pure, so that each bottle is one high peak, and overtones lie at its multiples.

use super::coarse::RANGE_HZ;
use super::windowed::Windowed;
use crate::units::Frequency;

/// Longest piece that is looked at at once, s: tones 12 Hz apart are two.
const PIECE_S: f64 = 0.34;
/// Shortest.
const LEAST_PIECE_S: f64 = 0.12;
/// Hann's lobe is so many over its length wide, on either side.
const LOBE: f64 = 2.0;
/// Another bottle is at most so much softer than the loudest: 14 dB.
const BESIDE: f64 = 0.04;
/// A fundamental that a small microphone hardly hears is still so strong: −20 dB.
const FUNDAMENTAL: f64 = 0.01;
/// A tone stands out from what lies around it by so much: 16 dB.
const STANDS_OUT: f64 = 40.0;
/// As far around as this, Hz.
const AROUND_HZ: f64 = 120.0;
/// An overtone lies within this of its multiple, cents.
const MULTIPLE_CENTS: f64 = 30.0;
const MULTIPLES: usize = 12;
/// A tone is there in so many of the pieces.
const PIECES_SHARE: f64 = 0.6;

/// A tone of the spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tone {
    pub(super) hz: f64,
    /// Of the piece's average.
    pub(super) power: f64,
}

/// What sounds in a stretch.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Chord {
    /// One for each bottle, the lowest first.
    pub(super) bottles: Vec<Tone>,
    /// All tones down to −20 dB, overtones with them.
    pub(super) tones: Vec<Tone>,
}

impl Chord {
    /// In `samples`.
    pub(super) fn of(samples: &[f64], rate_hz: f64) -> Self {
        let size = samples.len().min((PIECE_S * rate_hz) as usize);
        if (size as f64) < LEAST_PIECE_S * rate_hz {
            return Self::default();
        }
        let mut spectra = Spectra::new(size, rate_hz);
        let mut from = 0;
        while from + size <= samples.len() {
            spectra.add(&samples[from..from + size]);
            from += size / 2;
        }
        let tones = spectra.tones();
        Self {
            bottles: apart(&tones),
            tones,
        }
    }

    /// How much of the tones' power the strongest of `hz`'s multiples has: nearly all of it for a bottle, less for a voice.
    pub(super) fn purity(&self, hz: f64) -> f64 {
        let own: Vec<f64> = self
            .tones
            .iter()
            .filter(|tone| is_multiple(tone.hz, hz))
            .map(|tone| tone.power)
            .collect();
        let sum: f64 = own.iter().sum();
        let most = own.iter().copied().fold(0.0, f64::max);
        if sum > 0.0 { most / sum } else { 1.0 }
    }

    /// The distance from `hz` to the nearest other bottle, Hz.
    pub(super) fn room_around(&self, hz: f64) -> Option<f64> {
        let off = self.bottles.iter().map(|tone| (tone.hz - hz).abs());
        off.filter(|off| *off > 0.01 * hz).min_by(f64::total_cmp)
    }
}

/// `hz` is `fundamental_hz` or one of its multiples.
pub(super) fn is_multiple(hz: f64, fundamental_hz: f64) -> bool {
    let number = (hz / fundamental_hz).round();
    (1.0..=MULTIPLES as f64).contains(&number)
        && cents(hz, number * fundamental_hz).abs() < MULTIPLE_CENTS
}

/// The tones that are loud and no overtones.
fn apart(tones: &[Tone]) -> Vec<Tone> {
    let loudest = tones.iter().map(|tone| tone.power).fold(0.0, f64::max);
    let mut bottles: Vec<Tone> = Vec::new();
    let lowest = tones.first();
    for tone in tones.iter().filter(|tone| tone.power >= BESIDE * loudest) {
        // All that is a multiple of the lowest tone is one voice, however soft its fundamental.
        let is_overtone = bottles
            .iter()
            .chain(lowest)
            .any(|below| below.hz < 0.9 * tone.hz && is_multiple(tone.hz, below.hz));
        if !is_overtone {
            bottles.push(*tone);
        }
    }
    if let (true, Some(lowest)) = (bottles.is_empty(), lowest) {
        bottles.push(*lowest);
    }
    bottles
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    Frequency::from_hz(hz)
        .interval_above(Frequency::from_hz(reference_hz))
        .cents()
}

/// The spectra of pieces of one length.
struct Spectra {
    windowed: Windowed,
    bin_hz: f64,
    lobe: usize,
    power: Vec<f64>,
    pieces: Vec<Vec<f64>>,
}

impl Spectra {
    fn new(size: usize, rate_hz: f64) -> Self {
        let windowed = Windowed::new(size);
        let bin_hz = windowed.bin_hz(rate_hz);
        Self {
            bin_hz,
            lobe: (LOBE * rate_hz / size as f64 / bin_hz).ceil() as usize,
            power: vec![0.0; windowed.bins()],
            windowed,
            pieces: Vec::new(),
        }
    }

    fn add(&mut self, piece: &[f64]) {
        let Some(power) = self.windowed.power(piece) else {
            return;
        };
        for (sum, p) in self.power.iter_mut().zip(&power) {
            *sum += p;
        }
        self.pieces.push(power);
    }

    fn tones(&self) -> Vec<Tone> {
        let bin = |hz: f64| ((hz / self.bin_hz) as usize).min(self.power.len().saturating_sub(2));
        let (from, to) = (bin(RANGE_HZ.0).max(1), bin(RANGE_HZ.1));
        let loudest = self.power[from..to].iter().copied().fold(0.0, f64::max);
        let mut tones: Vec<Tone> = Vec::new();
        for k in from..to {
            let power = self.power[k];
            let near =
                &self.power[k.saturating_sub(self.lobe)..(k + self.lobe).min(self.power.len())];
            let tops = near.iter().all(|p| *p <= power);
            if tops
                && power > FUNDAMENTAL * loudest
                && self.stands_out(k, &self.power)
                && self.lasts(k)
            {
                tones.push(Tone {
                    hz: self.summit(k) * self.bin_hz,
                    power,
                });
            }
        }
        tones
    }

    /// It is far above the median of what lies around it.
    fn stands_out(&self, k: usize, power: &[f64]) -> bool {
        let around = (AROUND_HZ / self.bin_hz) as usize;
        let mut near: Vec<f64> = (k.saturating_sub(around)..(k + around).min(power.len()))
            .filter(|i| i.abs_diff(k) > self.lobe)
            .map(|i| power[i])
            .collect();
        power[k] > STANDS_OUT * super::phase::median(&mut near)
    }

    /// It is there most of the time.
    fn lasts(&self, k: usize) -> bool {
        let there = self.pieces.iter().filter(|piece| {
            let near = k.saturating_sub(self.lobe)..(k + self.lobe + 1).min(piece.len());
            let top = near.max_by(|a, b| piece[*a].total_cmp(&piece[*b]));
            top.is_some_and(|top| self.stands_out(top, piece))
        });
        there.count() as f64 >= PIECES_SHARE * self.pieces.len() as f64
    }

    /// Where a parabola through the logarithms around bin `k` has its top.
    fn summit(&self, k: usize) -> f64 {
        let ln = |i: usize| self.power[i].max(1e-300).ln();
        let (left, middle, right) = (ln(k - 1), ln(k), ln(k + 1));
        let bend = left - 2.0 * middle + right;
        let off = if bend < 0.0 {
            0.5 * (left - right) / bend
        } else {
            0.0
        };
        k as f64 + off.clamp(-0.5, 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn bottles(parts: &[(f64, f64)]) -> Vec<f64> {
        let at = |n: i32| {
            let t = f64::from(n) / 12_000.0;
            parts.iter().map(|(hz, a)| a * (TAU * hz * t).sin()).sum()
        };
        let samples: Vec<f64> = (0..12_000).map(at).collect();
        let chord = Chord::of(&samples, 12_000.0);
        chord.bottles.iter().map(|tone| tone.hz.round()).collect()
    }

    #[test]
    fn two_bottles_are_two_and_overtones_are_none() {
        assert_eq!(bottles(&[(196.0, 0.3), (247.0, 0.3)]), [196.0, 247.0]);
        assert_eq!(bottles(&[(196.0, 0.3), (294.0, 0.1)]), [196.0, 294.0]);
        assert_eq!(
            bottles(&[(110.0, 0.3), (124.0, 0.2), (165.0, 0.2)]),
            [110.0, 124.0, 165.0]
        );
        assert_eq!(
            bottles(&[(196.0, 0.3), (392.0, 0.2), (588.0, 0.1)]),
            [196.0]
        );
        // A small microphone: the fundamental is the softest.
        assert_eq!(
            bottles(&[(98.0, 0.2), (196.0, 1.0), (294.0, 0.4), (392.0, 0.2)]),
            [98.0]
        );
    }
}
