//! A bore from liquid heights seen while a bottle is filled over a scale.
//!
//! ```
//! use ullage::physics::poured::Readings;
//! use ullage::units::{Length, Volume};
//! // Every 100 ml raised the water by 25.98 mm, so that the bore is √(4 · 100 ml / (π · 25.98 mm)): 70.0 mm.
//! let levels = (1..=6).map(|n| (Volume::from_ml(100.0 * f64::from(n)), Length::from_mm(25.98 * f64::from(n))));
//! let bore = Readings {
//!     levels: levels.collect(),
//!     height: Length::from_mm(260.0),
//!     mouth_bore: Length::from_mm(18.0),
//!     neck_bore: Length::from_mm(22.0),
//!     neck_length: Length::from_mm(60.0),
//! }
//! .bore()?;
//! for height_mm in [0.0, 50.0, 100.0, 150.0] {
//!     assert!((2.0 * bore.radius_at(Length::from_mm(height_mm)).mm() - 70.0).abs() < 0.01); // read to 0.01 mm
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

use super::profile::{BorePoint, Profile, ProfileError};
use crate::units::{Length, Volume};

/// Fewest readings that give a shape.
const MIN_READINGS: usize = 3;
/// Distance of the points of the bore that is made, m.
const SPACING_M: f64 = 2e-3;

/// Why readings make no bore.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PouredError {
    /// Too few readings.
    #[error(
        "{readings} readings of grams and height are too few; at least {MIN_READINGS} are needed"
    )]
    Few {
        /// How many there were.
        readings: usize,
    },
    /// Grams or heights that do not rise, or are not numbers.
    #[error(
        "reading {reading} (grams, height in mm) does not lie above the one before it; list them as they were poured"
    )]
    Order {
        /// Counted from one.
        reading: usize,
    },
    /// The readings go beyond the foot of the neck or the mouth.
    #[error(
        "the highest reading, {reading_mm:.1} mm above the inner floor, is above the mouth at {mouth_mm:.1} mm"
    )]
    AboveMouth {
        /// The reading.
        reading_mm: f64,
        /// The mouth.
        mouth_mm: f64,
    },
    /// The bore that results is out of range.
    #[error(transparent)]
    Profile(#[from] ProfileError),
}

/// Readings and what closes the bottle above them. Heights are from the inner floor.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// Volume poured and level reached, in the order of pouring.
    pub levels: Vec<(Volume, Length)>,
    /// Mouth above the inner floor.
    pub height: Length,
    /// Inner diameter of the mouth.
    pub mouth_bore: Length,
    /// Inner diameter at the foot of the neck.
    pub neck_bore: Length,
    /// From the foot of the neck to the mouth.
    pub neck_length: Length,
}

impl Readings {
    /// The bore that was filled.
    ///
    /// Volume against level is drawn as a monotone cubic through the readings (Fritsch & Butland 1984);
    /// its slope is the area. From the highest reading the bore runs straight to the foot of the neck, and
    /// from there straight to the mouth: the more readings on the shoulder, the better.
    ///
    /// # Errors
    /// Too few readings, readings that do not rise, or that do not fit into the bottle.
    pub fn bore(&self) -> Result<Profile, PouredError> {
        let mut curve = self.curve()?;
        let height_m = self.height.m();
        let mouth_radius_m = self.mouth_bore.m() / 2.0;
        let neck_radius_m = self.neck_bore.m() / 2.0;
        let top_m = curve.last_level_m();
        let foot_m = (height_m - self.neck_length.m()).clamp(0.0, height_m);
        if (top_m - foot_m).abs() < SPACING_M {
            // The highest reading stands at the foot of the neck, where the bore is the neck's.
            curve.set_last_area(PI * neck_radius_m * neck_radius_m);
        }
        let shaped_to_m = top_m.min(foot_m.max(SPACING_M));
        let steps = (shaped_to_m / SPACING_M).ceil().max(1.0) as usize;
        let mut points: Vec<BorePoint> = (0..=steps)
            .map(|step| {
                let level_m = shaped_to_m * step as f64 / steps as f64;
                BorePoint {
                    height_m: level_m,
                    radius_m: (curve.area_m2(level_m) / PI).sqrt().max(mouth_radius_m),
                }
            })
            .collect();
        if foot_m > shaped_to_m + 1e-6 {
            points.push(BorePoint {
                height_m: foot_m,
                radius_m: neck_radius_m,
            });
        }
        if height_m > points[points.len() - 1].height_m {
            points.push(BorePoint {
                height_m,
                radius_m: mouth_radius_m,
            });
        }
        Ok(Profile::new(points)?)
    }

