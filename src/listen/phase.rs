//! The fine pitch of a tone whose coarse pitch is known: how fast its phase turns.
//!
//! The tone is turned back by the coarse pitch and averaged over short windows; what is left turns slowly,
//! and a straight line through its phase says by how much the coarse pitch was off. The line is drawn by
//! weighted least squares, and windows that lie far from it (a click) count for nothing.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use crate::units::CENTS_PER_OCTAVE;

/// A window holds at least this many periods.
const WINDOW_PERIODS: f64 = 6.0;
/// And is at least this long, s.
const LEAST_WINDOW_S: f64 = 0.03;
/// Hann's window is so many over its length deaf to a tone beside it: −60 dB.
const LEAVES_OUT: f64 = 4.0;
/// Fewest windows of which a pitch is made.
const FEWEST_WINDOWS: usize = 6;
/// Windows softer than this share of the loud ones are not the steady tone.
const SOFT_SHARE: f64 = 0.3;
/// Tukey's biweight leaves out what is so many standard deviations off.
const TUKEY: f64 = 4.685;
/// A sound card's clock may be off by 50 parts in a million (common practice, no source): a tenth of a cent.
pub(super) const CLOCK_CENTS: f64 = 0.1;
/// Breath wanders slower than a short note is long, and that is in no scatter within it: a note of 2.5 s or less is so many
/// times less sure than its stretches say, a longer one the less so. Of two processes that forget themselves in 1 and in
/// 0.12 s, 3 and 4 cents (rms), which is what the bands of `real_blown.csv` come to.
const SLOW_WANDER: f64 = 2.25;
const SLOW_WANDER_S: f64 = 2.5;
/// Stretches of which the scatter is made, at most.
const MOST_STRETCHES: usize = 12;

/// The complex amplitude of a tone over time.
#[derive(Clone, Debug)]
pub(super) struct Turned {
    /// Centres of the windows, s from the first sample.
    pub(super) time_s: Vec<f64>,
    /// Amplitude and phase against the pitch that it was turned back by.
    pub(super) value: Vec<Complex64>,
}

/// Turns `samples` back by `hz` and averages over Hann windows of `window_s`, one every half window.
pub(super) fn turned_back(samples: &[f64], rate_hz: f64, hz: f64, window_s: f64) -> Turned {
    let size = ((window_s * rate_hz) as usize).max(4);
    let hop = (size / 2).max(1);
    let window: Vec<f64> = (0..size)
        .map(|i| (PI * (i as f64 + 0.5) / size as f64).sin().powi(2))
        .collect();
    let scale = 4.0 / size as f64;
    let step = Complex64::from_polar(1.0, -TAU * hz / rate_hz);
    let mut out = Turned {
        time_s: Vec::new(),
        value: Vec::new(),
    };
    let mut start = 0;
    while start + size <= samples.len() {
        // The phase is worked out anew for every window, so that rounding does not pile up.
        let mut turn = Complex64::from_polar(1.0, -TAU * (hz / rate_hz * start as f64).fract());
        let mut sum = Complex64::default();
        for (x, w) in samples[start..start + size].iter().zip(&window) {
            sum += turn * (x * w);
            turn *= step;
        }
        out.time_s
            .push((start as f64 + (size as f64 - 1.0) / 2.0) / rate_hz);
        out.value.push(sum * scale);
        start += hop;
    }
    out
}

/// A pitch to a fraction of a cent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fine {
    pub(super) hz: f64,
    /// Half the width of the 95 % interval.
    pub(super) plus_minus_cents: f64,
    /// Amplitude of the tone.
    pub(super) amplitude: f64,
}

