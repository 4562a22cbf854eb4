//! The air column as a line of short slices, and its resonances.
//!
//! The column from the liquid (or the floor) to the mouth is cut into slices of two millimetres or less,
//! but for straight tubes, which are solved whole. Each is an inertance in series and a compliance in shunt, with the losses of its walls; where the
//! bore flares, the inertance is larger by a flare factor. A resonance is a complex root: its real part
//! is the frequency, its imaginary part the decay.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use super::gas::Gas;
use super::losses::BoundaryLayer;
use super::mouth::{Mouth, STEP_END_CORRECTION};
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

/// What does not change with frequency in one slice.
#[derive(Clone, Copy, Debug)]
struct Slice {
    /// Effective radius, m.
    radius_m: f64,
    /// ρ K dz / (π r0 r1), kg/m⁴.
    inertance: f64,
    /// Volume over ρc², m³/Pa.
    compliance: f64,
    /// (γ − 1) min(q, 50).
    thermal: f64,
    in_neck: bool,
    /// A straight tube of any length, taken whole: its slices would be alike, and their product is known.
    straight: bool,
}

impl Slice {
    /// Pressure and flow carried through a straight tube, from its series impedance and shunt admittance.
    ///
    /// The line equations solved: p' = p cosh Γ + q Z sinh Γ/Γ, q' = q cosh Γ + p Y sinh Γ/Γ, Γ = √(Z Y).
    fn through_tube(
        pressure: Complex64,
        flow: Complex64,
        series: Complex64,
        shunt: Complex64,
    ) -> (Complex64, Complex64) {
        let gamma = (series * shunt).sqrt();
        let growth = gamma.exp();
        let decay = growth.inv();
        let (cosh, sinh_over) = (0.5 * (growth + decay), 0.5 * (growth - decay) / gamma);
        (
            pressure * cosh + flow * series * sinh_over,
            flow * cosh + pressure * shunt * sinh_over,
        )
    }

