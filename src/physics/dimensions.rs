//! A bore built from the few dimensions that somebody with a ruler and a kitchen scale can give.
//!
//! What was given is kept, what follows from it is worked out, and what nobody measured is estimated;
//! [`Built::guesses`] says which, so that the uncertainty can count it.
//!
//! ```
//! use ullage::physics::dimensions::{Dimensions, GuessFactors};
//! use ullage::units::Length;
//! let mm = |value| Some(Length::from_mm(value));
//! let jar = Dimensions {
//!     mouth_bore: Length::from_mm(40.0),
//!     neck_bore: mm(40.0),
//!     neck_length: mm(30.0),
//!     body_diameter: mm(84.0),
//!     body_length: mm(120.0),
//!     shoulder_length: mm(20.0),
//!     wall: mm(2.0),
//!     ..Dimensions::default()
//! };
//! let built = jar.build(&GuessFactors::default())?;
//! // Body, shoulder and neck by hand, with radii of 4 and 2 cm inside: a cylinder, a cone cut off, and a cylinder.
//! let ml = std::f64::consts::PI * (16.0 * (12.0 - built.floor.mm() / 10.0) + (16.0 + 8.0 + 4.0) / 3.0 * 2.0 + 4.0 * 3.0);
//! assert!((built.bore.capacity().ml() / ml - 1.0).abs() < 0.003); // a round shoulder holds a little more than a cone
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

pub use super::material::Material;
pub(super) use super::parts::{CAPACITY_MISMATCH, CAPACITY_WORD};
use super::parts::{Free, Parts, meet_capacity};
use super::profile::{Profile, ProfileError};
use crate::units::{Length, Mass, Volume};

/// Length of an undescribed shoulder over the step in radius that it makes. Between the sharp
/// shoulder of a jar (0) and the sloping one of a tall wine bottle (3); fitted to nothing, the middle
/// of the shapes in `tests/data/bottles_fem.json`.
const SHOULDER_SLOPE: f64 = 1.5;
/// Bore at the foot of an undescribed neck over the bore of the mouth; necks widen downwards by 0 to
/// 65 % in the shapes of `tests/data/bottles_fem.json`, and this is their mean.
const NECK_WIDENING: f64 = 1.25;
/// Length of an undescribed neck over the height: common practice, no source.
const LIKELY_NECK: f64 = 0.25;
/// How far body, shoulder and neck may miss the height, m.
const SUM_SLACK_M: f64 = 3e-3;
/// Length of an undescribed body over its diameter: common practice, no source.
const BODY_SLENDERNESS: f64 = 1.6;
/// The dimensions of a bottle; outer ones where an owner would measure outside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dimensions {
    /// Brimful capacity.
    pub capacity: Option<Volume>,
    /// Inner diameter of the mouth.
    pub mouth_bore: Length,
    /// Inner diameter at the foot of the neck.
    pub neck_bore: Option<Length>,
    /// From the end of the shoulder to the mouth.
    pub neck_length: Option<Length>,
    /// Outer diameter of the body.
    pub body_diameter: Option<Length>,
    /// From the table to where the shoulder begins.
    pub body_length: Option<Length>,
    /// From where the shoulder begins to where the neck begins.
    pub shoulder_length: Option<Length>,
    /// From the table to the mouth.
    pub height: Option<Length>,
    /// Wall of the body.
    pub wall: Option<Length>,
    /// Mass of the empty bottle.
    pub mass: Option<Mass>,
    /// What it is made of.
    pub material: Material,
}

/// Something that nobody measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Guess {
    /// How long the shoulder is.
    Shoulder,
    /// How far the neck widens downwards.
    NeckTaper,
    /// How thick the wall of the body is.
    Wall,
    /// How long the neck is.
    NeckLength,
    /// How slender the body is.
    Slenderness,
}

