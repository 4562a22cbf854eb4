//! What the ear goes by in a blown note, measured on its samples alone: windows, sums and a Fourier transform, nothing of the synth.

use realfft::RealFftPlanner;
use std::f64::consts::{PI, TAU};

/// Time from one value of an envelope to the next, s.
pub const STEP_S: f64 = 0.005;

/// One note, mono, as it was rendered or recorded.
#[derive(Clone, Debug)]
pub struct Note {
    pub samples: Vec<f64>,
    pub rate_hz: f64,
}

/// How a tone goes: amplitude and frequency, a value every [`STEP_S`].
#[derive(Clone, Debug, Default)]
pub struct Tone {
    pub amplitude: Vec<f64>,
    pub hz: Vec<f64>,
}

/// Wander in bands of its rate: 0.3 to 1, 1 to 3, 3 to 6 and 6 to 12 Hz.
pub const BANDS_HZ: [(f64, f64); 4] = [(0.3, 1.0), (1.0, 3.0), (3.0, 6.0), (6.0, 12.0)];

impl Note {
    fn frame(&self, at_s: f64) -> usize {
        ((at_s * self.rate_hz).round() as usize).min(self.samples.len())
    }

    /// The part from one time to another, s.
    pub fn part(&self, from_s: f64, to_s: f64) -> Self {
        Self {
            samples: self.samples[self.frame(from_s)..self.frame(to_s)].to_vec(),
            rate_hz: self.rate_hz,
        }
    }

    /// The tone near `hz` seen through a Hann window that lets half of what is `width_hz` away through.
    pub fn tone(&self, hz: f64, width_hz: f64) -> Tone {
        let length = (self.rate_hz / width_hz).round() as usize;
        let window: Vec<f64> = (0..length)
            .map(|n| 1.0 - (TAU * (n as f64 + 0.5) / length as f64).cos())
            .collect();
        let total: f64 = window.iter().sum();
        let step = STEP_S * self.rate_hz;
        let count = ((self.samples.len().saturating_sub(length)) as f64 / step) as usize;
        let mut tone = Tone::default();
        let mut last = None;
        for place in 0..count {
            let start = (place as f64 * step).round() as usize;
            let (mut re, mut im) = (0.0, 0.0);
            for (n, (sample, weight)) in self.samples[start..].iter().zip(&window).enumerate() {
                let angle = TAU * hz * (start + n) as f64 / self.rate_hz;
                re += sample * weight * angle.cos();
                im -= sample * weight * angle.sin();
            }
            tone.amplitude.push(2.0 * re.hypot(im) / total);
            let phase = im.atan2(re);
            if let Some((before, at)) = last {
                let turned: f64 = phase - before;
                let turned = turned - TAU * (turned / TAU).round();
                let apart_s = (start - at) as f64 / self.rate_hz;
                tone.hz.push(hz + turned / (TAU * apart_s));
            }
            last = Some((phase, start));
        }
        tone
    }

    /// The mean frequency of the tone near `hz`.
    pub fn pitch_hz(&self, hz: f64) -> f64 {
        mean(&self.tone(hz, 12.0).hz)
    }

    /// Power of each bin, per Hz, and the width of a bin in Hz: mean of half overlapping Hann windows of about a third of a second.
    pub fn spectrum(&self) -> (Vec<f64>, f64) {
        let length = 1usize << ((0.34 * self.rate_hz).log2().round() as u32);
        let window: Vec<f64> = (0..length)
            .map(|n| 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos())
            .collect();
        let weight: f64 = window.iter().map(|w| w * w).sum();
        let transform = RealFftPlanner::<f64>::new().plan_fft_forward(length);
        let mut sum = vec![0.0; length / 2 + 1];
        let mut count = 0.0;
        for start in (0..=self.samples.len() - length).step_by(length / 2) {
            let mut here: Vec<f64> = self.samples[start..start + length]
                .iter()
                .zip(&window)
                .map(|(s, w)| s * w)
                .collect();
            let mut bins = transform.make_output_vec();
            transform.process(&mut here, &mut bins).unwrap();
            for (sum, bin) in sum.iter_mut().zip(bins) {
                *sum += 2.0 * bin.norm_sqr() / (weight * self.rate_hz);
            }
            count += 1.0;
        }
        sum.iter_mut().for_each(|s| *s /= count);
        (sum, self.rate_hz / length as f64)
    }

