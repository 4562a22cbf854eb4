//! Two bottles joined at their feet by a hose: one body of liquid, two levels, and a lift of one against the other.
//!
//! Both mouths are open, so that the two surfaces stand at one height above the table. Lift the second bottle and its
//! liquid runs into the first: the first rises in pitch and the second falls. The hose is full and its volume counted.
//!
//! ```
//! use ullage::physics::joined::Joined;
//! use ullage::units::Length;
//! let set = ullage::set::open("presets/pair/set.toml")?;
//! let pair = &set.pairs[0];
//! let bottles = pair.kinds.map(|kind| &set.kinds[kind].bottle);
//! let joined = Joined::new(bottles, pair.hose, pair.liquid, &set.conditions)?;
//! let lift = Length::from_mm(40.0);
//! let (level, lifted) = (joined.at(Length::default())?, joined.at(lift)?);
//! // Both bodies are straight there: what one surface falls and the other rises is shared out by their areas.
//! let [first, second] = bottles.map(|bottle| bottle.bore().radius_at(Length::from_mm(100.0)).mm().powi(2));
//! let rise = lifted.first.level - level.first.level;
//! assert!((rise - lift * (second / (first + second))).mm().abs() < 0.01);
//! assert!(lifted.first.resonance.frequency > level.first.resonance.frequency);
//! assert!(lifted.second.resonance.frequency < level.second.resonance.frequency);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

use super::bottle::Bottle;
use super::conditions::Conditions;
use super::prediction::{Blown, FillError, PredictionError};
use super::resonance::Resonance;
use crate::units::{Frequency, Length, Volume};

/// Least level above the inner floor, m: below it the hose draws air. A guess for a hose at the foot.
const LEAST_LEVEL_M: f64 = 5e-3;
/// Widest and longest hose.
const HOSE_BORE_MM: (f64, f64) = (2.0, 50.0);
const HOSE_LENGTH_MM: (f64, f64) = (50.0, 10_000.0);

/// Why a joined pair does not do what was asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum JoinedError {
    /// The hose is out of range.
    #[error(
        "a hose of {bore_mm} mm bore and {length_mm} mm length is outside 2 to 50 mm and 50 to 10000 mm"
    )]
    Hose {
        /// Inner diameter.
        bore_mm: f64,
        /// Length.
        length_mm: f64,
    },
    /// Too little or too much liquid for both to keep a level.
    #[error(
        "{liquid_ml:.0} ml of liquid in both and the hose are outside {least_ml:.0} to {most_ml:.0} ml"
    )]
    Liquid {
        /// As given.
        liquid_ml: f64,
        /// The least.
        least_ml: f64,
        /// The most.
        most_ml: f64,
    },
    /// One runs dry or reaches its neck.
    #[error(
        "a lift of {lift_mm:.1} mm is outside {least_mm:.1} to {most_mm:.1} mm: beyond, one bottle runs dry or \
             floods its neck"
    )]
    Lift {
        /// As asked.
        lift_mm: f64,
        /// The least.
        least_mm: f64,
        /// The most.
        most_mm: f64,
    },
    /// The wanted filling cannot be had with this liquid.
    #[error(
        "{target_hz:.1} Hz needs {fill_ml:.1} ml in that bottle; with this liquid it can have {least_ml:.1} to {most_ml:.1} ml"
    )]
    OutOfReach {
        /// The note.
        target_hz: f64,
        /// What it would need.
        fill_ml: f64,
        /// The least it can have.
        least_ml: f64,
        /// The most.
        most_ml: f64,
    },
    /// The bottle alone cannot give the note.
    #[error(transparent)]
    Fill(#[from] FillError),
    /// It does not sound.
    #[error(transparent)]
    Prediction(#[from] PredictionError),
}

/// The hose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hose {
    bore: Length,
    length: Length,
}

impl Hose {
    /// A hose by its inner diameter and its length.
    ///
    /// # Errors
    /// A bore outside 2 to 50 mm, a length outside 50 to 10000 mm.
    pub fn new(bore: Length, length: Length) -> Result<Self, JoinedError> {
        let (bore_mm, length_mm) = (bore.mm(), length.mm());
        let inside = |value: f64, range: (f64, f64)| range.0 <= value && value <= range.1;
        if !(inside(bore_mm, HOSE_BORE_MM) && inside(length_mm, HOSE_LENGTH_MM)) {
            return Err(JoinedError::Hose { bore_mm, length_mm });
        }
        Ok(Self { bore, length })
    }

    /// What it holds.
    #[must_use]
    pub fn volume(&self) -> Volume {
        Volume::from_m3(PI * (self.bore.m() / 2.0).powi(2) * self.length.m())
    }
}

/// Which of the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// The one that stays on the table.
    First,
    /// The one that is lifted.
    Second,
}

