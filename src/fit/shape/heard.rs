//! Pitches that were heard, as more measurements of the same shape.

use super::base::Shape;
use super::ensemble::{Ensemble, HEARD_CENTS};
use super::family::{Theta, UNKNOWNS};
use super::given::{Given, ShapeError};
use super::remembered::Remembered;
use super::seen::{Seen, What};
use super::solve::{Problem, Slopes};
use crate::physics::bottle::Bottle;
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::gas::Gas;
use crate::physics::mouth::Mouth;
use crate::physics::profile::{BorePoint, Profile};
use crate::physics::recipe::GasRecipe;
use crate::physics::resonance::{AirColumn, Gases};
use crate::units::{Frequency, Interval, Length, Temperature, Volume};

/// How well a pitch repeats when somebody blows the same bottle another day, cents (95 %). Published
/// repeats on one bottle differ by 8, 23 and 59 cents (HyperPhysics, Georgia State University): 37 rms,
/// so one reading has a standard deviation of 37/√2 = 26.
pub const REPEAT_CENTS: f64 = 50.0;
/// Largest share by which the pitches are taken to move a stated or computed volume.
pub const MOST_VOLUME_SHARE: f64 = 0.10;
/// A pitch this many repeats away from what the others say is an outlier: three standard deviations.
pub const OUTLIER_REPEATS: f64 = 1.5;
/// What a player adds to the mouth or takes from it, in its radii (one standard deviation): lips that leave 0.8 of
/// it open add 0.2 to 0.3 of one.
const PLAYER_RADII: f64 = 0.25;
/// Fewest pitches of which one can be left out: three fix the fit without it.
const FEWEST_FOR_OUTLIERS: usize = 4;
/// A pitch is wrong if the bottle gets so much likelier without it: six standard deviations of the one, and what a bottle may
/// be odd by.
const WRONG_COST: f64 = 14.0;
/// Among several that agree, four will do.
const ODD_COST: f64 = 7.0;
/// How well the temperature at the time is known, K (95 %), if it was noted; common practice, no source.
const NOTED_KELVIN: f64 = 1.0;
/// The same if the room's was assumed; common practice, no source.
const ASSUMED_KELVIN: f64 = 5.0;
/// What losses do to a pitch where they cannot be worked out, cents.
const USUAL_LOSS_CENTS: f64 = -12.0;
/// The most that losses, and what the plain line does not know of squat jars, are taken to move a pitch, cents.
const LARGEST_LOSS_CENTS: f64 = 300.0;

