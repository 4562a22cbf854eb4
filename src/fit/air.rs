//! A bottle fitted to pitches that were already heard from it.
//!
//! One blown pitch says how much air moves at the mouth with this player's lips: a length is added to the
//! mouth or taken from it, and the bore stays as it was measured. Pitches at fills that lie apart also say
//! how large the body is. What is left to doubt is found the same way: every bottle that the measuring
//! leaves possible is fitted to the same pitches, and whatever it still says otherwise counts.
//!
//! ```
//! use ullage::fit::air::{Heard, REPEAT_CENTS, calibrated};
//! use ullage::physics::conditions::Conditions;
//! use ullage::physics::prediction::Blown;
//! use ullage::units::{Frequency, Volume};
//! // A half-litre bottle whose pitches were published with the air left in it (HyperPhysics, Georgia State University), but
//! // neither its neck nor the temperature: both are guessed, and two of the pitches mend the guess.
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"half litre\"\ncapacity_ml = 520\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 62",
//! )?;
//! let room = Conditions::default();
//! let heard = |(ml, hz)| Heard { fill: Volume::from_ml(500.0 - ml), frequency: Frequency::from_hz(hz), temperature: None };
//! let fitted = calibrated(&shelf.kinds[0].bottle, &[(500.0, 146.0), (200.0, 239.0)].map(heard), &room)?.bottle;
//! // The other fills follow, as near as the same player would come to them again.
//! for other in [(450.0, 156.0), (350.0, 178.0), (250.0, 212.0), (150.0, 280.0)].map(heard) {
//!     let found = Blown::new(&fitted, &room)?.fundamental(other.fill)?.frequency;
//!     assert!(found.interval_above(other.frequency).cents().abs() < REPEAT_CENTS);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::physics::bottle::{Bottle, Doubt, Ends};
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::gas::Gas;
use crate::physics::prediction::Blown;
use crate::physics::recipe::GasRecipe;
use crate::physics::resonance::Gases;
use crate::units::{Frequency, Interval, Length, Temperature, Volume};

use super::least_squares::{Jacobian, Steps, least_squares};

/// How well a pitch repeats when the same player blows the same bottle again, cents (95 %). Published
/// repeats on one bottle differ by 8, 23 and 59 cents (HyperPhysics, Georgia State University): 37 rms,
/// so one reading has a standard deviation of 37/√2 = 26.
pub const REPEAT_CENTS: f64 = 50.0;
/// Largest share by which the pitches may move a stated or computed volume.
pub const MOST_VOLUME_SHARE: f64 = 0.10;
/// The volume is fitted where the pitches fix it to this share or better (95 %); nearer together they
/// would only trade mouth against volume.
const VOLUME_FIXED_TO: f64 = 0.25;
/// A pitch this many repeats away from what the others say is an outlier: three standard deviations.
pub const OUTLIER_REPEATS: f64 = 1.5;
/// Fewest pitches of which one can be told to be the outlier: three fix the fit without it.
const FEWEST_FOR_OUTLIERS: usize = 4;
/// How well the temperature at the time is known, K (95 %), if it was noted; common practice, no source.
const NOTED_KELVIN: f64 = 1.0;
/// The same if the room's was assumed; common practice, no source.
const ASSUMED_KELVIN: f64 = 5.0;
/// Least and most that the mouth may be lengthened, in lengths of neck and radius together.
const MOUTH_SHARES: (f64, f64) = (-0.75, 3.0);
/// Steps of the derivatives: a tenth of a millimetre, a thousandth of the volume.
const STEPS: Steps = Steps([1e-4, 1e-3]);
/// A pitch that no mouth comes nearer to than this is not this bottle's, cents.
const NEAR_CENTS: f64 = 0.01;

/// Why a bottle cannot be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrateError {
    /// No pitches.
    #[error("no pitch was heard")]
    NothingHeard,
    /// The room of one of them is out of range.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// The bottle does not sound with that fill.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, but a bottle of these dimensions gives no note there"
    )]
    Silent {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
    },
    /// No mouth in the range makes it sound so.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, {cents:+.0} cents from what the dimensions say; \
         no mouth from {least_mm:+.0} to {most_mm:+.0} mm longer explains that"
    )]
    OutOfReach {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far it is above the uncalibrated prediction.
        cents: f64,
        /// Shortest mouth tried, against the predicted one.
        least_mm: f64,
        /// Longest mouth tried.
        most_mm: f64,
    },
}

/// A pitch that was heard from a bottle blown with the room's air in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heard {
    /// Liquid in it.
    pub fill: Volume,
    /// The pitch.
    pub frequency: Frequency,
    /// Temperature at the time; the room's if it was not noted.
    pub temperature: Option<Temperature>,
}

