//! Measuring sound by its samples alone. Shares nothing with the code that makes it.

use std::f64::consts::{PI, TAU};

/// A tone brought down to zero frequency: one complex number for each window.
pub struct Demodulated {
    /// Centre of each window, s.
    pub time_s: Vec<f64>,
    /// Real part, imaginary part.
    pub value: Vec<(f64, f64)>,
}

/// Turns `samples` back by `hz` and averages over Hann windows of `window_s`, one every half window.
pub fn demodulate(samples: &[f32], rate_hz: f64, hz: f64, window_s: f64) -> Demodulated {
    let size = ((window_s * rate_hz) as usize).max(4);
    let hop = size / 2;
    let mut out = Demodulated {
        time_s: Vec::new(),
        value: Vec::new(),
    };
    let window: Vec<f64> = (0..size)
        .map(|i| (PI * (i as f64 + 0.5) / size as f64).sin().powi(2))
        .collect();
    let mut start = 0;
    while start + size <= samples.len() {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, w) in window.iter().enumerate() {
            let n = start + i;
            let turn = TAU * (hz / rate_hz * n as f64).fract();
            re += w * f64::from(samples[n]) * turn.cos();
            im -= w * f64::from(samples[n]) * turn.sin();
        }
        let scale = 4.0 / size as f64;
        out.time_s
            .push((start as f64 + (size as f64 - 1.0) / 2.0) / rate_hz);
        out.value.push((re * scale, im * scale));
        start += hop;
    }
    out
}

/// Slope of the least-squares line through the points.
pub fn slope(x: &[f64], y: &[f64]) -> f64 {
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let cross: f64 = x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)).sum();
    cross / x.iter().map(|a| (a - mx).powi(2)).sum::<f64>()
}

/// Frequency of a tone near `guess_hz`: slope of its unwrapped phase.
pub fn pitch_hz(samples: &[f32], rate_hz: f64, guess_hz: f64) -> f64 {
    let tone = demodulate(samples, rate_hz, guess_hz, 16.0 / guess_hz);
    let mut phase = Vec::with_capacity(tone.value.len());
    let mut last = 0.0;
    for &(re, im) in &tone.value {
        let raw = im.atan2(re);
        last += (raw - last + PI).rem_euclid(TAU) - PI;
        phase.push(last);
    }
    guess_hz + slope(&tone.time_s, &phase) / TAU
}

/// Cents from `reference_hz` up to `hz`.
pub fn cents(hz: f64, reference_hz: f64) -> f64 {
    1200.0 * (hz / reference_hz).log2()
}

/// Root of the mean square; 0 of nothing.
pub fn rms(samples: &[f32]) -> f64 {
    let sum: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
    (sum / samples.len().max(1) as f64).sqrt()
}

/// Quality of a ring-down at `hz`: slope of the log of its envelope between `top_db` and `bottom_db` below the first window.
pub fn ring_down_q(samples: &[f32], rate_hz: f64, hz: f64, top_db: f64, bottom_db: f64) -> f64 {
    let tone = demodulate(samples, rate_hz, hz, 4.0 / hz);
    let level: Vec<f64> = tone
        .value
        .iter()
        .map(|(re, im)| re.hypot(*im).ln())
        .collect();
    let db = 10f64.ln() / 20.0;
    let (mut t, mut l) = (Vec::new(), Vec::new());
    for (time, level_np) in tone.time_s.iter().zip(&level) {
        let below = (level[0] - level_np) / db;
        if below > bottom_db {
            break;
        }
        if below >= top_db {
            t.push(*time);
            l.push(*level_np);
        }
    }
    assert!(t.len() >= 6, "only {} windows of a ring-down", t.len());
    -PI * hz / slope(&t, &l)
}

