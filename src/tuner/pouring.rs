//! From a heard pitch to what must be poured into a blown bottle, by its own curve in the room as it is.
//!
//! A bottle that sounds wrong holds the wrong amount, or is not quite the bottle that was described. Either way
//! the curve of the calibrated bottle says how far a millilitre moves it. With the fill unsure, the heard pitch
//! says where on the curve it is; with the fill known, the curve is moved to what was heard. How much the two
//! differ is part of the ±.
//!
//! ```
//! use ullage::physics::conditions::Conditions;
//! use ullage::physics::prediction::Blown;
//! use ullage::tuner::pouring::{Contents, Off, pouring};
//! use ullage::units::{Interval, Volume};
//!
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66",
//! )?;
//! let (bottle, room) = (&shelf.kinds[0].bottle, Conditions::default());
//! let blown = Blown::new(bottle, &room)?;
//! let fill = Volume::from_ml(200.0);
//! // Somebody has poured 5 ml too much.
//! let off = Off {
//!     heard: blown.fundamental(Volume::from_ml(205.0))?.frequency,
//!     plus_minus: Interval::from_cents(0.5),
//!     target: blown.fundamental(fill)?.frequency,
//! };
//! let told = pouring(bottle, &room, Contents { fill, sure: false }, off)?;
//! assert!((told.add.ml() + 5.0).abs() < 0.01, "{told:?}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::fit::air::REPEAT_CENTS;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::liquid::WATER_KG_M3;
use crate::physics::prediction::{Blown, FillError, PredictionError};
use crate::units::{Frequency, Interval, Mass, Volume};

/// How well the slope of a calibrated curve is known, as a share (95 %): the published half litre, calibrated on
/// one pitch, is followed to 13 cents rms over more than an octave.
const SLOPE_SHARE: f64 = 0.05;

/// What is known of the liquid in a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contents {
    /// Liquid in it, as planned or as poured.
    pub fill: Volume,
    /// Weighed or measured: a wrong pitch is then the bottle's, not the pourer's.
    pub sure: bool,
}

/// What was heard and what is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Off {
    /// The pitch heard.
    pub heard: Frequency,
    /// Its 95 % interval, half the width.
    pub plus_minus: Interval,
    /// The pitch wanted, in the room as it is now.
    pub target: Frequency,
}

/// Whether pouring gets it there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reach {
    /// Yes.
    Fine,
    /// Too low a note: even empty it lacks so much air.
    LacksAir(Volume),
    /// Too high a note: it no longer sounds when so full; the highest fill at which it does.
    TooFull(Volume),
    /// A struck bottle sounds so much too low even when it is empty.
    EmptyIsTooLow(Interval),
    /// A struck bottle sounds so much too high even when it is full to the brim.
    BrimfulIsTooHigh(Interval),
}

/// What to pour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pouring {
    /// To add; negative is to take out.
    pub add: Volume,
    /// The same on a scale.
    pub add_mass: Mass,
    /// Half the width of its 95 % interval: the hearing's own, the curve's, and whether fill or bottle is wrong.
    pub plus_minus: Volume,
    /// What another blow of the same bottle may differ by (95 %), as liquid: blow more than once.
    pub repeat: Volume,
    /// What is in it now, by the heard pitch; the fill itself if that is sure.
    pub fill_now: Volume,
    /// Whether that can be done.
    pub reach: Reach,
}

