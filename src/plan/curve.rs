//! What one bottle does at any fill, worked out at a few fills and read between them.
//!
//! For choosing only: the ends are exact, so that a bottle reaches a note here if and only if it does by
//! the exact solver, which then finds the fill.

use super::cost::Terms;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::prediction::{Blown, PredictionError};
use crate::physics::uncertainty::plus_minus;
use crate::units::{Frequency, Interval, Volume};

/// Fills that are worked out, evenly spread over the logarithm of the air left: pitch is nearly straight there.
const NODES: usize = 12;
/// Shares of the highest fill at which the uncertainty is worked out; its logarithm is read off straight
/// lines between them, since it grows faster and faster as the air grows less.
const DOUBT_SHARES: [f64; 3] = [0.0, 0.6, 0.92];

/// What all bottles of a shelf have in common, worked out once.
#[derive(Clone, Debug)]
pub(super) struct Surroundings<'a> {
    conditions: &'a Conditions,
    /// What a kelvin more does to every pitch, by the sound speed of the gas above the liquid, cents.
    cents_per_k: f64,
    max_share: f64,
}

impl<'a> Surroundings<'a> {
    pub(super) fn new(conditions: &'a Conditions, max_share: f64) -> Result<Self, ConditionsError> {
        let gases = conditions.gases()?;
        // Down from a room that is as warm as can be worked out.
        let warmed = conditions.warmed_by_k(1.0).gases();
        let other = warmed.or_else(|_| conditions.warmed_by_k(-1.0).gases())?;
        let ratio = other.body.sound_speed_m_s() / gases.body.sound_speed_m_s();
        Ok(Self {
            conditions,
            cents_per_k: Interval::from_ratio(ratio).cents().abs(),
            max_share,
        })
    }

    /// ± cents of `bottle` at each of `fills`, as the whole prediction has it.
    fn doubts_cents(&self, bottle: &Bottle, fills: [Volume; 3]) -> [f64; 3] {
        let per_kelvin = Interval::from_cents(self.cents_per_k);
        fills.map(|fill| plus_minus(bottle, fill, per_kelvin).cents())
    }
}

/// One fill.
#[derive(Clone, Copy, Debug)]
struct Node {
    fill_ml: f64,
    /// Above the empty bottle.
    cents: f64,
    quality: f64,
    cents_per_ml: f64,
}

/// A bottle's fills.
#[derive(Clone, Debug)]
pub(super) struct Curve {
    /// The empty bottle's pitch.
    pub(super) empty: Frequency,
    /// The pitch at the highest fill that is allowed.
    pub(super) highest: Frequency,
    /// That fill.
    pub(super) full: Volume,
    nodes: Vec<Node>,
    /// ± cents at [`DOUBT_SHARES`].
    doubts_cents: [f64; DOUBT_SHARES.len()],
}

impl Curve {
    /// Works out `bottle`.
    pub(super) fn new(
        bottle: &Bottle,
        surroundings: &Surroundings<'_>,
    ) -> Result<Self, PredictionError> {
        let blown = Blown::new(bottle, surroundings.conditions)?;
        let empty = blown.fundamental(Volume::default())?;
        let (fullest, mut highest) = blown.fullest()?;
        let full = fullest.min(bottle.bore().capacity() * surroundings.max_share);
        if full < fullest {
            highest = blown.fundamental(full)?;
        }
        let fills = DOUBT_SHARES.map(|share| full * share);
        let mut curve = Self {
            empty: empty.frequency,
            highest: highest.frequency,
            full,
            nodes: Vec::with_capacity(NODES),
            doubts_cents: surroundings.doubts_cents(bottle, fills),
        };
        curve.fill_nodes(bottle, &blown)?;
        Ok(curve)
    }

    fn fill_nodes(&mut self, bottle: &Bottle, blown: &Blown<'_>) -> Result<(), PredictionError> {
        let capacity_ml = bottle.bore().capacity().ml();
        let air_share = 1.0 - self.full.ml() / capacity_ml;
        for index in 0..NODES {
            let along = index as f64 / (NODES - 1) as f64;
            let fill_ml = capacity_ml * (1.0 - air_share.powf(along));
            let fill = Volume::from_ml(fill_ml).min(self.full);
            let found = blown.fundamental(fill)?;
            let cents = found.frequency.interval_above(self.empty).cents();
            // Never falling, so that a pitch is found once.
            let before = self
                .nodes
                .last()
                .map_or(f64::NEG_INFINITY, |n: &Node| n.cents);
            self.nodes.push(Node {
                fill_ml: fill.ml(),
                cents: cents.max(before),
                quality: found.quality,
                cents_per_ml: 0.0,
            });
        }
        for index in 0..NODES {
            let low = self.nodes[index.saturating_sub(1)];
            let high = self.nodes[(index + 1).min(NODES - 1)];
            let step_ml = (high.fill_ml - low.fill_ml).max(1e-9);
            self.nodes[index].cents_per_ml = (high.cents - low.cents) / step_ml;
        }
        Ok(())
    }

    /// What `target` in this bottle is like; `None` if it is out of reach.
    ///
    /// A note no more than `tolerance_cents` below the empty bottle leaves it empty; one that must stay
    /// empty gives only notes that near.
    pub(super) fn terms(
        &self,
        target: Frequency,
        tolerance_cents: f64,
        keep_empty: bool,
    ) -> Option<Terms> {
        let cents = target.interval_above(self.empty).cents();
        let stays_empty = keep_empty || cents < 0.0;
        if stays_empty {
            return (cents.abs() <= tolerance_cents).then(|| self.at(0.0, cents));
        }
        (target <= self.highest).then(|| self.at(cents, 0.0))
    }

    fn at(&self, cents: f64, error_cents: f64) -> Terms {
        let above = self.nodes.partition_point(|n| n.cents < cents);
        let high = self.nodes[above.clamp(1, NODES - 1)];
        let low = self.nodes[above.clamp(1, NODES - 1) - 1];
        let width = high.cents - low.cents;
        let along = if width > 0.0 {
            ((cents - low.cents) / width).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let between = |a: f64, b: f64| a + (b - a) * along;
        let fill_ml = between(low.fill_ml, high.fill_ml);
        let fullness = if self.full.ml() > 0.0 {
            fill_ml / self.full.ml()
        } else {
            0.0
        };
        Terms {
            cents_per_step: between(low.cents_per_ml, high.cents_per_ml),
            quality: between(low.quality, high.quality),
            fullness,
            liquid_l: fill_ml / 1000.0,
            plus_minus_cents: self.doubt_cents(fullness),
            error_cents,
        }
    }

    fn doubt_cents(&self, fullness: f64) -> f64 {
        let upper = if fullness < DOUBT_SHARES[1] { 1 } else { 2 };
        let (from, to) = (DOUBT_SHARES[upper - 1], DOUBT_SHARES[upper]);
        let (low, high) = (self.doubts_cents[upper - 1], self.doubts_cents[upper]);
        let along = (fullness - from) / (to - from);
        // Never 0: the model's own share is in each of them.
        low * (high / low).powf(along)
    }
}
