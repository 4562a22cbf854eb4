//! The air column as a line of short slices, and its resonances.
//!
//! The column from the liquid (or the floor) to the mouth is cut into slices of two millimetres or less,
//! but for straight tubes, which are solved whole. Each is an inertance in series and a compliance in shunt,
//! with the losses of its walls; where the bore flares, the inertance is larger by a flare factor. A resonance
//! is a complex root: its real part is the frequency, its imaginary part the decay.
//!
//! A tube closed at its foot is a pan pipe: a quarter of a wave stands in it, and its overtones are the odd ones.
//!
//! ```
//! use ullage::physics::air::Room;
//! use ullage::physics::mouth::Mouth;
//! use ullage::physics::profile::Profile;
//! use ullage::physics::resonance::{AirColumn, Gases};
//! use ullage::units::Length;
//! let air = Room::default().gas()?;
//! let pipe = Profile::from_diameters_mm(&[[0.0, 14.0], [190.0, 14.0]])?;
//! let mouth = Mouth::new(pipe.mouth_radius(), Length::default(), 1.0)?;
//! let heard = AirColumn::new(&pipe, Length::default(), pipe.height(), Gases::all(air), mouth)?.resonances(2);
//! let quarter_wave_hz = air.sound_speed_m_s() / (4.0 * (0.190 + 0.6133 * 0.007));
//! // Kirchhoff, 1868: drag and heat at the walls slow sound by the depths of their layers over the tube's diameter.
//! let depth_m = |m2_s: f64| (2.0 * m2_s / (std::f64::consts::TAU * quarter_wave_hz)).sqrt();
//! let heat_m = (air.gamma() - 1.0) * depth_m(air.thermal_diffusivity_m2_s());
//! let slowed = 1.0 - (depth_m(air.kinematic_viscosity_m2_s()) + heat_m) / 0.014;
//! assert!((heard[0].frequency.hz() / (quarter_wave_hz * slowed) - 1.0).abs() < 0.001); // the next term is its square
//! assert!((heard[1].frequency / heard[0].frequency - 3.0).abs() < 0.03); // higher notes are slowed less
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use super::flare;
use super::gas::Gas;
use super::line::{Slice, Sloped, Wave};
use super::losses::{BoundaryLayer, HEAVIER, SHARE, TERMS};
use super::mouth::Mouth;
use super::profile::{BorePoint, Profile, frustum_m3};
use crate::units::{Frequency, Length};

/// Longest slice, m.
const SLICE_M: f64 = 2e-3;
/// Largest change of radius across a slice, as a share of the smaller radius: a step is cut this finely.
const SLICE_FLARE: f64 = 0.1;
/// The height given to a step, whose points lie at one height, m.
const STEP_HEIGHT_M: f64 = 1e-5;
/// Steepest wall, as the ratio of its length to its height, whose thermal loss is still counted in full.
const STEEPEST_LOSS: f64 = 50.0;
/// Least air left above the liquid, m: less is not a bottle that sounds.
const MIN_AIR_M: f64 = 1e-3;
/// Roots nearer than this, as a share, are one: Newton's method settles to a hundred-millionth.
const SAME: f64 = 1e-6;
/// Highest frequency searched, Hz.
const HIGHEST_HZ: f64 = 20_000.0;

/// Why a column has no such resonance.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ResonanceError {
    /// The liquid reaches the mouth.
    #[error("a level of {level_mm:.1} mm leaves no air below a mouth at {height_mm:.1} mm")]
    NoAir {
        /// Level above the floor.
        level_mm: f64,
        /// Height of the mouth.
        height_mm: f64,
    },
    /// There are not that many resonances in the audible range.
    #[error("resonance {order} lies above {HIGHEST_HZ} Hz")]
    TooHigh {
        /// Counted from one.
        order: usize,
    },
    /// The root was lost: the resonance is damped too strongly to be one.
    #[error("resonance {order} near {near_hz:.0} Hz is damped too strongly to ring")]
    Overdamped {
        /// Counted from one.
        order: usize,
        /// Where it would be without losses.
        near_hz: f64,
    },
}

/// One resonance of the air in a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resonance {
    /// The frequency at which it rings.
    pub frequency: Frequency,
    /// 2π times the energy held over the energy lost in one period.
    pub quality: f64,
}