/// Factors on the guesses, 1 for the estimate itself: the uncertainty turns them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GuessFactors {
    /// On the length of the shoulder.
    pub shoulder: f64,
    /// On the widening of the neck beyond the mouth's bore.
    pub neck_taper: f64,
    /// On the wall.
    pub wall: f64,
    /// On the length of the neck.
    pub neck_length: f64,
    /// On the length of the body over its diameter.
    pub slenderness: f64,
}

impl Default for GuessFactors {
    fn default() -> Self {
        Self {
            shoulder: 1.0,
            neck_taper: 1.0,
            wall: 1.0,
            neck_length: 1.0,
            slenderness: 1.0,
        }
    }
}

/// Why dimensions make no bottle.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DimensionsError {
    /// Too little was given.
    #[error("the dimensions do not pin the bottle down: {missing}")]
    Missing {
        /// What would help.
        missing: &'static str,
    },
    /// A dimension is zero, negative, not a number, or absurd.
    #[error("{what} = {value} is outside {low} to {high}")]
    Range {
        /// Name as in a file, with its unit.
        what: &'static str,
        /// As written.
        value: f64,
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
    },
    /// The parts are longer than the whole, or leave nothing.
    #[error("{parts} leave {left_mm:.1} mm for {what} in a bottle {height_mm:.1} mm high")]
    NoRoom {
        /// What was added up.
        parts: &'static str,
        /// What should fit into the rest.
        what: &'static str,
        /// What is left.
        left_mm: f64,
        /// Height of the bottle.
        height_mm: f64,
    },
    /// The lengths of all four parts were given and do not add up.
    #[error(
        "body, shoulder and neck add up to {sum_mm:.1} mm, but the height is {height_mm:.1} mm; they may differ by 3 mm: \
         measure again, or leave out the one that is least sure"
    )]
    Sum {
        /// Sum of the parts.
        sum_mm: f64,
        /// Height as given.
        height_mm: f64,
    },
    /// The neck is wider than the body.
    #[error("a neck of {neck_mm:.1} mm is wider than the inside of the body, {body_mm:.1} mm")]
    NeckWiderThanBody {
        /// Bore at the foot of the neck.
        neck_mm: f64,
        /// Inner diameter of the body.
        body_mm: f64,
    },
    /// Capacity and dimensions contradict each other.
    #[error(
        "the capacity of {stated_ml:.1} ml contradicts the dimensions, which hold {computed_ml:.1} ml: \
         {percent:+.0} %, the limit is 10 %; measure again, or leave out what is least sure"
    )]
    Capacity {
        /// As given.
        stated_ml: f64,
        /// From the dimensions.
        computed_ml: f64,
        /// How much more the dimensions hold, percent.
        percent: f64,
    },
    /// No body gives this capacity.
    #[error(
        "no body holds {capacity_ml:.1} ml with these dimensions: neck and shoulder alone hold {least_ml:.1} ml"
    )]
    Unreachable {
        /// As given.
        capacity_ml: f64,
        /// The least that the shape holds.
        least_ml: f64,
    },
    /// The bore that results is out of range.
    #[error(transparent)]
    Profile(#[from] ProfileError),
}

/// A bore built from dimensions.
#[derive(Clone, Debug, PartialEq)]
pub struct Built {
    /// The bore.
    pub bore: Profile,
    /// Foot of the neck above the inner floor.
    pub neck_foot: Length,
    /// Where the shoulder begins above the inner floor.
    pub body_top: Length,
    /// Thickness of the floor.
    pub floor: Length,
    /// Wall of the body.
    pub wall: Length,
    /// What was estimated.
    pub guesses: Vec<Guess>,
    /// Dimensions' capacity over the stated one, if the body was scaled to meet it.
    pub scaled_from: Option<Volume>,
}