static KNOWN: Remembered<Calibrated> = Remembered::new();

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
    /// The bottle itself is none.
    #[error(transparent)]
    Shape(#[from] ShapeError),
    /// It does not hold so much.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, but a bottle of these dimensions gives no note there"
    )]
    Silent {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
    },
    /// No bottle of that description sounds so.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, {cents:+.0} cents from what the dimensions say, which is sure to \
         ±{plus_minus_cents:.0}; no likely bottle explains that: is it this bottle's pitch, and this fill?"
    )]
    OutOfReach {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far it is above the prediction without it.
        cents: f64,
        /// How sure that was.
        plus_minus_cents: f64,
    },
    /// One of a few does not go with the others.
    #[error(
        "{heard_hz} Hz was heard with {fill_ml:.1} ml in it, {cents:+.0} cents from what the dimensions and the other pitches say: \
         hear it again, or take it out"
    )]
    Contradicted {
        /// The fill.
        fill_ml: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far it is above what the others say.
        cents: f64,
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
    /// By how much the capacity is larger, as a share.
    pub volume_share: f64,
    /// The pitches are several, and say something of how large the body is.
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

/// Fits `bottle` to the pitches `heard` in the room and with the lips of `conditions`, whatever their gas: they join what was
/// measured, and the bottle is estimated again.
///
/// A pitch that goes with nothing else is refused by name where there are up to three, and from four on left out and named.
/// The order of the pitches is irrelevant.
///
/// # Errors
/// Nothing heard, a room out of range, or a pitch that no likely bottle explains.
pub fn calibrated(
    bottle: &Bottle,
    heard: &[Heard],
    conditions: &Conditions,
) -> Result<Calibrated, CalibrateError> {
    let key = format!(
        "{:?} {heard:?} {conditions:?} {:?}",
        bottle.described(),
        bottle.bore().capacity()
    );
    if let Some(found) = KNOWN.get(&key) {
        return Ok(found);
    }
    let found = fitted_to(bottle, heard, conditions)?;
    KNOWN.keep(key, &found);
    Ok(found)
}

fn fitted_to(
    bottle: &Bottle,
    heard: &[Heard],
    conditions: &Conditions,
) -> Result<Calibrated, CalibrateError> {
    let mut kept = points(heard, conditions)?;
    let given = Given::new(bottle.described())?;
    let fitter = Fitter::new(given, conditions.lip_open);
    if let Some(point) = kept.iter().find(|p| p.heard.fill.m3() > fitter.most_m3) {
        return Err(CalibrateError::Silent {
            fill_ml: point.heard.fill.ml(),
            heard_hz: point.heard.frequency.hz(),
        });
    }
    let mut outliers = Vec::new();
    let mut found = fitter.fitted(&kept);
    while let Some(index) = fitter.wrong(&kept, found.cost) {
        if kept.len() < FEWEST_FOR_OUTLIERS {
            return Err(fitter.refused(&kept, index, bottle));
        }
        outliers.push(kept.remove(index).heard);
        found = fitter.fitted(&kept);
    }
    outliers.sort_by(by_fill);
    let ensemble = Ensemble::drawn(&found.problem, &found.x, &found.slopes);
    let fitted = ensemble
        .bottle(bottle.described())
        .map_err(ShapeError::from)?
        .fitted();
    let off = |point: &Point| {
        let pitch = fitter.full_cents(&Sounding::of(&fitted), point)?;
        Some(pitch - point.cents())
    };
    let squares: f64 = kept.iter().filter_map(off).map(|c| c * c).sum();
    Ok(Calibrated {
        fit: Fit {
            heard: kept.len(),
            mouth: fitted.mouth_extra(),
            volume_share: fitted.bore().capacity() / bottle.bore().capacity() - 1.0,
            volume_fitted: kept.len() > 1,
            residual: Interval::from_cents((squares / kept.len() as f64).sqrt()),
            outliers,
        },
        bottle: fitted,
    })
}

/// A heard pitch with the gases of its time.
#[derive(Clone, Debug)]
struct Point {
    heard: Heard,
    gases: Gases,
    /// What a temperature that was assumed may be off, cents (95 %). Pitches of either kind weigh the same, so that writing the
    /// room's temperature beside one moves no bottle.
    warmth_cents: f64,
    /// By how much more it may be off than one that was noted, cents (95 %): this widens what is said.
    assumed_cents: f64,
}

impl Point {
    /// Above 1 Hz.
    fn cents(&self) -> f64 {
        1200.0 * self.heard.frequency.hz().log2()
    }
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
        let assumed_kelvin = if heard.temperature.is_some() {
            0.0
        } else {
            (ASSUMED_KELVIN * ASSUMED_KELVIN - NOTED_KELVIN * NOTED_KELVIN).sqrt()
        };
        let warmer = then.warmed_by_k(1.0).gases();
        let colder = || then.warmed_by_k(-1.0).gases();
        let other = warmer.or_else(|_| colder())?;
        let speed = |gas: &Gas| gas.sound_speed_m_s();
        let per_kelvin = Interval::from_ratio(speed(&other.body) / speed(&gases.body));
        Ok(Point {
            heard,
            gases,
            warmth_cents: per_kelvin.cents().abs() * ASSUMED_KELVIN,
            assumed_cents: per_kelvin.cents().abs() * assumed_kelvin,
        })
    };
    sorted.into_iter().map(point).collect()
}

/// What is needed of a bottle to sound it.
struct Sounding {
    bore: Option<Profile>,
    foot: Length,
    lip: Length,
    extra: Length,
}

impl Sounding {
    fn of(bottle: &Bottle) -> Self {
        Self {
            bore: Some(bottle.bore().clone()),
            foot: bottle.neck_foot(),
            lip: bottle.lip_wall(),
            extra: bottle.mouth_extra(),
        }
    }

    fn of_shape(shape: &Shape) -> Self {
        let nodes = &shape.nodes;
        let point = |i: usize| BorePoint {
            height_m: nodes.z[i],
            radius_m: nodes.r[i],
        };
        Self {
            bore: Profile::new((0..nodes.count).map(point).collect()).ok(),
            foot: Length::from_m(shape.foot),
            lip: Length::from_m(shape.lip.min(0.049)),
            extra: Length::from_m(shape.player * nodes.r[nodes.count - 1]),
        }
    }
}

struct Fitter {
    given: Given,
    lip_open: f64,
    start: Theta,
    /// The most that the likeliest bottle holds, with something over.
    most_m3: f64,
}

/// A fit, before its ensemble.
struct Found {
    problem: Problem,
    x: Theta,
    slopes: Slopes,
    cost: f64,
}

const ALL: [bool; UNKNOWNS] = [true; UNKNOWNS];

impl Fitter {
    fn new(mut given: Given, lip_open: f64) -> Self {
        given.problem.around.open = lip_open;
        let zero = [0.0; UNKNOWNS];
        let (start, _) = given.problem.likeliest(&zero, &zero, &ALL);
        let most_m3 = 1.05 * given.problem.shape(&start).nodes.capacity();
        Self {
            given,
            lip_open,
            start,
            most_m3,
        }
    }

