//! The bottles of a file: what is written of each, checked, and its shape estimated.

use rayon::prelude::*;

use super::describe::MATERIALS;
use super::error::SetError;
use super::problem::{BottleProblem, DidYouMean, HeardProblem};
use super::{HeardPitch, Kind, WallFits, ways, written};
use crate::fit::shape::estimated;
use crate::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use crate::physics::dimensions::{Dimensions, Material};
use crate::physics::profile::Profile;
use crate::units::{Frequency, Length, Mass, Volume};

/// Most kinds of bottle in a file.
const MAX_KINDS: usize = 10_000;
/// Most bottles of a kind.
pub(super) const MAX_COUNT: u32 = 10_000;
/// Pitches that a bottle can be heard at, Hz.
pub(super) const HEARD_RANGE_HZ: (f64, f64) = (10.0, 20_000.0);
/// Rooms that somebody listens in, °C.
pub(super) const HEARD_RANGE_C: (f64, f64) = (-10.0, 60.0);
/// Fewest points of an outline.
pub(super) const FEWEST_OUTLINE: usize = 8;
/// Thickest wall around a mouth, mm.
const MAX_LIP_WALL_MM: f64 = 50.0;

/// The bottles of a file.
pub(super) struct Bottles {
    /// Those that are right.
    pub(super) kinds: Vec<Kind>,
    /// The names of those that are wrong.
    pub(super) refused: Vec<String>,
    /// Why.
    pub(super) wrong: Vec<SetError>,
}

/// Their shapes estimated, side by side.
pub(super) fn kinds(bottles: Vec<written::Bottle>) -> Result<Bottles, SetError> {
    if bottles.is_empty() {
        return Err(SetError::Empty);
    }
    if bottles.len() > MAX_KINDS {
        return Err(SetError::TooMany {
            what: "kinds of bottle",
            count: bottles.len(),
            limit: MAX_KINDS,
        });
    }
    let mut names = std::collections::HashSet::new();
    let mut read = Bottles {
        kinds: Vec::with_capacity(bottles.len()),
        refused: Vec::new(),
        wrong: Vec::new(),
    };
    let named = |(index, bottle): (usize, written::Bottle)| {
        if bottle.name.trim().is_empty() {
            return Err(SetError::Unnamed { number: index + 1 });
        }
        let name = bottle.name.clone();
        if names.insert(name.clone()) {
            Ok(bottle)
        } else {
            Err(SetError::SameName { name })
        }
    };
    let named: Vec<_> = bottles.into_iter().enumerate().map(named).collect();
    // The shape of each is estimated, which takes a while: side by side, and told in the order of the file.
    let estimated = named.into_par_iter().map(|bottle| {
        let bottle = bottle.map_err(|error| (error, None))?;
        let name = bottle.name.clone();
        kind(bottle).map_err(|error| (error, Some(name)))
    });
    for kind in estimated.collect::<Vec<_>>() {
        match kind {
            Ok(kind) => read.kinds.push(kind),
            Err((error, name)) => {
                read.wrong.push(error);
                read.refused.extend(name);
            }
        }
    }
    Ok(read)
}

fn kind(written: written::Bottle) -> Result<Kind, SetError> {
    let name = written.name.clone();
    let value = |source: BottleProblem| SetError::Value {
        name: name.clone(),
        source,
    };
    let count = written.count.unwrap_or(1);
    if !(1..=MAX_COUNT).contains(&count) {
        return Err(value(BottleProblem::Count { count }));
    }
    let description = description(&written).map_err(&value)?;
    let bottle = estimated(description).map_err(|source| SetError::Bottle {
        name: name.clone(),
        source,
    })?;
    let mut heard = Vec::with_capacity(written.heard.len());
    for pitch in &written.heard {
        heard.push(heard_pitch(pitch, &bottle).map_err(|problem| value(problem.into()))?);
    }
    Ok(Kind {
        name: written.name,
        count,
        bottle,
        heard,
        air_fit: None,
        fits: WallFits::default(),
        remark: written.remark,
    })
}

fn heard_pitch(written: &written::Heard, bottle: &Bottle) -> Result<HeardPitch, HeardProblem> {
    let (fill_ml, hz) = (written.fill_ml, written.hz);
    let capacity_ml = bottle.bore().capacity().ml();
    if !(0.0..=capacity_ml).contains(&fill_ml) {
        return Err(HeardProblem::Fill {
            fill_ml,
            capacity_ml,
        });
    }
    if !(HEARD_RANGE_HZ.0..=HEARD_RANGE_HZ.1).contains(&hz) {
        return Err(HeardProblem::Pitch { hz });
    }
    if let Some(temp_c) = written.temp_c
        && !(HEARD_RANGE_C.0..=HEARD_RANGE_C.1).contains(&temp_c)
    {
        return Err(HeardProblem::Temperature { temp_c });
    }
    Ok(HeardPitch {
        fill: Volume::from_ml(written.fill_ml),
        frequency: Frequency::from_hz(written.hz),
        temp_c: written.temp_c,
        way: written.way,
        gauge: ways::heard_gauge(written, bottle.material())?,
    })
}

