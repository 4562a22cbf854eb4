//! From samples to a whitened spectrum over a logarithmic axis, every 20 ms.
//!
//! A Hann window of 128 ms, its periodogram averaged over steps of 10 cents, the median of 700 cents either way taken off,
//! and steady lines taken off that: hum, and whatever else rings in the room and does not move with the fill.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::modes::{MODES, PLACES_PER_OCTAVE, hz_of};
use crate::units::SampleRate;

/// Places of the axis: 90 to 4,200 Hz.
pub(super) const PLACES: usize = 665;
/// Length of the window, s.
pub(super) const WINDOW_S: f64 = 0.128;
/// Q of an air mode while water falls into it: that of the published pours was 10 to 25.
const QUALITY: f64 = 16.0;
/// Width of a line in a Hann window, in its bins.
const WINDOW_BINS: f64 = 1.6;
/// From one window to the next, s.
pub(super) const HOP_S: f64 = 0.02;
/// The level that tells a pour from a pause is that of this band, Hz.
const LEVEL_HZ: (f64, f64) = (1_000.0, 7_000.0);
/// Half the width of the median that whitens, places: 700 cents.
const MEDIAN_HALF: usize = 70;
/// The axis with the median's room at both ends: with less on one side than on the other, a floor that slopes as kitchens'
/// do below 300 Hz would look like a mode at the very bottom.
const WIDE: usize = PLACES + 2 * MEDIAN_HALF;
/// A line is learnt over so long, s.
const LINE_S: f64 = 4.0;
/// And only so far from every mode that is followed: so many widths of it, and 100 cents. Where the slope of a rising mode
/// were learnt as a line, the mode would seem to lag behind itself.
const CLEAR_WIDTHS: f64 = 2.0;
const CLEAR_PLACES: f64 = 10.0;
/// The mean of the logarithm of an exponential variate over its median, −0.577 − ln ln 2: what white noise comes to.
const MEAN_OF_LOG: f64 = -0.210_7;
/// The standard deviation of the logarithm of an exponential variate, π/√6, and how many frames, which overlap, say what one does.
const DEVIATION_OF_LOG: f64 = 1.282_5;
const ALIKE_FRAMES: f64 = 3.4;
/// Whitened powers beyond these, as logarithms, say nothing more.
const LOG_RANGE: (f64, f64) = (-6.0, 5.0);

/// The front end.
pub(super) struct Spectrum {
    rate_hz: f64,
    fft: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
    /// The last samples, oldest at `at`.
    ring: Vec<f64>,
    at: usize,
    heard: u64,
    frames: u64,
    input: Vec<f64>,
    output: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    /// Running sum of the periodogram.
    sums: Vec<f64>,
    /// Edges of the places in bins of the transform.
    edges: Vec<f64>,
    logs: Vec<f64>,
    /// The same without the lines that are known, which is what the median is taken of.
    bare: Vec<f64>,
    sorted: Vec<f64>,
    /// Steady lines, as logarithms over the whitened floor.
    lines: Vec<f64>,
    /// Frames that lines were learnt from in the room.
    quiet_frames: u32,
    /// Whitened powers, mean 1 in noise.
    pub powers: Vec<f64>,
    /// Mean power of the band of the level.
    pub level: f64,
    /// A sample at full scale in the last hop.
    pub clipped: bool,
    clips: bool,
}

impl Spectrum {
    pub fn new(rate: SampleRate) -> Self {
        let rate_hz = rate.hz();
        let length = smooth_length(WINDOW_S * rate_hz);
        let fft = RealFftPlanner::new().plan_fft_forward(length);
        let window = (0..length)
            .map(|n| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / length as f64).cos())
            .collect();
        let per_bin = length as f64 / rate_hz;
        let edge = |at: usize| {
            let hz = hz_of(at as f64 - MEDIAN_HALF as f64 - 0.5);
            hz.min(0.49 * rate_hz) * per_bin + 0.5
        };
        Self {
            rate_hz,
            window,
            ring: vec![0.0; length],
            at: 0,
            heard: 0,
            frames: 0,
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            sums: vec![0.0; length / 2 + 2],
            edges: (0..=WIDE).map(edge).collect(),
            logs: vec![0.0; WIDE],
            bare: vec![0.0; WIDE],
            sorted: Vec::with_capacity(2 * MEDIAN_HALF + 2),
            lines: vec![0.0; PLACES],
            quiet_frames: 0,
            powers: vec![1.0; PLACES],
            level: 0.0,
            clipped: false,
            clips: false,
            fft,
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.ring.fill(0.0);
        self.lines.fill(0.0);
        self.powers.fill(1.0);
        (self.at, self.heard, self.frames) = (0, 0, 0);
        (self.quiet_frames, self.level) = (0, 0.0);
        (self.clipped, self.clips) = (false, false);
    }

    /// How much was heard, s.
    pub fn heard_s(&self) -> f64 {
        self.heard as f64 / self.rate_hz
    }

