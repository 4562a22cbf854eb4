//! How sure a predicted pitch is: every doubt about a bottle, carried through the line model.

use super::bottle::Bottle;
use crate::units::{Frequency, Interval};

/// What the line model itself may be off, cents (95 %): the reach that it shows against finite elements.
pub const MODEL_CENTS: f64 = 5.0;
/// How well a room's temperature is known, K (95 %): common practice, no source.
pub const ROOM_KELVIN: f64 = 1.0;

/// What one doubt does to the pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// What is uncertain, as it is called in a file.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// How far the pitch moves, up or down (95 %).
    pub plus_minus: Interval,
    /// Nobody measured it.
    pub guessed: bool,
}

/// A 95 % interval around a predicted pitch, and where it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertainty {
    /// Half the width of the interval.
    pub plus_minus: Interval,
    /// Its parts, the largest first; independent of each other, so that their squares add.
    pub shares: Vec<Share>,
}

impl Uncertainty {
    /// The uncertainty of `predicted`, the pitch of `bottle`, where `pitch` predicts that of any other
    /// bottle under the same conditions, and a kelvin moves it by `per_kelvin`.
    #[must_use]
    pub fn of(
        bottle: &Bottle,
        predicted: Frequency,
        per_kelvin: Interval,
        pitch: impl Fn(&Bottle) -> Option<Frequency>,
    ) -> Self {
        let mut shares: Vec<Share> = bottle
            .doubts()
            .iter()
            .map(|doubt| {
                let moved = doubt
                    .ends
                    .iter()
                    .filter_map(&pitch)
                    .map(|f| f.interval_above(predicted).cents());
                Share {
                    what: doubt.what,
                    remedy: doubt.remedy,
                    plus_minus: Interval::from_cents(doubt.spread_cents(moved)),
                    guessed: doubt.guessed,
                }
            })
            .collect();
        shares.push(Share {
            what: "temperature of the room",
            remedy: "read a thermometer beside the bottles",
            plus_minus: Interval::from_cents(per_kelvin.cents().abs() * ROOM_KELVIN),
            guessed: false,
        });
        shares.push(Share {
            what: "the model itself",
            remedy: if bottle.is_fitted() {
                "nothing: so much the model itself may be off"
            } else {
                "blow the bottle and say what was heard"
            },
            plus_minus: Interval::from_cents(MODEL_CENTS),
            guessed: false,
        });
        shares.sort_by(|a, b| b.plus_minus.cents().total_cmp(&a.plus_minus.cents()));
        let squares: f64 = shares.iter().map(|s| s.plus_minus.cents().powi(2)).sum();
        Self {
            plus_minus: Interval::from_cents(squares.sqrt()),
            shares,
        }
    }

    /// The doubt that matters most.
    #[must_use]
    pub fn dominant(&self) -> &Share {
        &self.shares[0]
    }

    /// What would be left of the interval if the doubt that matters most were gone.
    #[must_use]
    pub fn without_dominant(&self) -> Interval {
        let rest: f64 = self.shares[1..]
            .iter()
            .map(|s| s.plus_minus.cents().powi(2))
            .sum();
        Interval::from_cents(rest.sqrt())
    }
}