/// The gases that a column meets: in the body, in the neck, and outside the mouth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gases {
    /// Above the liquid up to the neck.
    pub body: Gas,
    /// From the foot of the neck to the mouth.
    pub neck: Gas,
    /// The room's.
    pub outside: Gas,
}

impl Gases {
    /// One gas everywhere.
    #[must_use]
    pub fn all(gas: Gas) -> Self {
        Self {
            body: gas,
            neck: gas,
            outside: gas,
        }
    }
}

/// The air of one bottle at one filling, ready to be solved.
#[derive(Clone, Debug)]
pub struct AirColumn {
    slices: Vec<Slice>,
    gases: Gases,
    mouth: Mouth,
    surface_radius_m: f64,
    length_m: f64,
}

impl AirColumn {
    /// The column above `level` in `bore`, in `gases` with the neck's from `neck_foot` up.
    ///
    /// # Errors
    /// [`ResonanceError::NoAir`] if less than a millimetre of air is left.
    pub fn new(
        bore: &Profile,
        level: Length,
        neck_foot: Length,
        gases: Gases,
        mouth: Mouth,
    ) -> Result<Self, ResonanceError> {
        let (level_m, height_m) = (level.m().max(0.0), bore.height().m());
        if height_m - level_m < MIN_AIR_M {
            return Err(ResonanceError::NoAir {
                level_mm: level.mm(),
                height_mm: bore.height().mm(),
            });
        }
        let nodes = cut(bore, level_m, neck_foot.m());
        let slices = slices(&nodes, neck_foot.m(), &gases);
        Ok(Self {
            slices,
            gases,
            mouth: mouth.on(bore),
            surface_radius_m: nodes[0].1,
            length_m: height_m - level_m,
        })
    }

    /// The lowest resonance: the note that the bottle gives.
    ///
    /// # Errors
    /// [`ResonanceError::TooHigh`] or [`ResonanceError::Overdamped`].
    pub fn fundamental(&self) -> Result<Resonance, ResonanceError> {
        self.resonance(1)
    }

    /// The lowest `count` resonances, fewer if the next ones are out of hearing or do not ring.
    #[must_use]
    pub fn resonances(&self, count: usize) -> Vec<Resonance> {
        let mut found: Vec<Resonance> = Vec::with_capacity(count);
        for order in 1.. {
            if found.len() == count {
                break;
            }
            let Ok(next) = self.resonance(order) else {
                break;
            };
            // Losses can lead two that lie close together to one root: it is one resonance.
            let above = |last: &Resonance| next.frequency.hz() > last.frequency.hz() * (1.0 + SAME);
            if found.last().is_none_or(above) {
                found.push(next);
            }
        }
        found
    }

    /// Resonance number `order`, counted from one.
    ///
    /// # Errors
    /// [`ResonanceError::TooHigh`] or [`ResonanceError::Overdamped`].
    pub fn resonance(&self, order: usize) -> Result<Resonance, ResonanceError> {
        let lossless = self.lossless(order)?;
        let overdamped = || ResonanceError::Overdamped {
            order,
            near_hz: lossless / TAU,
        };
        let root = self.lossy(lossless).ok_or_else(overdamped)?;
        if !(root.re > 0.0 && root.im > 0.0) || (root.re / lossless).ln().abs() > 0.3 {
            return Err(overdamped());
        }
        Ok(Resonance {
            frequency: Frequency::from_hz(root.re / TAU),
            quality: root.re / (2.0 * root.im),
        })
    }

    /// Angular frequency of resonance `order` without losses, rad/s.
    ///
    /// The number of resonances below a frequency is the number of sign changes of pressure along the
    /// line, so the wanted one is bracketed by counting and cannot be mistaken for its neighbour.
    fn lossless(&self, order: usize) -> Result<f64, ResonanceError> {
        // Far below any bottle's note, but not zero, where the tubes' terms are 0/0. Nothing flows: the pressure stays 1.
        let mut low = 1e-4 * PI * self.gases.body.sound_speed_m_s() / self.length_m / 8.0;
        let mut at_low = (0, 1.0);
        let mut high = self.above_first();
        let mut at_high = self.lossless_line(high);
        while at_high.0 < order {
            (low, at_low) = (high, at_high);
            high *= 1.5;
            if high.is_nan() || high > TAU * HIGHEST_HZ {
                return Err(ResonanceError::TooHigh { order });
            }
            at_high = self.lossless_line(high);
        }
        // Halve until the bracket holds this root alone, then close in by regula falsi (Illinois).
        while at_low.0 + 1 < order || at_high.0 > order {
            let middle = 0.5 * (low + high);
            let at_middle = self.lossless_line(middle);
            if at_middle.0 < order {
                (low, at_low) = (middle, at_middle);
            } else {
                (high, at_high) = (middle, at_middle);
            }
            if high - low < 1e-9 * high {
                return Ok(high);
            }
        }
        // By the square of the frequency the end pressure is nearly a straight line.
        let end = |square: f64| self.lossless_line(square.sqrt()).1;
        let square = illinois(end, (low * low, at_low.1), (high * high, at_high.1));
        Ok(square.sqrt())
    }

