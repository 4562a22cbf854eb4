//! The open end: how the mouth loads the air column, and what lips over part of it do.
//!
//! The gas here is that of the room, not of the bottle.
//!
//! ```
//! use ullage::physics::mouth::Mouth;
//! use ullage::units::Length;
//! let radius = Length::from_mm(9.0);
//! let in_radii = |wall_mm, open_share| -> Result<f64, Box<dyn std::error::Error>> {
//!     let mouth = Mouth::new(radius, Length::from_mm(wall_mm), open_share)?;
//!     Ok(mouth.end_correction_m(0.0) / radius.m())
//! };
//! let (bare, glass, hooded) = (in_radii(0.0, 1.0)?, in_radii(4.0, 1.0)?, in_radii(4.0, 0.5)?);
//! assert!((bare - 0.6133).abs() < 1e-4); // a pipe without a wall: Levine & Schwinger, 1948
//! assert!(bare < glass && glass < 0.8216); // a wide flange: Nomura et al., 1960
//! assert!(hooded > glass); // lips over half of it hold more air, and lower the note
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

use num_complex::Complex64;

use super::gas::Gas;
use super::profile::{BorePoint, Profile};
use crate::units::Length;

/// Flanged end correction of a step inside a tube at low frequency, in radii of the smaller side.
pub(crate) const STEP_END_CORRECTION: f64 = 0.82;

/// Viscous resistance of the lip, in surface resistances √(2 μ ρ ω) over the mouth's area. Fitted to the
/// finite-element Q of eight bottles (`tests/data/bottles_fem.csv`); textbooks give 2 to 4 (from memory).
const LIP_RESISTANCE: f64 = 2.4;

/// Depth of a wide flange, in radii of the mouth, at which it does half: so that it is an image further down.
const IMAGE_DEPTH: f64 = 0.65;

/// The smallest share of the mouth that lips may leave open.
pub const MIN_OPEN_SHARE: f64 = 0.05;

/// What is wrong with a mouth.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MouthError {
    /// The lip wall is negative, or thicker than any bottle's.
    #[error("a lip wall of {lip_wall_mm} mm is outside 0 to 50 mm")]
    LipWall {
        /// Wall thickness.
        lip_wall_mm: f64,
    },
    /// The lips leave too little open, or more than all.
    #[error("a lip opening of {open_share} is outside {MIN_OPEN_SHARE} to 1 (the whole mouth)")]
    OpenShare {
        /// Share of the mouth's area left open.
        open_share: f64,
    },
}

/// The mouth of a bottle and the player's lips on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mouth {
    radius_m: f64,
    lip_wall_m: f64,
    open_share: f64,
    extra_m: f64,
    /// What the bottle under the mouth adds, as a flange set back.
    flange_m: f64,
    /// Height above a wide table, whose echo comes back to it.
    table_m: Option<f64>,
}

impl Mouth {
    /// A mouth of inner radius `radius`, with a wall of `lip_wall` around it, `open_share` of whose area
    /// the player's lips leave open (1: untouched).
    ///
    /// # Errors
    /// A wall outside 0 to 50 mm, an opening outside 0.05 to 1.
    pub fn new(radius: Length, lip_wall: Length, open_share: f64) -> Result<Self, MouthError> {
        let lip_wall_mm = lip_wall.mm();
        if !(0.0..=50.0).contains(&lip_wall_mm) {
            return Err(MouthError::LipWall { lip_wall_mm });
        }
        if !(MIN_OPEN_SHARE..=1.0).contains(&open_share) {
            return Err(MouthError::OpenShare { open_share });
        }
        Ok(Self {
            radius_m: radius.m(),
            lip_wall_m: lip_wall.m(),
            open_share,
            extra_m: 0.0,
            flange_m: 0.0,
            table_m: None,
        })
    }

    /// This mouth with `extra` more of air moving with it, or less if negative: what a pitch that was
    /// heard says beyond its size.
    #[must_use]
    pub fn lengthened(self, extra: Length) -> Self {
        Self {
            extra_m: extra.m(),
            ..self
        }
    }

