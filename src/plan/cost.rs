//! What a note in a bottle costs: the price that the search makes as small as it can.
//!
//! Each term is scaled so that 1 is about what a player would grumble at: common practice, no source.
//!
//! ```
//! use ullage::index::CandidateIndex;
//! use ullage::physics::conditions::Conditions;
//! use ullage::plan::{cost::{POUR_CENTS_PER_STEP, Weights}, problem::{Candidate, Limits, Problem, Target}};
//! use ullage::{set, units::Frequency};
//!
//! # let shelf = set::read_shelf(&std::fs::read_to_string("presets/quay/shelf.toml")?)?;
//! # let candidates = shelf.kinds.into_iter().map(|kind| Candidate {
//! #     name: kind.name, bottle: kind.bottle, count: kind.count, keep_empty: false, fits: kind.fits,
//! # });
//! let problem = Problem::new(candidates.collect(), &Conditions::default(), Limits::default(), &|| ())?;
//! // Helmholtz: f² goes with 1/V of the body's air, so that a millilitre less of it is 600 / ln 2 / V cents more.
//! let target = Target { note: "G3".parse()?, pitch: Frequency::from_hz(195.998) };
//! let pour_alone = Weights { pour: 1.0, tone: 0.0, middle: 0.0, liquid: 0.0, uncertainty: 0.0, error: 0.0 };
//! let all = CandidateIndex::all(problem.candidates().len());
//! let reaching: Vec<_> = all.filter_map(|bottle| Some((bottle, problem.terms(&target, bottle)?))).collect();
//! assert_eq!(reaching.len(), 5);
//! // That takes the air for a spring and the neck for a plug: good to a tenth.
//! for (bottle, terms) in reaching {
//!     let shape = &problem.candidates()[bottle].bottle;
//!     let air_ml = shape.bore().volume_below(shape.neck_foot()).ml() - 1e3 * terms.liquid_l;
//!     let helmholtz_cents = 600.0 / std::f64::consts::LN_2 / air_ml;
//!     let cents_per_ml = POUR_CENTS_PER_STEP * terms.cost(&pour_alone);
//!     assert!((cents_per_ml / helmholtz_cents - 1.0).abs() < 0.1);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::Serialize;

/// Scale of the pouring term: a millilitre, a tenth of a bar or a millimetre too much that is heard as this, cents.
pub const POUR_CENTS_PER_STEP: f64 = 10.0;
/// Price of a bottle with a sliding floor, whatever it plays, times the weight of pouring: the floor has to be built,
/// and its notes sound one at a time.
pub const FLOOR_PRICE: f64 = 2.0;
/// Gauge pressures are set in steps of this, bar: a common dial.
pub const GAUGE_STEP_BAR: f64 = 0.1;
/// Scale of the tone term: a bottle of this Q costs 1, one of twice the Q half.
pub const TONE_QUALITY: f64 = 20.0;
/// Scale of the liquid term, litres.
pub const LIQUID_L: f64 = 1.0;
/// Scale of the uncertainty term, cents.
pub const UNCERTAINTY_CENTS: f64 = 20.0;
/// Scale of the error term, cents: about the smallest step that is heard.
pub const ERROR_CENTS: f64 = 5.0;
/// Largest weight.
pub const MAX_WEIGHT: f64 = 1_000.0;
/// Largest price of a note, in millionths: keeps sums of a thousand notes within 64 bits.
const MOST_MILLIONTHS: f64 = 1e11;

/// A weight that is none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("weight {name} = {value} is outside 0 to {MAX_WEIGHT}")]
pub struct WeightError {
    /// Which.
    pub name: &'static str,
    /// As given.
    pub value: f64,
}

/// How much each term counts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Weights {
    /// Hard to set: cents per millilitre, tenth of a bar or millimetre, over 10.
    pub pour: f64,
    /// Dull tone: 20 over Q.
    pub tone: f64,
    /// Far from half full, where a bottle speaks and pours most easily: 0 there, 1 empty or at its fullest.
    pub middle: f64,
    /// Liquid used, litres.
    pub liquid: f64,
    /// Uncertain pitch: ± cents over 20.
    pub uncertainty: f64,
    /// Off the note: cents over 5. Only bottles left empty are.
    pub error: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            pour: 1.0,
            tone: 1.0,
            middle: 0.5,
            liquid: 0.5,
            uncertainty: 1.0,
            error: 1.0,
        }
    }
}

impl Weights {
    /// Names and values, in the order of the fields.
    #[must_use]
    pub fn named(&self) -> [(&'static str, f64); 6] {
        [
            ("pour", self.pour),
            ("tone", self.tone),
            ("middle", self.middle),
            ("liquid", self.liquid),
            ("uncertainty", self.uncertainty),
            ("error", self.error),
        ]
    }

    /// Refuses weights below 0, above 1000, or that are no numbers.
    ///
    /// # Errors
    /// The first that is refused.
    pub fn checked(self) -> Result<Self, WeightError> {
        let refused = |(_, value): &(&str, f64)| !(0.0..=MAX_WEIGHT).contains(value);
        match self.named().into_iter().find(refused) {
            Some((name, value)) => Err(WeightError { name, value }),
            None => Ok(self),
        }
    }
}

/// What the price is made of, for one note in one bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Rise for a millilitre, a tenth of a bar or a millimetre more, cents.
    pub cents_per_step: f64,
    /// Q of the note.
    pub quality: f64,
    /// Fill over the highest useful fill, pressure or travel over the most, 0 to 1.
    pub fullness: f64,
    /// Liquid, litres.
    pub liquid_l: f64,
    /// Uncertainty of the pitch, cents.
    pub plus_minus_cents: f64,
    /// Distance from the note, cents.
    pub error_cents: f64,
}

impl Terms {
    /// The price.
    #[must_use]
    pub fn cost(&self, weights: &Weights) -> f64 {
        weights.pour * self.cents_per_step.abs() / POUR_CENTS_PER_STEP
            + weights.tone * TONE_QUALITY / self.quality.max(0.1)
            + weights.middle * (2.0 * self.fullness - 1.0).abs()
            + weights.liquid * self.liquid_l / LIQUID_L
            + weights.uncertainty * self.plus_minus_cents / UNCERTAINTY_CENTS
            + weights.error * self.error_cents.abs() / ERROR_CENTS
    }

    /// The price in whole millionths, so that sums are exact and ties are ties.
    #[must_use]
    pub fn millionths(&self, weights: &Weights) -> i64 {
        in_millionths(self.cost(weights))
    }
}

/// A price in whole millionths.
pub(super) fn in_millionths(cost: f64) -> i64 {
    // The cast saturates, and what is not a number becomes 0, which cannot win against reach.
    (cost * 1e6).round().clamp(0.0, MOST_MILLIONTHS) as i64
}