    /// An angular frequency a little above the lowest resonance, rad/s: Rayleigh's quotient of a flow that grows with the
    /// volume below, which is a bottle's but for the last per cent and a straight tube's but for ten.
    fn above_first(&self) -> f64 {
        let (mut below, mut squares) = (0.0, 0.0);
        for slice in &self.slices {
            let next = below + slice.compliance;
            squares += slice.inertance * (below * below + below * next + next * next) / 3.0;
            below = next;
        }
        // A mouth that was shortened more than the air below it is long would make it less than nothing.
        let inside = squares;
        squares += self.mouth.inertance(&self.gases.outside, 0.0) * below * below;
        1.001 * (below / squares.max(0.1 * inside)).sqrt()
    }

    /// Sign changes of pressure along the line without losses, and the pressure left at its end.
    fn lossless_line(&self, omega: f64) -> (usize, f64) {
        let square = omega * omega;
        let (mut pressure, mut flow, mut changes) = (1.0f64, 0.0f64, 0usize);
        let mut fall = |pressure: f64, by: f64| {
            let next = pressure - by;
            changes += usize::from((next <= 0.0) != (pressure <= 0.0));
            next
        };
        let mut in_tubes = 0;
        for slice in &self.slices {
            if slice.straight {
                let crossed;
                (pressure, flow, crossed) = slice.through_lossless_tube(omega, pressure, flow);
                in_tubes += crossed;
                continue;
            }
            flow += 0.5 * slice.compliance * pressure;
            pressure = fall(pressure, square * slice.inertance * flow);
            flow += 0.5 * slice.compliance * pressure;
        }
        pressure = fall(
            pressure,
            square * self.mouth.inertance(&self.gases.outside, omega) * flow,
        );
        (changes + in_tubes, pressure)
    }

    /// The complex root near a lossless one, by Newton's method; none if it does not settle.
    fn lossy(&self, lossless: f64) -> Option<Complex64> {
        // Losses lower the pitch as much as they damp it; a hundredth is a middling bottle's.
        let mut current = Complex64::new(lossless * 0.99, lossless * 0.01);
        let mut previous_share = f64::INFINITY;
        for _ in 0..40 {
            let end = self.end_pressure(current);
            let step = end.value / end.slope;
            current -= step;
            if !current.is_finite() {
                return None;
            }
            // The error is squared in each step, so that the next one can be told from the last two. Left out when it
            // is a hundred-millionth: 2e-5 cents.
            let share = (step.norm_sqr() / current.norm_sqr()).sqrt();
            let next = share * (share / previous_share).powi(2);
            if share < 1e-8 || (share < 0.1 * previous_share && next < 1e-8 && share < 1e-3) {
                return Some(current);
            }
            previous_share = share;
        }
        None
    }