    /// Power above 3 kHz in steps of a millisecond: two of the steepest filters of second order, one after the other.
    pub fn high_power(&self) -> Vec<f64> {
        let mut here = self.samples.clone();
        for q in [0.541, 1.307] {
            here = high_pass(&here, 3_000.0, q, self.rate_hz);
        }
        let step = (0.001 * self.rate_hz).round() as usize;
        here.chunks_exact(step)
            .map(|part| part.iter().map(|s| s * s).sum::<f64>() / step as f64)
            .collect()
    }
}

/// A Butterworth section in the form of the *Audio EQ Cookbook* (R. Bristow-Johnson).
fn high_pass(samples: &[f64], hz: f64, q: f64, rate_hz: f64) -> Vec<f64> {
    let (sin, cos) = (TAU * hz / rate_hz).sin_cos();
    let alpha = sin / (2.0 * q);
    let (b0, a0) = ((1.0 + cos) / 2.0, 1.0 + alpha);
    let (mut x, mut y) = ([0.0; 2], [0.0; 2]);
    samples
        .iter()
        .map(|&now| {
            let out =
                (b0 * (now - 2.0 * x[0] + x[1]) + 2.0 * cos * y[0] - (1.0 - alpha) * y[1]) / a0;
            x = [now, x[0]];
            y = [out, y[0]];
            out
        })
        .collect()
}

pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Standard deviation.
pub fn spread(values: &[f64]) -> f64 {
    let middle = mean(values);
    mean(
        &values
            .iter()
            .map(|v| (v - middle).powi(2))
            .collect::<Vec<_>>(),
    )
    .sqrt()
}

pub fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let (ma, mb) = (mean(a), mean(b));
    let both: Vec<f64> = a.iter().zip(b).map(|(a, b)| (a - ma) * (b - mb)).collect();
    mean(&both) / (spread(a) * spread(b))
}

pub fn cents(hz: f64, beside_hz: f64) -> f64 {
    1200.0 * (hz / beside_hz).log2()
}

pub fn db(power: f64) -> f64 {
    10.0 * power.log10()
}

impl Tone {
    /// The pitch in cents beside its mean.
    pub fn cents(&self) -> Vec<f64> {
        let middle = mean(&self.hz);
        self.hz.iter().map(|hz| cents(*hz, middle)).collect()
    }

    /// The level in dB beside its mean, as long as [`Self::cents`].
    pub fn level_db(&self) -> Vec<f64> {
        let all: Vec<f64> = self.amplitude.iter().map(|a| 20.0 * a.log10()).collect();
        let middle = mean(&all);
        all.iter().skip(1).map(|a| a - middle).collect()
    }
}

/// Root mean square of a value that was taken every [`STEP_S`], in each of [`BANDS_HZ`].
pub fn in_bands(values: &[f64]) -> [f64; 4] {
    let middle = mean(values);
    let length = values.len();
    let transform = RealFftPlanner::<f64>::new().plan_fft_forward(length);
    let mut here: Vec<f64> = values
        .iter()
        .enumerate()
        .map(|(n, v)| (v - middle) * (0.5 - 0.5 * (TAU * n as f64 / length as f64).cos()))
        .collect();
    let mut bins = transform.make_output_vec();
    transform.process(&mut here, &mut bins).unwrap();
    BANDS_HZ.map(|(low, high)| {
        let power: f64 = bins
            .iter()
            .enumerate()
            .filter(|(k, _)| {
                let hz = *k as f64 / (length as f64 * STEP_S);
                (low..high).contains(&hz)
            })
            .map(|(_, bin)| bin.norm_sqr())
            .sum();
        // Both halves of the spectrum; 3/8 is the mean square of the window.
        (2.0 * power / (length as f64).powi(2) / 0.375).sqrt()
    })
}

