//! What a class measured beside what was predicted: residuals, the schoolbook formula, and what a fit changes.
//!
//! ```
//! use ullage::file::class_data::read;
//! use ullage::report::measured::Comparison;
//! use ullage::set::read_any;
//!
//! let shelf = "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n";
//! let measured = read("bottle,fill_ml,hz\njar,0,150\njar,200,190\n")?;
//! let comparison = Comparison::new(shelf, &read_any(shelf)?, &measured)?;
//! assert_eq!(comparison.points.len(), 2);
//! // Fitting to the measurements brings the prediction nearer to them.
//! let jar = &comparison.bottles[0];
//! assert!(jar.fitted_rms_cents.is_some_and(|fitted| fitted <= jar.rms_cents));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::file::class_data::Measured;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, Prediction, PredictionError};
use crate::set::edit::{EditError, SetText};
use crate::set::{HeardPitch, Kind, ShelfOrSet, Way};
use crate::units::{Frequency, Pressure, Volume};

/// Why measurements cannot be compared.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ComparisonError {
    /// A bottle that the file does not have.
    #[error("line {line} measures {bottle:?}, and there is no bottle of that name; there are {}", known.join(", "))]
    NoSuchBottle {
        /// The line, counted from 1.
        line: u64,
        /// As written.
        bottle: String,
        /// The bottles that are there.
        known: Vec<String>,
    },
    /// Nothing can be predicted there.
    #[error("line {line}, {bottle:?}: {source}")]
    Prediction {
        /// The line, counted from 1.
        line: u64,
        /// The bottle.
        bottle: String,
        /// Why not.
        source: PredictionError,
    },
}

/// One measurement beside what was predicted.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The bottle's name.
    pub bottle: String,
    /// Liquid in it.
    pub fill: Volume,
    /// As measured.
    pub measured: Frequency,
    /// As predicted.
    pub predicted: Frequency,
    /// How sure that is, cents (95 %).
    pub plus_minus_cents: f64,
    /// By the schoolbook formula.
    pub schoolbook: Frequency,
    /// After the bottle has been fitted to what was measured, if it can be.
    pub fitted: Option<Frequency>,
}

impl Point {
    /// Measured above predicted, cents.
    #[must_use]
    pub fn off_cents(&self) -> f64 {
        self.measured.interval_above(self.predicted).cents()
    }

    /// Measured above the schoolbook formula, cents.
    #[must_use]
    pub fn off_schoolbook_cents(&self) -> f64 {
        self.measured.interval_above(self.schoolbook).cents()
    }

    /// Whether the measurement lies where the prediction says it does, 19 times in 20.
    #[must_use]
    pub fn is_inside(&self) -> bool {
        self.off_cents().abs() <= self.plus_minus_cents
    }
}

/// All that was measured of one bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct OfBottle {
    /// Its name.
    pub name: String,
    /// How often it was measured.
    pub count: usize,
    /// Mean of measured above predicted, cents: what is the same at every filling.
    pub mean_cents: f64,
    /// Root of the mean square of the same.
    pub rms_cents: f64,
    /// The same beside the schoolbook formula.
    pub schoolbook_rms_cents: f64,
    /// The same after fitting, if the bottle can be fitted.
    pub fitted_rms_cents: Option<f64>,
    /// Why it cannot be fitted.
    pub not_fitted: Option<String>,
}

/// Measurements beside predictions.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Comparison {
    /// In the order of the table.
    pub points: Vec<Point>,
    /// Every bottle that was measured, in the order of the table.
    pub bottles: Vec<OfBottle>,
}

