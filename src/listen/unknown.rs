//! A bottle that nobody has measured but for its capacity and its mouth: what its pitch, blown empty, says of the rest.
//!
//! Bottles are drawn that hold so much and have such a mouth, shaped as bottles are; each is given the neck with which it
//! sounds as heard, and counts as much as such a neck is likely. What they have in common is what the pitch says; how far
//! they lie apart is the ±.
//!
//! ```
//! use ullage::listen::unknown::{Unknown, inferred};
//! use ullage::physics::conditions::Conditions;
//! use ullage::units::{Frequency, Interval, Length, Volume};
//! // A long-necked bottle whose bore is known: 172.71 Hz in dry air at 20 °C by finite elements.
//! let mut dry = Conditions::default();
//! dry.room.humidity = 0.0;
//! let unknown = Unknown {
//!     capacity: Volume::from_ml(346.06),
//!     mouth_bore: Length::from_mm(17.0),
//!     heard: Frequency::from_hz(172.71),
//!     plus_minus: Interval::from_cents(0.5),
//! };
//! let neck = inferred(&unknown, &dry)?.neck_length;
//! // Its neck is 78 mm long: within the ± of what capacity, mouth and pitch alone say, which is less than half of it.
//! assert!((neck.value.mm() - 78.0).abs() < neck.plus_minus.mm());
//! assert!(neck.plus_minus.mm() < 39.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::fit::air::REPEAT_CENTS;
use crate::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use crate::physics::conditions::{Conditions, ConditionsError};
use crate::physics::dimensions::{Dimensions, Material};
use crate::physics::prediction::Blown;
use crate::physics::resonance::Gases;
use crate::units::{Frequency, Interval, Length, Volume};

/// Bottles drawn.
const DRAWN: u32 = 240;
/// Fewest that must count.
const FEWEST: f64 = 4.0;
/// Necks that are tried, mm.
const NECKS_MM: (f64, f64) = (1.0, 400.0);
/// Bore at the foot of the neck over that of the mouth: necks widen by 0 to 65 % in the shapes of
/// `tests/data/bottles_fem.json`, by 25 % in the mean.
const WIDENING: (f64, f64) = (0.25, 0.17);
/// Length of the body over its diameter, and its usual deviation as a factor: common practice, no source.
const SLENDERNESS: (f64, f64) = (1.6, 1.4);
/// Length of the shoulder over the step in radius that it makes: from the sharp shoulder of a jar to a wine bottle's.
const SHOULDER: (f64, f64) = (1.5, 0.75);
/// Length of the neck over the height, and its deviation as a factor: common practice, no source.
const NECK: (f64, f64) = (0.25, 1.8);
/// Wall around the mouth, mm: common practice, no source.
const LIP_WALL_MM: (f64, f64) = (4.0, 1.0);
/// Largest errors (95 %) of what was measured: as a description's own.
const BORE_MM: f64 = 0.3;
const CAPACITY_SHARE: f64 = 0.01;

/// Why nothing can be inferred.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UnknownError {
    /// The room is out of range.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// A capacity or a mouth out of range.
    #[error("{what} {value} is outside {low} to {high}")]
    Range {
        /// Name with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
    },
    /// No neck does it.
    #[error(
        "no likely bottle of {capacity_ml:.0} ml with a mouth of {mouth_mm:.1} mm sounds at {heard_hz:.1} Hz when it is empty; \
         with necks from 10 to 200 mm they give {lowest_hz:.0} to {highest_hz:.0} Hz"
    )]
    NoNeck {
        /// As given.
        capacity_ml: f64,
        /// As given.
        mouth_mm: f64,
        /// As heard.
        heard_hz: f64,
        /// With a long neck.
        lowest_hz: f64,
        /// With a short neck.
        highest_hz: f64,
    },
}

/// A dimension with half the width of its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likely {
    /// The likeliest.
    pub value: Length,
    /// Half the width of its 95 % interval.
    pub plus_minus: Length,
}

/// What is known of the bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknown {
    /// Brimful, 5 ml to 100 l.
    pub capacity: Volume,
    /// Inner diameter of the mouth, 2 to 200 mm.
    pub mouth_bore: Length,
    /// Its pitch, blown empty.
    pub heard: Frequency,
    /// Half the width of the pitch's 95 % interval; another blow may differ by half a semitone, which counts as well.
    pub plus_minus: Interval,
}

/// What the pitch says of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inferred {
    /// Length of the neck: what the pitch fixes.
    pub neck_length: Likely,
    /// Bore at its foot: as likely as before.
    pub neck_bore: Likely,
    /// Outer diameter of the body: as likely as before.
    pub body_diameter: Likely,
    /// Height: likewise.
    pub height: Likely,
    /// Of the bottles drawn, how many count.
    pub count: f64,
}

