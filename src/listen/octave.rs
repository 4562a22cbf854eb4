//! Which octave a pitch is of: by what is expected, where anything is.

use super::coarse::{RANGE_HZ, amplitude};
use crate::units::Frequency;

/// Farther than this from everything expected, a pitch is looked at for octaves, cents: a bottle that is poured a tone
/// and a half wrong is still the one expected.
const ASTRAY_CENTS: f64 = 300.0;
/// A fundamental that a small microphone hardly hears is still so strong beside its octave: −20 dB.
const LOWER_EVIDENCE: f64 = 0.1;
/// And another of its partials: −34 dB.
const EVIDENCE: f64 = 0.02;
/// Length of sound in which that is looked for, s.
const EVIDENCE_S: f64 = 0.4;

/// How far `hz` is from the nearest pitch that is expected, cents; infinite where nothing is.
pub(super) fn astray_cents(expected_hz: &[f64], hz: f64) -> f64 {
    let off = expected_hz.iter().map(|e| cents(hz, *e).abs());
    off.fold(f64::INFINITY, f64::min)
}

/// A bottle that is expected may sound at `hz`.
pub(super) fn is_expected(expected_hz: &[f64], hz: f64) -> bool {
    astray_cents(expected_hz, hz) <= ASTRAY_CENTS
}

/// `hz`, or the note that is expected and has it as a harmonic, or that it was mistaken for half of.
pub(super) fn told_apart(expected_hz: &[f64], samples: &[f64], rate_hz: f64, hz: f64) -> f64 {
    if expected_hz.is_empty() {
        return hz;
    }
    let astray = |hz: f64| astray_cents(expected_hz, hz);
    // No longer than this: of a coarse pitch's harmonics a narrower look would miss the peak.
    let most = (EVIDENCE_S * rate_hz) as usize;
    let middle = samples.len().saturating_sub(most) / 2;
    let looked = &samples[middle..(middle + most).min(samples.len())];
    let strength = |hz: f64| {
        if (RANGE_HZ.0..=RANGE_HZ.1).contains(&hz) {
            amplitude(looked, rate_hz, hz)
        } else {
            0.0
        }
    };
    let own = strength(hz);
    let is_expected = astray(hz) <= ASTRAY_CENTS;
    // Of a lower note: its fundamental is there, and where this one would do as well, a partial that only it has.
    for (ratio, partial) in [(0.5, 1.5), (1.0 / 3.0, 2.0 / 3.0)] {
        let lower = ratio * hz;
        let is_there = strength(lower) > LOWER_EVIDENCE * own;
        let is_its_own = || strength(partial * hz) > EVIDENCE * own;
        if is_there && astray(lower) <= ASTRAY_CENTS && (!is_expected || is_its_own()) {
            return lower;
        }
    }
    // Of a higher note: nothing to speak of sounds here.
    for ratio in [2.0, 3.0] {
        let higher = ratio * hz;
        let is_stronger = strength(higher) > own;
        if !is_expected && is_stronger && astray(higher) <= ASTRAY_CENTS {
            return higher;
        }
    }
    hz
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    Frequency::from_hz(hz)
        .interval_above(Frequency::from_hz(reference_hz))
        .cents()
}
