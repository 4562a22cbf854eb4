//! Sealed plastic under pressure, brought to the pitches that were heard from it.
//!
//! With n waves around, f² · (moving mass) = A + B p: A is the wall's own stiffness, B what tension adds. The model
//! knows both for a described bottle; a real one has its own A and B, and two pressures tell them. Both are held near
//! the model's by how sure it is, so that one pitch helps as well, and the doubt left at any pressure follows.
//!
//! ```
//! use ullage::physics::pressed::Pressed;
//! use ullage::physics::struck::StruckError;
//! use ullage::units::{Pressure, Volume};
//! let set = ullage::set::open("presets/plastic/set.toml")?;
//! let (bottle, spec) = (&set.kinds[0].bottle, set.source(&set.pours[0]).spec());
//! let fit = set.kinds[0].fits.pressed.ok_or("not heard at any pressure")?;
//! let pumped = Pressed::new(bottle, spec, fit, Volume::default())?;
//! let square = |bar| Ok::<_, StruckError>(pumped.at(Pressure::from_bar(bar))?.note.frequency.hz().powi(2));
//! let (first, second) = (square(1.0)? - square(0.5)?, square(1.5)? - square(1.0)?);
//! // Tension stiffens the wall in proportion to the pressure, so that the square of the pitch rises nearly in a straight
//! // line; it bends down only, since the wall moves in whichever shape is least stiff (Rayleigh).
//! assert!(second <= first && second > 0.9 * first);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::bottle::Bottle;
use super::struck::{
    ModeKey, PLAN_BAR, ShellMode, Struck, StruckError, StruckSpec, check_pressure,
};
use crate::units::{Frequency, Interval, Pressure, Volume};

/// The least: a breath of it, so that the bottle counts as capped.
const LEAST_PA: f64 = 10.0;
/// Doubt of the model before anything was heard, cents (one standard deviation): half of its ± three semitones.
const MODEL_CENTS: f64 = 150.0;
/// How well the pitch of a short plastic ring is heard, cents (one standard deviation): a guess; it rings a tenth of a second.
const HEARD_CENTS: f64 = 8.0;
/// How well a pump's gauge is read, bar (one standard deviation): a guess, half a mark of a common dial.
const GAUGE_BAR: f64 = 0.025;
/// What the law itself leaves, cents (one standard deviation): a guess; creep and warmth move plastic.
const LAW_CENTS: f64 = 12.0;
/// A heard pitch farther than this from the fit is not this bottle's, cents.
const LIMIT_CENTS: f64 = 120.0;
/// A factor on A or B farther from 1 than this is no wall near the description: 3.5 standard deviations of the model.
const FARTHEST: f64 = 0.6;
/// Width of a solved pressure, Pa.
const WIDTH_PA: f64 = 5.0;

/// A pitch heard at a pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardPressed {
    /// Above the air outside.
    pub gauge: Pressure,
    /// Liquid in it.
    pub fill: Volume,
    /// Density of that liquid, as warm as it was then, kg/m³.
    pub density_kg_m3: f64,
    /// The strongest partial.
    pub frequency: Frequency,
}

/// Why heard pressures make no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PressedError {
    /// No pitches.
    #[error("no pitch was heard at a pressure")]
    NothingHeard,
    /// Nothing near the description sounds like that.
    #[error(
        "{heard_hz} Hz was heard at {gauge_bar:.2} bar, but the fit is {cents:+.0} cents from that; the limit is {limit_cents} \
         cents: read the gauge again, or listen for the strongest partial"
    )]
    OutOfReach {
        /// The pressure.
        gauge_bar: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far the fit is above it.
        cents: f64,
        /// Farthest that is taken.
        limit_cents: f64,
    },
    /// No wall near the description gives these pitches together.
    #[error(
        "{heard_hz} Hz was heard at {gauge_bar:.2} bar, where the described bottle gives {cents:+.0} cents from that, and no wall \
         near it gives that beside what else was heard: read the gauge again, or listen for the strongest partial"
    )]
    Unlike {
        /// The pressure.
        gauge_bar: f64,
        /// The pitch.
        heard_hz: f64,
        /// How far the described bottle is above it.
        cents: f64,
    },
    /// It cannot be struck.
    #[error(transparent)]
    Struck(#[from] StruckError),
}

