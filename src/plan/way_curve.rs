//! What one bottle does in ways beside blowing, worked out at a few settings and read between them.
//!
//! For choosing only: the exact solver then finds the setting. Pitches are read off only between two settings at which
//! the same partial is the strongest, so that a note that is jumped over is out of reach here as well.

use super::cost::{GAUGE_STEP_BAR, Terms};
use crate::physics::pressure::PLAN_BAR;
use crate::physics::sliding::Sliding;
use crate::physics::struck::{ModeKey, ShellMode};
use crate::sounding::Way;
use crate::sounding::{Setting, Sounded, SoundedError, Source};
use crate::units::{Frequency, Length, Pressure, Volume};

/// Settings that are worked out: the steep middle of a fill curve needs most of them.
const NODES: usize = 14;
/// Least pressure that is planned, bar: below it a drop of the gauge's needle is heard as semitones.
const LEAST_BAR: f64 = 0.1;

/// One setting.
#[derive(Clone, Copy, Debug)]
struct Node {
    /// In ml, bar or mm.
    value: f64,
    hz: f64,
    quality: f64,
    /// Which partial of a wall it is.
    partial: Option<ModeKey>,
    cents_per_unit: f64,
    plus_minus_cents: f64,
}

/// A bottle's settings in one way.
#[derive(Clone, Debug)]
pub(super) struct WayCurve {
    pub(super) way: Way,
    nodes: Vec<Node>,
}

impl WayCurve {
    /// Works out a source, with fills of no more than `max_share` of the capacity.
    pub(super) fn new(source: &Source<'_>, max_share: f64) -> Result<Self, SoundedError> {
        let way = source.way();
        let any = Frequency::from_hz(1000.0);
        let mut nodes = Vec::with_capacity(NODES);
        for index in 0..NODES {
            let along = index as f64 / (NODES - 1) as f64;
            let sounded = source.set_to(any, setting(source, along, max_share)?)?;
            nodes.push(Node::of(&sounded));
        }
        Ok(Self { way, nodes })
    }

    /// Its lowest and highest pitch.
    pub(super) fn range(&self) -> (Frequency, Frequency) {
        let hz = || self.nodes.iter().map(|n| n.hz);
        (
            Frequency::from_hz(hz().fold(f64::INFINITY, f64::min)),
            Frequency::from_hz(hz().fold(0.0, f64::max)),
        )
    }

    /// The empty bottle's pitch, of one that is struck with liquid in it.
    pub(super) fn empty(&self) -> Option<Frequency> {
        (self.way == Way::Struck).then(|| Frequency::from_hz(self.nodes[0].hz))
    }

    /// What `target` is like; `None` if it is out of reach.
    ///
    /// A note no more than `tolerance_cents` above an empty struck bottle leaves it empty, and one that must stay
    /// empty gives only notes that near.
    pub(super) fn terms(
        &self,
        target: Frequency,
        tolerance_cents: f64,
        keep_empty: bool,
    ) -> Option<Terms> {
        if let Some(empty) = self.empty() {
            let off_cents = target.interval_above(empty).cents();
            if keep_empty || off_cents >= 0.0 {
                let node = self.nodes[0];
                return (off_cents.abs() <= tolerance_cents)
                    .then(|| self.between(node, node, 0.0, off_cents));
            }
        }
        self.nodes.windows(2).find_map(|pair| {
            let (low, high) = (pair[0], pair[1]);
            let span = (high.hz / low.hz).ln();
            let along = (target.hz() / low.hz).ln() / span;
            (low.partial == high.partial && (0.0..=1.0).contains(&along))
                .then(|| self.between(low, high, along, 0.0))
        })
    }

    fn between(&self, low: Node, high: Node, along: f64, error_cents: f64) -> Terms {
        let between = |a: f64, b: f64| a + (b - a) * along;
        let value = between(low.value, high.value);
        let most = self.nodes[NODES - 1].value;
        let step = if self.way == Way::Pressurised {
            GAUGE_STEP_BAR
        } else {
            1.0
        };
        let liquid_l = if self.way == Way::Struck {
            Volume::from_ml(value).l()
        } else {
            0.0
        };
        Terms {
            cents_per_step: step * between(low.cents_per_unit, high.cents_per_unit).abs(),
            quality: between(low.quality, high.quality),
            fullness: if most > 0.0 { value / most } else { 0.0 },
            liquid_l,
            plus_minus_cents: between(low.plus_minus_cents, high.plus_minus_cents),
            error_cents,
        }
    }
}

impl Node {
    fn of(sounded: &Sounded) -> Self {
        let note = sounded.note();
        Self {
            value: sounded.setting.value(),
            hz: note.frequency.hz(),
            quality: note.quality,
            partial: sounded.mode().map(ShellMode::key),
            cents_per_unit: sounded.per_unit.cents(),
            plus_minus_cents: sounded.plus_minus().cents(),
        }
    }
}

/// The setting `along` the way from the least to the most.
fn setting(source: &Source<'_>, along: f64, max_share: f64) -> Result<Setting, SoundedError> {
    Ok(match source.way() {
        Way::Pressurised => Setting::Gauge(Pressure::from_bar(
            LEAST_BAR + (PLAN_BAR - LEAST_BAR) * along,
        )),
        Way::Sliding => {
            let stroke = Sliding::new(source.bottle, source.conditions)?.stroke();
            Setting::Travel(Length::from_m(stroke.m() * along))
        }
        Way::Blown | Way::Struck | Way::Joined => {
            Setting::Fill(source.bottle.bore().capacity() * (max_share * along))
        }
    })
}
