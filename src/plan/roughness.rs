//! How rough two tones sound together.
//!
//! Two partials that lie closer than a critical band beat or rasp; Plomp and Levelt measured how much,
//! and Sethares put a curve through it. The roughness of two tones is the sum over every partial of the
//! one with every partial of the other.
//!
//! Plomp & Levelt, JASA 38, 548, 1965; Sethares, *Local consonance and the relationship between timbre
//! and scale*, JASA 94, 1218, 1993.
//!
//! ```
//! use ullage::plan::roughness::{Partial, roughness};
//!
//! // Tones of six harmonics, each 0.88 of the one before in amplitude.
//! let harmonics: Vec<f64> = (0..6).map(|n| 0.88f64.powi(n)).collect();
//! let above = |cents: f64| 500.0 * (cents / 1200.0).exp2();
//! let rough = |cents| roughness(&Partial::whole(500.0, &harmonics), &Partial::whole(above(cents), &harmonics));
//! // Within a semitone either way, nothing is as smooth as the pure fifth, and nothing as the pure fourth.
//! for (ratio, tempered_cents) in [(3.0f64 / 2.0, 700), (4.0 / 3.0, 500)] {
//!     let near = (tempered_cents - 100..=tempered_cents + 100).map(f64::from);
//!     let smoothest = near.min_by(|a, b| rough(*a).total_cmp(&rough(*b))).expect("201 of them");
//!     assert!((smoothest - 1200.0 * ratio.log2()).abs() < 1.0); // tried in steps of a cent
//! }
//! ```

use serde::Serialize;

/// Decay of the two exponentials of the curve, the slower first. Sethares 1993.
const SLOW: f64 = 3.5;
const FAST: f64 = 5.75;

/// Where the curve has its peak, in the curve's own measure of distance. Sethares 1993.
const PEAK_DISTANCE: f64 = 0.24;

/// How the width of the curve grows with the lower frequency, Hz per Hz, and its width at 0 Hz, Hz.
/// Sethares 1993.
const WIDTH_PER_HZ: f64 = 0.021;
const WIDTH_AT_ZERO_HZ: f64 = 19.0;

/// One sine of a tone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Partial {
    /// Its frequency, Hz.
    pub hz: f64,
    /// Its amplitude, in any unit that all the tones share.
    pub amplitude: f64,
}

impl Partial {
    /// Overtones at whole multiples of `hz`, one for each of `amplitudes`, the fundamental first.
    #[must_use]
    pub fn whole(hz: f64, amplitudes: &[f64]) -> Vec<Self> {
        let numbered = (1u32..).zip(amplitudes);
        numbered
            .map(|(number, &amplitude)| Self {
                hz: hz * f64::from(number),
                amplitude,
            })
            .collect()
    }
}

/// Roughness of two partials: 1 for two of amplitude 1 at their roughest, 0 for a unison.
///
/// d = min(a₁, a₂) · (e^(−3.5 s Δf) − e^(−5.75 s Δf)) / peak, with s = 0.24 / (0.021 f₁ + 19) and f₁ the
/// lower of the two; roughest about a quarter of a critical band apart. The amplitudes are joined by the
/// smaller of the two, which is the depth of the beat (Sethares, *Tuning, Timbre, Spectrum, Scale*,
/// 2nd ed., 2005), where the paper of 1993 has their product. The division by the curve's peak is ours.
#[must_use]
pub fn partial_roughness(one: Partial, other: Partial) -> f64 {
    let apart_hz = (one.hz - other.hz).abs();
    let scale_per_hz = PEAK_DISTANCE / (WIDTH_PER_HZ * one.hz.min(other.hz) + WIDTH_AT_ZERO_HZ);
    let distance = scale_per_hz * apart_hz;
    let amplitude = one.amplitude.min(other.amplitude);
    amplitude * curve(distance) / curve(peak())
}

fn curve(distance: f64) -> f64 {
    (-SLOW * distance).exp() - (-FAST * distance).exp()
}

/// Where the slope of the curve is zero.
fn peak() -> f64 {
    (FAST / SLOW).ln() / (FAST - SLOW)
}

/// Roughness of two tones: of every partial of one with every partial of the other.
///
/// What a tone has within itself is left out, so that a set of tones can be compared by their sums. Two
/// equal pure tones have none; two equal complex tones keep the little that neighbouring overtones have.
#[must_use]
pub fn roughness(one: &[Partial], other: &[Partial]) -> f64 {
    one.iter()
        .flat_map(|&p| other.iter().map(move |&q| partial_roughness(p, q)))
        .sum()
}
