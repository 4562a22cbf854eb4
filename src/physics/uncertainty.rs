//! How sure a predicted pitch is: what the likely bottles, the room and the model leave open.
//!
//! ```
//! use ullage::physics::prediction::Prediction;
//! let quay = ullage::set::open("presets/quay/set.toml")?;
//! let mut dry = quay.conditions.clone();
//! dry.room.humidity = 0.0;
//! let g3 = &quay.pours[2];
//! let doubt = Prediction::new(&quay.kind_of(g3).bottle, g3.fill.unwrap_or_default(), &dry)?.uncertainty;
//! println!("±{:.0} cents, most of it {}: {}", doubt.plus_minus.cents(), doubt.dominant().what, doubt.dominant().remedy);
//! // Sound is faster as √T, and the room is known to 1 K: 3 cents. 0.1 cents: the friction at the wall grows as well.
//! let room = doubt.shares.iter().find(|share| share.what.starts_with("temperature")).ok_or("no room")?;
//! let kelvin = quay.conditions.temperature().k();
//! assert!((room.plus_minus.cents() - 1200.0 * ((kelvin + 1.0) / kelvin).sqrt().log2()).abs() < 0.1);
//! // Independent doubts add by their squares: what is left without the largest is the other side of a right triangle.
//! let whole = doubt.without_dominant().cents().hypot(doubt.dominant().plus_minus.cents());
//! assert!((whole - doubt.plus_minus.cents()).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::bottle::{Bottle, Known};
use crate::units::{Interval, Volume};

/// What the line model itself may be off, cents (95 %): the reach that it shows against finite elements.
pub const MODEL_CENTS: f64 = 5.0;
/// How well a room's temperature is known, K (95 %): common practice, no source.
pub const ROOM_KELVIN: f64 = 1.0;
/// How far the next blown note of a bottle is from the last, cents (95 %): what a bottle that rests on notes foretells is the
/// next one. Two standard deviations of 15, within what published repeats show (HyperPhysics, Georgia State University).
pub const NEXT_BLOW_CENTS: f64 = 30.0;
/// A share smaller than this goes into what is left, cents.
const LEAST_CENTS: f64 = 1.0;

/// What one doubt does to the pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// What is uncertain, as it is called in a file.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// How far the pitch moves, up or down (95 %).
    pub plus_minus: Interval,
    /// Whether anything can be done about it.
    pub can_be_helped: bool,
    /// Nobody measured it.
    pub guessed: bool,
    /// How to be rid of it, if measuring does that.
    pub step: Option<Step>,
}

/// Something to measure that narrows the interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// How long it takes, minutes.
    pub minutes: f64,
    /// Half the width of the interval then, what gains more for its time being measured before.
    pub then: Interval,
    /// How far the next blow may be from a note that is blown for it.
    brings: Interval,
}

/// The few things to measure that narrow the interval most together.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// What to do, in turn.
    pub steps: Vec<&'static str>,
    /// How long all of it takes, minutes.
    pub minutes: f64,
    /// Half the width of the interval then.
    pub then: Interval,
}

/// A 95 % interval around a predicted pitch, and where it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertainty {
    /// Half the width of the interval.
    pub plus_minus: Interval,
    /// The lowest that is likely, against the predicted pitch: 2.5 % lie below.
    pub low: Interval,
    /// The highest.
    pub high: Interval,
    /// What each measurement would take from it, made after those that take more a minute, and what is then left: the largest
    /// first. Their squares add.
    pub shares: Vec<Share>,
    /// What a picture, the brim and a note would do together, where at least two of them are missing and one is the note.
    pub together: Option<Together>,
}

/// Half the width of the interval of a pitch at a fill whose bottle is not exactly known, in a room that is not, where a kelvin
/// moves it by `per_kelvin`.
#[must_use]
pub fn plus_minus(bottle: &Bottle, fill: Volume, per_kelvin: Interval) -> Interval {
    let shape = bottle.doubts().plus_minus(fill).cents();
    Interval::from_cents(shape.hypot(other_cents(bottle, per_kelvin)))
}

/// What is not the shape's, cents (95 %).
fn other_cents(bottle: &Bottle, per_kelvin: Interval) -> f64 {
    let blow = if bottle.is_fitted() {
        NEXT_BLOW_CENTS
    } else {
        0.0
    };
    MODEL_CENTS.hypot(room_cents(per_kelvin)).hypot(blow)
}

/// What a room that is not exactly known does, cents (95 %).
fn room_cents(per_kelvin: Interval) -> f64 {
    per_kelvin.cents().abs() * ROOM_KELVIN
}