/// The pitch of the tone near `coarse_hz`; `None` if it is too short. Another tone may sound `room_hz` beside it.
pub(super) fn refined(
    samples: &[f64],
    rate_hz: f64,
    coarse_hz: f64,
    room_hz: Option<f64>,
) -> Option<Fine> {
    let length_s = samples.len() as f64 / rate_hz;
    // A window that leaves the other tone out; a short note has fewer periods a window rather than too few windows.
    let window_s = (WINDOW_PERIODS / coarse_hz)
        .max(LEAST_WINDOW_S)
        .max(room_hz.map_or(0.0, |room_hz| LEAVES_OUT / room_hz))
        .min(length_s / 4.0);
    let mut hz = coarse_hz;
    for _ in 0..2 {
        let tone = turned_back(samples, rate_hz, hz, window_s);
        hz += line(&tone)?.slope / TAU;
        // A coarse pitch is never a semitone off; a line that says so follows another tone.
        if !hz.is_finite() || cents(hz, coarse_hz).abs() > 100.0 {
            return None;
        }
    }
    let tone = turned_back(samples, rate_hz, hz, window_s);
    let line = line(&tone)?;
    Some(Fine {
        hz: hz + line.slope / TAU,
        plus_minus_cents: plus_minus_cents(&tone, &line, hz),
        amplitude: line.amplitude,
    })
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    CENTS_PER_OCTAVE * (hz / reference_hz).log2()
}

/// A straight line through the phase.
struct Line {
    /// Radians a second.
    slope: f64,
    phase: Vec<f64>,
    weight: Vec<f64>,
    amplitude: f64,
}

fn line(tone: &Turned) -> Option<Line> {
    let amplitude = loud(tone);
    if tone.value.len() < FEWEST_WINDOWS || amplitude <= 0.0 {
        return None;
    }
    let share = |z: &Complex64| z.norm() / amplitude;
    let base: Vec<f64> = tone
        .value
        .iter()
        .map(|z| {
            if share(z) < SOFT_SHARE {
                0.0
            } else {
                share(z).min(1.0).powi(2)
            }
        })
        .collect();
    if base.iter().filter(|w| **w > 0.0).count() < FEWEST_WINDOWS {
        return None;
    }
    let phase = unwrapped(tone, &base);
    let mut weight = base.clone();
    let mut fit = straight(&tone.time_s, &phase, &weight)?;
    for _ in 0..3 {
        let off = |i: usize| phase[i] - fit.at(tone.time_s[i]);
        let mut sizes: Vec<f64> = (0..phase.len())
            .filter(|&i| base[i] > 0.0)
            .map(|i| off(i).abs())
            .collect();
        // 1.4826 times the median is the standard deviation of a bell curve.
        let sigma = (1.4826 * median(&mut sizes)).max(1e-9);
        for (i, weight) in weight.iter_mut().enumerate() {
            let u = off(i) / (TUKEY * sigma);
            *weight = base[i] * (1.0 - u * u).max(0.0).powi(2);
        }
        fit = straight(&tone.time_s, &phase, &weight)?;
    }
    Some(Line {
        slope: fit.slope,
        phase,
        weight,
        amplitude,
    })
}

/// The amplitude that a fifth of the windows exceed.
fn loud(tone: &Turned) -> f64 {
    let mut sizes: Vec<f64> = tone.value.iter().map(|z| z.norm()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() * 4 / 5).copied().unwrap_or(0.0)
}

/// Phases without jumps, those of windows without weight carried along.
fn unwrapped(tone: &Turned, weight: &[f64]) -> Vec<f64> {
    let mut last = 0.0;
    let mut phase = Vec::with_capacity(tone.value.len());
    for (z, weight) in tone.value.iter().zip(weight) {
        if *weight > 0.0 {
            last += (z.arg() - last + PI).rem_euclid(TAU) - PI;
        }
        phase.push(last);
    }
    phase
}

struct Straight {
    mean_x: f64,
    mean_y: f64,
    slope: f64,
}

impl Straight {
    fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }
}

/// The weighted line of least squares; `None` if its points do not spread.
fn straight(x: &[f64], y: &[f64], weight: &[f64]) -> Option<Straight> {
    let sum: f64 = weight.iter().sum();
    let mean = |v: &[f64]| v.iter().zip(weight).map(|(v, w)| v * w).sum::<f64>() / sum;
    let (mean_x, mean_y) = (mean(x), mean(y));
    let (mut cross, mut square) = (0.0, 0.0);
    for ((x, y), w) in x.iter().zip(y).zip(weight) {
        cross += w * (x - mean_x) * (y - mean_y);
        square += w * (x - mean_x).powi(2);
    }
    (square > 0.0 && sum > 0.0).then(|| Straight {
        mean_x,
        mean_y,
        slope: cross / square,
    })
}

