//! A bottle: what its owner could measure, the bore that follows, and what was left to guess.

use super::dimensions::{
    Built, CAPACITY_MISMATCH, CAPACITY_WORD, Dimensions, DimensionsError, Guess, GuessFactors,
    Material,
};
pub use super::doubt::{Doubt, Ends};
use super::liquid::WATER_KG_M3;
use super::mouth::{Mouth, MouthError};
use super::poured::{PouredError, Readings};
use super::profile::{BorePoint, Profile, ProfileError};
use crate::units::{Length, Mass, Volume};

/// How much wider the foot of a neck is than the mouth where readings reach up to it and nobody measured:
/// less than for a whole neck, since they show most of the taper.
const POURED_NECK_WIDENING: f64 = 0.1;
/// Radius, over that of the mouth, at which a given bore counts as neck.
const NECK_WIDTH: f64 = 1.6;

/// Why a description makes no bottle.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BottleError {
    /// The dimensions do not work.
    #[error(transparent)]
    Dimensions(#[from] DimensionsError),
    /// The bore does not work.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// The readings taken while filling do not work.
    #[error(transparent)]
    Poured(#[from] PouredError),
    /// Readings need the mouth's and the neck's size, and the height.
    #[error("poured readings say nothing of the mouth: give {missing} as well")]
    PouredNeeds {
        /// The missing key.
        missing: &'static str,
    },
}

/// How the shape of a bottle is known, from best to least.
#[derive(Clone, Debug, PartialEq)]
pub enum Known {
    /// Inner diameters from the floor up.
    Bore(Profile),
    /// Mass of water and level above the table, seen while filling over a scale.
    Poured(Vec<(Mass, Length)>),
    /// A few dimensions.
    Dimensions,
}

/// Largest errors (95 %) of what was measured. Defaults: bore ±0.3 mm, lengths ±1 mm, capacity ±1 %.
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
}

