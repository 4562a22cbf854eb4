//! A bottle: what its owner could measure, the bore that follows, and what was left to guess.

use super::dimensions::{
    Built, CAPACITY_MISMATCH, CAPACITY_WORD, Dimensions, DimensionsError, Guess, GuessFactors,
    Material,
};
use super::poured::{PouredError, Readings};
use super::profile::{BorePoint, Profile, ProfileError};
use crate::units::{Length, Mass, Volume};

/// Density of the water that a bottle is filled with over a scale, kg/m³: at 20 °C, Kell 1975.
const SCALE_WATER_KG_M3: f64 = 998.2;
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
        let built = described.build(&GuessFactors::default())?;
        let usual = Length::from_mm(described.dimensions.material.usual_lip_wall_mm());
        let lip_wall = described.lip_wall.unwrap_or(usual);
        Ok(Self {
            described,
            built,
            lip_wall,
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

    /// This bottle as it might be, within what its owner could not measure or did not say: one source
    /// of doubt a time, to either end of its 95 % range. A description that no longer holds together
    /// when turned is left out on that side.
    #[must_use]
    pub fn doubts(&self) -> Vec<Doubt> {
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
            });
        }
        doubts
    }
}

/// One source of doubt, and the bottles at the ends of its range.
#[derive(Clone, Debug)]
pub struct Doubt {
    /// What is uncertain, as it is called in a file.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// Nobody measured it.
    pub guessed: bool,
    /// The bottle at either end; fewer if it does not hold together there.
    pub ends: Vec<Bottle>,
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
            (
                Volume::from_m3(mass.kg() / SCALE_WATER_KG_M3),
                level - floor,
            )
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

    /// The doubts that come from measuring, each turned to both ends of its range.
    fn measuring_doubts(&self) -> Vec<Doubt> {
        let to = self.measured_to;
        let mut doubts = Vec::new();
        let mut add = |what, remedy, turn: &dyn Fn(&mut Self, f64)| {
            let end = |side: f64| {
                let mut turned = self.clone();
                turn(&mut turned, side);
                Bottle::new(turned).ok()
            };
            doubts.push(Doubt {
                what,
                remedy,
                guessed: false,
                ends: [-1.0, 1.0].into_iter().filter_map(end).collect(),
            });
        };
        let given = &self.dimensions;
        if let Known::Bore(bore) = &self.known {
            add(
                "profile_mm diameters",
                "measure the bore of the neck more closely",
                &|d, side| {
                    d.known = Known::Bore(widened(bore, to.bore.m() * side));
                },
            );
            add(
                "profile_mm heights",
                "measure the heights more closely",
                &|d, side| {
                    d.known = Known::Bore(stretched(
                        bore,
                        1.0 + side * to.length.m() / bore.height().m(),
                    ));
                },
            );
        } else {
            add(
                "mouth_bore_mm",
                "measure mouth_bore_mm more closely",
                &|d, side| {
                    d.dimensions.mouth_bore = d.dimensions.mouth_bore + to.bore * side;
                },
            );
        }
        if let Known::Poured(readings) = &self.known {
            let moved = |side: f64| {
                readings
                    .iter()
                    .map(|&(mass, level)| (mass, level + to.length * side))
                    .collect()
            };
            add(
                "poured heights",
                "read the levels more closely",
                &|d, side| d.known = Known::Poured(moved(side)),
            );
            let weighed = |side: f64| {
                readings
                    .iter()
                    .map(|&(mass, level)| (mass * (1.0 + 0.005 * side), level))
                    .collect()
            };
            // What the curve between the readings may hide: the bottle that half of them would have given.
            let fewer: Vec<_> = readings.iter().rev().step_by(2).rev().copied().collect();
            if fewer.len() > 2 {
                add(
                    "gaps between the poured readings",
                    "read more levels on the shoulder",
                    &|d, _| {
                        d.known = Known::Poured(fewer.clone());
                    },
                );
            }
            add("poured grams", "use a finer scale", &|d, side| {
                d.known = Known::Poured(weighed(side))
            });
        }
        if given.capacity.is_some() && !matches!(self.known, Known::Poured(_)) {
            add(
                "capacity_ml",
                "weigh the bottle full and empty",
                &|d, side| {
                    d.dimensions.capacity = d
                        .dimensions
                        .capacity
                        .map(|c| c * (1.0 + side * to.capacity_share));
                },
            );
        }
        type Field = fn(&mut Dimensions) -> &mut Option<Length>;
        let lengths: [(&'static str, &'static str, Field, Length); 7] = [
            (
                "neck_bore_mm",
                "measure neck_bore_mm more closely",
                |d| &mut d.neck_bore,
                to.bore,
            ),
            (
                "neck_length_mm",
                "measure neck_length_mm more closely",
                |d| &mut d.neck_length,
                to.length,
            ),
            (
                "body_diameter_mm",
                "give capacity_ml",
                |d| &mut d.body_diameter,
                to.length,
            ),
            (
                "body_length_mm",
                "measure body_length_mm more closely",
                |d| &mut d.body_length,
                to.length,
            ),
            (
                "shoulder_length_mm",
                "measure shoulder_length_mm more closely",
                |d| &mut d.shoulder_length,
                to.length,
            ),
            (
                "height_mm",
                "measure height_mm more closely",
                |d| &mut d.height,
                to.length,
            ),
            ("wall_mm", "give capacity_ml", |d| &mut d.wall, to.wall),
        ];
        if self.lip_wall.is_some() {
            add(
                "lip_wall_mm",
                "measure lip_wall_mm more closely",
                &|d, side| {
                    d.lip_wall = d
                        .lip_wall
                        .map(|wall| (wall + to.wall * side).max(Length::default()));
                },
            );
        }
        for (what, remedy, field, error) in lengths {
            if field(&mut given.clone()).is_some() {
                add(what, remedy, &|d, side| {
                    let value = field(&mut d.dimensions);
                    *value = value.map(|length| length + error * side);
                });
            }
        }
        doubts
    }

