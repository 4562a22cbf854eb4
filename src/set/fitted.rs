//! Bottles fitted to what was heard from them.
//!
//! A pitch belongs to the room and the lips of the file that it stands in, at the temperature that stands beside it if one
//! does; the room and the lips of a shelf, which has neither, are given by whoever opens it. A file that moves to a room of
//! another warmth therefore writes the warmth of the old one beside every pitch that has none: [`super::edit`] does.

use rayon::prelude::*;

use super::{HeardPitch, Kind};
use crate::fit::air::{CalibrateError, Calibrated, Heard, calibrated};
use crate::fit::wall::{CalibrateStruckError, HeardTap, tapped_wall};
use crate::physics::conditions::Conditions;
use crate::physics::pressed::{HeardPressed, PressedError, PressedFit};
use crate::physics::wall_fits::WallFits;
use crate::sounding::{Striking, Way, struck_spec};

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
    let blown = blown(kind);
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
    let of_way = |way| kind.heard.iter().filter(move |h| h.way == way);
    let density_kg_m3 = |h: &HeardPitch| {
        let mut then = room.clone();
        then.room.temperature = h.temperature().unwrap_or(room.temperature());
        struck_spec(&then, striking, &WallFits::default()).density_kg_m3
    };
    let tapped: Vec<HeardTap> = of_way(Way::Struck)
        .map(|h| HeardTap {
            fill: h.fill,
            frequency: h.frequency,
            density_kg_m3: density_kg_m3(h),
        })
        .collect();
    if !tapped.is_empty() {
        let spec = struck_spec(room, striking, &WallFits::default());
        fits.tapped = Some(tapped_wall(&kind.bottle, &tapped, spec)?);
    }
    let pressed: Vec<HeardPressed> = of_way(Way::Pressurised)
        .map(|h| HeardPressed {
            gauge: h.gauge,
            fill: h.fill,
            density_kg_m3: density_kg_m3(h),
            frequency: h.frequency,
        })
        .collect();
    if !pressed.is_empty() {
        let spec = struck_spec(room, striking, &fits);
        fits.pressed = Some(PressedFit::new(&kind.bottle, &pressed, spec)?);
    }
    Ok(fits)
}

/// The pitches of a bottle that are its air's: struck ones are the wall's.
fn blown(kind: &Kind) -> Vec<Heard> {
    let of_it = kind.heard.iter().filter(|h| h.way == Way::Blown);
    let heard = |h: &HeardPitch| Heard {
        fill: h.fill,
        frequency: h.frequency,
        temperature: h.temperature(),
    };
    of_it.map(heard).collect()
}
