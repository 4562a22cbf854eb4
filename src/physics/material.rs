//! What bottles are made of, as far as their shape and their ring need to know.
//!
//! Sound runs along a thin rod at √(E/ρ): 5000 m/s in rolled aluminium and 5170 m/s in borosilicate glass (CRC Handbook of
//! Chemistry and Physics, "Speed of sound in various media"). So an aluminium flask rings
//! nearly as high as a glass bottle of the same shape and wall, and plastic far lower.
//!
//! ```
//! use ullage::physics::material::Material;
//! let rod_m_s = |material: Material| {
//!     let elastic = material.elastic();
//!     (elastic.young_pa / elastic.density_kg_m3).sqrt()
//! };
//! // Alloys and melts differ by a few percent.
//! assert!((rod_m_s(Material::Metal) / 5000.0 - 1.0).abs() < 0.05);
//! assert!((rod_m_s(Material::Glass) / 5170.0 - 1.0).abs() < 0.05);
//! assert!(rod_m_s(Material::Plastic) < 0.4 * rod_m_s(Material::Glass));
//! ```

use super::shell::Elastic;

/// What a bottle is made of, as far as its shape needs to know.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Material {
    /// Soda-lime or borosilicate glass.
    #[default]
    Glass,
    /// PET and other thin blown plastic.
    Plastic,
    /// Stoneware and porcelain.
    Ceramic,
    /// Sheet metal.
    Metal,
}

impl Material {
    /// Wall of the body when nobody measured it, mm: glass from fits to tapped bottles, the others from memory.
    #[must_use]
    pub fn usual_wall_mm(self) -> f64 {
        match self {
            Self::Glass => 2.2,
            Self::Plastic => 0.3,
            Self::Ceramic => 4.0,
            Self::Metal => 0.4,
        }
    }

    /// Wall around the mouth when nobody measured it, mm: from memory.
    #[must_use]
    pub fn usual_lip_wall_mm(self) -> f64 {
        match self {
            Self::Glass => 4.0,
            Self::Plastic => 1.9,
            Self::Ceramic => 5.0,
            Self::Metal => 1.0,
        }
    }

    /// Thickness of the floor over that of the wall: from memory (glass 3 to 4 mm on 2 mm walls).
    pub(crate) fn floor_over_wall(self) -> f64 {
        match self {
            Self::Glass => 1.7,
            Self::Plastic => 3.0,
            Self::Ceramic => 1.2,
            Self::Metal => 1.0,
        }
    }

    /// Density, kg/m³: container glass 2520; the others from memory.
    pub(crate) fn density_kg_m3(self) -> f64 {
        match self {
            Self::Glass => 2520.0,
            Self::Plastic => 1370.0,
            Self::Ceramic => 2400.0,
            Self::Metal => 2700.0,
        }
    }

    /// What its wall rings like.
    ///
    /// Glass: container soda-lime, liquisearch's table of a large composition study (72 GPa, 0.21, 2520 kg/m³), loss
    /// 5e-4 to 1e-3 from tapped bottles. PET: 2.5 to 5.5 GPa by direction, 0.01 to 0.03, from memory; 4 GPa the same all
    /// ways is the middle. Stoneware and aluminium: from memory.
    #[must_use]
    pub fn elastic(self) -> Elastic {
        let (young_pa, poisson, loss_factor) = match self {
            Self::Glass => (72e9, 0.21, 7.5e-4),
            Self::Plastic => (4e9, 0.40, 0.02),
            Self::Ceramic => (60e9, 0.20, 2e-3),
            Self::Metal => (70e9, 0.33, 3e-4),
        };
        Elastic {
            young_pa,
            poisson,
            density_kg_m3: self.density_kg_m3(),
            loss_factor,
        }
    }
}
