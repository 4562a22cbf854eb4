//! What to pour into a struck bottle: more liquid sounds lower.
//!
//! Unlike a blown one, a struck bottle known by its dimensions alone is good to two semitones only. So what was poured is
//! believed before what the dimensions say, and the curve is moved to what was heard.
//!
//! ```
//! use ullage::sounding::Setting;
//! use ullage::tuner::pouring::{Contents, Off};
//! use ullage::tuner::tapped::pouring_struck;
//! use ullage::units::{Interval, Volume};
//!
//! let set = ullage::set::open("presets/struck/set.toml")?;
//! let pour = &set.pours[0];
//! let (source, target) = (set.source(pour), set.target(pour));
//! let fill = pour.fill.expect("it is planned");
//! // It was poured 10 ml too full, sounds lower, and is tapped.
//! let more = fill + Volume::from_ml(10.0);
//! let sounded = source.set_to(target, Setting::Fill(more))?;
//! let off = Off {
//!     heard: sounded.frequency(),
//!     plus_minus: Interval::from_cents(2.0),
//!     target: source.at(Setting::Fill(fill))?.frequency,
//! };
//! let note = sounded.mode().expect("it is struck").key();
//! let told = pouring_struck(&source, note, Contents { fill: more, sure: true }, off)?;
//! assert!((told.add.ml() + 10.0).abs() < 1.0, "{told:?}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::pouring::{Contents, Off, Pouring, Reach};
use crate::physics::struck::{ModeKey, Struck, StruckError};
use crate::sounding::Source;
use crate::units::{Frequency, Interval, Mass, Volume};

/// How well the slope of a struck bottle's curve is known, as a share (95 %): fitted to two taps of the bottle of
/// `struck_bottle_A_water.csv`, the curve of a dozen fills is followed to 35 cents rms over more than half an octave.
const SLOPE_SHARE: f64 = 0.10;
/// What another tap may differ by (95 %), cents: a doublet's two modes lie up to so far apart.
const REPEAT_CENTS: f64 = 10.0;
/// Slope below which pouring or turning does nothing, cents a millilitre, a bar or a millimetre.
pub(super) const LEAST_SLOPE: f64 = 1e-3;

/// What to pour into a struck bottle, of which the partial `key` is to be `off.target`.
///
/// # Errors
/// A fill that the bottle cannot hold, or a wall that cannot be struck.
pub fn pouring_struck(
    source: &Source<'_>,
    key: ModeKey,
    contents: Contents,
    off: Off,
) -> Result<Pouring, StruckError> {
    let spec = source.spec();
    let struck = &Struck::with_waves(source.bottle, spec, [key.n])?;
    let curve = Curve { struck, key };
    let said = curve.pitch(contents.fill)?;
    let moved = off.heard.interval_above(said);
    let back = Interval::from_cents(-moved.cents());
    let (fill, reach) = curve.fill_for(off.target.raised_by(back))?;
    let add = fill - contents.fill;
    let per_ml = struck.per_ml_of(key, contents.fill)?.cents();
    let per_ml = per_ml.abs().max(LEAST_SLOPE);
    let heard_ml = off.plus_minus.cents() / per_ml;
    // The other reading: the bottle is as described and holds another amount.
    let by_fill = curve.fill_for(off.target)?.0 - curve.fill_for(off.heard)?.0;
    let apart_ml = 0.5 * (add - by_fill).ml();
    let capacity_ml = struck.wall().bore.capacity().ml();
    let plus_minus_ml = heard_ml.hypot(SLOPE_SHARE * add.ml()).hypot(apart_ml);
    Ok(Pouring {
        add,
        add_mass: Mass::from_kg(add.m3() * spec.density_kg_m3),
        plus_minus: Volume::from_ml(plus_minus_ml.min(capacity_ml)),
        repeat: Volume::from_ml((REPEAT_CENTS / per_ml).min(capacity_ml)),
        fill_now: contents.fill,
        reach,
    })
}

struct Curve<'a, 'b> {
    struck: &'a Struck<'b>,
    key: ModeKey,
}

impl Curve<'_, '_> {
    fn pitch(&self, fill: Volume) -> Result<Frequency, StruckError> {
        self.struck.pitch_of(self.key, fill)
    }

    /// The fill for a pitch, or the end of the curve that is nearest.
    fn fill_for(&self, target: Frequency) -> Result<(Volume, Reach), StruckError> {
        let full = self.struck.wall().bore.capacity();
        let (highest, lowest) = (self.pitch(Volume::default())?, self.pitch(full)?);
        if target.hz() > highest.hz() {
            let lacks = target.interval_above(highest);
            return Ok((Volume::default(), Reach::EmptyIsTooLow(lacks)));
        }
        if target.hz() < lowest.hz() {
            return Ok((full, Reach::BrimfulIsTooHigh(lowest.interval_above(target))));
        }
        let (mut low, mut high) = (Volume::default(), full);
        // 24 halvings of a litre leave a twentieth of a microlitre.
        for _ in 0..24 {
            let middle = (low + high) * 0.5;
            if self.pitch(middle)?.hz() > target.hz() {
                low = middle
            } else {
                high = middle
            }
        }
        Ok(((low + high) * 0.5, Reach::Fine))
    }
}
