//! From what an owner wrote to the likelihood of a shape.

use super::base::{Base, Bore, Outline};
use super::seen::{Around, Seen, What};
use super::solve::Problem;
use crate::physics::bottle::{Description, Known};
use crate::physics::dimensions::DimensionsError;
use crate::physics::liquid::WATER_KG_M3;
use crate::physics::profile::ProfileError;
use crate::units::{Length, Mass, Volume};

/// What is measured once is off by this share of its largest error (95 %): two standard deviations.
const SIGMA: f64 = 0.5;
/// What nobody can say exactly, m: where a neck ends and a shoulder begins, and what is its bore there; guesses.
const FOOT_M: f64 = 0.9e-3;
const TOP_M: f64 = 1.1e-3;
const FOOT_BORE_M: f64 = 0.2e-3;
/// A brim is full to this share: a guess.
const BRIM_SHARE: f64 = 0.0025;
/// A kitchen scale that shows grams, m³ of water (one standard deviation).
const GRAM_M3: f64 = 0.35e-6;
/// How well a mass says the walls, as a logarithm: the wall is not even; a guess.
const MASS_SHARE: f64 = 0.1;
/// A measurement so many standard deviations away from every bottle contradicts the others.
const CONTRADICTS: f64 = 8.0;
/// The same of all lengths together, as the sum of their squares.
const CONTRADICTS_TOGETHER: f64 = 45.0;
/// Largest contradiction between a stated capacity and a measured bore.
const CAPACITY_MISMATCH: f64 = 0.10;
/// By how much a capacity may widen the body of a measured bore, as a share (one standard deviation): a guess.
const BODY_SHARE: f64 = 0.03;
/// Sound speed that shapes are compared at, m/s: nothing depends on it.
const SOUND_M_S: f64 = 343.4;

/// Why a description makes no bottle.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ShapeError {
    /// A dimension is out of range.
    #[error(transparent)]
    Dimensions(#[from] DimensionsError),
    /// The bore is none.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// Nothing says how large it is.
    #[error("nothing says how large it is: give capacity_ml")]
    NoSize,
    /// No bottle has it.
    #[error(
        "{what} of {stated:.1} {unit} contradicts the rest: the likeliest bottle has {likeliest:.1} {unit}; measure again, or leave \
         out what is least sure"
    )]
    Contradiction {
        /// Its key.
        what: &'static str,
        /// As written.
        stated: f64,
        /// What fits the others best.
        likeliest: f64,
        /// Of both.
        unit: &'static str,
    },
}

/// Eleven digits of a number: 3/4 in and 19.05 mm are one.
fn to_digits(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let unit = 10_f64.powf(value.abs().log10().floor() - 10.0);
    (value / unit).round() * unit
}

/// A problem with the keys of its measurements.
#[derive(Clone, Debug)]
pub(super) struct Given {
    pub problem: Problem,
    pub keys: Vec<&'static str>,
}

impl Given {
    /// What a description says of the shape.
    pub(super) fn new(described: &Description) -> Result<Self, ShapeError> {
        let d = &described.dimensions;
        d.check()?;
        let length = SIGMA * described.measured_to.length.m();
        let bore = SIGMA * described.measured_to.bore.m();
        let neck = d.neck_length.map(Length::m);
        let base = match &described.known {
            Known::Bore(profile) => {
                let points: Vec<_> = profile
                    .points()
                    .iter()
                    .map(|p| (p.height_m, p.radius_m))
                    .collect();
                let body_error = if d.capacity.is_some() {
                    BODY_SHARE
                } else {
                    0.0
                };
                let bore = Bore::new(&points, neck, 0.5 * bore, length);
                Base::Bore(Bore { body_error, ..bore })
            }
            Known::Outline(points) => {
                let points: Vec<_> = points.iter().map(|(z, d)| (z.m(), 0.5 * d.m())).collect();
                let to = &described.measured_to;
                let (radius, scale) = (SIGMA * to.outline.m(), SIGMA * to.outline_share);
                Base::Outline(Outline::new(
                    &points,
                    neck,
                    radius.max(1e-5),
                    scale.max(1e-4),
                ))
            }
            Known::Poured(_) | Known::Dimensions => Base::Family,
        };
        let mut given = Self {
            problem: Problem {
                base,
                seen: Vec::new(),
                material: d.material,
                around: Around {
                    sound: SOUND_M_S,
                    open: 1.0,
                },
                player: 0.0,
                besides: 0.0,
            },
            keys: Vec::new(),
        };
        if let Known::Bore(profile) = &described.known {
            given.around_bore(described, profile.capacity())?;
        } else {
            given.add_mouth(described, bore)?;
            given.add_lengths(described, length, bore);
        }
        given.add_walls(described);
        if let Known::Poured(readings) = &described.known {
            given.add_readings(readings, length);
        }
        let sized = !matches!(described.known, Known::Dimensions)
            || d.capacity.is_some()
            || d.body_diameter.is_some()
            || d.height.is_some();
        if sized {
            Ok(given)
        } else {
            Err(ShapeError::NoSize)
        }
    }

    pub(super) fn add(&mut self, key: &'static str, what: What, value: f64, sigma: f64) {
        self.problem.seen.push(Seen {
            what,
            value: to_digits(value),
            sigma: sigma.max(1e-5),
        });
        self.keys.push(key);
    }

