//! A struck bottle fitted to pitches that were heard from it when it was tapped.
//!
//! Dimensions leave the thickness of the wall open by a quarter and its lengths by a few percent. The pitch of the
//! empty bottle and that of the half-full one say most of the rest: of all bottles near the description, the most
//! likely one that gives what was heard is taken, its mass and capacity held near to what they were.
//!
//! ```
//! use ullage::fit::wall::{HeardTap, calibrated_struck};
//! use ullage::physics::struck::{Struck, StruckSpec};
//! use ullage::units::{Frequency, Volume};
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"milk\"\nbody_diameter_mm = 83\nbody_length_mm = 121\nshoulder_length_mm = 60\nheight_mm = 214\n\
//!      mouth_bore_mm = 36\nneck_bore_mm = 36\nlip_wall_mm = 3\nmass_g = 314",
//! )?;
//! let bottle = &shelf.kinds[0].bottle;
//! let tap = |(ml, hz)| HeardTap { fill: Volume::from_ml(ml), frequency: Frequency::from_hz(hz), density_kg_m3: 997.0 };
//! // Two taps of a real bottle (recordings published by the Czech Technical University, 2024) foretell its others.
//! let fit = calibrated_struck(bottle, &[(3.0, 2730.0), (364.1, 2023.0)].map(tap), StruckSpec::default())?;
//! let struck = Struck::with_waves(bottle, fit.spec, [2])?;
//! for other in [(163.5, 2641.0), (276.8, 2338.0), (449.3, 1817.0), (598.8, 1648.0)].map(tap) {
//!     assert!(struck.pitch(2, other.fill)?.interval_above(other.frequency).cents().abs() < 70.0);
//! }
//! assert_eq!(struck.plus_minus().cents(), 70.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use nalgebra::{DMatrix, DVector};

use crate::physics::bottle::Bottle;
use crate::physics::shell::wall::Trim;
use crate::physics::struck::{HeardPartials, ModeKey, Struck, StruckError, StruckSpec};
use crate::physics::wall_fits::{BOTH_TAPPED_CENTS, Tapped};
use crate::units::{Frequency, Interval, Volume};

/// What is turned: wall, radius, length, finish.
const UNKNOWNS: usize = 4;
/// How far a description may be off, as a share (one standard deviation): walls 25 and 35 %, radius and lengths 2 and
/// 4 %; from fits to tapped bottles.
const PRIORS: [f64; UNKNOWNS] = [0.25, 0.02, 0.04, 0.35];
/// The same for the mass, where it was weighed, and for the capacity.
const MASS_PRIOR: f64 = 0.02;
const CAPACITY_PRIOR: f64 = 0.03;
/// How well a tapped pitch is heard, cents (one standard deviation): two near modes of an uneven wall lie up to 20 cents
/// apart.
const HEARD_CENTS: f64 = 10.0;
/// Step of the derivatives, as a share.
const STEP: f64 = 1e-3;
/// Rounds of Gauss and Newton, and the farthest that one goes, in standard deviations.
const ROUNDS: usize = 8;
const FARTHEST: f64 = 1.5;
/// What one pitch leaves to doubt (95 %), cents. From bottles tapped at a dozen fills: 27 to 88 rms.
const ONE_HEARD_CENTS: f64 = 150.0;
/// Pitches this far apart, as a share of the capacity, count as two.
const APART: f64 = 0.3;

/// Why a struck bottle cannot be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrateStruckError {
    /// No pitches.
    #[error("no tapped pitch was heard")]
    NothingHeard,
    /// Nothing near the description sounds like that.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, but the most likely bottle near these dimensions is {cents:+.0} cents \
         from that; the limit is {limit_cents} cents: measure again, or listen for the strongest partial"
    )]
    OutOfReach {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far the fit is above it.
        cents: f64,
        /// Farthest that is taken.
        limit_cents: f64,
    },
    /// It cannot be struck at all.
    #[error(transparent)]
    Struck(#[from] StruckError),
}

