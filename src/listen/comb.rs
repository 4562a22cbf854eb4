//! Whether a tone is one line of a voice's comb.
//!
//! A voice is pulses: it has a line at every multiple of its pitch, and its mouth makes some of them stronger than others by
//! 10 or 20 dB. A blown bottle is nearly a sine. Its octave is 33 dB softer, and 21 of a voice that is blown as hard as can be. Which line
//! of a comb a tone is, is not known, nor does a voice hold its pitch: every short frame is looked at by itself, for each line that it may be.

use super::phase::median;
use super::windowed::Windowed;

/// Length of a frame, s: lines 70 Hz apart are two.
const FRAME_S: f64 = 0.085;
/// From one frame to the next, s, but no more than so many in all.
const HOP_S: f64 = 0.04;
const MOST_FRAMES: usize = 25;
/// Pitches of voices that speak or sing, Hz.
const VOICE_HZ: (f64, f64) = (70.0, 500.0);
/// Above this a voice is noise as well, Hz.
const HIGHEST_HZ: f64 = 3_500.0;
/// The strongest line of a voice is at most this one: its second formant.
const MOST_NUMBER: usize = 20;
/// Lines that count are at most so much softer than the strongest: 20 dB.
const SOFTEST: f64 = 0.01;
/// And stand so far above the middle between them and their neighbours: 6 dB.
const OVER_VALLEY: f64 = 4.0;
/// The tone is looked for within this, as its frames agree, cents.
const AROUND_CENTS: f64 = 80.0;
/// Frames with so much less of the tone than the loudest do not count: 10 dB.
const SOFT_FRAME: f64 = 0.1;

/// The lines beside a tone.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Company {
    /// How many are as strong within 20 dB: the median of the frames.
    pub(super) lines: f64,
    /// So many of them are an odd number of lines away. What clips has every other line only.
    pub(super) odd: f64,
}

/// The lines beside the tone at `hz` in `samples`, if it belongs to the comb in which it has most of them.
pub(super) fn company(samples: &[f64], rate_hz: f64, hz: f64) -> Company {
    let Some(powers) = Frames::of(samples, rate_hz) else {
        return Company::default();
    };
    let tops: Vec<(f64, f64)> = powers.all.iter().map(|p| powers.top(p, hz)).collect();
    let loudest = tops.iter().map(|(_, power)| *power).fold(0.0, f64::max);
    let of = |number: usize| {
        let (mut lines, mut odd) = (Vec::new(), Vec::new());
        for (power, (top_hz, top)) in powers.all.iter().zip(&tops) {
            let step_hz = top_hz / number as f64;
            let may_be = (VOICE_HZ.0..VOICE_HZ.1).contains(&step_hz);
            if may_be && *top > SOFT_FRAME * loudest {
                let beside = powers.beside(power, step_hz, number);
                let is_odd = |line: &&usize| line.abs_diff(number) % 2 == 1;
                odd.push(beside.iter().filter(is_odd).count() as f64);
                lines.push(beside.len() as f64);
            }
        }
        Company {
            lines: median(&mut lines),
            odd: median(&mut odd),
        }
    };
    let all = (1..=MOST_NUMBER).map(of);
    let rank = |a: &Company, b: &Company| (a.lines + a.odd).total_cmp(&(b.lines + b.odd));
    all.max_by(rank).unwrap_or_default()
}

/// Power spectra of short frames.
struct Frames {
    bin_hz: f64,
    top_hz: f64,
    all: Vec<Vec<f64>>,
}

impl Frames {
    /// `None` of less than one.
    fn of(samples: &[f64], rate_hz: f64) -> Option<Self> {
        let size = (FRAME_S * rate_hz) as usize;
        let room = samples.len().checked_sub(size)?;
        let windowed = Windowed::new(size);
        let count = (room / ((HOP_S * rate_hz) as usize).max(1)).clamp(1, MOST_FRAMES - 1);
        let frame = |place: usize| {
            let from = room * place / count;
            windowed.power(&samples[from..from + size])
        };
        Some(Self {
            bin_hz: windowed.bin_hz(rate_hz),
            top_hz: HIGHEST_HZ.min(0.45 * rate_hz),
            all: (0..=count).filter_map(frame).collect(),
        })
    }