impl Default for MeasuredTo {
    fn default() -> Self {
        Self {
            bore: Length::from_mm(0.3),
            length: Length::from_mm(1.0),
            capacity_share: 0.01,
            wall: Length::from_mm(0.3),
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

/// A bottle with its bore.
#[derive(Clone, Debug, PartialEq)]
pub struct Bottle {
    described: Description,
    built: Built,
    lip_wall: Length,
    mouth_extra: Length,
    /// What is left to doubt once it has been fitted to what was heard.
    fitted_doubts: Option<Vec<Doubt>>,
}

impl Bottle {
    /// The bottle of a description.
    ///
    /// # Errors
    /// Too little, out of range, or a contradiction: see [`BottleError`].
    ///
    /// ```
    /// use ullage::physics::bottle::{Bottle, Description, Known, MeasuredTo};
    /// use ullage::physics::dimensions::Dimensions;
    /// use ullage::units::{Length, Volume};
    /// let bottle = Bottle::new(Description {
    ///     known: Known::Dimensions,
    ///     dimensions: Dimensions {
    ///         capacity: Some(Volume::from_ml(500.0)),
    ///         mouth_bore: Length::from_mm(18.0),
    ///         neck_length: Some(Length::from_mm(60.0)),
    ///         body_diameter: Some(Length::from_mm(66.0)),
    ///         ..Dimensions::default()
    ///     },
    ///     lip_wall: None,
    ///     measured_to: MeasuredTo::default(),
    /// })?;
    /// assert!((bottle.bore().capacity().ml() - 500.0).abs() < 0.01);
    /// # Ok::<(), ullage::physics::bottle::BottleError>(())
    /// ```
    pub fn new(described: Description) -> Result<Self, BottleError> {
        Self::guessed(described, &GuessFactors::default())
    }

    /// The bottle of a description, with what it leaves open guessed by `factors`.
    pub(super) fn guessed(
        described: Description,
        factors: &GuessFactors,
    ) -> Result<Self, BottleError> {
        let built = described.build(factors)?;
        let usual = Length::from_mm(described.dimensions.material.usual_lip_wall_mm());
        let lip_wall = described.lip_wall.unwrap_or(usual);
        Ok(Self {
            described,
            built,
            lip_wall,
            mouth_extra: Length::default(),
            fitted_doubts: None,
        })
    }

    /// Inner radius against height.
    #[must_use]
    pub fn bore(&self) -> &Profile {
        &self.built.bore
    }

    /// Wall around the mouth.
    #[must_use]
    pub fn lip_wall(&self) -> Length {
        self.lip_wall
    }

    /// Foot of the neck above the inner floor.
    #[must_use]
    pub fn neck_foot(&self) -> Length {
        self.built.neck_foot
    }

    /// Thickness of the floor: what a level seen from the table has more than one from the inner floor.
    #[must_use]
    pub fn floor(&self) -> Length {
        self.built.floor
    }

    /// Wall of the body.
    #[must_use]
    pub fn wall(&self) -> Length {
        self.built.wall
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

    /// The capacity that the dimensions had before the body was scaled to the stated one.
    #[must_use]
    pub fn scaled_from(&self) -> Option<Volume> {
        self.built.scaled_from
    }

    /// Level above the table of a volume of liquid.
    #[must_use]
    pub fn level_outside(&self, fill: Volume) -> Length {
        self.bore().level_of(fill) + self.floor()
    }

    /// This bottle with `more` on the bore of its mouth and neck, the body as it is.
    #[must_use]
    pub fn with_wider_neck(&self, more: Length) -> Option<Self> {
        let (from_m, to_m) = (self.built.body_top.m(), self.built.neck_foot.m());
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
            built: Built {
                bore,
                ..self.built.clone()
            },
            ..self.clone()
        })
    }

    /// Length of air that the mouth moves beyond what its size says, as fitted to a pitch that was heard.
    #[must_use]
    pub fn mouth_extra(&self) -> Length {
        self.mouth_extra
    }

    /// The mouth, `open_share` of which the player's lips leave open.
    ///
    /// # Errors
    /// As [`Mouth::new`].
    pub fn mouth(&self, open_share: f64) -> Result<Mouth, MouthError> {
        let mouth = Mouth::new(self.bore().mouth_radius(), self.lip_wall, open_share)?;
        Ok(mouth.lengthened(self.mouth_extra))
    }

    /// This bottle with `mouth_extra` more of air moving at its mouth, and a body whose radii are
    /// `body_factor` times what they were; its doubts are as before.
    ///
    /// # Errors
    /// A body that leaves the range.
    pub fn adjusted(&self, mouth_extra: Length, body_factor: f64) -> Result<Self, ProfileError> {
        let (from, to) = (self.built.body_top, self.built.neck_foot);
        let mut adjusted = self.clone();
        adjusted.mouth_extra = mouth_extra;
        if body_factor != 1.0 {
            adjusted.built.bore = self.bore().with_body_scaled(body_factor, from, to)?;
            adjusted.built.scaled_from = None;
        }
        Ok(adjusted)
    }

    /// This bottle, about which nothing but `doubts` is left to doubt.
    #[must_use]
    pub fn with_doubts(self, doubts: Vec<Doubt>) -> Self {
        Self {
            fitted_doubts: Some(doubts),
            ..self
        }
    }

    /// Whether it has been fitted to pitches that were heard.
    #[must_use]
    pub fn is_fitted(&self) -> bool {
        self.fitted_doubts.is_some()
    }

    /// This bottle as it might be, within what its owner could not measure or did not say: one source
    /// of doubt a time, to either end of its 95 % range. A description that no longer holds together
    /// when turned is left out on that side. Of a fitted bottle: what the pitches heard leave open.
    #[must_use]
    pub fn doubts(&self) -> Vec<Doubt> {
        if let Some(doubts) = &self.fitted_doubts {
            return doubts.clone();
        }
        let mut doubts = self.described.measuring_doubts();
        doubts.extend(
            self.built
                .guesses
                .iter()
                .map(|&guess| self.described.guess_doubt(guess)),
        );
        if self.described.lip_wall.is_none() {
            let turned = |factor: f64| Self {
                lip_wall: self.lip_wall * factor,
                ..self.clone()
            };
            doubts.push(Doubt {
                what: "lip_wall_mm (never measured)",
                remedy: "measure lip_wall_mm",
                guessed: true,
                ends: vec![turned(0.5), turned(1.6)],
                ends_are: Ends::Either,
            });
        }
        doubts
    }
}

impl Description {
    fn build(&self, factors: &GuessFactors) -> Result<Built, BottleError> {
        self.dimensions.check()?;
        match &self.known {
            Known::Dimensions => Ok(self.dimensions.build(factors)?),
            Known::Bore(bore) => self.around_bore(bore.clone(), factors),
            Known::Poured(readings) => {
                let bore = self.readings(readings, factors)?.bore()?;
                self.around_bore(bore, factors)
            }
        }
    }

    /// Floor and wall, measured or usual.
    fn floor_and_wall(&self, factors: &GuessFactors) -> (Length, Length) {
        let material = self.dimensions.material;
        let wall = self
            .dimensions
            .wall
            .unwrap_or_else(|| Length::from_mm(material.usual_wall_mm()) * factors.wall);
        (wall * material.floor_over_wall(), wall)
    }

    fn readings(
        &self,
        readings: &[(Mass, Length)],
        factors: &GuessFactors,
    ) -> Result<Readings, BottleError> {
        let missing = |missing| BottleError::PouredNeeds { missing };
        let height = self.dimensions.height.ok_or_else(|| missing("height_mm"))?;
        let neck_length = self
            .dimensions
            .neck_length
            .ok_or_else(|| missing("neck_length_mm"))?;
        if self.dimensions.mouth_bore.m() == 0.0 {
            return Err(missing("mouth_bore_mm"));
        }
        self.dimensions.check_mouth()?;
        let (floor, _) = self.floor_and_wall(factors);
        let level = |&(mass, level): &(Mass, Length)| {
            (Volume::from_m3(mass.kg() / WATER_KG_M3), level - floor)
        };
        Ok(Readings {
            levels: readings.iter().map(level).collect(),
            height: height - floor,
            mouth_bore: self.dimensions.mouth_bore,
            neck_bore: self.dimensions.neck_bore.unwrap_or_else(|| {
                self.dimensions.mouth_bore * (1.0 + POURED_NECK_WIDENING * factors.neck_taper)
            }),
            neck_length,
        })
    }

    /// A bore that is known, scaled to the stated capacity if there is one.
    fn around_bore(&self, bore: Profile, factors: &GuessFactors) -> Result<Built, BottleError> {
        let (floor, wall) = self.floor_and_wall(factors);
        let neck_foot = match self.dimensions.neck_length {
            Some(length) => (bore.height() - length).max(Length::from_m(0.0)),
            None => neck_foot(&bore),
        };
        let body_top = body_top(&bore).min(neck_foot);
        let poured = matches!(self.known, Known::Poured(_));
        let mut guesses = Vec::new();
        if poured && self.dimensions.wall.is_none() {
            guesses.push(Guess::Wall);
        }
        if poured && self.dimensions.neck_bore.is_none() {
            guesses.push(Guess::NeckTaper);
        }
        let mut built = Built {
            bore,
            neck_foot,
            body_top,
            floor,
            wall,
            guesses,
            scaled_from: None,
        };
        if let Some(capacity) = self.dimensions.capacity {
            check_capacity(built.bore.capacity(), capacity)?;
            // Readings on a scale know the volume better than the last drop at the brim does.
            if !poured {
                scale_to(&mut built, capacity)?;
            }
        }
        Ok(built)
    }
}

/// Refuses a capacity that a known bore contradicts.
fn check_capacity(computed: Volume, stated: Volume) -> Result<(), BottleError> {
    let mismatch = computed / stated - 1.0;
    if mismatch.abs() > CAPACITY_MISMATCH {
        let (stated_ml, computed_ml) = (stated.ml(), computed.ml());
        return Err(DimensionsError::Capacity {
            stated_ml,
            computed_ml,
            percent: 100.0 * mismatch,
        }
        .into());
    }
    Ok(())
}

/// Scales the body of a known bore to a stated capacity.
fn scale_to(built: &mut Built, capacity: Volume) -> Result<(), BottleError> {
    let before = built.bore.capacity();
    let (mut low, mut high) = (0.8, 1.25);
    let scaled = |factor| {
        built
            .bore
            .with_body_scaled(factor, built.body_top, built.neck_foot)
    };
    // Capacity grows with the factor; 50 halvings leave nothing of it.
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if scaled(middle)?.capacity().m3() < capacity.m3() {
            low = middle
        } else {
            high = middle
        }
    }
    built.bore = scaled(0.5 * (low + high))?;
    built.scaled_from = ((before / capacity - 1.0).abs() > CAPACITY_WORD).then_some(before);
    Ok(())
}

/// Where a bore has become a neck: the height above which it stays narrow.
fn neck_foot(bore: &Profile) -> Length {
    let limit_m = NECK_WIDTH * bore.mouth_radius().m();
    let wide = bore.points().iter().rposition(|p| p.radius_m > limit_m);
    Length::from_m(wide.map_or(0.0, |index| {
        bore.points()[(index + 1).min(bore.points().len() - 1)].height_m
    }))
}

/// Where the body ends: the highest point that is still nearly as wide as the widest.
fn body_top(bore: &Profile) -> Length {
    let limit_m = 0.97 * bore.widest_radius().m();
    let wide = bore.points().iter().rposition(|p| p.radius_m >= limit_m);
    Length::from_m(wide.map_or(0.0, |index| bore.points()[index].height_m))
}