impl Comparison {
    /// What was `measured` of the bottles of `preset`, which was read from `source`.
    ///
    /// # Errors
    /// See [`ComparisonError`].
    pub fn new(
        source: &str,
        preset: &ShelfOrSet,
        measured: &[Measured],
    ) -> Result<Self, ComparisonError> {
        let room = match preset {
            ShelfOrSet::Set(set) => set.conditions.clone(),
            ShelfOrSet::Shelf(_) => Conditions::default(),
        };
        let kinds = preset.kinds();
        let mut comparison = Self::default();
        for row in measured {
            let kind = kinds.iter().find(|kind| kind.name == row.bottle);
            let kind = kind.ok_or_else(|| ComparisonError::NoSuchBottle {
                line: row.line,
                bottle: row.bottle.clone(),
                known: kinds.iter().take(20).map(|k| k.name.clone()).collect(),
            })?;
            comparison.points.push(point(kind, row, &room)?);
        }
        for kind in kinds {
            if comparison.points.iter().any(|p| p.bottle == kind.name) {
                let fitted = fitted(source, kind, measured);
                comparison.add(kind, measured, fitted, &room);
            }
        }
        Ok(comparison)
    }

    fn add(
        &mut self,
        kind: &Kind,
        measured: &[Measured],
        fitted: Result<Bottle, EditError>,
        room: &Conditions,
    ) {
        if let Ok(bottle) = &fitted {
            for (point, row) in self.points.iter_mut().zip(measured) {
                if row.bottle == kind.name {
                    point.fitted = pitch(bottle, row, room).ok();
                }
            }
        }
        let own: Vec<&Point> = self
            .points
            .iter()
            .filter(|p| p.bottle == kind.name)
            .collect();
        let rms = |off: &dyn Fn(&Point) -> f64| {
            let squares: f64 = own.iter().map(|p| off(p).powi(2)).sum();
            (squares / own.len() as f64).sqrt()
        };
        let all_fitted = own.iter().all(|p| p.fitted.is_some());
        let off_fitted = |p: &Point| {
            let fitted = p.fitted.unwrap_or(p.predicted);
            p.measured.interval_above(fitted).cents()
        };
        self.bottles.push(OfBottle {
            name: kind.name.clone(),
            count: own.len(),
            mean_cents: own.iter().map(|p| p.off_cents()).sum::<f64>() / own.len() as f64,
            rms_cents: rms(&Point::off_cents),
            schoolbook_rms_cents: rms(&Point::off_schoolbook_cents),
            fitted_rms_cents: all_fitted.then(|| rms(&off_fitted)),
            not_fitted: fitted.err().map(|error| error.to_string()),
        });
    }
}

/// The conditions that a row was measured in.
fn conditions(row: &Measured, room: &Conditions) -> Conditions {
    let mut then = room.clone();
    if let Some(temperature) = row.temperature {
        then.room.temperature = temperature;
    }
    then
}

fn point(kind: &Kind, row: &Measured, room: &Conditions) -> Result<Point, ComparisonError> {
    let not_predicted = |source| ComparisonError::Prediction {
        line: row.line,
        bottle: row.bottle.clone(),
        source,
    };
    let then = conditions(row, room);
    let found = Prediction::new(&kind.bottle, row.fill, &then).map_err(not_predicted)?;
    Ok(Point {
        bottle: row.bottle.clone(),
        fill: row.fill,
        measured: row.frequency,
        predicted: pitch(&kind.bottle, row, room).map_err(not_predicted)?,
        plus_minus_cents: found.uncertainty.plus_minus.cents(),
        schoolbook: found.schoolbook,
        fitted: None,
    })
}

fn pitch(bottle: &Bottle, row: &Measured, room: &Conditions) -> Result<Frequency, PredictionError> {
    let then = conditions(row, room);
    Ok(Blown::new(bottle, &then)?.fundamental(row.fill)?.frequency)
}

/// The bottle as it is when its file has what was measured beside what was heard before.
fn fitted(source: &str, kind: &Kind, measured: &[Measured]) -> Result<Bottle, EditError> {
    let mut text = SetText::parse(source)?;
    for row in measured.iter().filter(|row| row.bottle == kind.name) {
        let heard = HeardPitch {
            fill: row.fill,
            frequency: row.frequency,
            temp_c: row.temperature.map(|t| t.c()),
            way: Way::Blown,
            gauge: Pressure::default(),
        };
        text.push_heard(&kind.name, &heard)?;
    }
    let set = text.finish()?.set;
    let found = set.kinds.into_iter().find(|k| k.name == kind.name);
    Ok(found.map_or_else(|| kind.bottle.clone(), |k| k.bottle))
}
