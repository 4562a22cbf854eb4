//! The air modes of one bottle over its fills: what pouring should sound like at every level.

use crate::physics::bottle::Bottle;
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::prediction::{Blown, PredictionError};
use crate::units::{CENTS_PER_OCTAVE, Frequency, Interval, Volume};

/// Air modes that are followed.
pub const MODES: usize = 4;
/// Fills of the table.
const FILLS: usize = 240;
/// The highest of them, as a share of the capacity.
const FULLEST: f64 = 0.985;
/// Fewest measured fills that make a table.
const LEAST_MEASURED: usize = 2;
/// Place 0 of the axis of frequency, Hz.
pub(super) const LOWEST_HZ: f64 = 90.0;
/// Places an octave.
pub(super) const PLACES_PER_OCTAVE: f64 = 120.0;
/// Cents a place.
pub(super) const CENTS_PER_PLACE: f64 = CENTS_PER_OCTAVE / PLACES_PER_OCTAVE;

/// Why a bottle cannot be followed while it is poured into.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ModesError {
    /// Nothing can be predicted of it.
    #[error(transparent)]
    Prediction(#[from] PredictionError),
    /// Too few measured fills.
    #[error("{fills} fills with their modes are too few; at least {LEAST_MEASURED} are needed")]
    Few {
        /// How many there were.
        fills: usize,
    },
    /// Fills that do not rise, or lie outside the bottle.
    #[error(
        "fill {fill_ml} ml is not above the one before it, or outside 0 to {capacity_ml} ml, what the bottle holds"
    )]
    Order {
        /// As given.
        fill_ml: f64,
        /// What it holds.
        capacity_ml: f64,
    },
}

impl From<ConditionsError> for ModesError {
    fn from(error: ConditionsError) -> Self {
        Self::Prediction(PredictionError::Conditions(error))
    }
}

/// Air modes over fills.
///
/// ```
/// use ullage::physics::prediction::Blown;
/// use ullage::pouring::Modes;
/// use ullage::units::Volume;
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let (bottle, room) = (&set.kinds[0].bottle, &set.conditions);
/// let modes = Modes::of_bottle(bottle, room)?;
/// let half = modes.capacity() * 0.5;
/// let exact = Blown::new(bottle, room)?.fundamental(half)?.frequency;
/// assert!(modes.note(half).expect("it sounds").interval_above(exact).cents().abs() < 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Modes {
    capacity_ml: f64,
    /// Fills of the rows, ml, rising.
    fills_ml: Vec<f64>,
    /// Rows by fill on the axis of places: while it is poured into, mouth open.
    open: Vec<[f64; MODES]>,
    /// The lowest mode as it is blown, lips on the mouth; the same axis.
    blown: Vec<f64>,
}

impl Modes {
    /// Of `bottle` in the room of `conditions`, filled with what they say.
    ///
    /// Where the model finds no mode, or it is out of hearing, the table has none: nothing is looked for there.
    ///
    /// # Errors
    /// Conditions out of range, or a bottle that does not sound at all.
    pub fn of_bottle(bottle: &Bottle, conditions: &Conditions) -> Result<Self, ModesError> {
        let gases = conditions.gases()?;
        let open = Blown::with_gases(bottle, gases, 1.0)?;
        let blown = Blown::with_gases(bottle, gases, conditions.lip_open)?;
        let capacity = bottle.bore().capacity();
        blown.fundamental(Volume::default())?;
        let mut modes = Self {
            capacity_ml: capacity.ml(),
            fills_ml: Vec::new(),
            open: Vec::new(),
            blown: Vec::new(),
        };
        for step in 0..FILLS {
            let fill = capacity * (FULLEST * step as f64 / (FILLS - 1) as f64);
            let Ok(note) = blown.fundamental(fill) else {
                break;
            };
            let column = open.column(fill)?;
            let mut row = [f64::NAN; MODES];
            for (place, found) in row.iter_mut().zip(column.resonances(MODES)) {
                *place = place_of(found.frequency.hz());
            }
            modes.fills_ml.push(fill.ml());
            modes.open.push(row);
            modes.blown.push(place_of(note.frequency.hz()));
        }
        match modes.fills_ml.len() {
            fills if fills < LEAST_MEASURED => Err(ModesError::Few { fills }),
            _ => Ok(modes),
        }
    }