/// What a spectrum of a steady note says, in dB of the tone's power.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Second to fifth harmonic.
    pub harmonics_db: [f64; 4],
    /// Noise in the octaves round 250, 500, … 8,000 Hz.
    pub octaves_db: [f64; 6],
    /// 10 to 20 Hz beside the tone, dB a Hz.
    pub skirt_db: f64,
    /// Air modes that stand out of the noise: Hz, dB over the noise beside, Q.
    pub modes: Vec<[f64; 3]>,
}

/// How far from a harmonic is still the harmonic, Hz.
const OF_HARMONIC_HZ: f64 = 24.0;

pub fn heard(note: &Note, hz: f64) -> Heard {
    let (spectrum, width_hz) = note.spectrum();
    let between = |low: f64, high: f64| {
        let bins = (low / width_hz).ceil() as usize..=(high / width_hz).floor() as usize;
        bins.filter(|k| *k < spectrum.len())
            .map(|k| (k as f64 * width_hz, spectrum[k]))
    };
    let power = |n: f64| {
        between(n * hz - 10.0, n * hz + 10.0)
            .map(|(_, p)| p * width_hz)
            .sum::<f64>()
    };
    let tone = power(1.0);
    let floor = |n: f64| {
        let beside =
            between(n * hz - 40.0, n * hz - 20.0).chain(between(n * hz + 20.0, n * hz + 40.0));
        let beside: Vec<f64> = beside.map(|(_, p)| p).collect();
        mean(&beside) * 20.0
    };
    let octave = |centre: f64| {
        let all: Vec<(f64, f64)> = between(centre / 2f64.sqrt(), centre * 2f64.sqrt()).collect();
        let noise: Vec<f64> = all
            .iter()
            .filter(|(at, _)| (at / hz - (at / hz).round()).abs() * hz > OF_HARMONIC_HZ)
            .map(|(_, p)| *p)
            .collect();
        db(mean(&noise) * all.len() as f64 * width_hz / tone)
    };
    let skirt: Vec<f64> = between(hz - 20.0, hz - 10.0)
        .chain(between(hz + 10.0, hz + 20.0))
        .map(|(_, p)| p)
        .collect();
    Heard {
        harmonics_db: [2.0, 3.0, 4.0, 5.0].map(|n| db((power(n) - floor(n)).max(1e-12) / tone)),
        octaves_db: [250.0, 500.0, 1e3, 2e3, 4e3, 8e3].map(octave),
        skirt_db: db(mean(&skirt) / tone),
        modes: modes(&spectrum, width_hz, hz),
    }
}

/// Peaks of the noise between 600 and 6,000 Hz that stand 6 dB out of the median round them.
fn modes(spectrum: &[f64], width_hz: f64, hz: f64) -> Vec<[f64; 3]> {
    // A smoothed curve without the harmonics.
    let reach = |k: usize| (12.0 / width_hz).ceil() as usize + k / 180;
    let of_harmonic = |k: usize| {
        let at = k as f64 * width_hz;
        (at / hz - (at / hz).round()).abs() * hz < OF_HARMONIC_HZ && at < 8.5 * hz
    };
    let smooth: Vec<f64> = (0..spectrum.len())
        .map(|k| {
            let here: Vec<f64> = (k.saturating_sub(reach(k))..=(k + reach(k)).min(spectrum.len() - 1))
                .filter(|k| !of_harmonic(*k))
                .map(|k| spectrum[k])
                .collect();
            if here.is_empty() { 0.0 } else { mean(&here) }
        })
        .collect();
    let wide = (450.0 / width_hz) as usize;
    let mut found: Vec<[f64; 3]> = Vec::new();
    for k in (600.0 / width_hz) as usize..(6_000.0 / width_hz) as usize {
        let near = (60.0 / width_hz) as usize;
        if (k - near..=k + near).any(|j| smooth[j] > smooth[k]) {
            continue;
        }
        let mut round: Vec<f64> = smooth[k - wide..=k + wide].to_vec();
        round.sort_by(f64::total_cmp);
        let over = db(smooth[k] / round[round.len() / 3]);
        let half = |way: i64| {
            (1..wide as i64).find(|n| smooth[(k as i64 + way * n) as usize] < smooth[k] / 2.0)
        };
        if let (Some(below), Some(above)) = (half(-1), half(1))
            && over > 6.0
        {
            let at = k as f64 * width_hz;
            found.push([at, over, at / ((below + above) as f64 * width_hz)]);
        }
    }
    found
}