/// What to pour into `bottle` (fitted to what was heard from it before) in the room of `now`.
///
/// # Errors
/// Conditions out of range, or a bottle that does not sound at all.
pub fn pouring(
    bottle: &Bottle,
    now: &Conditions,
    contents: Contents,
    off: Off,
) -> Result<Pouring, PredictionError> {
    let blown = Blown::new(bottle, now)?;
    let by_fill = Cause::of_fill(&blown, off);
    let by_bottle = Cause::of_bottle(&blown, contents.fill, off)?;
    let cause = if contents.sure { None } else { by_fill }.unwrap_or(by_bottle);
    let other = if contents.sure {
        by_fill.unwrap_or(by_bottle)
    } else {
        by_bottle
    };
    let per_ml = blown.per_ml(cause.fill_now)?.cents().abs().max(1e-6);
    let heard_ml = off.plus_minus.cents() / per_ml;
    // Nobody pours more than it holds, or takes out more than there is in it.
    let capacity = bottle.bore().capacity();
    let fill_now = cause.fill_now.max(Volume::default()).min(capacity);
    let fill = (cause.fill_now + cause.add)
        .max(Volume::default())
        .min(capacity);
    let add_ml = (fill - fill_now).ml();
    let apart_ml = 0.5 * (add_ml - other.add.ml());
    let plus_minus_ml = heard_ml.hypot(SLOPE_SHARE * add_ml).hypot(apart_ml);
    let density = now.liquid.density_kg_m3(now.temperature());
    Ok(Pouring {
        add: fill - fill_now,
        add_mass: Mass::from_kg((fill - fill_now).m3() * density.unwrap_or(WATER_KG_M3)),
        plus_minus: Volume::from_ml(plus_minus_ml).min(capacity),
        repeat: Volume::from_ml(REPEAT_CENTS / per_ml).min(capacity),
        fill_now,
        reach: cause.reach,
    })
}

/// One reading of what is wrong.
#[derive(Clone, Copy, Debug)]
struct Cause {
    add: Volume,
    fill_now: Volume,
    reach: Reach,
}

impl Cause {
    /// The bottle is as described and holds another amount; `None` if none gives what was heard.
    fn of_fill(blown: &Blown<'_>, off: Off) -> Option<Self> {
        let fill_now = blown.fill_for(off.heard).ok()?;
        let (fill, reach) = fill_or_lack(blown, off.target).ok()?;
        Some(Self {
            add: fill - fill_now,
            fill_now,
            reach,
        })
    }

    /// The bottle holds what is said, and sounds otherwise than described at every fill by the same interval.
    fn of_bottle(blown: &Blown<'_>, fill_now: Volume, off: Off) -> Result<Self, PredictionError> {
        let said = blown.fundamental(fill_now)?.frequency;
        let moved = said.interval_above(off.heard);
        let (fill, reach) = fill_or_lack(blown, off.target.raised_by(moved))?;
        Ok(Self {
            add: fill - fill_now,
            fill_now,
            reach,
        })
    }
}

/// The fill for `target`; below the empty bottle a negative one, the air that it lacks.
fn fill_or_lack(blown: &Blown<'_>, target: Frequency) -> Result<(Volume, Reach), PredictionError> {
    match blown.fill_for(target) {
        Ok(fill) => Ok((fill, Reach::Fine)),
        Err(FillError::TooLow { .. }) => {
            let lack = lacking_air(blown, target)?;
            Ok((lack * -1.0, Reach::LacksAir(lack)))
        }
        Err(FillError::TooHigh { fill_ml, .. }) => {
            let full = Volume::from_ml(fill_ml);
            Ok((full, Reach::TooFull(full)))
        }
        Err(FillError::Prediction(error)) => Err(error),
        // The enum may grow; what it cannot reach then is told as a bottle that lacks nothing.
        #[allow(unreachable_patterns)]
        Err(_) => Ok((Volume::default(), Reach::Fine)),
    }
}

/// How much more air it would take, by the slope of the empty bottle's curve.
fn lacking_air(blown: &Blown<'_>, target: Frequency) -> Result<Volume, PredictionError> {
    let empty = Volume::default();
    let per_ml = blown.per_ml(empty)?.cents().max(1e-6);
    let lowest = blown.fundamental(empty)?.frequency;
    Ok(Volume::from_ml(
        lowest.interval_above(target).cents() / per_ml,
    ))
}
