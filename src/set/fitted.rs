//! Bottles fitted to what was heard from them.
//!
//! A pitch belongs to the room and the lips of the file that it stands in; those of a shelf, which has neither, are
//! given by whoever opens it.

use rayon::prelude::*;

use super::{HeardPitch, Kind};
use crate::fit::air::{CalibrateError, Calibrated, Heard, calibrated};
use crate::fit::wall::{CalibrateStruckError, tapped_wall};
use crate::physics::conditions::Conditions;
use crate::physics::pressed::{HeardPressed, PressedError, PressedFit};
use crate::physics::wall_fits::WallFits;
use crate::sounding::{Striking, Way, struck_spec};
use crate::units::Temperature;

/// Why a bottle cannot be fitted to what was heard from it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Blown.
    #[error(transparent)]
    Air(#[from] CalibrateError),
    /// Tapped.
    #[error(transparent)]
    Tapped(#[from] CalibrateStruckError),
    /// Tapped under pressure.
    #[error(transparent)]
    Pressed(#[from] PressedError),
}

impl FitError {
    /// It is the wall that cannot be fitted, not the air.
    #[must_use]
    pub fn is_of_wall(&self) -> bool {
        !matches!(self, Self::Air(_))
    }
}

/// Fits every kind to what was heard of it in `room`: its air when it was blown, its wall when it was struck.
///
/// # Errors
/// The name of the first bottle that cannot be fitted, and why not.
pub(super) fn fit(kinds: &mut [Kind], room: &Conditions) -> Result<(), (String, FitError)> {
    let fit_one = |kind: &mut Kind| {
        let fitted = fit_kind(kind, room);
        fitted.map_err(|error| (kind.name.clone(), error))
    };
    // All are tried, so that it is always the first that is named.
    let tried: Vec<_> = kinds.par_iter_mut().map(fit_one).collect();
    tried.into_iter().collect()
}

fn fit_kind(kind: &mut Kind, room: &Conditions) -> Result<(), FitError> {
    let blown = heard(kind, Way::Blown);
    if !blown.is_empty() {
        let Calibrated { bottle, fit } = calibrated(&kind.bottle, &blown, room)?;
        (kind.bottle, kind.air_fit) = (bottle, Some(fit));
    }
    kind.fits = fitted_wall(kind, room)?;
    Ok(())
}

/// Taps are taken to be with wood halfway up the body, whatever strikes later: another mallet may make another partial
/// the strongest, and the fit would turn the wrong one.
fn fitted_wall(kind: &Kind, room: &Conditions) -> Result<WallFits, FitError> {
    let striking = &Striking::default();
    let mut fits = kind.fits.clone();
    let tapped = heard(kind, Way::Struck);
    if !tapped.is_empty() {
        let spec = struck_spec(room, striking, &WallFits::default());
        fits.tapped = Some(tapped_wall(&kind.bottle, &tapped, spec)?);
    }
    let under_pressure = kind.heard.iter().filter(|h| h.way == Way::Pressurised);
    let pressed: Vec<HeardPressed> = under_pressure
        .map(|h| HeardPressed {
            gauge: h.gauge,
            fill: h.fill,
            frequency: h.frequency,
        })
        .collect();
    if !pressed.is_empty() {
        let spec = struck_spec(room, striking, &fits);
        fits.pressed = Some(PressedFit::new(&kind.bottle, &pressed, spec)?);
    }
    Ok(fits)
}

/// The pitches of a bottle that were heard one way: struck ones are the wall's, not the air's.
fn heard(kind: &Kind, way: Way) -> Vec<Heard> {
    let of_it = kind.heard.iter().filter(|h| h.way == way);
    let heard = |h: &HeardPitch| Heard {
        fill: h.fill,
        frequency: h.frequency,
        temperature: h.temp_c.map(Temperature::from_c),
    };
    of_it.map(heard).collect()
}
