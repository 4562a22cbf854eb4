//! How sure a note is, whatever the way, and what would make it surer.

use crate::physics::pressed::PressedFit;
use crate::physics::uncertainty::Uncertainty;
use crate::physics::wall_fits::{BOTH_TAPPED_CENTS, Tapped};
use crate::units::Interval;

/// What a tap near every fill leaves, cents: twice the 16 rms of a bottle tuned on every second fill.
const OFTEN_TAPPED_CENTS: f64 = 35.0;
/// What two heard pressures leave, cents: what the fit gives for a 2 l bottle between 0.8 and 2 bar.
const BOTH_PRESSED_CENTS: f64 = 35.0;

/// A 95 % interval around a pitch, and what it comes from most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubted {
    /// Half the width of the interval.
    pub plus_minus: Interval,
    /// What is least sure.
    pub dominated_by: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// Nobody measured it.
    pub guessed: bool,
    /// What the interval would be then.
    pub without_it: Interval,
}

impl Doubted {
    /// Of a column of air.
    #[must_use]
    pub fn of(uncertainty: &Uncertainty) -> Self {
        let dominant = uncertainty.dominant();
        Self {
            plus_minus: uncertainty.plus_minus,
            dominated_by: dominant.what,
            remedy: dominant.remedy,
            guessed: dominant.guessed,
            without_it: uncertainty.without_dominant(),
        }
    }
}

/// Of a struck bottle: by what was tapped, if anything was.
pub(super) fn struck_doubt(plus_minus: Interval, tapped: Option<&Tapped>) -> Doubted {
    let (dominated_by, remedy, guessed, then_cents) = match tapped {
        None => (
            "the wall, never tapped",
            "tap it empty and half full, and give both pitches in heard with way = \"struck\"",
            true,
            BOTH_TAPPED_CENTS,
        ),
        Some(tapped) if !tapped.both_ends => (
            "the wall, tapped at one fill only",
            "tap it half a bottle away from that as well, and add the pitch to heard",
            false,
            BOTH_TAPPED_CENTS,
        ),
        Some(_) => (
            "the wall between the taps",
            "tap it near this fill as well, and add the pitch to heard",
            false,
            OFTEN_TAPPED_CENTS,
        ),
    };
    Doubted {
        plus_minus,
        dominated_by,
        remedy,
        guessed,
        without_it: Interval::from_cents(then_cents).min(plus_minus),
    }
}

/// Of a pressurised one: by what was heard at pressures, if anything was.
pub(super) fn pressed_doubt(plus_minus: Interval, fit: Option<&PressedFit>) -> Doubted {
    let (dominated_by, remedy, guessed) = match fit.map_or(0, PressedFit::heard) {
        0 => (
            "the wall's tension, never heard",
            "hear it at two pressures a bar apart, and give both in heard with way = \"pressurised\" and gauge_bar",
            true,
        ),
        1 => (
            "the wall's tension, heard at one pressure only",
            "hear it at a second pressure a bar away, and add the pitch to heard",
            false,
        ),
        _ => (
            "the gauge, and what was heard",
            "hear it at this pressure as well, by a finer gauge",
            false,
        ),
    };
    Doubted {
        plus_minus,
        dominated_by,
        remedy,
        guessed,
        without_it: Interval::from_cents(BOTH_PRESSED_CENTS).min(plus_minus),
    }
}