    /// The doubt of a guess, turned to the ends of the range that bottles show.
    fn guess_doubt(&self, guess: Guess) -> Doubt {
        let (what, remedy, low, high) = match guess {
            Guess::Shoulder => (
                "shoulder_length_mm (never measured)",
                "measure shoulder_length_mm",
                0.1,
                2.0,
            ),
            Guess::NeckTaper => (
                "neck_bore_mm (never measured)",
                "measure neck_bore_mm at the foot of the neck",
                0.0,
                2.6,
            ),
            Guess::Wall => (
                "wall_mm (never measured)",
                "give wall_mm or mass_g",
                0.6,
                1.6,
            ),
            Guess::NeckLength => (
                "neck_length_mm (never measured)",
                "measure neck_length_mm",
                0.5,
                1.6,
            ),
            Guess::Slenderness => (
                "body_length_mm (never measured)",
                "measure body_length_mm",
                0.6,
                1.7,
            ),
        };
        let end = |factor: f64| {
            let mut factors = GuessFactors::default();
            let turned = match guess {
                Guess::Shoulder => &mut factors.shoulder,
                Guess::NeckTaper => &mut factors.neck_taper,
                Guess::Wall => &mut factors.wall,
                Guess::NeckLength => &mut factors.neck_length,
                Guess::Slenderness => &mut factors.slenderness,
            };
            *turned = factor;
            let built = self.build(&factors).ok()?;
            let usual = Length::from_mm(self.dimensions.material.usual_lip_wall_mm());
            Some(Bottle {
                described: self.clone(),
                built,
                lip_wall: self.lip_wall.unwrap_or(usual),
            })
        };
        Doubt {
            what,
            remedy,
            guessed: true,
            ends: [low, high].into_iter().filter_map(end).collect(),
        }
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

/// A bore with `more_m` on every diameter, or as it was where that is no bore.
fn widened(bore: &Profile, more_m: f64) -> Profile {
    let turned = bore.points().iter().map(|p| BorePoint {
        radius_m: p.radius_m + more_m / 2.0,
        ..*p
    });
    Profile::new(turned.collect()).unwrap_or_else(|_| bore.clone())
}

/// A bore with every height multiplied, or as it was where that is no bore.
fn stretched(bore: &Profile, factor: f64) -> Profile {
    let turned = bore.points().iter().map(|p| BorePoint {
        height_m: p.height_m * factor,
        ..*p
    });
    Profile::new(turned.collect()).unwrap_or_else(|_| bore.clone())
}