/// The likeliest bottle that sounds as heard in the room and with the lips of `now`.
///
/// # Errors
/// Numbers out of range, or no neck that does it.
pub fn inferred(unknown: &Unknown, now: &Conditions) -> Result<Inferred, UnknownError> {
    in_range("a capacity in ml of", unknown.capacity.ml(), 5.0, 100_000.0)?;
    in_range("a mouth in mm of", unknown.mouth_bore.mm(), 2.0, 200.0)?;
    let room = Room {
        gases: now.gases()?,
        lip_open: now.lip_open,
    };
    let mut cloud = Cloud::default();
    for number in 0..DRAWN {
        let shape = Shape::drawn(unknown, number);
        if let Some((neck_mm, bottle)) = room.neck_for(&shape) {
            cloud.add(&shape, neck_mm, &bottle);
        }
    }
    let count = cloud.count();
    if count < FEWEST {
        let usual = Shape::usual(unknown);
        let hz = |neck_mm: f64| room.pitch_hz(&shape_bottle(&usual, neck_mm)).unwrap_or(0.0);
        return Err(UnknownError::NoNeck {
            capacity_ml: unknown.capacity.ml(),
            mouth_mm: unknown.mouth_bore.mm(),
            heard_hz: unknown.heard.hz(),
            lowest_hz: hz(200.0),
            highest_hz: hz(10.0),
        });
    }
    Ok(Inferred {
        neck_length: cloud.likely(0),
        neck_bore: cloud.likely(1),
        body_diameter: cloud.likely(2),
        height: cloud.likely(3),
        count,
    })
}

fn in_range(what: &'static str, value: f64, low: f64, high: f64) -> Result<(), UnknownError> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    Err(UnknownError::Range {
        what,
        value,
        low,
        high,
    })
}

struct Room {
    gases: Gases,
    lip_open: f64,
}

/// A bottle but for its neck's length.
#[derive(Clone, Copy)]
struct Shape {
    capacity_ml: f64,
    mouth_mm: f64,
    neck_bore_mm: f64,
    body_mm: f64,
    shoulder_mm: f64,
    lip_mm: f64,
    heard_hz: f64,
}

impl Shape {
    fn usual(unknown: &Unknown) -> Self {
        Self::of(unknown, [0.0; 7])
    }

    /// The bottle of that number: evenly spread over what is likely, the same every time.
    fn drawn(unknown: &Unknown, number: u32) -> Self {
        // Roots of primes: their multiples fill the cube evenly in every projection (Richtmyer; from memory).
        let axis = |root: f64| normal((0.5 + f64::from(number + 1) * root.sqrt()).fract());
        Self::of(unknown, [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0].map(axis))
    }

    /// By so many standard deviations each.
    fn of(unknown: &Unknown, z: [f64; 7]) -> Self {
        // Half of what 95 % lie within is one deviation.
        let capacity_ml = unknown.capacity.ml() * (1.0 + 0.5 * CAPACITY_SHARE * z[0]);
        let mouth_mm = (unknown.mouth_bore.mm() + 0.5 * BORE_MM * z[1]).max(1.0);
        let widening = (WIDENING.0 + WIDENING.1 * z[2]).clamp(0.0, 0.65);
        let slenderness = SLENDERNESS.0 * SLENDERNESS.1.powf(z[3]);
        let volume_mm3 = capacity_ml * 1e3;
        let inner_mm = (4.0 * volume_mm3 / (std::f64::consts::PI * slenderness)).cbrt();
        let wall_mm = Material::Glass.usual_wall_mm();
        let neck_bore_mm = (mouth_mm * (1.0 + widening))
            .min(0.95 * inner_mm)
            .max(mouth_mm);
        let slope = (SHOULDER.0 + SHOULDER.1 * z[4]).clamp(0.1, 3.0);
        let heard_cents = (0.5 * unknown.plus_minus.cents()).hypot(0.5 * REPEAT_CENTS);
        Self {
            capacity_ml,
            mouth_mm,
            neck_bore_mm,
            body_mm: inner_mm + 2.0 * wall_mm,
            shoulder_mm: slope * 0.5 * (inner_mm - neck_bore_mm).max(0.0),
            lip_mm: (LIP_WALL_MM.0 + LIP_WALL_MM.1 * z[5]).clamp(1.0, 8.0),
            heard_hz: unknown
                .heard
                .raised_by(Interval::from_cents(heard_cents * z[6]))
                .hz(),
        }
    }
}