    /// This mouth on top of `bore`, whose shoulder turns some of the sound back as a flange does.
    ///
    /// At the height of the lip the outside of the bottle is a flange of that radius, [`outer_end_correction`]. A flat
    /// wall at the depth d below it is an image of the mouth 2d away, which adds a²/8d; one no wider than it is deep
    /// adds little. Between these three an estimate, within 3 cents of finite volumes on squat jars.
    #[must_use]
    pub(crate) fn on(self, bore: &Profile) -> Self {
        let rim_m = self.radius_m + self.lip_wall_m;
        let height_m = bore.height().m();
        let alone = outer_end_correction_at_rest(self.radius_m / rim_m);
        let added = |p: &BorePoint| {
            // Grown by the wall, the outside reaches that much further up.
            let depth_m = (height_m - p.height_m - self.lip_wall_m).max(0.0);
            let flanged = outer_end_correction_at_rest(self.radius_m / p.radius_m.max(rim_m));
            let near = 1.0 / (1.0 + depth_m / (IMAGE_DEPTH * self.radius_m));
            let ring_m = (p.radius_m - rim_m).max(1e-6);
            let wide = 1.0 / (1.0 + (depth_m / ring_m).powi(2));
            self.radius_m * (flanged - alone) * near * wide
        };
        let flange_m = bore.points().iter().map(added).fold(0.0, f64::max);
        Self { flange_m, ..self }
    }

    /// This mouth at `height` above a table that is wide beside it; no lower than its own radius.
    ///
    /// A hard plane below is an image of the mouth as far below it, whose sound reaches the mouth: a source of the same strength at
    /// twice the height adds iωρ exp(−ikd)/4πd to its load (image sources: Kinsler et al., *Fundamentals of Acoustics*, on
    /// sources near boundaries). Close to it, it radiates twice as much. No table is as wide, so that this is the most that one does.
    #[must_use]
    pub fn over_table(self, height: Length) -> Self {
        let table_m = Some(height.m().max(self.radius_m));
        Self { table_m, ..self }
    }

    /// The length of outside air that moves with the mouth, m, seen from the full mouth's area.
    ///
    /// Untouched, this is the end correction of a pipe with a wall. Lips turn the mouth into a smaller
    /// hole of area φS in a thin plate. Outside, the hole radiates like a pipe of its own radius whose
    /// wall now reaches to the old outer rim; inside, the flow widens from the hole to the bore as at a
    /// step, 0.82 a_φ (1 − 1.31 α + 0.31 α³) with α = √φ. Both lengths carry the flow through φS, so
    /// from S they look 1/φ as long. With φ = 1 the step vanishes and the untouched mouth is left.
    /// An estimate: real lips are neither thin nor flat.
    #[must_use]
    pub fn end_correction_m(&self, wave_number_per_m: f64) -> f64 {
        self.end_correction(Complex64::from(wave_number_per_m)).re
    }

    /// [`Self::end_correction_m`] continued to a decaying wave.
    fn end_correction(&self, wave_number_per_m: Complex64) -> Complex64 {
        let ratio = self.open_share.sqrt();
        let hole_m = self.radius_m * ratio;
        let rim_m = self.radius_m + self.lip_wall_m;
        let outside = outer_end_correction(hole_m / rim_m, wave_number_per_m * hole_m);
        let inside = STEP_END_CORRECTION * (1.0 - 1.31 * ratio + 0.31 * ratio.powi(3));
        hole_m * (outside + inside.max(0.0)) / self.open_share + self.extra_m + self.flange_m
    }

    /// Inertance of the mouth, kg/m⁴, in `outside` at the angular frequency `omega`, without losses.
    #[must_use]
    pub(crate) fn inertance(&self, outside: &Gas, omega: f64) -> f64 {
        let k = omega / outside.sound_speed_m_s();
        let area_m2 = PI * self.radius_m * self.radius_m;
        let length_m = self.end_correction_m(k);
        // tan(kd)/k, which is d at low frequency.
        let reach_m = if k * length_m < 1e-6 {
            length_m
        } else {
            (k * length_m).tan() / k
        };
        outside.density_kg_m3() * (reach_m / area_m2 + self.image_per_m(k.into()).re)
    }

    /// What the image in a table adds to the inertance, over the density, 1/m; nothing where there is none.
    fn image_per_m(&self, wave_number_per_m: Complex64) -> Complex64 {
        self.table_m.map_or(Complex64::default(), |height_m| {
            let there_m = 2.0 * height_m;
            (-Complex64::I * wave_number_per_m * there_m).exp() / (4.0 * PI * there_m)
        })
    }