/// A fit farther than this from a pitch is none, cents.
const LIMIT_CENTS: f64 = 100.0;

/// A pitch heard from a wall that was tapped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardTap {
    /// Liquid in it.
    pub fill: Volume,
    /// The strongest partial.
    pub frequency: Frequency,
    /// Density of the liquid, as warm as it was then, kg/m³.
    pub density_kg_m3: f64,
}

/// What was fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StruckFit {
    /// The spec with its trim and what is left to doubt.
    pub spec: StruckSpec,
    /// How far the fit is from the pitches, root mean square.
    pub residual: Interval,
}

/// Fits `bottle`, struck as `spec` says, to the pitches heard from it, each with its own liquid. Each is taken for the partial
/// that the model calls the note at that fill.
///
/// # Errors
/// Nothing heard, a bottle that cannot be struck, or pitches that nothing near the description gives.
pub fn calibrated_struck(
    bottle: &Bottle,
    heard: &[HeardTap],
    spec: StruckSpec,
) -> Result<StruckFit, CalibrateStruckError> {
    if heard.is_empty() {
        return Err(CalibrateStruckError::NothingHeard);
    }
    let mut described = Struck::new(bottle, spec)?;
    let mut points = Vec::new();
    for &heard in heard {
        described = described.holding(heard.density_kg_m3);
        let key = described.note(heard.fill)?.key();
        points.push(Point { key, heard });
    }
    let fitter = Fitter {
        bottle,
        spec,
        points,
        mass_g: described.wall().mass.g(),
        capacity_ml: described.wall().bore.capacity().ml(),
    };
    let at = fitter.most_likely()?;
    let fitted = fitter.spec_at(&at);
    let off = fitter.off_cents(&at)?;
    if let Some((point, cents)) = fitter
        .points
        .iter()
        .zip(&off)
        .find(|(_, c)| c.abs() > LIMIT_CENTS)
    {
        return Err(CalibrateStruckError::OutOfReach {
            fill_ml: point.heard.fill.ml(),
            heard_hz: point.heard.frequency.hz(),
            cents: *cents,
            limit_cents: LIMIT_CENTS,
        });
    }
    let squares: f64 = off.iter().map(|c| c * c).sum();
    Ok(StruckFit {
        spec: StruckSpec {
            plus_minus: Some(Interval::from_cents(fitter.left_cents())),
            heard: HeardPartials::new(fitter.points.iter().map(|point| point.key)),
            ..fitted
        },
        residual: Interval::from_cents((squares / off.len() as f64).sqrt()),
    })
}

/// The same, as what is kept of it beside the bottle.
///
/// # Errors
/// As [`calibrated_struck`].
pub fn tapped_wall(
    bottle: &Bottle,
    heard: &[HeardTap],
    spec: StruckSpec,
) -> Result<Tapped, CalibrateStruckError> {
    let fit = calibrated_struck(bottle, heard, spec)?;
    let plus_minus = fit
        .spec
        .plus_minus
        .unwrap_or_else(|| Interval::from_cents(ONE_HEARD_CENTS));
    Ok(Tapped {
        trim: fit.spec.trim,
        partials: fit.spec.heard,
        plus_minus,
        residual: fit.residual,
        heard: heard.len(),
        both_ends: plus_minus.cents() < ONE_HEARD_CENTS,
    })
}

struct Point {
    key: ModeKey,
    heard: HeardTap,
}

struct Fitter<'a> {
    bottle: &'a Bottle,
    spec: StruckSpec,
    points: Vec<Point>,
    mass_g: f64,
    capacity_ml: f64,
}