fn shape_bottle(shape: &Shape, neck_mm: f64) -> Option<Bottle> {
    Bottle::new(Description {
        known: Known::Dimensions,
        dimensions: Dimensions {
            capacity: Some(Volume::from_ml(shape.capacity_ml)),
            mouth_bore: Length::from_mm(shape.mouth_mm),
            neck_bore: Some(Length::from_mm(shape.neck_bore_mm)),
            neck_length: Some(Length::from_mm(neck_mm)),
            body_diameter: Some(Length::from_mm(shape.body_mm)),
            shoulder_length: Some(Length::from_mm(shape.shoulder_mm)),
            ..Dimensions::default()
        },
        lip_wall: Some(Length::from_mm(shape.lip_mm)),
        measured_to: MeasuredTo::default(),
    })
    .ok()
}

impl Room {
    fn pitch_hz(&self, bottle: &Option<Bottle>) -> Option<f64> {
        let bottle = bottle.as_ref()?;
        let blown = Blown::with_gases(bottle, self.gases, self.lip_open).ok()?;
        Some(blown.fundamental(Volume::default()).ok()?.frequency.hz())
    }

    /// The neck with which this shape sounds as heard: a longer one sounds lower.
    fn neck_for(&self, shape: &Shape) -> Option<(f64, Bottle)> {
        let off = |ln_mm: f64| {
            let hz = self.pitch_hz(&shape_bottle(shape, ln_mm.exp()))?;
            Some((hz / shape.heard_hz).ln())
        };
        let (mut low, mut high) = (NECKS_MM.0.ln(), NECKS_MM.1.ln());
        // A long neck may hold more than the whole bottle: the longest that leaves a body.
        while off(high).is_none() {
            high -= 0.1;
            if high < low {
                return None;
            }
        }
        if off(low)? < 0.0 || off(high)? > 0.0 {
            return None;
        }
        for _ in 0..16 {
            let middle = 0.5 * (low + high);
            if off(middle)? > 0.0 {
                low = middle
            } else {
                high = middle
            }
        }
        let neck_mm = (0.5 * (low + high)).exp();
        Some((neck_mm, shape_bottle(shape, neck_mm)?))
    }
}

/// Bottles that sound as heard, each with what it counts.
#[derive(Default)]
struct Cloud {
    /// Neck's length, its bore, body, height, mm.
    points: Vec<[f64; 4]>,
    weights: Vec<f64>,
}

impl Cloud {
    fn add(&mut self, shape: &Shape, neck_mm: f64, bottle: &Bottle) {
        let height_mm = (bottle.bore().height() + bottle.floor()).mm();
        let likely_mm = NECK.0 * height_mm;
        let away = (neck_mm / likely_mm).ln() / NECK.1.ln();
        self.points
            .push([neck_mm, shape.neck_bore_mm, shape.body_mm, height_mm]);
        self.weights.push((-0.5 * away * away).exp());
    }

    /// How many count, by their weights.
    fn count(&self) -> f64 {
        let sum: f64 = self.weights.iter().sum();
        // Necks of more than three deviations are none.
        let least = 1e-2 * self.weights.len() as f64;
        if self.points.is_empty() || sum <= least {
            return 0.0;
        }
        let squares: f64 = self.weights.iter().map(|w| w * w).sum();
        sum * sum / squares
    }

    fn likely(&self, which: usize) -> Likely {
        let sum: f64 = self.weights.iter().sum();
        let mean = |f: &dyn Fn(f64) -> f64| {
            let each = self.points.iter().zip(&self.weights);
            each.map(|(p, w)| w * f(p[which])).sum::<f64>() / sum
        };
        let middle = mean(&|x| x);
        let square = mean(&|x| (x - middle).powi(2));
        Likely {
            value: Length::from_mm(middle),
            plus_minus: Length::from_mm(2.0 * square.sqrt()),
        }
    }
}

/// The deviate of the normal distribution with so much below it, within 3e-3: Hastings, Approximations for Digital Computers,
/// 1955, sheet 67; from memory, checked below.
fn normal(share: f64) -> f64 {
    let low = share.min(1.0 - share).max(1e-9);
    let t = (-2.0 * low.ln()).sqrt();
    let size = t - (2.30753 + 0.27061 * t) / (1.0 + 0.99229 * t + 0.04481 * t * t);
    if share < 0.5 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_deviates_are_those_of_the_tables() {
        for (share, z) in [(0.5, 0.0), (0.975, 1.96), (0.025, -1.96), (0.8413, 1.0)] {
            assert!(
                (normal(share) - z).abs() < 5e-3,
                "{share}: {}",
                normal(share)
            );
        }
    }
}
