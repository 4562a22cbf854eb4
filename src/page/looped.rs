//! A loop in a tone that wanders: where it can come back to without being heard.
//!
//! A player's pitch and level are never still, and a loop must close all the same: after it the tone must be as loud, as high and
//! at the same place of its swing as before. The tone is turned back by its own pitch, which leaves a slow number for how far it
//! is off; of all pairs of moments, the two are taken between which that number is most alike.

use std::f64::consts::{LN_2, TAU};
use std::ops::Range;

use num_complex::Complex64;

/// Frames from one slow number to the next. At 24 kHz so many frames are a whole number of them at 44.1, 48, 88.2 and 96 kHz too,
/// so that a browser that works at one of those need not loop between two frames.
pub(super) const STEP_FRAMES: usize = 80;
/// Periods of the tone that a slow number is taken from: overtones are outside its window.
const WINDOW_PERIODS: f64 = 4.0;
/// How far the mean pitch of a loop may be off, cents.
const MOST_CENTS: f64 = 0.4;
/// Every so many steps a loop's beginning is looked at.
const COARSE: usize = 2;

/// A tone turned back by its pitch.
#[derive(Clone, Debug)]
pub(super) struct Slow {
    hz: f64,
    rate_hz: f64,
    at: Vec<Complex64>,
    /// How far it has turned since the beginning, rad.
    turned: Vec<f64>,
}

impl Slow {
    /// Of `samples` at `rate_hz`, by `hz`.
    pub(super) fn of(samples: &[f32], rate_hz: f64, hz: f64) -> Self {
        let half = (WINDOW_PERIODS * rate_hz / hz / 2.0).round() as usize;
        let window: Vec<f64> = (0..2 * half)
            .map(|i| (TAU * (i as f64 + 0.5) / (4 * half) as f64).sin().powi(2))
            .collect();
        let turned = |step: usize| -> Complex64 {
            let middle = step * STEP_FRAMES;
            let from = middle.saturating_sub(half);
            let to = (middle + half).min(samples.len());
            (from..to)
                .map(|frame| {
                    let back = Complex64::cis(-TAU * hz * frame as f64 / rate_hz);
                    back * f64::from(samples[frame]) * window[frame + half - middle]
                })
                .sum()
        };
        let at: Vec<Complex64> = (0..=samples.len() / STEP_FRAMES).map(turned).collect();
        let mut turned = vec![0.0; at.len()];
        for step in 1..at.len() {
            turned[step] = turned[step - 1] + (at[step] * at[step - 1].conj()).arg();
        }
        Self {
            hz,
            rate_hz,
            at,
            turned,
        }
    }

    /// How far the tone is above its pitch in the mean of these frames, cents.
    pub(super) fn mean_cents(&self, frames: Range<usize>) -> f64 {
        let steps = frames.start / STEP_FRAMES..(frames.end / STEP_FRAMES).min(self.at.len() - 1);
        let seconds = (steps.len() * STEP_FRAMES) as f64 / self.rate_hz;
        let turned = self.turned[steps.end] - self.turned[steps.start];
        1200.0 * (1.0 + turned / (TAU * seconds * self.hz)).log2()
    }

    /// The loop that closes best: it begins within `begins`, lasts one of `lasts`, and the `blend` frames before its beginning
    /// are most like those before its end. All are frames; the loop's ends are multiples of [`STEP_FRAMES`].
    pub(super) fn best_loop(
        &self,
        begins: Range<usize>,
        lasts: Range<usize>,
        blend: usize,
    ) -> Option<Range<usize>> {
        let steps = |frames: &Range<usize>| {
            frames.start.div_ceil(STEP_FRAMES)..frames.end / STEP_FRAMES + 1
        };
        let blend = blend / STEP_FRAMES;
        let lengths: Vec<(usize, f64, Complex64)> = steps(&lasts)
            .map(|long| {
                let periods = self.hz * (long * STEP_FRAMES) as f64 / self.rate_hz;
                (long, periods, Complex64::cis(TAU * periods.fract()))
            })
            .collect();
        let mut best: Option<(f64, Range<usize>)> = None;
        for begin in steps(&begins).step_by(COARSE).filter(|&b| b >= blend) {
            for &(long, periods, turn) in &lengths {
                if begin + long >= self.at.len() {
                    break;
                }
                // Whole turns more or less close as well; too many of them are another pitch.
                let drifted = (self.turned[begin + long] - self.turned[begin]) / TAU;
                let over = (periods + drifted).round() - periods;
                if cents(over / periods) > MOST_CENTS {
                    continue;
                }
                let misfit: f64 = (begin - blend..=begin)
                    .map(|step| (self.at[step + long] * turn - self.at[step]).norm_sqr())
                    .sum();
                if best.as_ref().is_none_or(|(least, _)| misfit < *least) {
                    best = Some((misfit, begin..begin + long));
                }
            }
        }
        best.map(|(_, found)| found.start * STEP_FRAMES..found.end * STEP_FRAMES)
    }
}

