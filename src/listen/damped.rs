//! One partial of a struck bottle, or two near ones: frequencies and decays of damped tones in a narrow band.
//!
//! The band is turned down to zero and filtered; a damped tone passes a filter unchanged but for its amplitude, so that
//! what comes out is still a sum of damped tones. How many there are is told by what each more leaves over; where they
//! are first by the rotation of the signal's subspace, then by least squares.
//!
//! Roy & Kailath, IEEE Trans. ASSP 37, 1989 (the subspace); from memory.

use std::f64::consts::TAU;

use nalgebra::{Complex, DMatrix, DVector};

/// Half the width of a band, as a share of its middle, and at least, Hz.
const HALF_WIDTH_SHARE: f64 = 0.04;
const LEAST_HALF_WIDTH_HZ: f64 = 40.0;
/// Filtered samples in the time of one turn at the edge of the band.
const OVERSAMPLED: f64 = 4.0;
/// Fewest and most filtered samples that are fitted.
const SAMPLES: (usize, usize) = (12, 160);
/// Size of the subspace's matrix, at most.
const MOST_ROWS: usize = 32;
/// Two tones must leave so much less over than one, as a share of the squares.
const WORTH_A_SECOND: f64 = 0.5;
/// The weaker of two is at least so strong beside the other: −30 dB.
const WEAKEST_SHARE: f64 = 0.03;
/// Two tones of one bottle's partial die away alike, within this factor.
const ALIKE: f64 = 4.0;
/// Independent samples among the filtered ones: the filter's noise bandwidth over their rate.
const INDEPENDENT_SHARE: f64 = 0.15;
/// Rounds of Gauss and Newton.
const ROUNDS: usize = 30;

type Column = DVector<Complex<f64>>;

/// A damped tone: e^(−rate t) at a frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tone {
    pub(super) hz: f64,
    /// Nepers a second.
    pub(super) rate_per_s: f64,
    /// At the beginning of the samples.
    pub(super) amplitude: f64,
    /// Half the width of the 95 % interval of the frequency.
    pub(super) plus_minus_hz: f64,
}

/// A band's tones.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Band {
    /// One, or two, the lower first.
    pub(super) tones: Vec<Tone>,
    /// Half the width of the 95 % interval of their mean frequency.
    pub(super) middle_plus_minus_hz: f64,
    /// What the tones leave over, as a share of the squares.
    pub(super) left_share: f64,
}

/// Half the width of the band that is looked at around `hz`, Hz.
pub(super) fn half_width_hz(hz: f64) -> f64 {
    (HALF_WIDTH_SHARE * hz).max(LEAST_HALF_WIDTH_HZ)
}

/// The damped tones around `hz` in `samples`, which begin after the blow; `None` if they are too short or nothing there
/// dies away.
pub(super) fn damped(samples: &[f64], rate_hz: f64, hz: f64) -> Option<Band> {
    let band = Filtered::new(samples, rate_hz, hz)?;
    let one = band.fitted(1)?;
    let best = match band.fitted(2) {
        Some(two) if two.left < WORTH_A_SECOND * one.left && two.is_a_pair(hz) => two,
        _ => one,
    };
    best.band(&band, hz)
}

/// The band, turned down and filtered.
struct Filtered {
    value: Vec<Complex<f64>>,
    step_s: f64,
    half_width_hz: f64,
    window: Vec<f64>,
    rate_hz: f64,
}

