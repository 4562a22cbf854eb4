//! The parts that a bottle is built of, and how a stated capacity fixes what nobody measured.

use std::f64::consts::PI;

use super::dimensions::DimensionsError;
use super::profile::{BorePoint, Profile, ProfileError};
use crate::units::Volume;

/// Points on the curve of a shoulder.
const SHOULDER_POINTS: usize = 16;
/// Tallest and widest body that a capacity is met with, m: a little inside what a bore may be.
const MAX_HEIGHT_M: f64 = 1.99;
const MAX_RADIUS_M: f64 = 0.49;
/// Largest contradiction between a stated capacity and the dimensions.
pub(super) const CAPACITY_MISMATCH: f64 = 0.10;
/// Smallest contradiction worth a word.
pub(super) const CAPACITY_WORD: f64 = 0.001;

/// Inner measures of the parts, m.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parts {
    pub(super) body_radius_m: f64,
    pub(super) body_m: f64,
    pub(super) shoulder_m: f64,
    pub(super) neck_m: f64,
    pub(super) neck_radius_m: f64,
    pub(super) mouth_radius_m: f64,
}

impl Parts {
    pub(super) fn bore(&self) -> Result<Profile, ProfileError> {
        let mut points = vec![BorePoint {
            height_m: 0.0,
            radius_m: self.body_radius_m,
        }];
        let mut push = |height_m: f64, radius_m: f64| points.push(BorePoint { height_m, radius_m });
        push(self.body_m, self.body_radius_m);
        let fall_m = self.body_radius_m - self.neck_radius_m;
        for step in 1..=SHOULDER_POINTS {
            let share = step as f64 / SHOULDER_POINTS as f64;
            // Half a cosine: round at the body, hollow at the neck.
            push(
                self.body_m + self.shoulder_m * share,
                self.body_radius_m - fall_m * 0.5 * (1.0 - (PI * share).cos()),
            );
        }
        push(
            self.body_m + self.shoulder_m + self.neck_m,
            self.mouth_radius_m,
        );
        Profile::new(points)
    }

    pub(super) fn capacity_m3(&self) -> Result<f64, ProfileError> {
        Ok(self.bore()?.capacity().m3())
    }

    pub(super) fn check_neck(&self) -> Result<(), DimensionsError> {
        if self.neck_radius_m > self.body_radius_m * (1.0 + 1e-9) {
            return Err(DimensionsError::NeckWiderThanBody {
                neck_mm: 2e3 * self.neck_radius_m,
                body_mm: 2e3 * self.body_radius_m,
            });
        }
        Ok(())
    }
}

/// What the capacity is left to fix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Free {
    Nothing,
    BodyLength,
    BodyRadius,
    Body { slenderness: f64 },
    Shoulder,
}

impl Free {
    pub(super) fn missing(self) -> &'static str {
        match self {
            Self::BodyLength => "give capacity_ml, body_length_mm or height_mm",
            Self::BodyRadius => "give capacity_ml or body_diameter_mm",
            Self::Body { .. } | Self::Shoulder | Self::Nothing => {
                "give capacity_ml, or body_diameter_mm with body_length_mm"
            }
        }
    }
}

/// Sets what is free, or the body's radius, so that `parts` hold `capacity`; says what they held before
/// if that was something else.
pub(super) fn meet_capacity(
    parts: &mut Parts,
    free: Free,
    capacity: Volume,
    floor_m: f64,
) -> Result<Option<Volume>, DimensionsError> {
    let target_m3 = capacity.m3();
    let mut free = free;
    if free == Free::Shoulder {
        fit_shoulder(parts, target_m3)?;
        free = Free::Nothing;
    }
    let before_m3 = parts.capacity_m3()?;
    if free == Free::Nothing {
        let mismatch = before_m3 / target_m3 - 1.0;
        if mismatch.abs() > CAPACITY_MISMATCH {
            return Err(DimensionsError::Capacity {
                stated_ml: capacity.ml(),
                computed_ml: Volume::from_m3(before_m3).ml(),
                percent: 100.0 * mismatch,
            });
        }
    }
    let with = |size_m: f64| {
        let mut changed = *parts;
        match free {
            Free::BodyLength => changed.body_m = size_m,
            Free::BodyRadius | Free::Shoulder | Free::Nothing => changed.body_radius_m = size_m,
            Free::Body { slenderness } => {
                changed.body_radius_m = size_m;
                changed.body_m = (2.0 * size_m * slenderness - floor_m).max(1e-3);
            }
        }
        changed
    };
    let least_m = if free == Free::BodyLength {
        1e-3
    } else {
        parts.neck_radius_m
    };
    // The most that a bore may measure, less what is fixed.
    let tallest_m = (MAX_HEIGHT_M - parts.shoulder_m - parts.neck_m).max(least_m);
    let widest_m = match free {
        Free::Body { slenderness } => MAX_RADIUS_M.min(tallest_m / (2.0 * slenderness)),
        _ => MAX_RADIUS_M,
    };
    let (mut low_m, mut high_m) = (
        least_m,
        if free == Free::BodyLength {
            tallest_m
        } else {
            widest_m.max(least_m)
        },
    );
    if with(low_m).capacity_m3()? > target_m3 || with(high_m).capacity_m3()? < target_m3 {
        return Err(DimensionsError::Unreachable {
            capacity_ml: capacity.ml(),
            least_ml: Volume::from_m3(with(low_m).capacity_m3()?).ml(),
        });
    }
    // Capacity grows with either size; 60 halvings leave less than a picometre.
    for _ in 0..60 {
        let middle_m = 0.5 * (low_m + high_m);
        if with(middle_m).capacity_m3()? < target_m3 {
            low_m = middle_m
        } else {
            high_m = middle_m
        }
    }
    *parts = with(0.5 * (low_m + high_m));
    let scaled = free == Free::Nothing && (before_m3 / target_m3 - 1.0).abs() > CAPACITY_WORD;
    Ok(scaled.then(|| Volume::from_m3(before_m3)))
}

/// Sets how long the shoulder is, within the height that it shares with the body, so that `parts` hold
/// the target as nearly as a shoulder can make them.
pub(super) fn fit_shoulder(parts: &mut Parts, target_m3: f64) -> Result<(), DimensionsError> {
    let both_m = parts.body_m + parts.shoulder_m;
    let with = |shoulder_m: f64| Parts {
        shoulder_m,
        body_m: both_m - shoulder_m,
        ..*parts
    };
    // The longer the shoulder, the less the bottle holds.
    let (mut low_m, mut high_m) = (0.0, 0.9 * both_m);
    for _ in 0..50 {
        let middle_m = 0.5 * (low_m + high_m);
        if with(middle_m).capacity_m3()? > target_m3 {
            low_m = middle_m
        } else {
            high_m = middle_m
        }
    }
    *parts = with(0.5 * (low_m + high_m));
    Ok(())
}
