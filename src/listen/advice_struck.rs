//! What to pour into a struck bottle: more liquid sounds lower.
//!
//! Unlike a blown one, a struck bottle known by its dimensions alone is good to two semitones only. So what was poured is
//! believed before what the dimensions say, and the curve is moved to what was heard.

use super::advice::{Advice, Off, Poured, Reach};
use crate::physics::struck::{Struck, StruckError};
use crate::units::{Frequency, Interval, Mass, Volume};

/// How well the slope of a struck bottle's curve is known, as a share (95 %): fitted to two taps of the bottle of
/// `struck_bottle_A_water.csv`, the curve of a dozen fills is followed to 35 cents rms over more than half an octave.
const SLOPE_SHARE: f64 = 0.10;
/// What another tap may differ by (95 %), cents: a doublet's two modes lie up to so far apart.
const REPEAT_CENTS: f64 = 10.0;
/// Slope below which pouring does nothing, cents a millilitre.
const LEAST_SLOPE: f64 = 1e-3;

/// What to pour into a struck bottle whose partial with `waves` around is to be `off.target`.
///
/// # Errors
/// A fill that is none, or a number of waves that the bottle was not worked out for.
pub fn advice_struck(
    struck: &Struck<'_>,
    waves: u32,
    density_kg_m3: f64,
    poured: Poured,
    off: Off,
) -> Result<Advice, StruckError> {
    let curve = Curve { struck, waves };
    let said = curve.pitch(poured.fill)?;
    let moved = off.heard.interval_above(said);
    let back = Interval::from_cents(-moved.cents());
    let (fill, reach) = curve.fill_for(off.target.raised_by(back))?;
    let add = fill - poured.fill;
    let per_ml = curve.slope(poured.fill)?.abs().max(LEAST_SLOPE);
    let heard_ml = off.plus_minus.cents() / per_ml;
    // The other reading: the bottle is as described and holds another amount.
    let by_fill = curve.fill_for(off.target)?.0 - curve.fill_for(off.heard)?.0;
    let apart_ml = 0.5 * (add - by_fill).ml();
    let capacity_ml = struck.wall().bore.capacity().ml();
    let plus_minus_ml = heard_ml.hypot(SLOPE_SHARE * add.ml()).hypot(apart_ml);
    Ok(Advice {
        add,
        add_mass: Mass::from_kg(add.m3() * density_kg_m3),
        plus_minus: Volume::from_ml(plus_minus_ml.min(capacity_ml)),
        repeat: Volume::from_ml((REPEAT_CENTS / per_ml).min(capacity_ml)),
        fill_now: poured.fill,
        reach,
    })
}

struct Curve<'a, 'b> {
    struck: &'a Struck<'b>,
    waves: u32,
}

impl Curve<'_, '_> {
    fn pitch(&self, fill: Volume) -> Result<Frequency, StruckError> {
        self.struck.pitch(self.waves, fill)
    }

    /// Cents a millilitre at a fill, below zero.
    fn slope(&self, fill: Volume) -> Result<f64, StruckError> {
        let full = self.struck.wall().bore.capacity();
        let step = full * 0.01;
        let (low, high) = (
            (fill - step).max(Volume::default()),
            (fill + step).min(full),
        );
        let rise = self.pitch(high)?.interval_above(self.pitch(low)?);
        Ok(rise.cents() / (high - low).ml())
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