/// How far a pitch is off that is higher by this small part, cents.
fn cents(part: f64) -> f64 {
    1200.0 * part.abs() / LN_2
}

/// Blends what comes before a loop into its end, by the weights of the end and of the beginning at each part of the way; after
/// the end the beginning is repeated, for `guard` frames.
pub(super) fn blend(
    samples: &mut Vec<f32>,
    looped: &Range<usize>,
    (frames, guard): (usize, usize),
    weights: impl Fn(f64) -> [f64; 2],
) {
    for frame in 0..frames {
        let [end, start] = weights((frame + 1) as f64 / frames as f64);
        let before = f64::from(samples[looped.start - frames + frame]);
        let here = &mut samples[looped.end - frames + frame];
        *here = (end * f64::from(*here) + start * before) as f32;
    }
    samples.truncate(looped.end);
    samples.extend_from_within(looped.start..looped.start + guard);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const RATE_HZ: f64 = 24_000.0;

    /// A tone whose pitch and level move slowly, in its own way at any moment.
    fn wandering(hz: f64, off_cents: f64) -> Vec<f32> {
        let mut angle = 0.0f64;
        (0..10 * 24_000)
            .map(|frame| {
                let s = f64::from(frame) / RATE_HZ;
                let cents = off_cents + 6.0 * (1.9 * s).sin() + 4.0 * (3.1 * s + 1.0).sin();
                angle += TAU * hz * (cents / 1200.0).exp2() / RATE_HZ;
                let level = 0.5 + 0.05 * (2.7 * s).sin();
                (level * (angle.sin() + 0.02 * (2.0 * angle).sin())) as f32
            })
            .collect()
    }

    #[test]
    fn a_tone_that_is_off_is_found_to_be_off_by_so_much() {
        let slow = Slow::of(&wandering(220.0, 7.0), RATE_HZ, 220.0);
        // What moves slowly has whole swings in none of these seconds: it leaves less than 6/(1.9 · 8) + 4/(3.1 · 8) cents, twice.
        assert!((slow.mean_cents(24_000..9 * 24_000) - 7.0).abs() < 1.2);
    }

    #[test]
    fn a_loop_is_a_whole_number_of_periods_and_its_ends_are_alike() {
        for hz in [98.0, 261.63, 659.3] {
            let samples = wandering(hz, 0.0);
            let slow = Slow::of(&samples, RATE_HZ, hz);
            let lasts = 4 * 24_000..6 * 24_000;
            let found = slow.best_loop(24_000..3 * 24_000, lasts, 1_440).unwrap();
            assert!(
                found.start.is_multiple_of(STEP_FRAMES) && found.end.is_multiple_of(STEP_FRAMES)
            );
            let periods = hz * found.len() as f64 / RATE_HZ;
            let cents = 1731.0 * (periods - periods.round()).abs() / periods;
            assert!(cents < MOST_CENTS, "{cents} cents off at {hz} Hz");
            // A tenth of the blend before either end, sample by sample.
            let mut off = 0.0f64;
            for frame in 1..480 {
                let (a, b) = (samples[found.start - frame], samples[found.end - frame]);
                off = off.max(f64::from((a - b).abs()));
            }
            // Half of a swing of 0.5 is half a radian of its turn, and the middle of the blend loses 0.27 dB by it.
            assert!(off < 0.25, "the ends differ by {off} at {hz} Hz");
        }
    }
}