impl Filtered {
    fn new(samples: &[f64], rate_hz: f64, hz: f64) -> Option<Self> {
        let half_width_hz = half_width_hz(hz);
        // Blackman's window: its first zero is three over its length away, and what lies beyond is 58 dB down.
        let size = ((3.0 / half_width_hz) * rate_hz) as usize;
        let hop = (rate_hz / (OVERSAMPLED * half_width_hz)).max(1.0) as usize;
        if size < 4 || samples.len() < size + SAMPLES.0 * hop {
            return None;
        }
        let turn = |i: usize| TAU * (i as f64 + 0.5) / size as f64;
        let shape: Vec<f64> = (0..size)
            .map(|i| 0.42 - 0.5 * turn(i).cos() + 0.08 * (2.0 * turn(i)).cos())
            .collect();
        let sum: f64 = shape.iter().sum();
        let window: Vec<f64> = shape.into_iter().map(|w| w / sum).collect();
        let turned: Vec<Complex<f64>> = (0..samples.len())
            .map(|n| Complex::from_polar(samples[n], -TAU * (hz / rate_hz * n as f64).fract()))
            .collect();
        let mut value = Vec::new();
        let mut at = 0;
        while at + size <= turned.len() && value.len() < SAMPLES.1 {
            let piece = turned[at..at + size].iter().zip(&window);
            value.push(piece.map(|(x, w)| x * *w).sum::<Complex<f64>>() * 2.0);
            at += hop;
        }
        let mut band = Self {
            value,
            step_s: hop as f64 / rate_hz,
            half_width_hz,
            window,
            rate_hz,
        };
        band.cut_noise();
        (band.value.len() >= SAMPLES.0).then_some(band)
    }

    /// Leaves out the end, where only noise is left: it would outvote the tone.
    fn cut_noise(&mut self) {
        let loudest = self.value.iter().map(|z| z.norm()).fold(0.0, f64::max);
        let last = self.value.iter().rposition(|z| z.norm() > 0.01 * loudest);
        self.value.truncate(last.map_or(0, |last| last + 1));
    }

    /// The likeliest `count` damped tones.
    fn fitted(&self, count: usize) -> Option<Fit> {
        let poles = self.poles(count)?;
        let start: Vec<Complex<f64>> = poles.iter().map(|z| z.ln() / self.step_s).collect();
        self.least_squares(&start)
    }

    /// Poles by the rotation of the signal's subspace.
    fn poles(&self, count: usize) -> Option<Vec<Complex<f64>>> {
        let length = self.value.len();
        let rows = (length / 2).min(MOST_ROWS);
        let columns = length + 1 - rows;
        if rows <= count + 1 || columns <= count {
            return None;
        }
        let hankel = DMatrix::from_fn(rows, columns, |i, j| self.value[i + j]);
        let eigen = (&hankel * hankel.adjoint()).symmetric_eigen();
        let mut order: Vec<usize> = (0..rows).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
        let space = DMatrix::from_fn(rows, count, |i, j| eigen.eigenvectors[(i, order[j])]);
        let (upper, lower) = (space.rows(0, rows - 1), space.rows(1, rows - 1));
        let normal = upper.adjoint() * upper;
        let rotation = normal.lu().solve(&(upper.adjoint() * lower))?;
        let poles = rotation.schur().eigenvalues()?;
        let found: Vec<Complex<f64>> = poles.iter().copied().collect();
        let fine = |z: &Complex<f64>| z.norm() > 1e-3 && z.re.is_finite() && z.im.is_finite();
        found.iter().all(fine).then_some(found)
    }

    /// e^(s t) of each exponent at each time.
    fn basis(&self, exponents: &[Complex<f64>]) -> DMatrix<Complex<f64>> {
        DMatrix::from_fn(self.value.len(), exponents.len(), |i, j| {
            (exponents[j] * (i as f64 * self.step_s)).exp()
        })
    }

    /// The amplitudes that come nearest, and what they leave over.
    fn amplitudes(&self, exponents: &[Complex<f64>]) -> Option<(Column, Column)> {
        let basis = self.basis(exponents);
        let value = DVector::from_column_slice(&self.value);
        let normal = basis.adjoint() * &basis;
        let amplitude = normal.lu().solve(&(basis.adjoint() * &value))?;
        let left = value - basis * &amplitude;
        Some((amplitude, left))
    }