    /// Of a vessel whose modes were measured at rest, the lowest first, at rising fills; drawn straight between them.
    ///
    /// # Errors
    /// Fewer than two fills, or fills out of order or range.
    pub fn measured(
        capacity: Volume,
        fills: &[(Volume, Vec<Frequency>)],
    ) -> Result<Self, ModesError> {
        if fills.len() < LEAST_MEASURED {
            return Err(ModesError::Few { fills: fills.len() });
        }
        let mut modes = Self {
            capacity_ml: capacity.ml(),
            fills_ml: Vec::new(),
            open: Vec::new(),
            blown: Vec::new(),
        };
        for (fill, found) in fills {
            let before_ml = modes.fills_ml.last().copied().unwrap_or(-1.0);
            if !(fill.ml() > before_ml && (0.0..=capacity.ml()).contains(&fill.ml())) {
                return Err(ModesError::Order {
                    fill_ml: fill.ml(),
                    capacity_ml: capacity.ml(),
                });
            }
            let mut row = [f64::NAN; MODES];
            for (place, pitch) in row.iter_mut().zip(found) {
                *place = place_of(pitch.hz());
            }
            modes.fills_ml.push(fill.ml());
            modes.open.push(row);
            modes.blown.push(row[0]);
        }
        Ok(modes)
    }

    /// What the bottle holds.
    #[must_use]
    pub fn capacity(&self) -> Volume {
        Volume::from_ml(self.capacity_ml)
    }

    /// The highest fill of the table: above it nothing can be followed.
    #[must_use]
    pub fn fullest(&self) -> Volume {
        Volume::from_ml(self.fills_ml[self.fills_ml.len() - 1])
    }

    /// The note that the bottle gives at `fill`, blown.
    #[must_use]
    pub fn note(&self, fill: Volume) -> Option<Frequency> {
        let place = self.between(fill.ml(), |row| self.blown[row]);
        place.is_finite().then(|| Frequency::from_hz(hz_of(place)))
    }

    /// Mode `order`, counted from one, at `fill` while it is poured into.
    #[must_use]
    pub fn mode(&self, order: usize, fill: Volume) -> Option<Frequency> {
        let mode = order.checked_sub(1).filter(|mode| *mode < MODES)?;
        let place = self.between(fill.ml(), |row| self.open[row][mode]);
        place.is_finite().then(|| Frequency::from_hz(hz_of(place)))
    }

    /// The fill that gives `target` blown, if the bottle sounds `off` everywhere beside the table: empty or the fullest where
    /// it is beyond.
    #[must_use]
    pub fn fill_for(&self, target: Frequency, off: Interval) -> Volume {
        Volume::from_ml(self.fill_at(place_of(target.hz()) - off.cents() / CENTS_PER_PLACE))
    }

    /// The fill at which the blown note stands at `place`, ml.
    fn fill_at(&self, place: f64) -> f64 {
        let above = self.blown.partition_point(|at| *at < place);
        if above == 0 {
            return self.fills_ml[0];
        }
        if above == self.blown.len() {
            return self.fullest().ml();
        }
        let (from, to) = (self.blown[above - 1], self.blown[above]);
        let share = ((place - from) / (to - from)).clamp(0.0, 1.0);
        let (low, high) = (self.fills_ml[above - 1], self.fills_ml[above]);
        low + share * (high - low)
    }

    /// The modes at `fill_ml` on the axis of places; not a number where there is none.
    pub(super) fn places(&self, fill_ml: f64) -> [f64; MODES] {
        let mut places = [f64::NAN; MODES];
        for (mode, place) in places.iter_mut().enumerate() {
            *place = self.between(fill_ml, |row| self.open[row][mode]);
        }
        places
    }

    fn between(&self, fill_ml: f64, at: impl Fn(usize) -> f64) -> f64 {
        let last = self.fills_ml.len() - 1;
        let above = self
            .fills_ml
            .partition_point(|ml| *ml < fill_ml)
            .clamp(1, last);
        let (low, high) = (self.fills_ml[above - 1], self.fills_ml[above]);
        let share = ((fill_ml - low) / (high - low)).clamp(0.0, 1.0);
        at(above - 1) + share * (at(above) - at(above - 1))
    }
}

/// Where a frequency stands on the axis.
pub(super) fn place_of(hz: f64) -> f64 {
    PLACES_PER_OCTAVE * (hz / LOWEST_HZ).log2()
}

/// The frequency of a place.
pub(super) fn hz_of(place: f64) -> f64 {
    LOWEST_HZ * (place / PLACES_PER_OCTAVE).exp2()
}