/// One bottle of the pair at a lift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// Liquid in it.
    pub fill: Volume,
    /// Its level above its own foot.
    pub level: Length,
    /// Its note.
    pub resonance: Resonance,
}

/// Both bottles at a lift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Both {
    /// How far the foot of the second stands above that of the first; negative when it is below.
    pub lift: Length,
    /// The one that stays.
    pub first: Side,
    /// The one that is lifted.
    pub second: Side,
}

/// A joined pair under conditions.
#[derive(Clone, Debug)]
pub struct Joined<'a> {
    bottles: [&'a Bottle; 2],
    blown: [Blown<'a>; 2],
    /// Liquid outside the hose.
    shared: Volume,
    /// Least and most in the first, for both to keep a level.
    first_range: (Volume, Volume),
}

impl<'a> Joined<'a> {
    /// `first` and `second` with `liquid` in them and in the `hose` together.
    ///
    /// # Errors
    /// Too little or too much liquid, or conditions out of range.
    pub fn new(
        [first, second]: [&'a Bottle; 2],
        hose: Hose,
        liquid: Volume,
        conditions: &Conditions,
    ) -> Result<Self, JoinedError> {
        let shared = liquid - hose.volume();
        let ([least_1, most_1], [least_2, most_2]) = (limits(first), limits(second));
        let (least, most) = (least_1 + least_2, most_1 + most_2);
        if !(least < shared && shared < most) {
            return Err(JoinedError::Liquid {
                liquid_ml: liquid.ml(),
                least_ml: (least + hose.volume()).ml(),
                most_ml: (most + hose.volume()).ml(),
            });
        }
        Ok(Self {
            bottles: [first, second],
            blown: [
                Blown::new(first, conditions)?,
                Blown::new(second, conditions)?,
            ],
            shared,
            first_range: (least_1.max(shared - most_2), most_1.min(shared - least_2)),
        })
    }

    /// Lowest and highest lift, at which one bottle runs dry or floods its neck.
    #[must_use]
    pub fn lift_range(&self) -> (Length, Length) {
        let (least, most) = self.first_range;
        (self.lift_of(least), self.lift_of(most))
    }

    /// Both bottles with the second lifted by `lift`.
    ///
    /// # Errors
    /// [`JoinedError::Lift`] beyond the range.
    pub fn at(&self, lift: Length) -> Result<Both, JoinedError> {
        let (least, most) = self.lift_range();
        if !(least <= lift && lift <= most) {
            return Err(JoinedError::Lift {
                lift_mm: lift.mm(),
                least_mm: least.mm(),
                most_mm: most.mm(),
            });
        }
        // More in the first needs more lift, all the way: halve down to the last bit.
        let (mut low, mut high) = self.first_range;
        for _ in 0..100 {
            let middle = (low + high) * 0.5;
            if self.lift_of(middle) < lift {
                low = middle
            } else {
                high = middle
            }
        }
        self.both((low + high) * 0.5)
    }

    /// Both bottles where `which` gives `target`.
    ///
    /// # Errors
    /// A note that the bottle cannot give, or not with this liquid.
    pub fn mark(&self, which: Which, target: Frequency) -> Result<Both, JoinedError> {
        let fill = self.blown[which as usize].fill_for(target)?;
        let in_first = match which {
            Which::First => fill,
            Which::Second => self.shared - fill,
        };
        let (least, most) = self.first_range;
        if !(least <= in_first && in_first <= most) {
            let (least, most) = match which {
                Which::First => (least, most),
                Which::Second => (self.shared - most, self.shared - least),
            };
            return Err(JoinedError::OutOfReach {
                target_hz: target.hz(),
                fill_ml: fill.ml(),
                least_ml: least.ml(),
                most_ml: most.ml(),
            });
        }
        self.both(in_first)
    }

    /// Height of the second's foot over the first's at which the surfaces are level.
    fn lift_of(&self, in_first: Volume) -> Length {
        let [first, second] = self.bottles;
        first.level_outside(in_first) - second.level_outside(self.shared - in_first)
    }

    fn both(&self, in_first: Volume) -> Result<Both, JoinedError> {
        let side = |which: Which, fill: Volume| -> Result<Side, PredictionError> {
            Ok(Side {
                fill,
                level: self.bottles[which as usize].level_outside(fill),
                resonance: self.blown[which as usize].fundamental(fill)?,
            })
        };
        Ok(Both {
            lift: self.lift_of(in_first),
            first: side(Which::First, in_first)?,
            second: side(Which::Second, self.shared - in_first)?,
        })
    }
}

/// Least and most that a bottle may hold: over the hose, and below the neck.
fn limits(bottle: &Bottle) -> [Volume; 2] {
    let bore = bottle.bore();
    let least = bore.volume_below(Length::from_m(LEAST_LEVEL_M));
    let foot = bore.volume_below(bottle.neck_foot());
    [least, foot.max(least)]
}