/// How a note begins and ends, from its envelopes.
#[derive(Clone, Copy, Debug)]
pub struct Course {
    /// The tone from 10 to 90 % of its steady level, s.
    pub attack_s: f64,
    /// The high noise begins so long before the tone is at half its level, s.
    pub lead_s: f64,
    /// The tone's highest level in its first second over its steady one, dB.
    pub overshoot_db: f64,
    /// The pitch when the tone is at half its level, beside its steady one, cents.
    pub half_cents: f64,
    /// The quality of the fall of the tone.
    pub q: f64,
}

/// Of a note that begins at 0 and whose breath ends at `ends_s`; it is steady from `steady_s` on.
pub fn course(note: &Note, hz: f64, steady_s: f64, ends_s: f64) -> Course {
    // Half of what is 40 Hz away: a window of 25 ms, whose middle is the time that its value stands for.
    let width_hz = 40.0;
    let tone = note.tone(hz, width_hz);
    let at = |s: f64| ((s - 0.5 / width_hz) / STEP_S) as usize;
    let steady = mean(&tone.amplitude[at(steady_s)..at(ends_s)]);
    let first = |share: f64| {
        let k = tone
            .amplitude
            .iter()
            .position(|a| *a > share * steady)
            .unwrap();
        if k == 0 {
            return 0.5 / width_hz;
        }
        let [before, after] = [tone.amplitude[k - 1], tone.amplitude[k]];
        let over = (share * steady - before) / (after - before);
        (k as f64 - 1.0 + over) * STEP_S + 0.5 / width_hz
    };
    let high = note.high_power();
    let steady_high = mean(&high[(steady_s * 1e3) as usize..(ends_s * 1e3) as usize]);
    // Five milliseconds with a quarter of the steady noise.
    let begins = high
        .windows(5)
        .position(|w| mean(w) > 0.25 * steady_high)
        .unwrap();
    let half_s = first(0.5);
    let early = &tone.amplitude[at(0.1)..at(1.0)];
    // A smooth look at the highest: two periods of the fastest wander that is measured.
    let smooth: Vec<f64> = early.windows(16).map(mean).collect();
    let most = smooth.iter().fold(0.0f64, |m, a| m.max(*a));
    let steady_hz = mean(&tone.hz[at(steady_s)..at(ends_s)]);
    let k = at(half_s);
    let half_cents = cents(mean(&tone.hz[k.saturating_sub(3)..k + 3]), steady_hz);
    Course {
        attack_s: first(0.9) - first(0.1),
        lead_s: half_s - (begins as f64 + 2.5) * 1e-3,
        overshoot_db: 20.0 * (most / steady).log10(),
        half_cents,
        q: ring_q(&tone, hz, at(ends_s + 0.25), steady),
    }
}

/// The quality from the slope of the level, from −12 to −40 dB of the steady one but not before `from`.
pub fn ring_q(tone: &Tone, hz: f64, from: usize, steady: f64) -> f64 {
    let points: Vec<(f64, f64)> = tone
        .amplitude
        .iter()
        .enumerate()
        .skip(from)
        .filter(|(_, a)| (0.01..0.25).contains(&(*a / steady)))
        .map(|(k, a)| (k as f64 * STEP_S, a.ln()))
        .collect();
    let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let slope = correlation(&x, &y) * spread(&y) / spread(&x);
    -PI * hz / slope
}

/// The time from 10 to 90 % of the last value, s, of a power taken every millisecond.
pub fn rise_s(power: &[f64], steady: f64) -> f64 {
    let smooth: Vec<f64> = power.windows(3).map(mean).collect();
    let first = |share: f64| smooth.iter().position(|p| *p > share * steady).unwrap() as f64;
    // Shares of amplitude.
    (first(0.81) - first(0.01)) * 1e-3
}