impl Fitter<'_> {
    /// The spec at logarithms of the factors.
    fn spec_at(&self, at: &DVector<f64>) -> StruckSpec {
        let factors = at.map(f64::exp);
        let before = self.spec.trim;
        StruckSpec {
            trim: Trim {
                wall: before.wall * factors[0],
                radius: before.radius * factors[1],
                length: before.length * factors[2],
                finish: before.finish * factors[3],
            },
            ..self.spec
        }
    }

    fn struck(&self, at: &DVector<f64>) -> Result<Struck<'_>, StruckError> {
        let mut waves: Vec<u32> = self.points.iter().map(|p| p.key.n).collect();
        waves.sort_unstable();
        waves.dedup();
        Struck::with_waves(self.bottle, self.spec_at(at), waves)
    }

    fn off_cents(&self, at: &DVector<f64>) -> Result<Vec<f64>, StruckError> {
        let mut struck = self.struck(at)?;
        let mut off_cents = Vec::with_capacity(self.points.len());
        for Point { key, heard } in &self.points {
            struck = struck.holding(heard.density_kg_m3);
            let pitch = struck.pitch_of(*key, heard.fill)?;
            off_cents.push(pitch.interval_above(heard.frequency).cents());
        }
        Ok(off_cents)
    }

    /// Everything that should be zero, in standard deviations: pitches, mass, capacity, factors.
    fn residuals(&self, at: &DVector<f64>) -> Result<DVector<f64>, StruckError> {
        let struck = self.struck(at)?;
        let mut all: Vec<f64> = self
            .off_cents(at)?
            .into_iter()
            .map(|cents| cents / HEARD_CENTS)
            .collect();
        if self.bottle.described().dimensions.mass.is_some() {
            all.push((struck.wall().mass.g() / self.mass_g).ln() / MASS_PRIOR);
        }
        let capacity_ml = struck.wall().bore.capacity().ml();
        all.push((capacity_ml / self.capacity_ml).ln() / CAPACITY_PRIOR);
        all.extend(at.iter().zip(PRIORS).map(|(x, prior)| x / prior));
        Ok(DVector::from_vec(all))
    }

    /// The least sum of squares, by Gauss and Newton from the description itself.
    fn most_likely(&self) -> Result<DVector<f64>, StruckError> {
        let mut at = DVector::zeros(UNKNOWNS);
        let mut now = self.residuals(&at)?;
        for _ in 0..ROUNDS {
            let mut slopes = DMatrix::zeros(now.len(), UNKNOWNS);
            for unknown in 0..UNKNOWNS {
                let mut turned = at.clone();
                turned[unknown] += STEP;
                slopes.set_column(unknown, &((self.residuals(&turned)? - &now) / STEP));
            }
            let normal = slopes.tr_mul(&slopes);
            let Some(root) = normal.cholesky() else { break };
            let step = root.solve(&slopes.tr_mul(&now));
            let worst = step
                .iter()
                .zip(PRIORS)
                .fold(0.0_f64, |most, (s, prior)| most.max(s.abs() / prior));
            let mut share = if worst > FARTHEST {
                FARTHEST / worst
            } else {
                1.0
            };
            let mut better = None;
            for _ in 0..6 {
                let there = &at - &step * share;
                if let Ok(then) = self.residuals(&there)
                    && then.norm_squared() < now.norm_squared()
                {
                    better = Some((there, then));
                    break;
                }
                share *= 0.5;
            }
            let Some((there, then)) = better else { break };
            let settled = now.norm_squared() - then.norm_squared() < 1e-6;
            (at, now) = (there, then);
            if settled {
                break;
            }
        }
        Ok(at)
    }

    /// What is left to doubt, cents.
    fn left_cents(&self) -> f64 {
        let fills = || self.points.iter().map(|p| p.heard.fill.ml());
        let span_ml = fills().fold(0.0, f64::max) - fills().fold(f64::INFINITY, f64::min);
        if span_ml >= APART * self.capacity_ml {
            BOTH_TAPPED_CENTS
        } else {
            ONE_HEARD_CENTS
        }
    }
}