/// What the fit found.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// How many pitches it rests on; outliers are left out.
    pub heard: usize,
    /// How much longer the air at the mouth is than its size says.
    pub mouth: Length,
    /// By how much the capacity is larger, as a share; 0 if the pitches do not say.
    pub volume_share: f64,
    /// The pitches say how large the body is, within the limits.
    pub volume_fitted: bool,
    /// How far the fit is from the pitches that it rests on, root mean square.
    pub residual: Interval,
    /// Pitches that the others contradict, by fill.
    pub outliers: Vec<Heard>,
}

/// A bottle that gives what was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibrated {
    /// The bottle, with what is left to doubt.
    pub bottle: Bottle,
    /// How it was fitted.
    pub fit: Fit,
}

/// Fits `bottle` to the pitches `heard` in the room and with the lips of `conditions`, whatever their gas.
///
/// One pitch, or pitches at fills too near to each other, fit the mouth; otherwise the volume is fitted
/// as well, by least squares and by 10 % at most. From four pitches on, one that is three standard deviations away
/// from what the others say is named and left out. The order of the pitches is irrelevant.
///
/// # Errors
/// Nothing heard, a room out of range, or a pitch that no mouth explains.
pub fn calibrated(
    bottle: &Bottle,
    heard: &[Heard],
    conditions: &Conditions,
) -> Result<Calibrated, CalibrateError> {
    let mut kept = points(heard, conditions)?;
    let mut outliers = Vec::new();
    let fitter = Fitter::new(bottle, conditions.lip_open);
    let fits_volume = fitter.says_volume(&kept)?;
    while let Some(index) = fitter.outlier(&kept, fits_volume) {
        outliers.push(kept.remove(index).heard);
    }
    outliers.sort_by(by_fill);
    let found = fitter.fitted(&kept, fits_volume)?;
    let bottle = found.bottle.clone();
    let doubts = doubts(
        bottle_doubts(&fitter, &kept, &found, fits_volume),
        &kept,
        &fitter,
        &found,
    );
    Ok(Calibrated {
        fit: Fit {
            heard: kept.len(),
            mouth: bottle.mouth_extra(),
            volume_share: bottle.bore().capacity() / fitter.bottle.bore().capacity() - 1.0,
            volume_fitted: found.volume,
            residual: Interval::from_cents(found.rms_cents),
            outliers,
        },
        bottle: bottle.with_doubts(doubts),
    })
}

/// A heard pitch with the gases of its time.
#[derive(Clone, Debug)]
struct Point {
    heard: Heard,
    gases: Gases,
    /// What its temperature may have been off, cents.
    thermal_cents: f64,
}

fn by_fill(a: &Heard, b: &Heard) -> std::cmp::Ordering {
    let key = |h: &Heard| {
        [
            h.fill.m3(),
            h.frequency.hz(),
            h.temperature.map_or(0.0, Temperature::k),
        ]
    };
    let pairs = key(a).into_iter().zip(key(b));
    pairs.fold(std::cmp::Ordering::Equal, |order, (a, b)| {
        order.then(a.total_cmp(&b))
    })
}

fn points(heard: &[Heard], conditions: &Conditions) -> Result<Vec<Point>, CalibrateError> {
    if heard.is_empty() {
        return Err(CalibrateError::NothingHeard);
    }
    let mut sorted = heard.to_vec();
    // So that sums are formed in one order, whatever the order of the file.
    sorted.sort_by(by_fill);
    let point = |heard: Heard| {
        let mut then = conditions.clone();
        // Bottles are tried with air in them; the gas of a set comes later.
        (then.gas, then.neck_gas, then.neck_breath) = (GasRecipe::default(), None, 0.0);
        then.room.temperature = heard.temperature.unwrap_or(then.room.temperature);
        let gases = then.gases()?;
        let kelvin = if heard.temperature.is_some() {
            NOTED_KELVIN
        } else {
            ASSUMED_KELVIN
        };
        let warmer = then.warmed_by_k(1.0).gases();
        let colder = || then.warmed_by_k(-1.0).gases();
        let other = warmer.or_else(|_| colder())?;
        let speed = |gas: &Gas| gas.sound_speed_m_s();
        let per_kelvin = Interval::from_ratio(speed(&other.body) / speed(&gases.body));
        Ok(Point {
            heard,
            gases,
            thermal_cents: per_kelvin.cents().abs() * kelvin,
        })
    };
    sorted.into_iter().map(point).collect()
}

/// The bottle that is fitted, and how its capacity grows with its body: a f² + b f + c.
struct Fitter<'a> {
    bottle: &'a Bottle,
    body_m3: Option<[f64; 3]>,
    lip_open: f64,
}