/// What was fitted: factors on the model's A and B, and how sure they are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PressedFit {
    /// Factors on A and on B; 1 and 1 for the model itself.
    factors: [f64; 2],
    /// Their variances and covariance: AA, AB, BB.
    spread: [f64; 3],
    /// How many pitches.
    heard: usize,
    /// How far the fit is from them, root mean square.
    residual: Interval,
}

impl Default for PressedFit {
    /// The model's own bottle, ± three semitones at every pressure.
    fn default() -> Self {
        // Apart from each other: a thicker wall raises A and, by its mass, lowers B; a stiffer one raises A alone.
        let variance = square_share(MODEL_CENTS);
        Self {
            factors: [1.0, 1.0],
            spread: [variance, 0.0, variance],
            heard: 0,
            residual: Interval::default(),
        }
    }
}

/// Variance of a stiffness whose pitch is off by `cents`: (2 ln 2 · cents / 1200)².
fn square_share(cents: f64) -> f64 {
    (2.0 * std::f64::consts::LN_2 * cents / 1200.0).powi(2)
}

impl PressedFit {
    /// How many pitches it rests on.
    #[must_use]
    pub fn heard(&self) -> usize {
        self.heard
    }

    /// How far it is from them, root mean square.
    #[must_use]
    pub fn residual(&self) -> Interval {
        self.residual
    }

    /// Fits to pitches heard from `bottle`, struck as `spec` says, each with its own liquid.
    ///
    /// Least squares with the model as the prior (150 cents, one standard deviation) and each pitch heard to 8 cents
    /// at a gauge read to 0.025 bar: two pressures a bar apart leave about ± 30 cents between them.
    ///
    /// # Errors
    /// Nothing heard, pressure where it is refused, or pitches that nothing near the description gives.
    pub fn new(
        bottle: &Bottle,
        heard: &[HeardPressed],
        spec: StruckSpec,
    ) -> Result<Self, PressedError> {
        if heard.is_empty() {
            return Err(PressedError::NothingHeard);
        }
        let mut fit = Self::default();
        let mut points = Vec::new();
        for h in heard {
            let density_kg_m3 = h.density_kg_m3;
            let then = StruckSpec {
                density_kg_m3,
                ..spec
            };
            let pressed = Pressed::model(bottle, then, h.fill)?;
            let point = pressed.model_at(h.gauge)?;
            let slope = pressed.model_slope_cents_per_bar(h.gauge)?;
            let heard_ratio = (h.frequency / point.note.frequency).powi(2);
            let noise_cents = HEARD_CENTS.hypot(GAUGE_BAR * slope);
            fit.learn(
                point.share,
                heard_ratio,
                square_share(noise_cents) * heard_ratio.powi(2),
            );
            points.push((point, h));
        }
        if fit.factors.iter().any(|f| (f - 1.0).abs() > FARTHEST) {
            let off = |(point, h): &(Point, &HeardPressed)| {
                point.note.frequency.interval_above(h.frequency).cents()
            };
            let worst = points
                .iter()
                .max_by(|a, b| off(a).abs().total_cmp(&off(b).abs()));
            if let Some(worst) = worst {
                return Err(PressedError::Unlike {
                    gauge_bar: worst.1.gauge.bar(),
                    heard_hz: worst.1.frequency.hz(),
                    cents: off(worst),
                });
            }
        }
        let mut squares = 0.0;
        for (point, h) in &points {
            let cents = fit.corrected(point).interval_above(h.frequency).cents();
            if cents.abs() > LIMIT_CENTS {
                return Err(PressedError::OutOfReach {
                    gauge_bar: h.gauge.bar(),
                    heard_hz: h.frequency.hz(),
                    cents,
                    limit_cents: LIMIT_CENTS,
                });
            }
            squares += cents * cents;
        }
        fit.heard = heard.len();
        fit.residual = Interval::from_cents((squares / heard.len() as f64).sqrt());
        Ok(fit)
    }