    /// The pitch by the line model, in cents above 1 Hz.
    fn full_cents(&self, sounding: &Sounding, point: &Point) -> Option<f64> {
        let bore = sounding.bore.as_ref()?;
        let mouth = Mouth::new(bore.mouth_radius(), sounding.lip, self.lip_open).ok()?;
        let level = bore.level_of(point.heard.fill.min(bore.capacity()));
        let mouth = mouth.lengthened(sounding.extra);
        let column = AirColumn::new(bore, level, sounding.foot, point.gases, mouth).ok()?;
        Some(1200.0 * column.fundamental().ok()?.frequency.hz().log2())
    }

    /// The likeliest shape for the measurements and these pitches.
    fn fitted(&self, points: &[Point]) -> Found {
        let mut problem = self.given.problem.clone();
        problem.player = PLAYER_RADII;
        let assumed = points.iter().map(|p| p.assumed_cents * p.assumed_cents);
        problem.besides = 0.5 * (assumed.sum::<f64>() / points.len() as f64).sqrt();
        let first = problem.seen.len();
        let sound = problem.around.sound;
        let faster = |point: &Point| 1200.0 * (point.gases.body.sound_speed_m_s() / sound).log2();
        for point in points {
            problem.seen.push(Seen {
                what: What::Pitch {
                    volume: point.heard.fill.m3(),
                },
                value: point.cents() - faster(point) - USUAL_LOSS_CENTS,
                sigma: HEARD_CENTS.hypot(0.5 * point.warmth_cents),
            });
        }
        let zero = [0.0; UNKNOWNS];
        let (mut x, mut slopes) = problem.likeliest(&zero, &self.start, &ALL);
        // Twice, since the losses are those of the shape that is found.
        for _ in 0..2 {
            let shape = problem.shape(&x);
            let sounding = Sounding::of_shape(&shape);
            for (seen, point) in problem.seen[first..].iter_mut().zip(points) {
                let volume = point.heard.fill.m3();
                let full = self.full_cents(&sounding, point);
                let loss = full.map_or(faster(point) + USUAL_LOSS_CENTS, |c| {
                    c - shape.pitch_cents(volume, problem.around)
                });
                seen.value = point.cents() - loss.clamp(-LARGEST_LOSS_CENTS, LARGEST_LOSS_CENTS);
            }
            (x, slopes) = problem.climbed(&zero, &x, &ALL);
        }
        let off = problem.off(&x);
        let spare = points.len() as f64 - 2.0;
        let squares: f64 = off[first..first + points.len()].iter().map(|o| o * o).sum();
        if spare >= 1.0 && squares > spare {
            // They repeat worse than most.
            let worse = (squares / spare).sqrt();
            for seen in &mut problem.seen[first..] {
                seen.sigma *= worse;
            }
            (x, slopes) = problem.climbed(&zero, &x, &ALL);
        }
        let cost =
            0.5 * (off.iter().map(|o| o * o).sum::<f64>() + x.iter().map(|v| v * v).sum::<f64>());
        Found {
            problem,
            x,
            slopes,
            cost,
        }
    }

    /// The pitch without which the bottle is so much likelier that it must be wrong.
    fn wrong(&self, points: &[Point], cost: f64) -> Option<usize> {
        let limit = if points.len() < FEWEST_FOR_OUTLIERS {
            WRONG_COST
        } else {
            ODD_COST
        };
        // Nothing is wrong with a bottle that is as likely as most.
        if cost < limit {
            return None;
        }
        let without = |index: usize| {
            let mut others = points.to_vec();
            others.remove(index);
            let then = if others.is_empty() {
                self.bare_cost()
            } else {
                self.fitted(&others).cost
            };
            cost - then
        };
        let best = (0..points.len())
            .map(|i| (i, without(i)))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        (best.1 > limit).then_some(best.0)
    }

    /// Cost of the measurements alone.
    fn bare_cost(&self) -> f64 {
        let off = self.given.problem.off(&self.start);
        0.5 * (off.iter().map(|o| o * o).sum::<f64>()
            + self.start.iter().map(|v| v * v).sum::<f64>())
    }

    fn refused(&self, points: &[Point], index: usize, bottle: &Bottle) -> CalibrateError {
        let point = &points[index];
        let (fill_ml, heard_hz) = (point.heard.fill.ml(), point.heard.frequency.hz());
        let above = |sounding: &Sounding| {
            self.full_cents(sounding, point)
                .map_or(0.0, |cents| point.cents() - cents)
        };
        let mut others = points.to_vec();
        others.remove(index);
        if others.is_empty() {
            return CalibrateError::OutOfReach {
                fill_ml,
                heard_hz,
                cents: above(&Sounding::of(bottle)),
                plus_minus_cents: bottle.doubts().plus_minus(point.heard.fill).cents(),
            };
        }
        let found = self.fitted(&others);
        let cents = above(&Sounding::of_shape(&found.problem.shape(&found.x)));
        CalibrateError::Contradicted {
            fill_ml,
            heard_hz,
            cents,
        }
    }
}
