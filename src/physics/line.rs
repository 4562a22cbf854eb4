//! One slice of the line that an air column is, and the wave that goes through it.

use std::f64::consts::PI;

use num_complex::Complex64;

/// A complex number that moves with the frequency, and how fast.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sloped {
    pub value: Complex64,
    /// By the angular frequency.
    pub slope: Complex64,
}

impl Sloped {
    #[inline]
    pub fn times(self, other: Self) -> Self {
        Self {
            value: self.value * other.value,
            slope: self.slope * other.value + self.value * other.slope,
        }
    }

    #[inline]
    pub fn plus(self, other: Self) -> Self {
        Self {
            value: self.value + other.value,
            slope: self.slope + other.slope,
        }
    }

    #[inline]
    pub fn scaled(self, by: f64) -> Self {
        Self {
            value: self.value * by,
            slope: self.slope * by,
        }
    }
}

/// Pressure and flow at one place of the line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wave {
    pub pressure: Sloped,
    pub flow: Sloped,
}

/// What does not change with frequency in one slice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slice {
    /// Effective radius, m.
    pub radius_m: f64,
    /// ρ K dz / (π r0 r1), kg/m⁴.
    pub inertance: f64,
    /// Volume over ρc², m³/Pa.
    pub compliance: f64,
    /// (γ − 1) min(q, 50).
    pub thermal: f64,
    pub in_neck: bool,
    /// A straight tube of any length, taken whole: its slices would be alike, and their product is known.
    pub straight: bool,
}

impl Slice {
    /// The wave carried through a straight tube, from its series impedance and shunt admittance.
    ///
    /// The line equations solved: p' = p cosh Γ + q Z sinh Γ/Γ, q' = q cosh Γ + p Y sinh Γ/Γ, Γ² = Z Y. The slopes
    /// follow from d cosh Γ/dΓ² = sinh Γ/2Γ and d(sinh Γ/Γ)/dΓ² = (cosh Γ − sinh Γ/Γ)/2Γ².
    pub fn through_tube(wave: Wave, series: Sloped, shunt: Sloped) -> Wave {
        let square = series.times(shunt);
        let gamma = square.value.sqrt();
        let growth = gamma.exp();
        let decay = growth.inv();
        let cosh = 0.5 * (growth + decay);
        let sinh_over = 0.5 * (growth - decay) / gamma;
        let cosh = Sloped {
            value: cosh,
            slope: 0.5 * sinh_over * square.slope,
        };
        let sinh_over = Sloped {
            value: sinh_over,
            slope: 0.5 * (cosh.value - sinh_over) / square.value * square.slope,
        };
        Wave {
            pressure: wave
                .pressure
                .times(cosh)
                .plus(wave.flow.times(series.times(sinh_over))),
            flow: wave
                .flow
                .times(cosh)
                .plus(wave.pressure.times(shunt.times(sinh_over))),
        }
    }

    /// The same without losses, and how often the pressure changes sign on the way.
    pub fn through_lossless_tube(&self, omega: f64, pressure: f64, flow: f64) -> (f64, f64, usize) {
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
