//! The bore of a bottle: its inner radius against the height above the inner floor, and the volumes
//! that follow from it.
//!
//! Between the points that it is given the bore is a straight cone. Nothing here knows about glass,
//! gas or sound.

use std::f64::consts::PI;

use crate::units::{Length, Volume};

/// The fewest points that make a bore.
const MIN_POINTS: usize = 2;
/// The most points that a bore may have: ten a millimetre for a bottle of one metre.
const MAX_POINTS: usize = 10_000;
/// Smallest and largest inner radius, m.
const RADIUS_RANGE_M: (f64, f64) = (0.5e-3, 0.5);
/// Lowest and highest bottle, m.
const HEIGHT_RANGE_M: (f64, f64) = (5e-3, 2.0);

/// What is wrong with a bore.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// Too few or too many points.
    #[error("a bore of {points} points is outside {MIN_POINTS} to {MAX_POINTS} points")]
    Points {
        /// How many there were.
        points: usize,
    },
    /// A height or a radius is not a number.
    #[error("point {point} of the bore is not a finite number")]
    NotFinite {
        /// Counted from one.
        point: usize,
    },
    /// The first point is not on the floor.
    #[error("the bore starts at {height_mm} mm; it must start at 0 mm, the inner floor")]
    Start {
        /// Where it starts.
        height_mm: f64,
    },
    /// A point lies below the one before it.
    #[error(
        "point {point} of the bore is at {height_mm} mm, below the point before it at {previous_mm} mm; \
         list the points from the floor up"
    )]
    Order {
        /// Counted from one.
        point: usize,
        /// Its height.
        height_mm: f64,
        /// The height before it.
        previous_mm: f64,
    },
    /// An inner diameter is too small or too large.
    #[error(
        "point {point} of the bore has an inner diameter of {diameter_mm} mm, outside 1 to 1000 mm"
    )]
    Diameter {
        /// Counted from one.
        point: usize,
        /// Its inner diameter.
        diameter_mm: f64,
    },
    /// The bottle is too low or too high.
    #[error("an inner height of {height_mm} mm is outside 5 to 2000 mm")]
    Height {
        /// The inner height.
        height_mm: f64,
    },
}

/// One point of a bore.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BorePoint {
    /// Height above the inner floor, m.
    pub height_m: f64,
    /// Inner radius there, m.
    pub radius_m: f64,
}

/// The inner radius of a bottle from its floor to its mouth.
///
/// ```
/// use ullage::physics::profile::Profile;
/// use ullage::units::{Length, Volume};
/// let jar = Profile::from_diameters_mm(&[[0.0, 60.0], [100.0, 60.0]])?;
/// let half = Volume::from_m3(jar.capacity().m3() / 2.0);
/// assert!((jar.level_of(half).mm() - 50.0).abs() < 1e-9);
/// # Ok::<(), ullage::physics::profile::ProfileError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    points: Vec<BorePoint>,
    /// Volume below each point, m³.
    below_m3: Vec<f64>,
}

impl Profile {
    /// A bore through `points`, listed from the floor up. Two points at one height make a step.
    ///
    /// # Errors
    /// Points out of order, not numbers, or outside 1 to 1000 mm of diameter and 5 to 2000 mm of height.
    pub fn new(points: Vec<BorePoint>) -> Result<Self, ProfileError> {
        check(&points)?;
        let mut below_m3 = Vec::with_capacity(points.len());
        let mut sum_m3 = 0.0;
        below_m3.push(0.0);
        for pair in points.windows(2) {
            sum_m3 += frustum_m3(
                pair[0].radius_m,
                pair[1].radius_m,
                pair[1].height_m - pair[0].height_m,
            );
            below_m3.push(sum_m3);
        }
        Ok(Self { points, below_m3 })
    }

    /// A bore from `[height, inner diameter]` in millimetres, as people write it.
    ///
    /// # Errors
    /// As [`Profile::new`].
    pub fn from_diameters_mm(points: &[[f64; 2]]) -> Result<Self, ProfileError> {
        let metres = |&[height_mm, bore_mm]: &[f64; 2]| BorePoint {
            height_m: Length::from_mm(height_mm).m(),
            radius_m: Length::from_mm(bore_mm).m() / 2.0,
        };
        Self::new(points.iter().map(metres).collect())
    }

    /// The points, from the floor up.
    #[must_use]
    pub fn points(&self) -> &[BorePoint] {
        &self.points
    }

    /// Volume to the brim.
    #[must_use]
    pub fn capacity(&self) -> Volume {
        Volume::from_m3(self.below_m3[self.below_m3.len() - 1])
    }

    /// Height of the mouth above the inner floor.
    #[must_use]
    pub fn height(&self) -> Length {
        Length::from_m(self.last().height_m)
    }

    /// Inner radius of the mouth.
    #[must_use]
    pub fn mouth_radius(&self) -> Length {
        Length::from_m(self.last().radius_m)
    }

    /// The widest inner radius.
    #[must_use]
    pub fn widest_radius(&self) -> Length {
        Length::from_m(
            self.points
                .iter()
                .fold(0.0, |widest, p| p.radius_m.max(widest)),
        )
    }

    /// Inner radius at a height; outside the bottle, that of its nearer end.
    #[must_use]
    pub fn radius_at(&self, height: Length) -> Length {
        let height_m = height.m();
        let above = self.points.partition_point(|p| p.height_m <= height_m);
        if above == 0 {
            return Length::from_m(self.points[0].radius_m);
        }
        if above == self.points.len() {
            return self.mouth_radius();
        }
        Length::from_m(interpolate(
            self.points[above - 1],
            self.points[above],
            height_m,
        ))
    }