impl Dimensions {
    /// The bore that these dimensions describe, with the estimates turned by `factors`.
    ///
    /// Capacity decides: where it differs from the dimensions by less than 10 %, the body is scaled to it.
    ///
    /// # Errors
    /// Dimensions out of range, too few, or contradicting each other.
    pub fn build(&self, factors: &GuessFactors) -> Result<Built, DimensionsError> {
        self.check_mouth()?;
        self.check()?;
        let mut guesses = Vec::new();
        let mut guess = |what: Guess| guesses.push(what);
        if self.neck_bore.is_none() {
            guess(Guess::NeckTaper);
        }
        if self.wall.is_none() {
            guess(Guess::Wall);
        }
        let wall_m = self.wall_m() * factors.wall;
        let floor_m = wall_m * self.material.floor_over_wall();
        let (mut parts, free) = self.parts(wall_m, floor_m, factors, &mut guess)?;
        if self.body_diameter.is_some() {
            // Before the capacity is compared: a neck like that is what would be wrong with it.
            parts.check_neck()?;
        }
        let mut scaled_from = None;
        match (self.capacity, free) {
            (Some(capacity), _) => {
                scaled_from = meet_capacity(&mut parts, free, capacity, floor_m)?
            }
            (None, Free::Nothing) => {}
            (None, _) => {
                return Err(DimensionsError::Missing {
                    missing: free.missing(),
                });
            }
        }
        parts.check_neck()?;
        Ok(Built {
            bore: parts.bore()?,
            neck_foot: Length::from_m(parts.body_m + parts.shoulder_m),
            body_top: Length::from_m(parts.body_m),
            floor: Length::from_m(floor_m),
            wall: Length::from_m(wall_m),
            guesses,
            scaled_from,
        })
    }

    /// Wall of the body: measured, from the mass, or usual for the material, m.
    fn wall_m(&self) -> f64 {
        let usual_m = Length::from_mm(self.material.usual_wall_mm()).m();
        if let Some(wall) = self.wall {
            return wall.m();
        }
        let (Some(mass), Some(diameter), Some(height)) =
            (self.mass, self.body_diameter, self.height)
        else {
            return usual_m;
        };
        // A cylinder with a floor; a real bottle has less wall at the neck and more at the mouth.
        let side_m2 = PI * diameter.m() * height.m() * 0.85;
        let floor_m2 = PI * diameter.m().powi(2) / 4.0 * self.material.floor_over_wall();
        (mass.kg() / self.material.density_kg_m3() / (side_m2 + floor_m2))
            .clamp(0.3 * usual_m, 3.0 * usual_m)
    }

    /// Refuses a mouth that is missing or absurd.
    pub(super) fn check_mouth(&self) -> Result<(), DimensionsError> {
        within("mouth_bore_mm", Some(self.mouth_bore.mm()), 2.0, 200.0)
    }

    /// Refuses whatever else was given and is zero, negative, not a number, or absurd.
    pub(super) fn check(&self) -> Result<(), DimensionsError> {
        let length = |what, value: Option<Length>, low: f64, high: f64| {
            within(what, value.map(Length::mm), low, high)
        };
        within("capacity_ml", self.capacity.map(Volume::ml), 5.0, 100_000.0)?;
        length("neck_bore_mm", self.neck_bore, 2.0, 400.0)?;
        length("neck_length_mm", self.neck_length, 0.0, 1000.0)?;
        length("body_diameter_mm", self.body_diameter, 5.0, 1000.0)?;
        length("body_length_mm", self.body_length, 1.0, 2000.0)?;
        length("shoulder_length_mm", self.shoulder_length, 0.0, 1000.0)?;
        length("height_mm", self.height, 10.0, 2000.0)?;
        length("wall_mm", self.wall, 0.05, 30.0)?;
        within("mass_g", self.mass.map(Mass::g), 1.0, 50_000.0)
    }