pub(super) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => 0.5 * (values[n / 2 - 1] + values[n / 2]),
    }
}

/// 95 % of the pitch, by the scatter of the pitches of stretches of the note.
///
/// A phase that wanders (breath drives it) and one with noise on top are both covered: the pitches of the
/// stretches are independent in the first case, and contradict each other more than the whole line in the
/// second. With few stretches Student's t widens the interval.
fn plus_minus_cents(tone: &Turned, line: &Line, hz: f64) -> f64 {
    let used: Vec<usize> = (0..line.weight.len())
        .filter(|&i| line.weight[i] > 0.0)
        .collect();
    let stretches = (used.len() / 3).clamp(2, MOST_STRETCHES);
    let mut slopes = Vec::with_capacity(stretches);
    for stretch in 0..stretches {
        let from = stretch * used.len() / stretches;
        let to = (stretch + 1) * used.len() / stretches;
        let pick = |v: &[f64]| used[from..to].iter().map(|&i| v[i]).collect::<Vec<f64>>();
        let fit = straight(&pick(&tone.time_s), &pick(&line.phase), &pick(&line.weight));
        slopes.extend(fit.map(|fit| fit.slope));
    }
    let count = slopes.len() as f64;
    if count < 2.0 {
        return 100.0;
    }
    let mean = slopes.iter().sum::<f64>() / count;
    let square = slopes.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (count - 1.0);
    // A line through a wandering phase is 6/5 as uncertain as the mean of its rates.
    let error_hz = (1.2 * square / count).sqrt() / TAU;
    let error_cents = cents(hz + error_hz, hz) * student(slopes.len() - 1);
    let length_s = tone.time_s.last().map_or(0.0, |last| last - tone.time_s[0]);
    let slow = 1.0 + (SLOW_WANDER - 1.0) * (SLOW_WANDER_S / length_s.max(SLOW_WANDER_S)).powf(1.5);
    (slow * error_cents).hypot(CLOCK_CENTS)
}

/// Student's t for 95 % at so many degrees of freedom, within 1 % of the tables from 3 on.
pub(super) fn student(degrees: usize) -> f64 {
    match degrees {
        0 | 1 => 12.71,
        2 => 4.30,
        n => {
            // Cornish and Fisher's expansion around 1.96.
            let (n, z) = (n as f64, 1.959_964_f64);
            z + (z.powi(3) + z) / (4.0 * n)
                + (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * n * n)
                + (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z)
                    / (384.0 * n.powi(3))
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn students_t_is_that_of_the_tables() {
        // The usual table, from memory.
        for (degrees, t) in [(3, 3.182), (5, 2.571), (11, 2.201), (30, 2.042)] {
            assert!(
                (student(degrees) / t - 1.0).abs() < 0.01,
                "{degrees}: {}",
                student(degrees)
            );
        }
    }

    #[test]
    fn a_pure_tone_is_found_to_a_thousandth_of_a_cent_from_a_guess_beside_it() {
        for hz in [57.3, 196.0, 440.0, 1318.5] {
            let tone: Vec<f64> = (0..12_000)
                .map(|n| (TAU * hz * f64::from(n) / 12_000.0).sin())
                .collect();
            let fine = refined(&tone, 12_000.0, hz * 1.004, None).unwrap();
            assert!(
                cents(fine.hz, hz).abs() < 1e-2,
                "{hz}: {}",
                cents(fine.hz, hz)
            );
            assert!(
                (fine.amplitude - 1.0).abs() < 0.02,
                "{hz}: {}",
                fine.amplitude
            );
        }
    }

    #[test]
    fn a_click_moves_nothing() {
        let mut tone: Vec<f64> = (0..12_000)
            .map(|n| 0.2 * (TAU * 220.0 * f64::from(n) / 12_000.0).sin())
            .collect();
        tone[7000..7006].iter_mut().for_each(|x| *x += 8.0);
        let fine = refined(&tone, 12_000.0, 220.5, None).unwrap();
        assert!(
            cents(fine.hz, 220.0).abs() < 0.05,
            "{}",
            cents(fine.hz, 220.0)
        );
    }
}