/// A fit, before its doubts.
struct Found {
    bottle: Bottle,
    /// Metres of mouth, share of volume.
    at: [f64; 2],
    volume: bool,
    jacobian: Jacobian,
    rms_cents: f64,
    /// How well the pitches repeat: as usual, or as they themselves show if that is worse.
    repeat_cents: f64,
}

impl<'a> Fitter<'a> {
    fn new(bottle: &'a Bottle, lip_open: f64) -> Self {
        let capacity_m3 = |factor: f64| {
            let scaled = bottle.adjusted(Length::default(), factor).ok()?;
            Some(scaled.bore().capacity().m3())
        };
        // Three capacities give the parabola that scaled radii follow.
        let body_m3 = [0.9, 1.0, 1.1].map(capacity_m3);
        let body_m3 = if let [Some(low), Some(now), Some(high)] = body_m3 {
            let a = (low + high - 2.0 * now) / 0.02;
            let b = (high - low) / 0.2 - 2.0 * a;
            // A tube has no body that could be larger by itself.
            (high / low > 1.0 + 2.0 * MOST_VOLUME_SHARE).then_some([a, b, now - a - b])
        } else {
            None
        };
        Self {
            bottle,
            body_m3,
            lip_open,
        }
    }

    /// Limits of the mouth's length, m.
    fn mouth_limits_m(&self) -> [f64; 2] {
        let bore = self.bottle.bore();
        let moving_m = (bore.height() - self.bottle.neck_foot() + bore.mouth_radius()).m();
        [MOUTH_SHARES.0 * moving_m, MOUTH_SHARES.1 * moving_m]
    }

    /// The bottle with `mouth_m` more at its mouth and a capacity larger by `share`.
    fn turned(&self, [mouth_m, share]: [f64; 2]) -> Option<Bottle> {
        let factor = match self.body_m3 {
            Some([a, b, c]) if share != 0.0 => {
                let wanted_m3 = self.bottle.bore().capacity().m3() * (1.0 + share);
                let root = (b * b - 4.0 * a * (c - wanted_m3)).sqrt();
                (root - b) / (2.0 * a)
            }
            _ => 1.0,
        };
        self.bottle.adjusted(Length::from_m(mouth_m), factor).ok()
    }

    /// How far above what was heard it sounds, cents.
    fn off_cents(&self, points: &[Point], at: [f64; 2]) -> Option<Vec<f64>> {
        let bottle = self.turned(at)?;
        let off = |point: &Point| {
            let blown = Blown::with_gases(&bottle, point.gases, self.lip_open).ok()?;
            let fill = point.heard.fill.min(bottle.bore().capacity());
            let pitch = blown.fundamental(fill).ok()?.frequency;
            Some(pitch.interval_above(point.heard.frequency).cents())
        };
        points.iter().map(off).collect()
    }

    /// The mouth, or mouth and volume, that come nearest to the pitches.
    fn fitted(&self, points: &[Point], volume: bool) -> Result<Found, CalibrateError> {
        self.fitted_from(points, volume, [0.0, 0.0])
    }

    fn fitted_from(
        &self,
        points: &[Point],
        volume: bool,
        start: [f64; 2],
    ) -> Result<Found, CalibrateError> {
        let off = |at| self.off_cents(points, at);
        let mouth_m = self.mouth_limits_m();
        let limits = [mouth_m, [-MOST_VOLUME_SHARE, MOST_VOLUME_SHARE]];
        let silent = || self.silent(points);
        // The mouth first: from there the volume is a small step.
        let mouth = least_squares(&off, [start[0], 0.0], limits, STEPS, 1).ok_or_else(silent)?;
        let mut solved = mouth;
        let mut free = 1;
        if volume {
            let both = least_squares(&off, [solved.at[0], start[1]], limits, STEPS, 2)
                .ok_or_else(silent)?;
            if both.at[1].abs() < MOST_VOLUME_SHARE {
                (solved, free) = (both, 2);
            } else {
                // At its end the volume no longer gives way: the mouth alone does.
                solved = least_squares(&off, both.at, limits, STEPS, 1).ok_or_else(silent)?;
            }
        }
        let squares: f64 = solved.off_cents.iter().map(|c| c * c).sum();
        let at_end = solved.at[0] <= mouth_m[0] || solved.at[0] >= mouth_m[1];
        if (at_end || points.len() == 1) && squares.sqrt() > NEAR_CENTS {
            return Err(self.out_of_reach(points));
        }
        let spare = points.len().saturating_sub(free);
        let shown_cents = if spare > 0 {
            2.0 * (squares / spare as f64).sqrt()
        } else {
            0.0
        };
        Ok(Found {
            bottle: self.turned(solved.at).ok_or_else(silent)?,
            at: solved.at,
            volume: free == 2,
            jacobian: solved.jacobian,
            rms_cents: (squares / points.len() as f64).sqrt(),
            repeat_cents: shown_cents.max(REPEAT_CENTS),
        })
    }