    /// What is left of the pressure outside the mouth: zero at a resonance.
    fn end_pressure(&self, omega: Complex64) -> Sloped {
        let i_omega = Complex64::I * omega;
        let body = Layers::new(omega, &self.gases.body);
        let neck = Layers::new(omega, &self.gases.neck);
        let surface = self.surface_admittance(omega);
        let still = Complex64::from(0.0);
        let mut wave = Wave {
            pressure: Sloped {
                value: Complex64::from(1.0),
                slope: still,
            },
            // It grows with the root of the frequency.
            flow: Sloped {
                value: surface,
                slope: 0.5 * surface / omega,
            },
        };
        let mut at = None;
        let nothing = Sloped {
            value: still,
            slope: still,
        };
        // Per inertance and per compliance: i ω / (1 − F), i ω, and i ω F.
        let (mut viscous, mut thermal) = (nothing, nothing);
        let plain = Sloped {
            value: i_omega,
            slope: Complex64::I,
        };
        for slice in &self.slices {
            let here = Some((slice.radius_m, slice.in_neck));
            if at != here {
                let layers = if slice.in_neck { &neck } else { &body };
                (viscous, thermal) = layers.at(slice.radius_m);
                at = here;
            }
            let series = viscous.scaled(slice.inertance);
            let shunt = plain
                .plus(thermal.scaled(slice.thermal))
                .scaled(slice.compliance);
            if slice.straight {
                wave = Slice::through_tube(wave, series, shunt);
                continue;
            }
            let half = shunt.scaled(0.5);
            wave.flow = wave.flow.plus(half.times(wave.pressure));
            wave.pressure = wave.pressure.plus(series.times(wave.flow));
            wave.flow = wave.flow.plus(half.times(wave.pressure));
        }
        let outside = self.mouth_impedance(omega);
        wave.pressure.plus(outside.times(wave.flow))
    }

    /// The mouth's impedance; its slope by a small step, as it is met once only.
    fn mouth_impedance(&self, omega: Complex64) -> Sloped {
        let step = 1e-6 * omega;
        let value = self.mouth.impedance(&self.gases.outside, omega);
        let beyond = self.mouth.impedance(&self.gases.outside, omega + step);
        Sloped {
            value,
            slope: (beyond - value) / step,
        }
    }

    /// Thermal loss at the flat floor or liquid, as an admittance, m³/(Pa s).
    fn surface_admittance(&self, omega: Complex64) -> Complex64 {
        let gas = &self.gases.body;
        let area_m2 = PI * self.surface_radius_m * self.surface_radius_m;
        let depth_m = (2.0 * gas.thermal_diffusivity_m2_s() / omega).sqrt();
        Complex64::I * omega / gas.bulk_modulus_pa()
            * area_m2
            * (gas.gamma() - 1.0)
            * depth_m
            * Complex64::new(0.5, -0.5)
    }
}

/// The two boundary layers of one gas at one frequency, each as a series in one over the radius, which costs a slice a
/// quarter of what the layer function does.
struct Layers {
    viscous: BoundaryLayer,
    thermal: BoundaryLayer,
    heavier: [Sloped; TERMS],
    softer: [Sloped; TERMS],
    omega: Complex64,
}

impl Layers {
    fn new(omega: Complex64, gas: &Gas) -> Self {
        let viscous = BoundaryLayer::new(omega, gas.kinematic_viscosity_m2_s());
        let thermal = BoundaryLayer::new(omega, gas.thermal_diffusivity_m2_s());
        Self {
            heavier: series(omega, viscous.depth_m(), &HEAVIER),
            softer: series(omega, thermal.depth_m(), &SHARE),
            viscous,
            thermal,
            omega,
        }
    }

    /// iω/(1 − F), a unit of inertance with the drag of the walls, and iωF, what their heat adds to a unit of compliance.
    #[inline]
    fn at(&self, radius_m: f64) -> (Sloped, Sloped) {
        if self.viscous.is_thin_in(radius_m) && self.thermal.is_thin_in(radius_m) {
            let per_m = radius_m.recip();
            return (sum(&self.heavier, per_m), sum(&self.softer, per_m));
        }
        let i_omega = Sloped {
            value: Complex64::I * self.omega,
            slope: Complex64::I,
        };
        let half_period = 0.5 * self.omega.inv();
        let (share, steepness) = self.viscous.share_and_steepness(radius_m);
        let value = (1.0 - share).inv();
        let slope = value * value * steepness * half_period;
        let heavier = i_omega.times(Sloped { value, slope });
        let (value, steepness) = self.thermal.share_and_steepness(radius_m);
        let slope = steepness * half_period;
        (heavier, i_omega.times(Sloped { value, slope }))
    }
}

/// iω times a series in the depth over the radius, the depth taken into its terms: it falls with the root of ω.
fn series(omega: Complex64, depth_m: Complex64, terms: &[f64; TERMS]) -> [Sloped; TERMS] {
    let mut power = Complex64::I;
    let mut order = 0.0;
    terms.map(|term| {
        let slope = term * power * (1.0 - 0.5 * order);
        let value = term * power * omega;
        power *= depth_m;
        order += 1.0;
        Sloped { value, slope }
    })
}