fn description(written: &written::Bottle) -> Result<Description, BottleProblem> {
    let mm = |length: Option<f64>| length.map(Length::from_mm);
    let known = known(written)?;
    if written.mouth_bore_mm.is_none() && !matches!(known, Known::Bore(_) | Known::Outline(_)) {
        return Err(BottleProblem::NoMouth);
    }
    if let Some(lip_wall_mm) = written.lip_wall_mm {
        inside("lip_wall_mm", lip_wall_mm, MAX_LIP_WALL_MM)?;
    }
    let dimensions = Dimensions {
        capacity: written.capacity_ml.map(Volume::from_ml),
        mouth_bore: Length::from_mm(written.mouth_bore_mm.unwrap_or(0.0)),
        lip_bore: mm(written.lip_bore_mm),
        narrowest_bore: mm(written.narrowest_bore_mm),
        neck_bore: mm(written.neck_bore_mm),
        neck_length: mm(written.neck_length_mm),
        body_diameter: mm(written.body_diameter_mm),
        body_length: mm(written.body_length_mm),
        shoulder_length: mm(written.shoulder_length_mm),
        height: mm(written.height_mm),
        wall: mm(written.wall_mm),
        mass: written.mass_g.map(Mass::from_g),
        square: written.square,
        material: material(written.material.as_deref().unwrap_or("glass"))?,
    };
    Ok(Description {
        known,
        dimensions,
        lip_wall: mm(written.lip_wall_mm),
        measured_to: measured_to(written)?,
    })
}

/// `value` of `key`, unless it is outside 0 to `most`.
fn inside(key: &'static str, value: f64, most: f64) -> Result<f64, BottleProblem> {
    if (0.0..=most).contains(&value) {
        Ok(value)
    } else {
        Err(BottleProblem::Outside { key, value, most })
    }
}

fn known(written: &written::Bottle) -> Result<Known, BottleProblem> {
    match (&written.profile_mm, &written.poured, &written.outline_mm) {
        (Some(_), Some(_), _) => Err(BottleProblem::ProfileAndPoured),
        (Some(_), _, Some(_)) | (_, Some(_), Some(_)) => Err(BottleProblem::OutlineAndOther),
        (None, None, Some(points)) => outline(points),
        (Some(points), None, None) => Ok(Known::Bore(Profile::from_diameters_mm(points)?)),
        (None, Some(readings), None) => {
            check_readings(readings, written.height_mm)?;
            let reading =
                |&[grams, height_mm]: &[f64; 2]| (Mass::from_g(grams), Length::from_mm(height_mm));
            Ok(Known::Poured(readings.iter().map(reading).collect()))
        }
        (None, None, None) => Ok(Known::Dimensions),
    }
}

/// Outer diameters from the table up: the rules of a bore hold for them too.
fn outline(points: &[[f64; 2]]) -> Result<Known, BottleProblem> {
    if points.len() < FEWEST_OUTLINE {
        return Err(BottleProblem::OutlineFew {
            points: points.len(),
        });
    }
    Profile::from_diameters_mm(points).map_err(BottleProblem::Outline)?;
    let point = |&[height_mm, diameter_mm]: &[f64; 2]| {
        (Length::from_mm(height_mm), Length::from_mm(diameter_mm))
    };
    Ok(Known::Outline(points.iter().map(point).collect()))
}

/// Refuses readings that do not rise or go past the mouth, in the numbers that were written.
fn check_readings(readings: &[[f64; 2]], height_mm: Option<f64>) -> Result<(), BottleProblem> {
    let mut before = [0.0, 0.0];
    for (index, &reading) in readings.iter().enumerate() {
        let ([grams, level_mm], number) = (reading, index + 1);
        if !(grams > before[0] && level_mm > before[1]) {
            return Err(BottleProblem::ReadingOrder {
                number,
                reading,
                before,
            });
        }
        if let Some(height_mm) = height_mm
            && level_mm > height_mm
        {
            return Err(BottleProblem::ReadingTooHigh {
                number,
                level_mm,
                height_mm,
            });
        }
        before = reading;
    }
    Ok(())
}

fn material(text: &str) -> Result<Material, BottleProblem> {
    match text {
        "glass" => Ok(Material::Glass),
        "plastic" => Ok(Material::Plastic),
        "ceramic" => Ok(Material::Ceramic),
        "metal" => Ok(Material::Metal),
        other => Err(BottleProblem::Material {
            material: other.to_owned(),
            nearest: DidYouMean::of(other, MATERIALS.into_iter()),
        }),
    }
}

fn measured_to(written: &written::Bottle) -> Result<MeasuredTo, BottleProblem> {
    let stated = written.measured_to.unwrap_or_default();
    Ok(MeasuredTo {
        bore: Length::from_mm(inside("measured_to bore_mm", stated.bore_mm, 20.0)?),
        length: Length::from_mm(inside("measured_to length_mm", stated.length_mm, 100.0)?),
        capacity_share: inside("measured_to capacity_pct", stated.capacity_pct, 10.0)? / 100.0,
        wall: Length::from_mm(inside("measured_to wall_mm", stated.wall_mm, 10.0)?),
        outline: Length::from_mm(inside("measured_to outline_mm", stated.outline_mm, 20.0)?),
        outline_share: inside("measured_to outline_pct", stated.outline_pct, 20.0)? / 100.0,
    })
}