    fn at(&self, power: &[f64], hz: f64) -> f64 {
        let bin = (hz / self.bin_hz).round() as usize;
        power.get(bin).copied().unwrap_or(0.0)
    }

    /// Where the tone at `hz` is in a frame, and its power.
    fn top(&self, power: &[f64], hz: f64) -> (f64, f64) {
        let bin = |cents: f64| (hz * (cents / 1200.0).exp2() / self.bin_hz).round() as usize;
        let near = bin(-AROUND_CENTS)..=bin(AROUND_CENTS).min(power.len().saturating_sub(1));
        let top = near.max_by(|a, b| power[*a].total_cmp(&power[*b]));
        top.map_or((hz, 0.0), |top| (top as f64 * self.bin_hz, power[top]))
    }

    /// The strong lines of a comb of `step_hz`, but for the one that is looked at.
    fn beside(&self, power: &[f64], step_hz: f64, number: usize) -> Vec<usize> {
        let last = (self.top_hz / step_hz) as usize;
        let line = |n: usize| self.at(power, n as f64 * step_hz);
        let valley = |n: usize| self.at(power, (n as f64 + 0.5) * step_hz);
        let strongest = (1..=last).map(line).fold(line(number), f64::max);
        let is_strong = |n: &usize| {
            *n != number
                && line(*n) > SOFTEST * strongest
                && line(*n) > OVER_VALLEY * valley(*n - 1)
                && line(*n) > OVER_VALLEY * valley(*n)
        };
        (1..=last).filter(is_strong).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    const RATE_HZ: f64 = 12_000.0;

    fn sound(at: impl Fn(f64) -> f64) -> Vec<f64> {
        (0..4_800).map(|n| at(f64::from(n) / RATE_HZ)).collect()
    }

    /// Thirty lines, which a mouth makes as loud as a resonance of Q 6 does.
    fn vowel(pitch_hz: f64, mouth_hz: f64) -> Vec<f64> {
        sound(|t| {
            let glides_hz = pitch_hz * (1.0 - 0.2 * t);
            let line = |n: i32| {
                let hz = f64::from(n) * pitch_hz;
                let off = 6.0 * (hz / mouth_hz - mouth_hz / hz);
                (TAU * f64::from(n) * glides_hz * t).sin() / (1.0 + off * off).sqrt()
            };
            (1..30).map(line).sum()
        })
    }

    #[test]
    fn a_vowel_has_lines_beside_its_strongest_though_it_glides() {
        for (pitch_hz, mouth_hz) in [(110.0, 600.0), (140.0, 420.0), (220.0, 640.0)] {
            let strongest = f64::round(mouth_hz / pitch_hz);
            // What it glides to in the middle.
            let hz = 0.92 * strongest * pitch_hz;
            let beside = company(&vowel(pitch_hz, mouth_hz), RATE_HZ, hz);
            assert!(
                beside.lines >= 3.0 && beside.odd >= 1.0,
                "{pitch_hz}: {beside:?}"
            );
        }
    }

    #[test]
    fn a_bottle_has_none_two_bottles_one_and_what_clips_every_other() {
        let tone = |hz: f64, t: f64| (TAU * hz * t).sin();
        for hz in [65.0, 196.0, 700.0] {
            // The hardest blown: -21, -29 and -37 dB.
            let hard =
                sound(|t| tone(hz, t) + 0.09 * tone(2.0 * hz, t) + 0.035 * tone(3.0 * hz, t));
            assert_eq!(company(&hard, RATE_HZ, hz).lines, 0.0, "{hz}");
            let clipped = sound(|t| (4.0 * tone(hz, t)).clamp(-1.0, 1.0));
            let company = company(&clipped, RATE_HZ, hz);
            assert!(
                company.odd == 0.0 && company.lines <= 4.0,
                "{hz}: {company:?}"
            );
        }
        let two = sound(|t| tone(220.0, t) + 0.6 * tone(330.0, t));
        assert_eq!(company(&two, RATE_HZ, 220.0).lines, 1.0);
    }

    #[test]
    fn too_little_to_look_at_is_no_company() {
        assert_eq!(company(&[], RATE_HZ, 196.0), Company::default());
        assert_eq!(company(&[0.0; 30], RATE_HZ, 196.0).lines, 0.0);
    }
}