    /// Gauss and Newton on exponents and amplitudes together, all complex: the model is analytic in both.
    fn least_squares(&self, start: &[Complex<f64>]) -> Option<Fit> {
        let count = start.len();
        let mut exponents = start.to_vec();
        let (mut amplitude, mut left) = self.amplitudes(&exponents)?;
        let mut inverse = None;
        for _ in 0..ROUNDS {
            let basis = self.basis(&exponents);
            // Columns: by each exponent, then by each amplitude.
            let slopes = DMatrix::from_fn(self.value.len(), 2 * count, |i, j| {
                if j < count {
                    amplitude[j] * basis[(i, j)] * (i as f64 * self.step_s)
                } else {
                    basis[(i, j - count)]
                }
            });
            let normal = slopes.adjoint() * &slopes;
            let step = normal.clone().lu().solve(&(slopes.adjoint() * &left))?;
            inverse = normal.try_inverse();
            let mut share = 1.0;
            let mut better = None;
            for _ in 0..8 {
                let there: Vec<Complex<f64>> =
                    (0..count).map(|j| exponents[j] + step[j] * share).collect();
                let found = self.amplitudes(&there);
                if let Some((a, l)) = found.filter(|(_, l)| l.norm_squared() < left.norm_squared())
                {
                    better = Some((there, a, l));
                    break;
                }
                share *= 0.5;
            }
            let Some((there, a, l)) = better else { break };
            let settled = left.norm_squared() - l.norm_squared() < 1e-9 * left.norm_squared();
            (exponents, amplitude, left) = (there, a, l);
            if settled {
                break;
            }
        }
        Some(Fit {
            left: left.norm_squared(),
            exponents,
            amplitudes: amplitude.iter().copied().collect(),
            inverse: inverse?,
            samples: self.value.len(),
        })
    }

    /// What the filter makes of a tone with this exponent, from its amplitude at the first sample.
    fn gain(&self, exponent: Complex<f64>) -> f64 {
        let each = |(i, w): (usize, &f64)| (exponent * (i as f64 / self.rate_hz)).exp() * *w;
        let sum: Complex<f64> = self.window.iter().enumerate().map(each).sum();
        sum.norm().max(1e-6)
    }
}

/// Damped tones beside the middle of a band.
struct Fit {
    exponents: Vec<Complex<f64>>,
    amplitudes: Vec<Complex<f64>>,
    /// Squares left over.
    left: f64,
    /// Of the normal matrix.
    inverse: DMatrix<Complex<f64>>,
    samples: usize,
}

impl Fit {
    /// Two tones that one partial can have split into.
    fn is_a_pair(&self, hz: f64) -> bool {
        let [a, b] = self.exponents[..] else {
            return false;
        };
        let (strong, weak) = {
            let sizes = [self.amplitudes[0].norm(), self.amplitudes[1].norm()];
            (sizes[0].max(sizes[1]), sizes[0].min(sizes[1]))
        };
        let rates = [-a.re, -b.re];
        let alike = rates.iter().all(|r| *r > 0.0)
            && rates[0] < ALIKE * rates[1]
            && rates[1] < ALIKE * rates[0];
        let apart_hz = ((a.im - b.im) / TAU).abs();
        alike && weak > WEAKEST_SHARE * strong && apart_hz < 0.03 * hz.max(1000.0)
    }

    fn band(&self, filtered: &Filtered, hz: f64) -> Option<Band> {
        let count = self.exponents.len();
        let free = self.samples.saturating_sub(2 * count).max(1) as f64;
        // Samples of a band that is narrower than their rate are not independent of each other.
        let variance = self.left / free / INDEPENDENT_SHARE;
        let t = super::phase::student(((free * INDEPENDENT_SHARE) as usize).max(2));
        // Half of a complex exponent's variance is its frequency's, half its decay's.
        let spread_hz = |square: f64| t * (0.5 * variance * square.max(0.0)).sqrt() / TAU;
        let mut tones = Vec::with_capacity(count);
        for j in 0..count {
            let s = self.exponents[j];
            let off_hz = s.im / TAU;
            if s.re >= 0.0 || off_hz.abs() > filtered.half_width_hz {
                return None;
            }
            tones.push(Tone {
                hz: hz + off_hz,
                rate_per_s: -s.re,
                amplitude: self.amplitudes[j].norm() / filtered.gain(s),
                plus_minus_hz: spread_hz(self.inverse[(j, j)].re),
            });
        }
        let mut sum = 0.0;
        for i in 0..count {
            for j in 0..count {
                sum += self.inverse[(i, j)].re;
            }
        }
        tones.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        Some(Band {
            tones,
            middle_plus_minus_hz: spread_hz(sum / (count * count) as f64),
            left_share: self.left / filtered.value.iter().map(|z| z.norm_sqr()).sum::<f64>(),
        })
    }
}