impl Uncertainty {
    /// The uncertainty of the pitch of `bottle` at a fill, where a kelvin moves it by `per_kelvin`.
    #[must_use]
    pub fn of(bottle: &Bottle, fill: Volume, per_kelvin: Interval) -> Self {
        let doubts = bottle.doubts();
        let shape = doubts.plus_minus(fill).cents();
        let next_blow = if bottle.is_fitted() {
            Interval::default()
        } else {
            Interval::from_cents(NEXT_BLOW_CENTS)
        };
        let other = other_cents(bottle, per_kelvin);
        let (mut left, mut brought, mut now) = (1.0, 0.0, shape.hypot(other));
        let mut shares = Vec::new();
        for relief in doubts.reliefs(fill, next_blow) {
            let brings = if relief.blown { next_blow.cents() } else { 0.0 };
            let rest: f64 = left - relief.variance_share;
            let then = (shape * rest.max(0.0).sqrt())
                .hypot(other)
                .hypot(brings.max(brought));
            if now - then < LEAST_CENTS {
                continue;
            }
            (left, brought, now) = (rest, brings.max(brought), then);
            shares.push(Share {
                what: relief.what,
                remedy: relief.remedy,
                plus_minus: Interval::from_cents(shape * relief.variance_share.sqrt()),
                can_be_helped: true,
                guessed: relief.guessed,
                step: Some(Step {
                    minutes: relief.minutes,
                    then: Interval::from_cents(then),
                    brings: Interval::from_cents(brings),
                }),
            });
        }
        let (what, remedy) = match bottle.described().known {
            Known::Bore(_) => ("profile_mm", "measure the bore more closely"),
            Known::Poured(_) | Known::Outline(_) | Known::Dimensions => (
                "the form between what was measured",
                "blow it at this fill, or give the whole bore as profile_mm",
            ),
        };
        shares.push(Share {
            what,
            remedy,
            plus_minus: Interval::from_cents(shape * left.max(0.0).sqrt()),
            can_be_helped: true,
            guessed: false,
            step: None,
        });
        shares.push(Share {
            what: "temperature of the room",
            remedy: "read a thermometer beside the bottles",
            plus_minus: Interval::from_cents(room_cents(per_kelvin)),
            can_be_helped: true,
            guessed: false,
            step: None,
        });
        if bottle.is_fitted() {
            shares.push(Share {
                what: "the next blow",
                remedy: "nothing helps: a blown pitch repeats no better",
                plus_minus: Interval::from_cents(NEXT_BLOW_CENTS),
                can_be_helped: false,
                guessed: false,
                step: None,
            });
        }
        shares.push(Share {
            what: "the model itself",
            remedy: if bottle.is_fitted() {
                "nothing helps: the model itself may be off by so much"
            } else {
                "blow the bottle and say what was heard"
            },
            plus_minus: Interval::from_cents(MODEL_CENTS),
            can_be_helped: !bottle.is_fitted(),
            guessed: false,
            step: None,
        });
        shares.sort_by(|a, b| b.plus_minus.cents().total_cmp(&a.plus_minus.cents()));
        let (low, high) = doubts.range(fill);
        let together = doubts.together(fill).map(|few| Together {
            steps: few.steps,
            minutes: few.minutes,
            then: Interval::from_cents(
                (shape * (1.0 - few.variance_share).max(0.0).sqrt())
                    .hypot(other)
                    .hypot(next_blow.cents()),
            ),
        });
        Self {
            plus_minus: Interval::from_cents(shape.hypot(other)),
            low: Interval::from_cents(-low.cents().min(0.0).abs().hypot(other)),
            high: Interval::from_cents(high.cents().max(0.0).hypot(other)),
            shares,
            together,
        }
    }

    /// The doubt that matters most of those that somebody can do something about.
    #[must_use]
    pub fn dominant(&self) -> &Share {
        &self.shares[self.dominant_place()]
    }

    fn dominant_place(&self) -> usize {
        let helped = self.shares.iter().position(|share| share.can_be_helped);
        helped.unwrap_or_default()
    }

    /// What to measure, first what gains most for its time.
    #[must_use]
    pub fn next(&self) -> Vec<&Share> {
        let mut next: Vec<(&Share, Step)> = (self.shares.iter())
            .filter_map(|share| Some((share, share.step?)))
            .collect();
        // Each narrows what those before it left.
        next.sort_by(|(_, a), (_, b)| b.then.cents().total_cmp(&a.then.cents()));
        next.into_iter().map(|(share, _)| share).collect()
    }

    /// What would be left of the interval if the doubt that matters most were gone. A note that is blown for it brings with it how
    /// well such notes repeat.
    #[must_use]
    pub fn without_dominant(&self) -> Interval {
        let place = self.dominant_place();
        let others = self.shares.iter().enumerate().filter(|(k, _)| *k != place);
        let rest: f64 = others.map(|(_, s)| s.plus_minus.cents().powi(2)).sum();
        let brings = self.shares[place]
            .step
            .map_or(0.0, |step| step.brings.cents());
        Interval::from_cents(rest.sqrt().hypot(brings)).min(self.plus_minus)
    }
}