/// Mean power spectrum (Welch, Hann, half overlap): powers in bins `rate_hz / size` apart.
pub fn spectrum(samples: &[f32], size: usize) -> Vec<f64> {
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let fft = planner.plan_fft_forward(size);
    let mut input = fft.make_input_vec();
    let mut output = fft.make_output_vec();
    let mut power = vec![0.0; size / 2 + 1];
    let mut start = 0;
    let mut count = 0.0;
    while start + size <= samples.len() {
        for (i, value) in input.iter_mut().enumerate() {
            *value =
                f64::from(samples[start + i]) * (PI * (i as f64 + 0.5) / size as f64).sin().powi(2);
        }
        fft.process(&mut input, &mut output)
            .expect("the vectors are the planner's own");
        for (sum, bin) in power.iter_mut().zip(&output) {
            *sum += bin.norm_sqr();
        }
        count += 1.0;
        start += size / 2;
    }
    power.iter_mut().for_each(|p| *p /= count);
    power
}

/// The −3 dB width of the one resonance between `from_hz` and `to_hz`: 1/power of a resonance is a parabola in
/// frequency, fitted by weighted least squares on the bins within 10 dB of the top.
///
/// Every bin of a noise's spectrum scatters in proportion to its power, so 1/power is weighted by power squared.
pub fn resonance_width_hz(power: &[f64], rate_hz: f64, from_hz: f64, to_hz: f64) -> f64 {
    let step = rate_hz / (2 * (power.len() - 1)) as f64;
    let bins = (from_hz / step) as usize..=(to_hz / step) as usize;
    // Smoothed top: the highest single bin is an outlier by choice.
    let smooth = |i: usize| (i - 2..=i + 2).map(|k| power[k]).sum::<f64>() / 5.0;
    let top = bins.clone().map(smooth).fold(0.0, f64::max);
    let centre = bins
        .clone()
        .max_by(|a, b| smooth(*a).total_cmp(&smooth(*b)))
        .expect("a range of bins") as f64;
    let mut sums = [[0.0; 4]; 3];
    for i in bins.filter(|&i| smooth(i) > top / 10.0) {
        let x = i as f64 - centre;
        let (inverse, weight) = (top / power[i], (smooth(i) / top).powi(2));
        let basis = [1.0, x, x * x];
        for (row, a) in sums.iter_mut().zip(basis) {
            for (cell, b) in row.iter_mut().zip(basis.iter().chain([&inverse])) {
                *cell += weight * a * b;
            }
        }
    }
    let [c, b, a] = solve(sums);
    // 1/power doubles at the half-power points: a (x − x0)² = c − b²/4a on either side.
    2.0 * ((c - b * b / (4.0 * a)) / a).sqrt() * step
}

/// Solves three equations, given as rows with the right side last.
fn solve(mut m: [[f64; 4]; 3]) -> [f64; 3] {
    for pivot in 0..3 {
        let row = m[pivot];
        for (other, line) in m.iter_mut().enumerate() {
            if other != pivot {
                let factor = line[pivot] / row[pivot];
                line.iter_mut().zip(row).for_each(|(a, b)| *a -= factor * b);
            }
        }
    }
    [0, 1, 2].map(|i| m[i][3] / m[i][i])
}

/// Beats a second of two tones near `hz`: the frequency that explains most of the power's swing.
pub fn beats_hz(samples: &[f32], rate_hz: f64, hz: f64, from_hz: f64, to_hz: f64) -> f64 {
    let tone = demodulate(samples, rate_hz, hz, 16.0 / hz);
    let power: Vec<f64> = tone
        .value
        .iter()
        .map(|(re, im)| re * re + im * im)
        .collect();
    let mean = power.iter().sum::<f64>() / power.len() as f64;
    let count = power.len() as f64;
    let strength = |beat: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, (t, p)) in tone.time_s.iter().zip(&power).enumerate() {
            let w = (PI * (i as f64 + 0.5) / count).sin().powi(2) * (p - mean);
            re += w * (TAU * beat * t).cos();
            im += w * (TAU * beat * t).sin();
        }
        re * re + im * im
    };
    let steps = 4000;
    (0..=steps)
        .map(|i| from_hz + (to_hz - from_hz) * f64::from(i) / f64::from(steps))
        .max_by(|a, b| strength(*a).total_cmp(&strength(*b)))
        .expect("a range of beats")
}

/// Correlation of two sounds at no delay, −1 to 1.
pub fn correlation(a: &[f32], b: &[f32]) -> f64 {
    let sum = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
        a.iter()
            .zip(b)
            .map(|(x, y)| f(f64::from(*x), f64::from(*y)))
            .sum()
    };
    sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt()
}
