//! What whoever blows a bottle does to its pitch, and what the table does that it stands on.
//!
//! One person does much the same to every bottle, so that a set stays in tune with itself, and no plus-minus of a bottle counts it.
//! A bottle that was fitted to what that person heard of it has it already.
//!
//! ```
//! use ullage::physics::player::habits;
//! use ullage::units::Volume;
//! let quay = ullage::set::open("presets/quay/set.toml")?;
//! let cordial = &quay.kinds.iter().find(|kind| kind.name == "cordial").ok_or("no cordial")?.bottle;
//! let habits = habits(cordial, Volume::default(), &quay.conditions)?;
//! // Lips and a face hold more air before the mouth, which is slower; warm air is lighter, and faster.
//! assert!(habits[0].moves.cents() < habits[1].moves.cents() && habits[1].moves.cents() < 0.0);
//! assert!(habits[2].moves.cents() > 0.0);
//! // The face, by hand: 0.1 radii of 9.5 mm are 0.95 mm more of a neck of 62 mm with 0.8 and 0.7 radii at its ends: half of its
//! // share of 76 mm, less what the bore of the neck widens below.
//! let by_hand_cents = -600.0 * (1.0 + 0.95 / 76.0_f64).log2();
//! assert!((habits[1].moves.cents() / by_hand_cents - 1.0).abs() < 0.35);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::bottle::Bottle;
use super::conditions::Conditions;
use super::mouth::{MIN_OPEN_SHARE, Mouth};
use super::prediction::{Blown, PredictionError};
use super::resonance::{AirColumn, Resonance};
use crate::units::{Frequency, Interval, Volume};

/// Share of the mouth that lips may cover besides: a guess.
const LIPS_SHARE: f64 = 0.2;
/// A wide flange holds 0.2 radii more air before the mouth than none (Nomura et al. 1960; Levine & Schwinger 1948); a face is to
/// one side only, and counts half: a guess.
const FACE_RADII: f64 = 0.1;
/// Share of the gas in the neck that is warm breath: a guess.
const BREATH_SHARE: f64 = 0.5;

/// Something that a player does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// What.
    pub what: &'static str,
    /// Where that is from.
    pub basis: &'static str,
    /// How far it moves the pitch.
    pub moves: Interval,
}

/// What lips, face and breath do to the pitch of `bottle` with `fill` in it, beside what `conditions` count of them already.
///
/// # Errors
/// As the prediction's: anything out of range, or a bottle that does not ring.
pub fn habits(
    bottle: &Bottle,
    fill: Volume,
    conditions: &Conditions,
) -> Result<[Habit; 3], PredictionError> {
    let now = Blown::new(bottle, conditions)?.fundamental(fill)?.frequency;
    let from_now = |then: Frequency| then.interval_above(now);
    let mut covered = conditions.clone();
    covered.lip_open = (covered.lip_open - LIPS_SHARE).max(MIN_OPEN_SHARE);
    let lips = Blown::new(bottle, &covered)?.fundamental(fill)?.frequency;
    let longer = bottle.mouth_extra() + bottle.bore().mouth_radius() * FACE_RADII;
    let mouth = bottle.mouth(conditions.lip_open)?.lengthened(longer);
    let face = with_mouth(bottle, mouth, fill, conditions)?;
    let breathed = conditions.with_breath_in_neck(BREATH_SHARE);
    let breath = Blown::new(bottle, &breathed)?.fundamental(fill)?.frequency;
    Ok([
        Habit {
            what: "lips over a fifth more of the mouth",
            basis: "how far they reach is a guess; --lip-open",
            moves: from_now(lips),
        },
        Habit {
            what: "a face close to the mouth",
            basis: "half of what a wide flange does, a guess",
            moves: from_now(face.frequency),
        },
        Habit {
            what: "half of the gas in the neck warm breath",
            basis: "how much is a guess",
            moves: from_now(breath),
        },
    ])
}

/// What a wide table does to a bottle that stands on it, against one that is held clear of everything.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnTable {
    /// How far it moves the pitch.
    pub moves: Interval,
    /// By how much Q is larger, as a share of it; below 0 where it is smaller.
    pub quality_share: f64,
}

/// What a table under `bottle` with `fill` in it gives back of what the mouth sends down: see
/// [`Mouth::over_table`]. Predictions are of bottles held clear.
///
/// ```
/// use ullage::physics::conditions::Conditions;
/// use ullage::physics::player::on_table;
/// use ullage::units::Volume;
/// let shelf = ullage::set::read_shelf(
///     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 440\nmouth_bore_mm = 60\nneck_length_mm = 15\nheight_mm = 115\n
///     [[bottle]]\nname = \"wine\"\ncapacity_ml = 770\nmouth_bore_mm = 18.5\nneck_length_mm = 80\nheight_mm = 300",
/// )?;
/// let [jar, wine] = [0, 1].map(|kind| {
///     on_table(&shelf.kinds[kind].bottle, Volume::default(), &Conditions::default()).map(|table| table.quality_share)
/// });
/// // A short wide one rings shorter on it; the friction in a long neck leaves little to radiate.
/// assert!((-0.35..-0.05).contains(&jar?) && (-0.05..0.0).contains(&wine?));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// As the prediction's.
pub fn on_table(
    bottle: &Bottle,
    fill: Volume,
    conditions: &Conditions,
) -> Result<OnTable, PredictionError> {
    let clear = Blown::new(bottle, conditions)?.fundamental(fill)?;
    let above = bottle.bore().height() + bottle.floor();
    let mouth = bottle.mouth(conditions.lip_open)?.over_table(above);
    let there = with_mouth(bottle, mouth, fill, conditions)?;
    Ok(OnTable {
        moves: there.frequency.interval_above(clear.frequency),
        quality_share: there.quality / clear.quality - 1.0,
    })
}

/// The note of `bottle` if this were its mouth.
fn with_mouth(
    bottle: &Bottle,
    mouth: Mouth,
    fill: Volume,
    conditions: &Conditions,
) -> Result<Resonance, PredictionError> {
    let (bore, gases) = (bottle.bore(), conditions.gases()?);
    let level = bore.level_of(fill);
    Ok(AirColumn::new(bore, level, bottle.neck_foot(), gases, mouth)?.fundamental()?)
}