    /// Volume below a level, none below the floor and the capacity above the mouth.
    #[must_use]
    pub fn volume_below(&self, level: Length) -> Volume {
        let level_m = level.m();
        let above = self.points.partition_point(|p| p.height_m <= level_m);
        if above == 0 {
            return Volume::from_m3(0.0);
        }
        if above == self.points.len() {
            return self.capacity();
        }
        let (low, high) = (self.points[above - 1], self.points[above]);
        let part_m3 = frustum_m3(
            low.radius_m,
            interpolate(low, high, level_m),
            level_m - low.height_m,
        );
        Volume::from_m3(self.below_m3[above - 1] + part_m3)
    }

    /// The level that a volume of liquid reaches; the floor for none, the mouth for more than fits.
    ///
    /// In a cone the volume is a cubic in the level with one real root, so this is exact.
    #[must_use]
    pub fn level_of(&self, volume: Volume) -> Length {
        let volume_m3 = volume.m3();
        let above = self
            .below_m3
            .partition_point(|&below_m3| below_m3 <= volume_m3);
        if above == 0 || volume_m3 <= 0.0 {
            return Length::from_m(0.0);
        }
        if above == self.points.len() {
            return self.height();
        }
        let (low, high) = (self.points[above - 1], self.points[above]);
        let share = (volume_m3 - self.below_m3[above - 1])
            / (self.below_m3[above] - self.below_m3[above - 1]);
        Length::from_m(
            low.height_m
                + (high.height_m - low.height_m) * height_share(low.radius_m, high.radius_m, share),
        )
    }

    /// This bore with every radius below `shoulder_top` multiplied by `factor`, blending to 1 across
    /// the shoulder (from `body_top` to `shoulder_top`), so that the neck keeps its size.
    ///
    /// # Errors
    /// As [`Profile::new`], when the scaled bore leaves the range.
    pub fn with_body_scaled(
        &self,
        factor: f64,
        body_top: Length,
        shoulder_top: Length,
    ) -> Result<Self, ProfileError> {
        let (from_m, to_m) = (body_top.m(), shoulder_top.m());
        let scaled = |p: &BorePoint| {
            let body_share = if p.height_m <= from_m {
                1.0
            } else if p.height_m >= to_m {
                0.0
            } else {
                (to_m - p.height_m) / (to_m - from_m)
            };
            BorePoint {
                height_m: p.height_m,
                radius_m: p.radius_m * (1.0 + (factor - 1.0) * body_share),
            }
        };
        Self::new(self.points.iter().map(scaled).collect())
    }

    fn last(&self) -> BorePoint {
        self.points[self.points.len() - 1]
    }
}

/// Inner radius of the cone from `low` to `high` at a height between them, m.
fn interpolate(low: BorePoint, high: BorePoint, height_m: f64) -> f64 {
    let span_m = high.height_m - low.height_m;
    if span_m <= 0.0 {
        return high.radius_m;
    }
    low.radius_m + (high.radius_m - low.radius_m) * (height_m - low.height_m) / span_m
}

/// Volume of a cone cut flat at both ends, m³.
pub(crate) fn frustum_m3(low_m: f64, high_m: f64, height_m: f64) -> f64 {
    PI * height_m * (low_m * low_m + low_m * high_m + high_m * high_m) / 3.0
}

/// The share of a cone's height that holds `share` of its volume.
fn height_share(low_m: f64, high_m: f64, share: f64) -> f64 {
    let rise = (high_m - low_m) / low_m;
    if rise.abs() < 1e-9 {
        return share;
    }
    // Radius cubed grows linearly with volume: (1 + rise x)³ = 1 + share ((1 + rise)³ − 1). exp_m1 and
    // ln_1p keep the digits when the cone is nearly a cylinder.
    let growth = (3.0 * rise.ln_1p()).exp_m1();
    ((share * growth).ln_1p() / 3.0).exp_m1() / rise
}

fn check(points: &[BorePoint]) -> Result<(), ProfileError> {
    if !(MIN_POINTS..=MAX_POINTS).contains(&points.len()) {
        return Err(ProfileError::Points {
            points: points.len(),
        });
    }
    let mut previous_m = 0.0;
    for (index, p) in points.iter().enumerate() {
        let point = index + 1;
        if !(p.height_m.is_finite() && p.radius_m.is_finite()) {
            return Err(ProfileError::NotFinite { point });
        }
        let height_mm = Length::from_m(p.height_m).mm();
        if index == 0 && p.height_m.abs() > 1e-9 {
            return Err(ProfileError::Start { height_mm });
        }
        if p.height_m < previous_m {
            return Err(ProfileError::Order {
                point,
                height_mm,
                previous_mm: Length::from_m(previous_m).mm(),
            });
        }
        if !(RADIUS_RANGE_M.0..=RADIUS_RANGE_M.1).contains(&p.radius_m) {
            return Err(ProfileError::Diameter {
                point,
                diameter_mm: 2.0 * Length::from_m(p.radius_m).mm(),
            });
        }
        previous_m = p.height_m;
    }
    if !(HEIGHT_RANGE_M.0..=HEIGHT_RANGE_M.1).contains(&previous_m) {
        return Err(ProfileError::Height {
            height_mm: Length::from_m(previous_m).mm(),
        });
    }
    Ok(())
}