    /// Takes one sample; true when a frame is due.
    #[inline]
    pub fn take(&mut self, sample: f32) -> bool {
        let sample = if sample.is_finite() { sample } else { 0.0 };
        self.clips |= sample.abs() >= 0.999;
        self.ring[self.at] = f64::from(sample);
        self.at += 1;
        if self.at == self.ring.len() {
            self.at = 0;
        }
        self.heard += 1;
        let due = (self.frames + 1) as f64 * HOP_S * self.rate_hz;
        let is_due = self.heard as f64 >= due;
        self.frames += u64::from(is_due);
        is_due && self.heard as usize >= self.ring.len()
    }

    /// The spectrum of the last window. `tracked` are the places of the modes that are followed, near which no line is
    /// learnt; in the room, before anything is poured, there are none, and what is steady is learnt quickly.
    pub fn frame(&mut self, tracked: Option<&[f64; MODES]>) {
        self.transform();
        let share = self.share_learnt(tracked.is_none());
        // Two standard deviations of what noise alone is learnt as, so that chance is not taken off as a line.
        let chance = 2.0 * DEVIATION_OF_LOG * (share * ALIKE_FRAMES).min(1.0).sqrt();
        self.whiten(chance);
        self.take_lines_off(tracked, share, chance);
        self.clipped = std::mem::take(&mut self.clips);
    }

    fn transform(&mut self) {
        let (new, old) = self.ring.split_at(self.at);
        let ordered = old.iter().chain(new);
        for ((to, from), weight) in self.input.iter_mut().zip(ordered).zip(&self.window) {
            *to = from * weight;
        }
        let (input, output) = (&mut self.input, &mut self.output);
        // The lengths are those that the transform made itself.
        let done = self
            .fft
            .process_with_scratch(input, output, &mut self.scratch);
        debug_assert!(done.is_ok());
        let mut sum = 0.0;
        for (bin, value) in self.output.iter().enumerate() {
            self.sums[bin] = sum;
            // A floor far below any converter's, so that digital silence has a logarithm.
            sum += value.norm_sqr() + 1e-16;
        }
        self.sums[self.output.len()] = sum;
        let per_bin = self.ring.len() as f64 / self.rate_hz;
        let top_hz = LEVEL_HZ.1.min(0.48 * self.rate_hz);
        self.level = self.mean_between(LEVEL_HZ.0 * per_bin + 0.5, top_hz * per_bin + 0.5);
    }

    /// Mean of the periodogram between two places on the axis of bins, where bin n reaches from n to n + 1.
    fn mean_between(&self, from: f64, to: f64) -> f64 {
        let sum_to = |x: f64| {
            let bin = (x as usize).min(self.sums.len() - 2);
            let share = (x - bin as f64).min(1.0);
            self.sums[bin] + share * (self.sums[bin + 1] - self.sums[bin])
        };
        (sum_to(to) - sum_to(from)) / (to - from)
    }

    /// How much of a frame is learnt of the lines. In the room later frames count for more: their floor knows of the lines.
    fn share_learnt(&mut self, is_room: bool) -> f64 {
        if !is_room {
            return HOP_S / LINE_S;
        }
        let share = 2.0 / f64::from(self.quiet_frames + 2);
        self.quiet_frames += 1;
        share
    }

    /// Takes the median of what lies around off every place. Known lines do not count for it: at 150 Hz the hum of the mains
    /// has half of all places, and a floor as high as the hum would hide the mode between its lines.
    fn whiten(&mut self, chance: f64) {
        for at in 0..WIDE {
            let (from, to) = (self.edges[at], self.edges[at + 1]);
            // Above what the rate has, the last that it has.
            self.logs[at] = if to - from > 1e-9 || at == 0 {
                self.mean_between(from, to).max(1e-30).ln()
            } else {
                self.logs[at - 1]
            };
        }
        self.bare.copy_from_slice(&self.logs);
        for (bare, line) in self.bare[MEDIAN_HALF..].iter_mut().zip(&self.lines) {
            *bare -= (line - chance).max(0.0);
        }
        let width = 2 * MEDIAN_HALF + 1;
        self.sorted.clear();
        self.sorted.extend_from_slice(&self.bare[..width]);
        self.sorted.sort_unstable_by(f64::total_cmp);
        for place in 0..PLACES {
            if place > 0 {
                let old = self.bare[place - 1];
                let at = self.sorted.partition_point(|x| *x < old);
                self.sorted.remove(at);
                let new = self.bare[place + width - 1];
                let at = self.sorted.partition_point(|x| *x < new);
                self.sorted.insert(at, new);
            }
            self.powers[place] = self.logs[place + MEDIAN_HALF] - self.sorted[MEDIAN_HALF];
        }
    }

