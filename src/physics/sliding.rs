//! A bottle whose floor moves: a tube with a piston in it, blown across the mouth while it is pushed.
//!
//! The piston stands where the liquid's surface would, so that the air above it is the line model's; what is new is
//! how far it may go, where it must stand for a note, and that its seal leaks.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::physics::sliding::Sliding;
//! use ullage::units::Frequency;
//! // A plain tube of 26 mm bore with a piston in it.
//! let shelf = ullage::set::read_shelf("[[bottle]]\nname = \"tube\"\nlip_wall_mm = 1\nprofile_mm = [[0, 26], [400, 26]]")?;
//! let room = Conditions::default();
//! let sliding = Sliding::new(&shelf.kinds[0].bottle, &room)?;
//! for hz in [220.0, 330.0, 440.0] {
//!     let air_mm = 400.0 - sliding.mark(Frequency::from_hz(hz))?.travel.mm();
//!     // A quarter of a wave, less 0.61 radii of air that moves outside the mouth (Levine & Schwinger 1948). Friction at the
//!     // wall slows the sound in so narrow a tube by nearly 1 %.
//!     let quarter_mm = 1e3 * room.gases()?.body.sound_speed_m_s() / hz / 4.0 - 0.61 * 13.0;
//!     assert!((air_mm / quarter_mm - 1.0).abs() < 0.015);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::bottle::Bottle;
use super::conditions::Conditions;
use super::prediction::{Blown, LEAST_QUALITY, PredictionError};
use super::resonance::Resonance;
use crate::units::{Frequency, Interval, Length};

/// Q of the seal alone: a guess, since nobody has measured one. A greased ring loses a third of a bottle's ring.
pub const SEAL_QUALITY: f64 = 100.0;
/// Height of a bottle's rounded foot at most, m; a guess.
const FOOT_M: f64 = 15e-3;
/// How far the bore may differ from that above the foot for a piston to fit, m.
const STRAIGHT_TO_M: f64 = 0.5e-3;
/// Air that is left under the shoulder or the neck, m: the piston's own rim.
const RIM_M: f64 = 3e-3;
/// Shortest way that is worth building, m.
const LEAST_STROKE_M: f64 = 10e-3;
/// Width of a solved mark, m: a hundredth of a millimetre.
const MARK_WIDTH_M: f64 = 1e-6;

/// Why a piston gives no such note.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SlidingError {
    /// The bore is nowhere straight.
    #[error(
        "the bore is straight for {stroke_mm:.1} mm above the floor; a sliding floor needs at least 13 mm"
    )]
    NotStraight {
        /// Straight part.
        stroke_mm: f64,
    },
    /// Beyond the way of the piston.
    #[error("a travel of {travel_mm} mm is outside 0 to {most_mm:.1} mm")]
    Travel {
        /// As asked.
        travel_mm: f64,
        /// The most.
        most_mm: f64,
    },
    /// Out of reach.
    #[error(
        "{target_hz:.1} Hz is outside {lowest_hz:.1} to {highest_hz:.1} Hz, what the sliding floor reaches"
    )]
    OutOfReach {
        /// The note.
        target_hz: f64,
        /// Pulled out.
        lowest_hz: f64,
        /// Pushed in.
        highest_hz: f64,
    },
    /// It does not sound.
    #[error(transparent)]
    Prediction(#[from] PredictionError),
}

/// A bottle with a sliding floor under conditions.
#[derive(Clone, Debug)]
pub struct Sliding<'a> {
    bottle: &'a Bottle,
    blown: Blown<'a>,
    stroke: Length,
}

/// Where the floor stands, and what it gives there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Pushed in from the lowest place.
    pub travel: Length,
    /// Pitch and Q, the seal's loss counted.
    pub resonance: Resonance,
    /// How far the pitch rises for a millimetre more.
    pub per_mm: Interval,
}