    fn add_mouth(&mut self, described: &Description, bore: f64) -> Result<(), ShapeError> {
        let d = &described.dimensions;
        let outlined = matches!(described.known, Known::Outline(_));
        if d.mouth_bore.m() > 0.0 || !outlined {
            d.check_mouth()?;
            let what = if d.lip_bore.is_some() {
                What::ThroatBore
            } else {
                What::MouthBore
            };
            self.add("mouth_bore_mm", what, d.mouth_bore.m(), bore.max(2e-5));
        }
        if let Some(lip) = d.lip_bore {
            self.add(
                "lip_bore_mm",
                What::MouthBore,
                lip.m(),
                bore.hypot(FOOT_BORE_M),
            );
        }
        if let Some(narrowest) = d.narrowest_bore {
            self.add(
                "narrowest_bore_mm",
                What::NarrowestBore,
                narrowest.m(),
                bore.max(2e-5),
            );
        }
        Ok(())
    }

    fn add_lengths(&mut self, described: &Description, length: f64, bore: f64) {
        let d = &described.dimensions;
        let mut add = |key, what, value: Option<Length>, sigma| {
            if let Some(value) = value {
                self.add(key, what, value.m(), sigma);
            }
        };
        add(
            "neck_bore_mm",
            What::NeckBore,
            d.neck_bore,
            bore.hypot(FOOT_BORE_M),
        );
        // An outline and the foot of its neck are the same line.
        if !matches!(described.known, Known::Outline(_)) {
            add(
                "neck_length_mm",
                What::NeckLength,
                d.neck_length,
                length.hypot(FOOT_M),
            );
            add(
                "body_length_mm",
                What::BodyLength,
                d.body_length,
                length.hypot(TOP_M),
            );
            add(
                "shoulder_length_mm",
                What::ShoulderLength,
                d.shoulder_length,
                length.hypot(TOP_M),
            );
        }
        add(
            "body_diameter_mm",
            What::BodyDiameter { square: d.square },
            d.body_diameter,
            length,
        );
        add("height_mm", What::Height, d.height, length);
        if let Some(capacity) = d.capacity {
            let sigma = (SIGMA * described.measured_to.capacity_share).hypot(BRIM_SHARE);
            self.add("capacity_ml", What::Capacity, capacity.m3().ln(), sigma);
        }
    }

    /// A bore that is known: nothing but its capacity says more.
    fn around_bore(&mut self, described: &Description, holds: Volume) -> Result<(), ShapeError> {
        let Some(capacity) = described.dimensions.capacity else {
            return Ok(());
        };
        if (holds / capacity - 1.0).abs() > CAPACITY_MISMATCH {
            return Err(ShapeError::Contradiction {
                what: "capacity_ml",
                stated: capacity.ml(),
                likeliest: holds.ml(),
                unit: "ml",
            });
        }
        let sigma = (SIGMA * described.measured_to.capacity_share).hypot(BRIM_SHARE);
        self.add("capacity_ml", What::Capacity, capacity.m3().ln(), sigma);
        Ok(())
    }

    fn add_walls(&mut self, described: &Description) {
        let d = &described.dimensions;
        let error = SIGMA * described.measured_to.wall.m();
        if let Some(wall) = d.wall {
            self.add("wall_mm", What::Wall, wall.m().ln(), error / wall.m());
        }
        if let Some(lip) = described.lip_wall {
            let lip = lip.m().max(3e-4);
            self.add(
                "lip_wall_mm",
                What::LipWall,
                lip.ln(),
                (error / lip).min(0.5),
            );
        }
        if let Some(mass) = d.mass {
            let density = d.material.elastic().density_kg_m3;
            self.add("mass_g", What::Mass { density }, mass.kg().ln(), MASS_SHARE);
        }
    }

    fn add_readings(&mut self, readings: &[(Mass, Length)], length: f64) {
        let mut before = (0.0, 0.0);
        for &(mass, level) in readings {
            let (volume, level) = (mass.kg() / WATER_KG_M3, level.m());
            // A gram moves the level by more where the bore is narrow.
            let area = ((volume - before.0) / (level - before.1).max(1e-4)).max(3e-5);
            before = (volume, level);
            let sigma = length.max(1e-4).hypot(0.25e-3).hypot(GRAM_M3 / area);
            let volume = to_digits(volume);
            self.add("poured", What::Level { volume }, level, sigma);
        }
    }

    /// The measurement that no bottle explains together with the others, if there is one.
    pub(super) fn contradiction(&self, off: &[f64]) -> Option<ShapeError> {
        let worst = (0..self.keys.len()).max_by(|&a, &b| off[a].abs().total_cmp(&off[b].abs()))?;
        let seen = self.problem.seen[worst];
        // Levels are many, and forms that nobody thought of miss each by a little.
        let sized = (0..self.keys.len())
            .filter(|&i| !matches!(self.problem.seen[i].what, What::Level { .. }));
        let squares: f64 = sized.map(|i| off[i] * off[i]).sum();
        if off[worst].abs() < CONTRADICTS && squares < CONTRADICTS_TOGETHER {
            return None;
        }
        let has = seen.value + off[worst] * seen.sigma;
        let (stated, likeliest, unit) = match seen.what {
            What::Capacity => (1e6 * seen.value.exp(), 1e6 * has.exp(), "ml"),
            What::Wall | What::LipWall => (1e3 * seen.value.exp(), 1e3 * has.exp(), "mm"),
            What::Mass { .. } => (1e3 * seen.value.exp(), 1e3 * has.exp(), "g"),
            What::Pitch { .. } => return None,
            What::MouthBore
            | What::ThroatBore
            | What::NarrowestBore
            | What::NeckBore
            | What::NeckLength
            | What::BodyDiameter { .. }
            | What::BodyLength
            | What::ShoulderLength
            | What::Height
            | What::Level { .. } => (1e3 * seen.value, 1e3 * has, "mm"),
        };
        Some(ShapeError::Contradiction {
            what: self.keys[worst],
            stated,
            likeliest,
            unit,
        })
    }
}