    /// The same without losses, and how often the pressure changes sign on the way.
    fn through_lossless_tube(&self, omega: f64, pressure: f64, flow: f64) -> (f64, f64, usize) {
        let turn = omega * (self.inertance * self.compliance).sqrt();
        let (sin, cos) = turn.sin_cos();
        let push = omega * omega * self.inertance * flow / turn;
        let zeros_before = |phase: f64| (phase / PI - 0.5).floor();
        let phase = push.atan2(pressure);
        let changes = (zeros_before(phase + turn) - zeros_before(phase)) as usize;
        (
            pressure * cos - push * sin,
            flow * cos + self.compliance * pressure * sin / turn,
            changes,
        )
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
            mouth,
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
        (1..=count)
            .map_while(|order| self.resonance(order).ok())
            .collect()
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
        let mut high = PI * self.gases.body.sound_speed_m_s() / self.length_m / 8.0;
        // Far below any bottle's note, but not zero, where the tubes' terms are 0/0.
        let mut low = 1e-4 * high;
        while self.lossless_line(high).0 < order {
            low = high;
            high *= 1.5;
            if high > TAU * HIGHEST_HZ {
                return Err(ResonanceError::TooHigh { order });
            }
        }
        // Halve until the bracket holds this root alone, then close in by regula falsi (Illinois).
        while self.lossless_line(low).0 + 1 < order || self.lossless_line(high).0 > order {
            let middle = 0.5 * (low + high);
            if self.lossless_line(middle).0 < order {
                low = middle
            } else {
                high = middle
            }
            if high - low < 1e-9 * high {
                return Ok(high);
            }
        }
        Ok(illinois(|omega| self.lossless_line(omega).1, low, high))
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

    /// The complex root near a lossless one, by the secant method; none if it does not settle.
    fn lossy(&self, lossless: f64) -> Option<Complex64> {
        let mut previous = Complex64::from(lossless);
        let mut previous_value = self.end_pressure(previous);
        let mut current = Complex64::new(lossless * 0.99, lossless * 0.01);
        for _ in 0..40 {
            let value = self.end_pressure(current);
            let slope = value - previous_value;
            if slope.norm_sqr() == 0.0 {
                return Some(current);
            }
            let step = value * (current - previous) / slope;
            (previous, previous_value) = (current, value);
            current -= step;
            if !current.is_finite() {
                return None;
            }
            // The secant error after a step of 1e-7 is of the order of 1e-11: far below a thousandth of a cent.
            if step.norm_sqr() < 1e-14 * current.norm_sqr() {
                return Some(current);
            }
        }
        None
    }

    /// What is left of the pressure outside the mouth: zero at a resonance.
    fn end_pressure(&self, omega: Complex64) -> Complex64 {
        let i_omega = Complex64::I * omega;
        let body = Layers::new(omega, &self.gases.body);
        let neck = Layers::new(omega, &self.gases.neck);
        let mut pressure = Complex64::from(1.0);
        let mut flow = self.surface_admittance(omega);
        let mut at = (f64::NAN, false);
        let (mut viscous, mut thermal) = (Complex64::from(0.0), Complex64::from(0.0));
        for slice in &self.slices {
            if at != (slice.radius_m, slice.in_neck) {
                let layers = if slice.in_neck { &neck } else { &body };
                viscous = (1.0 - layers.viscous.share(slice.radius_m)).inv();
                thermal = layers.thermal.share(slice.radius_m);
                at = (slice.radius_m, slice.in_neck);
            }
            let series = i_omega * slice.inertance * viscous;
            let shunt = i_omega * slice.compliance * (1.0 + slice.thermal * thermal);
            if slice.straight {
                (pressure, flow) = Slice::through_tube(pressure, flow, series, shunt);
                continue;
            }
            flow += 0.5 * shunt * pressure;
            pressure += series * flow;
            flow += 0.5 * shunt * pressure;
        }
        pressure + self.mouth.impedance(&self.gases.outside, omega) * flow
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

/// The two boundary layers of one gas at one frequency.
struct Layers {
    viscous: BoundaryLayer,
    thermal: BoundaryLayer,
}

impl Layers {
    fn new(omega: Complex64, gas: &Gas) -> Self {
        Self {
            viscous: BoundaryLayer::new(omega, gas.kinematic_viscosity_m2_s()),
            thermal: BoundaryLayer::new(omega, gas.thermal_diffusivity_m2_s()),
        }
    }
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
fn slices(nodes: &[(f64, f64)], neck_foot_m: f64, gases: &Gases) -> Vec<Slice> {
    let widest_below = running_widest(nodes.iter());
    let mut widest_above = running_widest(nodes.iter().rev());
    widest_above.reverse();
    let between = |(index, pair): (usize, &[(f64, f64)])| {
        let ((low_m, r0), (high_m, r1)) = (pair[0], pair[1]);
        let height_m = (high_m - low_m).max(STEP_HEIGHT_M * (r1 - r0).abs().min(1.0));
        let slope = (r1 - r0) / height_m;
        let wall = (1.0 + slope * slope).sqrt();
        let widest_m = if slope <= 0.0 {
            widest_below[index]
        } else {
            widest_above[index + 1]
        };
        let radius_m = (r0 * r1).sqrt();
        let end = STEP_END_CORRECTION * (1.0 - 0.62 * (radius_m / widest_m).powi(3));
        let flare = 1.0 + (end + (1.0 - end) / (wall * wall)) * (wall - 1.0);
        let in_neck = 0.5 * (low_m + high_m) >= neck_foot_m;
        let gas = if in_neck { &gases.neck } else { &gases.body };
        Slice {
            radius_m,
            inertance: gas.density_kg_m3() * flare * height_m / (PI * r0 * r1),
            compliance: frustum_m3(r0, r1, height_m) / gas.bulk_modulus_pa(),
            thermal: (gas.gamma() - 1.0) * wall.min(STEEPEST_LOSS),
            in_neck,
            straight: r0 == r1,
        }
    };
    nodes.windows(2).enumerate().map(between).collect()
}

/// The widest radius met so far at each node.
fn running_widest<'a>(nodes: impl Iterator<Item = &'a (f64, f64)>) -> Vec<f64> {
    nodes
        .scan(0.0f64, |widest_m, &(_, radius_m)| {
            *widest_m = widest_m.max(radius_m);
            Some(*widest_m)
        })
        .collect()
}

/// The root of `value` between `low` and `high`, which it must change sign across.
fn illinois(value: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let (mut at_low, mut at_high) = (value(low), value(high));
    for _ in 0..100 {
        let middle = (low * at_high - high * at_low) / (at_high - at_low);
        let at_middle = value(middle);
        if at_middle.signum() == at_high.signum() {
            at_low *= 0.5;
        } else {
            (low, at_low) = (high, at_high);
        }
        (high, at_high) = (middle, at_middle);
        // A start for the lossy root needs no more than this.
        if (high - low).abs() < 1e-6 * high || at_middle == 0.0 {
            break;
        }
    }
    high
}