impl<'a> Sliding<'a> {
    /// `bottle` with a floor that moves as far up as its bore is straight.
    ///
    /// # Errors
    /// A bore that is not straight above its floor, or conditions out of range.
    pub fn new(bottle: &'a Bottle, conditions: &Conditions) -> Result<Self, SlidingError> {
        let points = bottle.bore().points();
        // The foot, which is rounded, is cut off with the floor.
        let is_foot = |height_m: f64| height_m <= FOOT_M;
        let tube = points.iter().take_while(|p| is_foot(p.height_m));
        let tube_m = tube.map(|p| p.radius_m).fold(0.0, f64::max);
        let is_tube = |radius_m: f64| (radius_m - tube_m).abs() <= STRAIGHT_TO_M;
        let straight_m = points
            .iter()
            .skip_while(|p| is_foot(p.height_m) && !is_tube(p.radius_m))
            .take_while(|p| is_tube(p.radius_m))
            .last()
            .map_or(0.0, |p| p.height_m);
        let blown = Blown::new(bottle, conditions)?;
        let mut stroke = Length::from_m((straight_m - RIM_M).max(0.0));
        // Short of where the breath takes over from the note.
        while stroke.m() >= LEAST_STROKE_M && !rings(bottle, &blown, stroke) {
            stroke = stroke * 0.98;
        }
        if stroke.m() < LEAST_STROKE_M {
            return Err(SlidingError::NotStraight {
                stroke_mm: Length::from_m(straight_m).mm(),
            });
        }
        Ok(Self {
            bottle,
            blown,
            stroke,
        })
    }

    /// How far the floor can be pushed.
    #[must_use]
    pub fn stroke(&self) -> Length {
        self.stroke
    }

    /// The note with the floor pushed in by `travel`.
    ///
    /// 1/Q = 1/Q(air) + 1/Q(seal), the latter a guess: see [`SEAL_QUALITY`].
    ///
    /// # Errors
    /// A travel beyond the stroke, or a bottle that does not ring.
    pub fn at(&self, travel: Length) -> Result<Resonance, SlidingError> {
        if !(0.0..=self.stroke.m()).contains(&travel.m()) {
            return Err(SlidingError::Travel {
                travel_mm: travel.mm(),
                most_mm: self.stroke.mm(),
            });
        }
        Ok(leaking(sounded(self.bottle, &self.blown, travel)?))
    }

    /// The notes with the floor pulled out and pushed in.
    ///
    /// # Errors
    /// As [`Self::at`].
    pub fn range(&self) -> Result<(Resonance, Resonance), SlidingError> {
        Ok((self.at(Length::default())?, self.at(self.stroke)?))
    }

    /// Where the floor stands for `target`, to a hundredth of a millimetre.
    ///
    /// The pitch rises with the travel all the way, since the air only shrinks: halving finds the one place.
    ///
    /// # Errors
    /// [`SlidingError::OutOfReach`], with what it reaches.
    pub fn mark(&self, target: Frequency) -> Result<Mark, SlidingError> {
        let (lowest, highest) = self.range()?;
        if !(lowest.frequency <= target && target <= highest.frequency) {
            return Err(SlidingError::OutOfReach {
                target_hz: target.hz(),
                lowest_hz: lowest.frequency.hz(),
                highest_hz: highest.frequency.hz(),
            });
        }
        let (mut low, mut high) = (Length::default(), self.stroke);
        while (high - low).m() > MARK_WIDTH_M {
            let middle = (low + high) * 0.5;
            if self.at(middle)?.frequency < target {
                low = middle
            } else {
                high = middle
            }
        }
        self.mark_at((low + high) * 0.5)
    }

    /// The mark at a travel.
    ///
    /// # Errors
    /// As [`Self::at`].
    pub fn mark_at(&self, travel: Length) -> Result<Mark, SlidingError> {
        let resonance = self.at(travel)?;
        let step = Length::from_mm(0.5);
        let low = (travel - step).max(Length::default());
        let high = (travel + step).min(self.stroke);
        let rise = self
            .at(high)?
            .frequency
            .interval_above(self.at(low)?.frequency);
        Ok(Mark {
            travel,
            resonance,
            per_mm: rise * (1.0 / (high - low).mm()),
        })
    }
}

fn sounded(
    bottle: &Bottle,
    blown: &Blown<'_>,
    travel: Length,
) -> Result<Resonance, PredictionError> {
    blown.fundamental(bottle.bore().volume_below(travel))
}

fn rings(bottle: &Bottle, blown: &Blown<'_>, travel: Length) -> bool {
    sounded(bottle, blown, travel).is_ok_and(|found| leaking(found).quality >= LEAST_QUALITY)
}

fn leaking(tight: Resonance) -> Resonance {
    Resonance {
        quality: 1.0 / (1.0 / tight.quality + 1.0 / SEAL_QUALITY),
        ..tight
    }
}