    /// One more measured ratio of f² to the model's, where tension is `share` of the stiffness: a Kalman step.
    fn learn(&mut self, share: f64, ratio: f64, noise: f64) {
        let weight = [1.0 - share, share];
        let [aa, ab, bb] = self.spread;
        let reach = [
            aa * weight[0] + ab * weight[1],
            ab * weight[0] + bb * weight[1],
        ];
        let variance = reach[0] * weight[0] + reach[1] * weight[1] + noise;
        let surprise = ratio - self.ratio(share);
        for (factor, reach) in self.factors.iter_mut().zip(reach) {
            *factor += surprise * reach / variance;
        }
        self.spread = [
            aa - reach[0] * reach[0] / variance,
            ab - reach[0] * reach[1] / variance,
            bb - reach[1] * reach[1] / variance,
        ];
    }

    /// f² over the model's.
    fn ratio(&self, share: f64) -> f64 {
        self.factors[0] * (1.0 - share) + self.factors[1] * share
    }

    fn corrected(&self, point: &Point) -> Frequency {
        point.note.frequency * self.ratio(point.share).max(1e-3).sqrt()
    }

    /// ± cents (95 %) where tension is `share` of the stiffness and a bar more moves the pitch by `slope`.
    fn doubt_cents(&self, share: f64, slope_cents_per_bar: f64) -> f64 {
        if self.heard == 0 {
            return 2.0 * MODEL_CENTS;
        }
        let [aa, ab, bb] = self.spread;
        let (a, b) = (1.0 - share, share);
        let variance = a * a * aa + 2.0 * a * b * ab + b * b * bb;
        let ratio = self.ratio(share).max(1e-3);
        let fitted_cents =
            variance.max(0.0).sqrt() / ratio * 1200.0 / (2.0 * std::f64::consts::LN_2);
        let gauge_cents = GAUGE_BAR * slope_cents_per_bar;
        2.0 * (fitted_cents.powi(2) + gauge_cents.powi(2) + LAW_CENTS.powi(2)).sqrt()
    }
}

/// The model at one pressure.
#[derive(Clone, Debug)]
struct Point {
    note: ShellMode,
    /// Share of its stiffness that is tension.
    share: f64,
}

/// What a sealed bottle gives at a pressure.
#[derive(Clone, Debug, PartialEq)]
pub struct PressedNote {
    /// Above the air outside.
    pub gauge: Pressure,
    /// The strongest partial.
    pub note: ShellMode,
    /// Every partial, the lowest first.
    pub partials: Vec<ShellMode>,
    /// How far the pitch rises for a bar more.
    pub per_bar: Interval,
    /// How sure it is (95 %).
    pub plus_minus: Interval,
}

/// A sealed plastic bottle with a fill in it, at any pressure.
#[derive(Clone, Debug)]
pub struct Pressed<'a> {
    bottle: &'a Bottle,
    spec: StruckSpec,
    fit: PressedFit,
    fill: Volume,
}

impl<'a> Pressed<'a> {
    /// `bottle` struck as `spec` says but for its pressure, with what was learnt by `fit`.
    ///
    /// # Errors
    /// Anything but plastic.
    pub fn new(
        bottle: &'a Bottle,
        spec: StruckSpec,
        fit: PressedFit,
        fill: Volume,
    ) -> Result<Self, StruckError> {
        check_pressure(bottle.material(), Pressure::from_pa(LEAST_PA))?;
        Ok(Self {
            bottle,
            spec,
            fit,
            fill,
        })
    }

    /// Liquid in it.
    #[must_use]
    pub fn fill(&self) -> Volume {
        self.fill
    }

    fn model(bottle: &'a Bottle, spec: StruckSpec, fill: Volume) -> Result<Self, StruckError> {
        Self::new(bottle, spec, PressedFit::default(), fill)
    }