    /// The parts as far as the lengths fix them, and what is left for the capacity to fix.
    fn parts(
        &self,
        wall_m: f64,
        floor_m: f64,
        factors: &GuessFactors,
        guess: &mut impl FnMut(Guess),
    ) -> Result<(Parts, Free), DimensionsError> {
        let mouth_radius_m = self.mouth_bore.m() / 2.0;
        let widening = 1.0 + (NECK_WIDENING - 1.0) * factors.neck_taper;
        let mut neck_radius_m = self
            .neck_bore
            .map_or(mouth_radius_m * widening, |bore| bore.m() / 2.0);
        let body_radius_m = self.body_diameter.map(|d| d.m() / 2.0 - wall_m);
        if self.neck_bore.is_none() {
            // A jar's mouth may be as wide as its body: the guess must not make it wider.
            neck_radius_m = neck_radius_m
                .min(body_radius_m.unwrap_or(f64::INFINITY))
                .max(mouth_radius_m);
        }
        let reach_m = body_radius_m
            .or_else(|| self.rough_body_radius_m())
            .unwrap_or(2.0 * neck_radius_m);
        let likely_shoulder_m =
            SHOULDER_SLOPE * factors.shoulder * (reach_m - neck_radius_m).max(0.0);
        let lengths = self.lengths(likely_shoulder_m, factors, guess)?;
        let known_body_m = lengths.body_m.map(|body_m| body_m - floor_m);
        // A body that the capacity has yet to fix begins as long as it is half wide.
        let (body_radius_m, body_m, mut free) = match (body_radius_m, known_body_m) {
            (Some(radius_m), Some(body_m)) => (radius_m, body_m, Free::Nothing),
            (Some(radius_m), None) => (radius_m, radius_m, Free::BodyLength),
            (None, Some(body_m)) => (reach_m, body_m, Free::BodyRadius),
            (None, None) => {
                guess(Guess::Slenderness);
                let slenderness = BODY_SLENDERNESS * factors.slenderness;
                (reach_m, reach_m, Free::Body { slenderness })
            }
        };
        let parts = Parts {
            body_radius_m,
            body_m,
            shoulder_m: lengths.shoulder_m,
            neck_m: lengths.neck_m,
            neck_radius_m,
            mouth_radius_m,
        };
        if lengths.by_capacity && free == Free::Nothing {
            free = Free::Shoulder;
        } else if lengths.by_capacity {
            guess(Guess::Shoulder);
        }
        if parts.body_m <= 0.0 {
            return Err(DimensionsError::NoRoom {
                parts: "shoulder, neck and floor",
                what: "the body",
                left_mm: 1e3 * parts.body_m,
                height_mm: self.height.unwrap_or_default().mm(),
            });
        }
        Ok((parts, free))
    }

