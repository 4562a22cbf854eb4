//! Bottles fitted to what was heard from them, the same way for every command.
//!
//! A pitch belongs to the room and the lips of the file that it stands in; those of a shelf, which has
//! neither, are the ones asked for. Options over a set change what is predicted, not what was heard.

use std::collections::BTreeMap;
use std::path::Path;

use rayon::prelude::*;
use serde::Serialize;

use super::Failure;
use super::predict::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::plan::calibrate::{CalibrateError, Calibrated, Heard, calibrated};
use crate::preset::{Kind, Preset, Set, Way};
use crate::units::Temperature;

/// What was fitted, as JSON.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Calibration {
    heard: usize,
    mouth_mm: f64,
    volume_pct: f64,
    residual_cents: f64,
    outliers: Vec<Outlier>,
    #[serde(skip)]
    struck: usize,
    #[serde(skip)]
    volume_fitted: bool,
}

#[derive(Clone, Debug, Serialize)]
struct Outlier {
    fill_ml: f64,
    hz: f64,
}

/// What was fitted, by the name of the bottle.
pub(super) type Calibrations = BTreeMap<String, Calibration>;

/// Fits the bottles of a set to what its file says was heard.
pub(super) fn set(set: &mut Set, path: &Path) -> Result<Calibrations, Failure> {
    let own = set.conditions.clone();
    kinds(&mut set.kinds, &own, path)
}

/// Fits the bottles of a file; `asked` is the room of a shelf.
pub(super) fn preset(
    preset: &mut Preset,
    asked: &Conditions,
    path: &Path,
) -> Result<Calibrations, Failure> {
    match preset {
        Preset::Set(given) => set(given, path),
        Preset::Shelf(shelf) => kinds(&mut shelf.kinds, asked, path),
    }
}

fn kinds(kinds: &mut [Kind], room: &Conditions, path: &Path) -> Result<Calibrations, Failure> {
    let fit = |kind: &Kind| -> Option<Result<Calibrated, CalibrateError>> {
        let heard = blown(kind);
        (!heard.is_empty()).then(|| calibrated(&kind.bottle, &heard, room))
    };
    let fits: Vec<_> = kinds.par_iter().map(fit).collect();
    let mut calibrations = Calibrations::new();
    for (kind, found) in kinds.iter_mut().zip(fits) {
        let Some(found) = found else { continue };
        let found = found.map_err(|error| {
            let what = format!(
                "fit {:?} of {} to what was heard",
                kind.name,
                path.display()
            );
            Failure::bad(what, error)
                .or_try("checking fill_ml and hz of that pitch, or leaving it out of heard")
        })?;
        calibrations.insert(kind.name.clone(), Calibration::new(kind, &found));
        kind.bottle = found.bottle;
    }
    Ok(calibrations)
}

/// The blown pitches of a bottle: struck ones are the wall's, not the air's.
fn blown(kind: &Kind) -> Vec<Heard> {
    let blown = kind.heard.iter().filter(|h| h.way == Way::Blown);
    let heard = |h: &crate::preset::HeardPitch| Heard {
        fill: h.fill,
        frequency: h.frequency,
        temperature: h.temp_c.map(Temperature::from_c),
    };
    blown.map(heard).collect()
}

impl Calibration {
    fn new(kind: &Kind, found: &Calibrated) -> Self {
        let fit = &found.fit;
        let outlier = |h: &Heard| Outlier {
            fill_ml: rounded(h.fill.ml(), 3),
            hz: rounded(h.frequency.hz(), 3),
        };
        Self {
            heard: fit.heard,
            mouth_mm: rounded(fit.mouth.mm(), 2),
            volume_pct: rounded(100.0 * fit.volume_share, 2),
            residual_cents: rounded(fit.residual.cents(), 1),
            outliers: fit.outliers.iter().map(outlier).collect(),
            struck: kind.heard.iter().filter(|h| h.way == Way::Struck).count(),
            volume_fitted: fit.volume_fitted,
        }
    }

    /// One line, and one for each pitch that was left out.
    pub(super) fn text(&self, name: &str) -> String {
        let pitches = if self.heard == 1 { "pitch" } else { "pitches" };
        let volume = if self.volume_fitted || self.volume_pct != 0.0 {
            format!(", volume {} %", signed(self.volume_pct, 1))
        } else {
            String::new()
        };
        let mut out = format!(
            "{name}: fitted to {} heard {pitches}: mouth {} mm{volume}, residual {:.0} cents\n",
            self.heard,
            signed(self.mouth_mm, 1),
            self.residual_cents
        );
        for outlier in &self.outliers {
            out += &format!(
                "    left out: {} Hz at {} ml, which the others contradict; hear it again\n",
                outlier.hz, outlier.fill_ml
            );
        }
        if self.struck > 0 {
            out += &format!(
                "    {} struck not counted: it tells of the wall, not of the air\n",
                self.struck
            );
        }
        out
    }
}