    fn silent(&self, points: &[Point]) -> CalibrateError {
        let mute = |p: &&Point| {
            self.off_cents(std::slice::from_ref(p), [0.0, 0.0])
                .is_none()
        };
        let heard = points.iter().find(mute).unwrap_or(&points[0]).heard;
        CalibrateError::Silent {
            fill_ml: heard.fill.ml(),
            heard_hz: heard.frequency.hz(),
        }
    }

    /// Names the pitch that is farthest from the uncalibrated bottle's.
    fn out_of_reach(&self, points: &[Point]) -> CalibrateError {
        let off = self.off_cents(points, [0.0, 0.0]).unwrap_or_default();
        let worst = points
            .iter()
            .zip(off)
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let Some((point, off)) = worst else {
            return self.silent(points);
        };
        let [least_m, most_m] = self.mouth_limits_m();
        CalibrateError::OutOfReach {
            fill_ml: point.heard.fill.ml(),
            heard_hz: point.heard.frequency.hz(),
            cents: -off,
            least_mm: Length::from_m(least_m).mm(),
            most_mm: Length::from_m(most_m).mm(),
        }
    }

    /// Whether the pitches lie far enough apart to say something of the volume.
    fn says_volume(&self, points: &[Point]) -> Result<bool, CalibrateError> {
        if points.len() < 2 || self.body_m3.is_none() {
            return Ok(false);
        }
        let mouth = self.fitted(points, false)?;
        let off = |at| self.off_cents(points, at);
        let jacobian = Jacobian::at(&off, mouth.at, STEPS, 2);
        let spread = jacobian.and_then(|j| j.spread(REPEAT_CENTS));
        Ok(spread.is_some_and(|ends| ends[0][1].hypot(ends[1][1]) <= VOLUME_FIXED_TO))
    }

    /// The pitch that is three standard deviations or more from what the others say; of several, the one without
    /// which they agree best, since a wrong one makes its neighbours look wrong too.
    fn outlier(&self, points: &[Point], volume: bool) -> Option<usize> {
        if points.len() < FEWEST_FOR_OUTLIERS {
            return None;
        }
        let rest_without = |index: usize| {
            let mut others = points.to_vec();
            let left_out = others.remove(index);
            let found = self.fitted(&others, volume).ok()?;
            let off_cents = self.off_cents(&[left_out], found.at)?[0].abs();
            (off_cents > OUTLIER_REPEATS * REPEAT_CENTS).then_some((index, found.rms_cents))
        };
        let candidates = (0..points.len()).filter_map(rest_without);
        let best = candidates.min_by(|a, b| a.1.total_cmp(&b.1));
        best.map(|(index, _)| index)
    }
}

/// The bottle's own doubts, each end fitted to the same pitches.
fn bottle_doubts(
    fitter: &Fitter<'_>,
    points: &[Point],
    found: &Found,
    fits_volume: bool,
) -> Vec<Doubt> {
    let refitted = |end: &Bottle| {
        let other = Fitter::new(end, fitter.lip_open);
        let volume = fits_volume && other.body_m3.is_some();
        Some(other.fitted_from(points, volume, found.at).ok()?.bottle)
    };
    let again = |doubt: Doubt| Doubt {
        ends: doubt.ends.iter().filter_map(refitted).collect(),
        ..doubt
    };
    fitter.bottle.doubts().into_iter().map(again).collect()
}

/// With what hearing adds: that a blown pitch never repeats, and that the air was as warm as was said.
fn doubts(
    mut doubts: Vec<Doubt>,
    points: &[Point],
    fitter: &Fitter<'_>,
    found: &Found,
) -> Vec<Doubt> {
    let moved = |step: [f64; 2]| fitter.turned([found.at[0] + step[0], found.at[1] + step[1]]);
    let spread = found
        .jacobian
        .spread(found.repeat_cents)
        .unwrap_or_default();
    doubts.push(Doubt {
        what: "how well a blown pitch repeats",
        remedy: "hear it again, or at other fills, and add what was heard",
        guessed: false,
        ends: spread.into_iter().filter_map(moved).collect(),
        ends_are: Ends::EachOfMany,
    });
    let thermal: Vec<f64> = points.iter().map(|p| p.thermal_cents).collect();
    let step = found.jacobian.solve(&thermal).unwrap_or_default();
    doubts.push(Doubt {
        what: "temperature when it was heard",
        remedy: "note temp_c with what was heard",
        guessed: points.iter().any(|p| p.heard.temperature.is_none()),
        ends: [step, step.map(|s| -s)]
            .into_iter()
            .filter_map(moved)
            .collect(),
        ends_are: Ends::Either,
    });
    doubts
}