    fn struck(&self, gauge: Pressure) -> Result<Struck<'a>, StruckError> {
        let gauge = gauge.max(Pressure::from_pa(LEAST_PA));
        Struck::new(self.bottle, StruckSpec { gauge, ..self.spec })
    }

    fn model_at(&self, gauge: Pressure) -> Result<Point, StruckError> {
        // Negative pressure and too much of it are refused as they were asked.
        check_pressure(self.bottle.material(), gauge)?;
        let struck = self.struck(gauge)?;
        let note = struck.note(self.fill)?;
        let slack = struck.slack_pitch(note.key(), self.fill)?;
        let taut = struck.pitch_of(note.key(), self.fill)?;
        Ok(Point {
            share: (1.0 - (slack / taut).powi(2)).clamp(0.0, 1.0),
            note,
        })
    }

    fn model_slope_cents_per_bar(&self, gauge: Pressure) -> Result<f64, StruckError> {
        Ok(self.slope(gauge, self.model_at(gauge)?.note.key())?.cents())
    }

    /// Rise of a partial for a bar more.
    fn slope(&self, gauge: Pressure, key: ModeKey) -> Result<Interval, StruckError> {
        let step = Pressure::from_pa(2_000.0);
        let low = (gauge - step).max(Pressure::from_pa(LEAST_PA));
        let pitch = |gauge: Pressure| {
            let spec = StruckSpec { gauge, ..self.spec };
            Struck::with_waves(self.bottle, spec, [key.n])?.pitch_of(key, self.fill)
        };
        let rise = pitch(low + step)?.interval_above(pitch(low)?);
        Ok(rise * (1.0 / step.bar()))
    }

    /// The note at a pressure, without what is less than a note.
    ///
    /// # Errors
    /// A pressure that is refused, a fill that does not go in.
    pub fn pitch(&self, gauge: Pressure) -> Result<(Frequency, u32), StruckError> {
        let point = self.model_at(gauge)?;
        Ok((self.fit.corrected(&point), point.note.n))
    }

    /// Everything at a pressure.
    ///
    /// # Errors
    /// As [`Self::pitch`].
    pub fn at(&self, gauge: Pressure) -> Result<PressedNote, StruckError> {
        let point = self.model_at(gauge)?;
        let struck = self.struck(gauge)?;
        let partials = struck.modes(self.fill)?;
        let note = struck.note_of(&partials)?;
        let per_bar = self.slope(gauge, note.key())?;
        let raised = self.fit.ratio(point.share).max(1e-3).sqrt();
        let moved = |mode: &ShellMode| ShellMode {
            frequency: mode.frequency * raised,
            ..mode.clone()
        };
        Ok(PressedNote {
            gauge,
            note: moved(note),
            partials: partials.iter().map(moved).collect(),
            per_bar,
            plus_minus: Interval::from_cents(self.fit.doubt_cents(point.share, per_bar.cents())),
        })
    }

    /// The pressure of which `target` is the strongest partial, no more than 2.4 bar.
    ///
    /// # Errors
    /// [`StruckError::OutOfReach`] with what the bottle reaches, also for a note that is jumped over where another
    /// number of waves becomes the strongest.
    pub fn pressure_for(&self, target: Frequency) -> Result<Pressure, StruckError> {
        let (mut low_pa, mut high_pa) = (LEAST_PA, Pressure::from_bar(PLAN_BAR).pa());
        let pitch = |pa: f64| Ok::<_, StruckError>(self.pitch(Pressure::from_pa(pa))?.0);
        let (lowest, highest) = (pitch(low_pa)?, pitch(high_pa)?);
        let out_of_reach = StruckError::OutOfReach {
            target_hz: target.hz(),
            lowest_hz: lowest.hz(),
            highest_hz: highest.hz(),
        };
        let off = |f: Frequency| f.interval_above(target).cents();
        let (mut low_cents, mut high_cents) = (off(lowest), off(highest));
        if low_cents > 0.0 || high_cents < 0.0 {
            return Err(out_of_reach);
        }
        // Regula falsi with a halving every other round: jumps between numbers of waves stall it otherwise.
        let mut round = 0;
        while high_pa - low_pa > WIDTH_PA && low_cents < -0.005 && high_cents > 0.005 {
            round += 1;
            let share = if round % 2 == 0 {
                0.5
            } else {
                (-low_cents / (high_cents - low_cents)).clamp(0.01, 0.99)
            };
            let middle_pa = low_pa + (high_pa - low_pa) * share;
            let cents = off(pitch(middle_pa)?);
            if cents < 0.0 {
                (low_pa, low_cents) = (middle_pa, cents)
            } else {
                (high_pa, high_cents) = (middle_pa, cents)
            }
        }
        let (pa, cents) = if low_cents.abs() < high_cents.abs() {
            (low_pa, low_cents)
        } else {
            (high_pa, high_cents)
        };
        if cents.abs() > 1.0 {
            return Err(out_of_reach);
        }
        Ok(Pressure::from_pa(pa))
    }
}
