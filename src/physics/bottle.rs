//! A bottle: what its owner could measure, the bore that stands for all that are as likely, and what is left to doubt.

use std::sync::Arc;

use super::dimensions::{Dimensions, Material};
use super::doubt::Doubts;
use super::mouth::{Mouth, MouthError};
use super::profile::{BorePoint, Profile, ProfileError};
use crate::units::{Length, Mass, Volume};

/// How the shape of a bottle is known, from best to least.
#[derive(Clone, Debug, PartialEq)]
pub enum Known {
    /// Inner diameters from the floor up.
    Bore(Profile),
    /// Mass of water and level above the table, seen while filling over a scale.
    Poured(Vec<(Mass, Length)>),
    /// Outer diameters at heights above the table, from the foot to the rim: as a photograph shows them.
    Outline(Vec<(Length, Length)>),
    /// A few dimensions.
    Dimensions,
}

/// Largest errors (95 %) of what was measured. Defaults: bore ±0.3 mm, lengths ±1 mm, capacity ±1 %; an outline ±1 mm and ±2 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredTo {
    /// Of inner diameters.
    pub bore: Length,
    /// Of lengths, heights and outer diameters.
    pub length: Length,
    /// Of the capacity, as a share of it.
    pub capacity_share: f64,
    /// Of wall thicknesses.
    pub wall: Length,
    /// Of the radii of an outline, place by place.
    pub outline: Length,
    /// Of the scale of an outline, as a share of it: of all radii together.
    pub outline_share: f64,
}

impl Default for MeasuredTo {
    fn default() -> Self {
        Self {
            bore: Length::from_mm(0.3),
            length: Length::from_mm(1.0),
            capacity_share: 0.01,
            wall: Length::from_mm(0.3),
            outline: Length::from_mm(1.0),
            outline_share: 0.02,
        }
    }
}

/// What is known of a bottle, checked when it is built.
#[derive(Clone, Debug, PartialEq)]
pub struct Description {
    /// How the shape is known.
    pub known: Known,
    /// Dimensions, those that were given.
    pub dimensions: Dimensions,
    /// Wall around the mouth, if measured.
    pub lip_wall: Option<Length>,
    /// How well it was measured.
    pub measured_to: MeasuredTo,
}

/// Where the parts of a bottle lie, and how thick they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// The bore.
    pub bore: Profile,
    /// Foot of the neck above the inner floor.
    pub neck_foot: Length,
    /// Where the shoulder begins above the inner floor.
    pub body_top: Length,
    /// Thickness of the floor.
    pub floor: Length,
    /// Wall of the body.
    pub wall: Length,
    /// Wall around the mouth.
    pub lip_wall: Length,
    /// Length of air that the mouth moves beyond what its size says.
    pub mouth_extra: Length,
}

/// A bottle with its bore.
#[derive(Clone, Debug, PartialEq)]
pub struct Bottle {
    described: Description,
    shape: Shape,
    /// Pitches that were heard count in it.
    fitted: bool,
    doubts: Arc<Doubts>,
}

impl Bottle {
    /// The bottle of a description that has this shape, in which so much is left to doubt.
    #[must_use]
    pub fn new(described: Description, shape: Shape, doubts: Arc<Doubts>) -> Self {
        Self {
            described,
            shape,
            fitted: false,
            doubts,
        }
    }

    /// The same, pitches that were heard from it counting in it.
    #[must_use]
    pub fn fitted(self) -> Self {
        Self {
            fitted: true,
            ..self
        }
    }

    /// Inner radius against height.
    #[must_use]
    pub fn bore(&self) -> &Profile {
        &self.shape.bore
    }

    /// Wall around the mouth.
    #[must_use]
    pub fn lip_wall(&self) -> Length {
        self.shape.lip_wall
    }

    /// Foot of the neck above the inner floor.
    #[must_use]
    pub fn neck_foot(&self) -> Length {
        self.shape.neck_foot
    }

    /// Thickness of the floor: what a level seen from the table has more than one from the inner floor.
    #[must_use]
    pub fn floor(&self) -> Length {
        self.shape.floor
    }

    /// Wall of the body.
    #[must_use]
    pub fn wall(&self) -> Length {
        self.shape.wall
    }

    /// What it is made of.
    #[must_use]
    pub fn material(&self) -> Material {
        self.described.dimensions.material
    }

    /// What its owner gave.
    #[must_use]
    pub fn described(&self) -> &Description {
        &self.described
    }

    /// Level above the table of a volume of liquid.
    #[must_use]
    pub fn level_outside(&self, fill: Volume) -> Length {
        self.bore().level_of(fill) + self.floor()
    }

    /// This bottle with `more` on the bore of its mouth and neck, the body as it is.
    #[must_use]
    pub fn with_wider_neck(&self, more: Length) -> Option<Self> {
        let (from_m, to_m) = (self.shape.body_top.m(), self.shape.neck_foot.m());
        let widened = |p: &BorePoint| {
            let neck_share = if p.height_m >= to_m {
                1.0
            } else if p.height_m <= from_m {
                0.0
            } else {
                (p.height_m - from_m) / (to_m - from_m)
            };
            BorePoint {
                radius_m: p.radius_m + 0.5 * more.m() * neck_share,
                ..*p
            }
        };
        let bore = Profile::new(self.bore().points().iter().map(widened).collect()).ok()?;
        Some(Self {
            shape: Shape {
                bore,
                ..self.shape.clone()
            },
            ..self.clone()
        })
    }

    /// Length of air that the mouth moves beyond what its size says, as fitted to a pitch that was heard.
    #[must_use]
    pub fn mouth_extra(&self) -> Length {
        self.shape.mouth_extra
    }

    /// The mouth, `open_share` of which the player's lips leave open.
    ///
    /// # Errors
    /// As [`Mouth::new`].
    pub fn mouth(&self, open_share: f64) -> Result<Mouth, MouthError> {
        let mouth = Mouth::new(self.bore().mouth_radius(), self.lip_wall(), open_share)?;
        Ok(mouth.lengthened(self.mouth_extra()))
    }

    /// This bottle with `mouth_extra` more of air moving at its mouth, and a body whose radii are
    /// `body_factor` times what they were; its doubts are as before.
    ///
    /// # Errors
    /// A body that leaves the range.
    pub fn adjusted(&self, mouth_extra: Length, body_factor: f64) -> Result<Self, ProfileError> {
        let (from, to) = (self.shape.body_top, self.shape.neck_foot);
        let mut adjusted = self.clone();
        adjusted.shape.mouth_extra = mouth_extra;
        if body_factor != 1.0 {
            adjusted.shape.bore = self.bore().with_body_scaled(body_factor, from, to)?;
        }
        Ok(adjusted)
    }

    /// Whether it has been fitted to pitches that were heard.
    #[must_use]
    pub fn is_fitted(&self) -> bool {
        self.fitted
    }

    /// What is left to doubt: the bottles that are as likely as this one.
    #[must_use]
    pub fn doubts(&self) -> &Doubts {
        &self.doubts
    }
}