    /// Radiation impedance of the mouth with the viscous resistance of its lip, Pa s/m³.
    ///
    /// Z = ρc/S (1+R)/(1−R), R = −m exp(−2ikd). Levine & Schwinger 1948; rational fit of Silva et al. 2009.
    #[must_use]
    pub fn impedance(&self, outside: &Gas, omega: Complex64) -> Complex64 {
        let area_m2 = PI * self.radius_m * self.radius_m;
        let characteristic = outside.density_kg_m3() * outside.sound_speed_m_s() / area_m2;
        let k = omega / outside.sound_speed_m_s();
        let reflection = -reflection_magnitude(k * self.radius_m)
            * (-2.0 * Complex64::I * k * self.end_correction(k)).exp();
        let radiation = characteristic * (1.0 + reflection) / (1.0 - reflection);
        let surface = (2.0 * outside.viscosity_pa_s() * outside.density_kg_m3() * omega).sqrt();
        let lip = LIP_RESISTANCE * surface * Complex64::new(0.5, 0.5) / (area_m2 * self.open_share);
        let image = Complex64::I * omega * outside.density_kg_m3() * self.image_per_m(k);
        radiation + lip + image
    }
}

/// |R| of a free pipe end of size `ka` in wavelengths, a rational fit that continues to complex `ka`.
/// Silva et al. 2009.
fn reflection_magnitude(ka: Complex64) -> Complex64 {
    let y = ka * ka;
    (1.0 + 0.8 * y) / (1.0 + y * (1.3 + y * (0.266 + y * 0.0263)))
}

/// End correction of a pipe in its own radii: `inner_share` is inner over outer radius, 1 for no wall
/// and towards 0 for a wide flange; `ka` its size in wavelengths.
///
/// Ends free (Levine & Schwinger 1948) and flanged (Nomura et al. 1960) in the fits of Silva et al.
/// 2009, between them Dalmont, Nederveen & Joly 2001.
#[must_use]
pub fn outer_end_correction(inner_share: f64, ka: Complex64) -> Complex64 {
    let (x, y) = (inner_share, ka * ka);
    let free = 0.6133 * (1.0 + 0.0599 * y) / (1.0 + y * (0.238 + y * (-0.0153 + y * 0.0015)));
    let flanged = 0.8216 * (1.0 + 0.244 * y) / (1.0 + y * (0.723 + y * (-0.0198 + y * 0.00366)));
    flanged + x * (free - flanged) + 0.057 * x * (1.0 - x.powi(5))
}

/// [`outer_end_correction`] of a wave much longer than the mouth.
fn outer_end_correction_at_rest(inner_share: f64) -> f64 {
    outer_end_correction(inner_share, Complex64::from(0.0)).re
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at_rest(inner_share: f64) -> f64 {
        outer_end_correction(inner_share, Complex64::from(0.0)).re
    }

    #[test]
    fn an_unflanged_pipe_is_longer_by_0_6133_radii() {
        // Levine & Schwinger, Phys. Rev. 73, 1948: 0.6133 a; the fit's printed digits.
        assert!((at_rest(1.0) - 0.6133).abs() < 5e-5);
    }

    #[test]
    fn a_flanged_pipe_is_longer_by_0_8216_radii() {
        // Nomura, Yamamura & Inawashiro 1960: 0.8216 a.
        assert!((at_rest(0.0) - 0.8216).abs() < 5e-5);
    }

    #[test]
    fn a_mouth_at_a_table_radiates_twice_as_much_and_high_above_it_as_if_there_were_none() {
        let air = crate::physics::air::Room::default().gas().expect("usual");
        let radius = Length::from_mm(9.0);
        let mouth = Mouth::new(radius, Length::from_mm(4.0), 1.0).expect("in range");
        let omega = Complex64::from(2.0 * PI * 200.0);
        // What the lip takes is not radiated.
        let viscous = (2.0 * air.viscosity_pa_s() * air.density_kg_m3() * omega).sqrt();
        let lip = LIP_RESISTANCE * viscous.re * 0.5 / (PI * radius.m() * radius.m());
        let radiated = |mouth: Mouth| mouth.impedance(&air, omega).re - lip;
        let times =
            |height_mm| radiated(mouth.over_table(Length::from_mm(height_mm))) / radiated(mouth);
        // Twice at its surface; 1 + sin(2kh)/2kh at 115 mm, where 2kh is 0.842; none far away.
        assert!((times(9.0) - 2.0).abs() < 0.03, "{}", times(9.0));
        assert!((times(115.0) - 1.886).abs() < 0.03, "{}", times(115.0));
        assert!((times(1e6) - 1.0).abs() < 1e-3, "{}", times(1e6));
    }

    #[test]
    fn untouched_lips_leave_the_plain_end() {
        let mouth = Mouth::new(Length::from_mm(9.0), Length::from_mm(4.5), 1.0).expect("in range");
        let plain_m = 9e-3 * at_rest(9.0 / 13.5);
        assert!((mouth.end_correction_m(0.0) - plain_m).abs() < 1e-12);
    }
}