    fn curve(&self) -> Result<Monotone, PouredError> {
        if self.levels.len() < MIN_READINGS {
            return Err(PouredError::Few {
                readings: self.levels.len(),
            });
        }
        let mut knots = vec![(0.0, 0.0)];
        for (index, (volume, level)) in self.levels.iter().enumerate() {
            let (last_level_m, last_volume_m3) = knots[knots.len() - 1];
            if !(level.m() > last_level_m && volume.m3() > last_volume_m3) {
                return Err(PouredError::Order { reading: index + 1 });
            }
            knots.push((level.m(), volume.m3()));
        }
        let last_level_m = knots[knots.len() - 1].0;
        if last_level_m > self.height.m() {
            return Err(PouredError::AboveMouth {
                reading_mm: 1e3 * last_level_m,
                mouth_mm: self.height.mm(),
            });
        }
        Ok(Monotone::through(&knots))
    }
}

/// Slope at an end by the parabola through the end and the next two knots, kept monotone.
fn end_slope(
    nearest: f64,
    next: f64,
    knots: &[(f64, f64)],
    [end, second, third]: [usize; 3],
) -> f64 {
    let near_m = (knots[end].0 - knots[second].0).abs();
    let far_m = (knots[second].0 - knots[third].0).abs();
    (((2.0 * near_m + far_m) * nearest - near_m * next) / (near_m + far_m))
        .clamp(0.0, 3.0 * nearest)
}

/// A monotone cubic through knots of level and volume.
struct Monotone {
    knots: Vec<(f64, f64)>,
    slopes: Vec<f64>,
}

impl Monotone {
    fn through(knots: &[(f64, f64)]) -> Self {
        let chord = |pair: &[(f64, f64)]| (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0);
        let chords: Vec<f64> = knots.windows(2).map(chord).collect();
        let slope = |index: usize| match (
            index.checked_sub(1).and_then(|i| chords.get(i)),
            chords.get(index),
        ) {
            (Some(&below), Some(&above)) => {
                let (low_m, high_m) = (
                    knots[index].0 - knots[index - 1].0,
                    knots[index + 1].0 - knots[index].0,
                );
                let share = (low_m + 2.0 * high_m) / (3.0 * (low_m + high_m));
                below * above / (share * above + (1.0 - share) * below)
            }
            (Some(&last), None) => end_slope(
                last,
                chords[index - 2],
                knots,
                [index, index - 1, index - 2],
            ),
            (None, Some(&first)) => end_slope(first, chords[1], knots, [0, 1, 2]),
            (None, None) => 0.0,
        };
        Self {
            knots: knots.to_vec(),
            slopes: (0..knots.len()).map(slope).collect(),
        }
    }

    /// The bore at the highest reading, m², where more is known than the readings say.
    fn set_last_area(&mut self, area_m2: f64) {
        let last = self.slopes.len() - 1;
        self.slopes[last] = area_m2;
    }

    fn last_level_m(&self) -> f64 {
        self.knots[self.knots.len() - 1].0
    }

    /// Slope of the cubic: the area of the bore, m².
    fn area_m2(&self, level_m: f64) -> f64 {
        let last = self.knots.len() - 2;
        let piece = self
            .knots
            .partition_point(|k| k.0 <= level_m)
            .saturating_sub(1)
            .min(last);
        let ((x0, y0), (x1, y1)) = (self.knots[piece], self.knots[piece + 1]);
        let span = x1 - x0;
        let t = ((level_m - x0) / span).clamp(0.0, 1.0);
        let rise = (y1 - y0) / span;
        let (m0, m1) = (self.slopes[piece], self.slopes[piece + 1]);
        m0 * (1.0 - t) * (1.0 - 3.0 * t) + 6.0 * rise * t * (1.0 - t) + m1 * t * (3.0 * t - 2.0)
    }
}