/// A series at one over the radius.
#[inline]
fn sum(terms: &[Sloped; TERMS], per_m: f64) -> Sloped {
    let mut sum = terms[TERMS - 1];
    for term in terms[..TERMS - 1].iter().rev() {
        sum = sum.scaled(per_m).plus(*term);
    }
    sum
}

/// Heights and radii of the cuts from the level to the mouth, m. Where the bore is straight it is cut at
/// the foot of the neck only.
fn cut(bore: &Profile, level_m: f64, neck_foot_m: f64) -> Vec<(f64, f64)> {
    let start_m = bore.radius_at(Length::from_m(level_m)).m();
    let mut nodes = vec![(level_m, start_m)];
    let above = |p: &&BorePoint| p.height_m > level_m || (p.height_m == 0.0 && level_m == 0.0);
    for point in bore.points().iter().filter(above) {
        let (low_m, low_radius_m) = nodes[nodes.len() - 1];
        let height_m = (point.height_m - low_m).max(0.0);
        let flare_m = point.radius_m - low_radius_m;
        if height_m == 0.0 && flare_m == 0.0 {
            continue;
        }
        if flare_m == 0.0 {
            if low_m < neck_foot_m && neck_foot_m < point.height_m {
                nodes.push((neck_foot_m, point.radius_m));
            }
            nodes.push((point.height_m, point.radius_m));
            continue;
        }
        let by_height = height_m / SLICE_M;
        let by_flare = flare_m.abs() / (SLICE_FLARE * low_radius_m.min(point.radius_m));
        let pieces = by_height.max(by_flare).ceil().max(1.0) as usize;
        for piece in 1..=pieces {
            let share = piece as f64 / pieces as f64;
            nodes.push((low_m + height_m * share, low_radius_m + flare_m * share));
        }
    }
    nodes
}

/// The slices between `nodes`.
///
/// The flare factor K is 1 + s²/2 for a gentle slope s (slender-duct theory) and integrates to a
/// flanged end in a finite pipe across a sharp step. The 1/q² that blends the two was fitted to the
/// finite-element values of `tests/data/bottles_fem.csv`, which the model then meets to 2.2 cents rms.
/// What a slice's wide side is like, and how that changes K, is in [`super::flare`].
fn slices(nodes: &[(f64, f64)], neck_foot_m: f64, gases: &Gases) -> Vec<Slice> {
    let flared = flare::factors(nodes, STEP_HEIGHT_M);
    let between = |(index, pair): (usize, &[(f64, f64)])| {
        let ((low_m, r0), (high_m, r1)) = (pair[0], pair[1]);
        let height_m = (high_m - low_m).max(STEP_HEIGHT_M * (r1 - r0).abs().min(1.0));
        let slope = (r1 - r0) / height_m;
        let wall = (1.0 + slope * slope).sqrt();
        let radius_m = (r0 * r1).sqrt();
        let in_neck = 0.5 * (low_m + high_m) >= neck_foot_m;
        let gas = if in_neck { &gases.neck } else { &gases.body };
        Slice {
            radius_m,
            inertance: gas.density_kg_m3() * flared[index] * height_m / (PI * r0 * r1),
            compliance: frustum_m3(r0, r1, height_m) / gas.bulk_modulus_pa(),
            thermal: (gas.gamma() - 1.0) * wall.min(STEEPEST_LOSS),
            in_neck,
            straight: r0 == r1,
        }
    };
    nodes.windows(2).enumerate().map(between).collect()
}

/// The root of `value` between two places and the values there, which must be of unlike sign.
fn illinois(
    value: impl Fn(f64) -> f64,
    (mut low, mut at_low): (f64, f64),
    (mut high, mut at_high): (f64, f64),
) -> f64 {
    for _ in 0..100 {
        let middle = (low * at_high - high * at_low) / (at_high - at_low);
        let at_middle = value(middle);
        if at_middle.signum() == at_high.signum() {
            at_low *= 0.5;
        } else {
            (low, at_low) = (high, at_high);
        }
        (high, at_high) = (middle, at_middle);
        // A start for the lossy root needs no more than this: losses move it by a hundred times as much.
        if (high - low).abs() < 2e-4 * high || at_middle == 0.0 {
            break;
        }
    }
    high
}
