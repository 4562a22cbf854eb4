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
use crate::physics::pressed::{HeardPressed, PressedFit};
use crate::physics::way::{Striking, WallFits, struck_spec};
use crate::plan::calibrate::{CalibrateError, Calibrated, Heard, calibrated};
use crate::plan::calibrate_struck::tapped_wall;
use crate::preset::{Kind, Pour, Preset, Set, Way};
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

/// Fits the bottles of a set to what its file says was heard: the air of all, the walls of those that it strikes.
pub(super) fn set(set: &mut Set, path: &Path) -> Result<Calibrations, Failure> {
    let own = set.conditions.clone();
    let fitted = kinds(&mut set.kinds, &own, path)?;
    let struck = |index| {
        let is_it = |p: &Pour| p.kind == index && p.way.is_struck();
        set.pours.iter().any(is_it)
    };
    let which: Vec<bool> = (0..set.kinds.len()).map(struck).collect();
    walls(&mut set.kinds, &which, &own, path)?;
    Ok(fitted)
}

/// Fits the walls of every bottle of a file, whether it strikes them or not.
pub(super) fn all_walls(
    preset: &mut Preset,
    asked: &Conditions,
    path: &Path,
) -> Result<(), Failure> {
    let (kinds, own) = match preset {
        Preset::Set(set) => (&mut set.kinds, set.conditions.clone()),
        Preset::Shelf(shelf) => (&mut shelf.kinds, asked.clone()),
    };
    let which = vec![true; kinds.len()];
    walls(kinds, &which, &own, path)
}

/// Fits the walls of those of `kinds` that `which` says to what was tapped, in the liquid of `room`.
fn walls(
    kinds: &mut [Kind],
    which: &[bool],
    room: &Conditions,
    path: &Path,
) -> Result<(), Failure> {
    let fit = |(kind, wanted): (&mut Kind, &bool)| -> Result<(), Failure> {
        if !wanted {
            return Ok(());
        }
        let fail = |error: String| {
            let what = format!(
                "fit the wall of {:?} of {} to what was heard",
                kind.name,
                path.display()
            );
            Failure::bad(what, error).or_try(
                "checking fill_ml, gauge_bar and hz of that pitch, or leaving it out of heard",
            )
        };
        let fits = fitted_walls(kind, room).map_err(fail)?;
        kind.fits = fits;
        Ok(())
    };
    kinds.par_iter_mut().zip(which).try_for_each(fit)
}

/// Taps are taken to be with wood halfway up the body, whatever strikes later: another mallet may make another partial
/// the strongest, and the fit would turn the wrong one.
fn fitted_walls(kind: &Kind, room: &Conditions) -> Result<WallFits, String> {
    let striking = &Striking::default();
    let mut fits = kind.fits.clone();
    let tapped = heard(kind, Way::Struck);
    if !tapped.is_empty() {
        let spec = struck_spec(room, striking, &WallFits::default());
        let fit = tapped_wall(&kind.bottle, &tapped, spec).map_err(|error| error.to_string())?;
        fits.tapped = Some(fit);
    }
    let pressed: Vec<HeardPressed> = kind
        .heard
        .iter()
        .filter(|h| h.way == Way::Pressurised)
        .map(|h| HeardPressed {
            gauge: h.gauge,
            fill: h.fill,
            frequency: h.frequency,
        })
        .collect();
    if !pressed.is_empty() {
        let spec = struck_spec(room, striking, &fits);
        let fit =
            PressedFit::new(&kind.bottle, &pressed, spec).map_err(|error| error.to_string())?;
        fits.pressed = Some(fit);
    }
    Ok(fits)
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
        let heard = heard(kind, Way::Blown);
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

/// The pitches of a bottle that were heard one way: struck ones are the wall's, not the air's.
fn heard(kind: &Kind, way: Way) -> Vec<Heard> {
    let of_it = kind.heard.iter().filter(|h| h.way == way);
    let heard = |h: &crate::preset::HeardPitch| Heard {
        fill: h.fill,
        frequency: h.frequency,
        temperature: h.temp_c.map(Temperature::from_c),
    };
    of_it.map(heard).collect()
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
            struck: kind.heard.iter().filter(|h| h.way.is_struck()).count(),
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
