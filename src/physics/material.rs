//! What bottles are made of, as far as their shape needs to know.

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
}
