//! How sure a note is, whatever the way, and what would make it surer.

use crate::physics::pressed::PressedFit;
use crate::physics::uncertainty::Uncertainty;
use crate::physics::wall_fits::{BOTH_TAPPED_CENTS, Tapped};
use crate::units::Interval;

/// What a tap near every fill leaves, cents: twice the 16 rms of a bottle tuned on every second fill.
const OFTEN_TAPPED_CENTS: f64 = 35.0;
/// What two heard pressures leave, cents: what the fit gives for a 2 l bottle between 0.8 and 2 bar.
const BOTH_PRESSED_CENTS: f64 = 35.0;

/// Both ends of an interval are said where one is so many times as far away as the other: taste.
const LOPSIDED: f64 = 1.5;

/// A 95 % interval around a pitch, and what it comes from most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubted {
    /// How far the pitch may be off either way (95 %).
    pub plus_minus: Interval,
    /// The ends of the interval below and above which 2.5 % lie each, against the pitch: of a bottle that may have a lip which
    /// flares and was not mentioned, the lower is much farther away.
    pub ends: [Interval; 2],
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
            ends: [uncertainty.low, uncertainty.high],
            dominated_by: dominant.what,
            remedy: dominant.remedy,
            guessed: dominant.guessed,
            without_it: uncertainty.without_dominant(),
        }
    }

    /// In whole cents: `±58`, or `−409 +181` where one end is much farther away.
    #[must_use]
    pub fn text(&self) -> String {
        let [low, high] = self.ends.map(|end| end.cents().abs());
        if low.max(high) < LOPSIDED * low.min(high) {
            return format!("±{:.0}", self.plus_minus.cents());
        }
        format!("−{low:.0} +{high:.0}")
    }
}

/// Both ends as far away.
fn even(plus_minus: Interval) -> [Interval; 2] {
    [Interval::from_cents(-plus_minus.cents()), plus_minus]
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
        ends: even(plus_minus),
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
        ends: even(plus_minus),
        dominated_by,
        remedy,
        guessed,
        without_it: Interval::from_cents(BOTH_PRESSED_CENTS).min(plus_minus),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_are_said_where_one_is_much_farther_away() {
        let mut doubted = struck_doubt(Interval::from_cents(57.6), None);
        assert_eq!(doubted.text(), "±58");
        doubted.ends = [-80.0, 60.0].map(Interval::from_cents);
        assert_eq!(doubted.text(), "±58");
        doubted.ends = [-409.2, 180.7].map(Interval::from_cents);
        assert_eq!(doubted.text(), "−409 +181");
    }
}