    fn take_lines_off(&mut self, tracked: Option<&[f64; MODES]>, share: f64, chance: f64) {
        let modes = tracked.map(|places| places.map(|place| (place, clear_of(place))));
        for (place, power) in self.powers.iter_mut().enumerate() {
            let log = *power;
            let line = &mut self.lines[place];
            let is_near = |(mode, clear): &(f64, f64)| (mode - place as f64).abs() < *clear;
            let over = log - (*line - chance).max(0.0);
            if !modes.is_some_and(|modes| modes.iter().any(is_near)) {
                *line += share * (log - MEAN_OF_LOG - *line);
            }
            *power = std::f64::consts::LN_2 * over.clamp(LOG_RANGE.0, LOG_RANGE.1).exp();
        }
    }
}

/// How far from a mode at `place` lines are learnt, places.
fn clear_of(place: f64) -> f64 {
    let hz = hz_of(place);
    let width_hz = width_hz(hz);
    CLEAR_PLACES + CLEAR_WIDTHS * PLACES_PER_OCTAVE * (1.0 + width_hz / hz).log2()
}

/// The width of a mode at `hz` as the window shows it, Hz.
pub(super) fn width_hz(hz: f64) -> f64 {
    (hz / QUALITY).hypot(WINDOW_BINS / WINDOW_S)
}

/// An even length near `wanted` whose largest factor is 5, which transforms quickly.
fn smooth_length(wanted: f64) -> usize {
    let is_smooth = |length: &usize| {
        let mut rest = *length;
        for factor in [2, 3, 5] {
            while rest.is_multiple_of(factor) {
                rest /= factor;
            }
        }
        rest == 1
    };
    let wanted = wanted.round() as usize;
    let longer = (wanted..).find(|n| n % 2 == 0 && is_smooth(n));
    longer.expect("every power of two is smooth")
}

/// How many independent values of the periodogram a place averages, at most 1.
pub(super) fn independent(place: usize) -> f64 {
    let hz = hz_of(place as f64);
    let width_hz = hz * ((1.0 / PLACES_PER_OCTAVE).exp2() - 1.0);
    (width_hz * WINDOW_S / 1.5).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_noise_is_white_and_a_line_is_learnt_away() {
        let rate = SampleRate::from_hz(16_000.0);
        let mut dice = crate::pouring::dice::Dice::seeded(3);
        let mut spectrum = Spectrum::new(rate);
        let (mut sum, mut line, mut frames) = (0.0, Vec::new(), 0);
        let line_place = super::super::modes::place_of(1_000.0).round() as usize;
        for n in 0..16_000 * 8 {
            let hum = 0.3 * (TAU * 1_000.0 * f64::from(n) / 16_000.0).sin();
            if spectrum.take((dice.normal() * 0.1 + hum) as f32) {
                // In the room for two seconds, then as if a mode far away were followed.
                let tracked = [f64::NAN; MODES];
                spectrum.frame((n > 32_000).then_some(&tracked));
                sum += spectrum.powers[400..500].iter().sum::<f64>() / 100.0;
                line.push(spectrum.powers[line_place]);
                frames += 1;
            }
        }
        let mean = sum / f64::from(frames);
        // 400 frames of 100 places, of which some ten are independent: 3 % is five standard errors. A place that straddles two
        // bins averages them, so that its median lies nearer its mean than that of one exponential variate: drawn apart from
        // this code, 600 windows of white noise come to 0.946 ± 0.004 over these places.
        assert!((mean - 0.946).abs() < 0.03, "{mean}");
        assert!(line[0] > 50.0, "{}", line[0]);
        let late = line[line.len() / 2..].iter().sum::<f64>() / (line.len() / 2) as f64;
        assert!(late < 2.0, "{late}");
    }

    #[test]
    fn hum_hides_less_than_half_of_the_noise_between_its_lines() {
        let mut dice = crate::pouring::dice::Dice::seeded(5);
        let mut spectrum = Spectrum::new(SampleRate::from_hz(16_000.0));
        // Midway between two lines, 25 Hz from either, where a window of 128 ms hears nothing of them.
        let between = [125.0, 175.0, 225.0].map(|hz| super::super::modes::place_of(hz) as usize);
        let (mut sum, mut frames) = (0.0, 0);
        for n in 0..16_000 * 8 {
            let turn = TAU * 50.0 * f64::from(n) / 16_000.0;
            let hum: f64 = (1..15).map(|line| (f64::from(line) * turn).sin()).sum();
            if spectrum.take((0.1 * dice.normal() + 0.022 * hum) as f32) {
                // A second of the room, then as if modes far away were followed.
                spectrum.frame((n > 16_000).then_some(&[f64::NAN; MODES]));
                if n > 16_000 {
                    sum += between
                        .iter()
                        .map(|place| spectrum.powers[*place])
                        .sum::<f64>();
                    frames += between.len();
                }
            }
        }
        let mean = sum / frames as f64;
        // Without hum it is 0.95. Lines 12 dB over the noise leave 0.58 of it, and 0.38 if the median counts them.
        assert!(mean > 0.5, "{mean}");
    }

    #[test]
    fn the_lowest_place_is_ninety_hertz() {
        assert!((hz_of(0.0) - super::super::modes::LOWEST_HZ).abs() < 1e-9);
        assert!(hz_of(PLACES as f64) > 4_180.0);
    }
}