    /// Outer lengths of body, shoulder and neck.
    fn lengths(
        &self,
        likely_shoulder_m: f64,
        factors: &GuessFactors,
        guess: &mut impl FnMut(Guess),
    ) -> Result<Lengths, DimensionsError> {
        let m = |length: Option<Length>| length.map(Length::m);
        let (height_m, body_m, shoulder_m, neck_m) = (
            m(self.height),
            m(self.body_length),
            m(self.shoulder_length),
            m(self.neck_length),
        );
        let rest = |parts, what, left_m: f64, least_m: f64| {
            let height_mm = 1e3 * height_m.unwrap_or(0.0);
            if left_m >= least_m {
                Ok(left_m)
            } else {
                Err(DimensionsError::NoRoom {
                    parts,
                    what,
                    left_mm: 1e3 * left_m,
                    height_mm,
                })
            }
        };
        // The shoulder as given, or a likely one where nobody described it.
        let mut shoulder = |most_m: f64| {
            shoulder_m.unwrap_or_else(|| {
                guess(Guess::Shoulder);
                likely_shoulder_m.min(most_m)
            })
        };
        let whole = Lengths::fixed;
        match (height_m, body_m, shoulder_m, neck_m) {
            (Some(height_m), Some(body_m), Some(shoulder_m), Some(neck_m)) => {
                let sum_m = body_m + shoulder_m + neck_m;
                if (sum_m - height_m).abs() > SUM_SLACK_M {
                    let (sum_mm, height_mm) = (1e3 * sum_m, 1e3 * height_m);
                    return Err(DimensionsError::Sum { sum_mm, height_mm });
                }
                Ok(whole(body_m, shoulder_m, neck_m))
            }
            (Some(height_m), Some(body_m), None, Some(neck_m)) => {
                let left_m = height_m - body_m - neck_m;
                Ok(whole(
                    body_m,
                    rest("body and neck", "the shoulder", left_m, 0.0)?,
                    neck_m,
                ))
            }
            (Some(height_m), Some(body_m), Some(shoulder_m), None) => {
                let left_m = height_m - body_m - shoulder_m;
                Ok(whole(
                    body_m,
                    shoulder_m,
                    rest("body and shoulder", "the neck", left_m, 0.0)?,
                ))
            }
            (Some(height_m), Some(body_m), None, None) => {
                let left_m = rest("the body", "shoulder and neck", height_m - body_m, 1e-3)?;
                let shoulder_m = shoulder(0.8 * left_m);
                Ok(whole(body_m, shoulder_m, left_m - shoulder_m))
            }
            (Some(height_m), None, _, Some(neck_m)) => {
                let left_m = rest("the neck", "body and shoulder", height_m - neck_m, 2e-3)?;
                let by_capacity =
                    shoulder_m.is_none() && self.capacity.is_some() && self.body_diameter.is_some();
                let most_m = 0.8 * left_m;
                let shoulder_m = if by_capacity {
                    likely_shoulder_m.min(most_m)
                } else {
                    shoulder(most_m)
                };
                let body_m = rest("shoulder and neck", "the body", left_m - shoulder_m, 1e-3)?;
                Ok(Lengths {
                    by_capacity,
                    ..whole(body_m, shoulder_m, neck_m)
                })
            }
            (None, body_m, _, Some(neck_m)) => Ok(Lengths {
                body_m,
                ..whole(0.0, shoulder(f64::INFINITY), neck_m)
            }),
            (Some(height_m), None, _, None) if self.capacity.is_some() => {
                let shoulder_m = shoulder(0.5 * height_m);
                guess(Guess::NeckLength);
                let neck_m = LIKELY_NECK * height_m * factors.neck_length;
                let left_m = height_m - neck_m - shoulder_m;
                Ok(whole(
                    rest("shoulder and neck", "the body", left_m, 1e-3)?,
                    shoulder_m,
                    neck_m,
                ))
            }
            _ => Err(DimensionsError::Missing {
                missing: "give neck_length_mm, or height_mm with body_length_mm",
            }),
        }
    }

    /// A body radius good enough to guess a shoulder from, m.
    fn rough_body_radius_m(&self) -> Option<f64> {
        let capacity_m3 = self.capacity?.m3();
        let length_m = self.body_length.map(Length::m).or_else(|| {
            Some(self.height?.m() - self.neck_length.map_or(0.25 * self.height?.m(), Length::m))
        });
        Some(match length_m {
            Some(length_m) if length_m > 0.0 => (capacity_m3 / (PI * length_m)).sqrt(),
            _ => (capacity_m3 / (2.0 * PI * BODY_SLENDERNESS)).cbrt(),
        })
    }
}

/// Outer lengths, m.
struct Lengths {
    body_m: Option<f64>,
    shoulder_m: f64,
    neck_m: f64,
    /// Height, neck, body diameter and capacity together fix how long the shoulder is.
    by_capacity: bool,
}

impl Lengths {
    /// All three are known.
    fn fixed(body_m: f64, shoulder_m: f64, neck_m: f64) -> Self {
        Self {
            body_m: Some(body_m),
            shoulder_m,
            neck_m,
            by_capacity: false,
        }
    }
}

pub(crate) fn within(
    what: &'static str,
    value: Option<f64>,
    low: f64,
    high: f64,
) -> Result<(), DimensionsError> {
    match value {
        Some(value) if !(low..=high).contains(&value) => Err(DimensionsError::Range {
            what,
            value,
            low,
            high,
        }),
        _ => Ok(()),
    }
}
