//! A bottle and how it is sounded: set as asked, or as a note needs.

use super::doubt::{Doubted, pressed_doubt, struck_doubt};
use super::drift;
use super::poured::Poured;
use super::sounded::{OtherSide, Partials, Setting, Sounded, of_mode};
use super::way::{Striking, Way, struck_spec};
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::joined::{Hose, Joined, JoinedError, Which};
use crate::physics::prediction::{Blown, FillError, PredictionError};
use crate::physics::pressed::Pressed;
use crate::physics::pressure::PLAN_BAR;
use crate::physics::resonance::Resonance;
use crate::physics::sliding::{Sliding, SlidingError};
use crate::physics::struck::{Struck, StruckError, StruckSpec};
use crate::physics::wall_fits::WallFits;
use crate::units::{Frequency, Length, Mass, Pressure, Volume};

/// Why a source gives no such note.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SoundedError {
    /// Blown.
    #[error(transparent)]
    Fill(#[from] FillError),
    /// Struck, with liquid or under pressure.
    #[error(transparent)]
    Struck(#[from] StruckError),
    /// A floor that slides.
    #[error(transparent)]
    Sliding(#[from] SlidingError),
    /// A joined pair.
    #[error(transparent)]
    Joined(#[from] JoinedError),
    /// A setting of another way.
    #[error("a {way} bottle is set by its {wanted}, not by its {given}")]
    Setting {
        /// How it is sounded.
        way: Way,
        /// What sets it.
        wanted: &'static str,
        /// What was given.
        given: &'static str,
    },
}

impl From<PredictionError> for SoundedError {
    fn from(error: PredictionError) -> Self {
        Self::Fill(FillError::Prediction(error))
    }
}

/// Half of a joined pair, seen from one of its bottles.
#[derive(Clone, Copy, Debug)]
pub struct PairOf<'a> {
    /// First and second.
    pub bottles: [&'a Bottle; 2],
    /// The hose between them.
    pub hose: Hose,
    /// Liquid in both and the hose.
    pub liquid: Volume,
    /// Which of the two sounds the note.
    pub which: Which,
}

/// What strikes a wall, and what was learnt of it.
#[derive(Clone, Copy, Debug)]
pub struct Wall<'a> {
    /// What strikes, and where.
    pub striking: Striking,
    /// What was learnt.
    pub fits: &'a WallFits,
}

/// A way with what it needs.
#[derive(Clone, Copy, Debug)]
enum How<'a> {
    Blown,
    Struck(Wall<'a>),
    /// With this much liquid in it.
    Pressurised(Wall<'a>, Volume),
    Sliding,
    Joined(PairOf<'a>),
}

/// A bottle and how it is sounded, ready for any note.
///
/// ```
/// use ullage::physics::conditions::Conditions;
/// use ullage::set::read_shelf;
/// use ullage::sounding::{Source, Way};
/// use ullage::units::Frequency;
/// let shelf = read_shelf(
///     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66",
/// )?;
/// let conditions = Conditions::default();
/// let source = Source::blown(&shelf.kinds[0].bottle, &conditions);
/// assert_eq!(source.way(), Way::Blown);
/// let c4 = source.solved(Frequency::from_hz(261.63))?;
/// assert!(c4.error().cents().abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The bottle that sounds.
    pub bottle: &'a Bottle,
    /// The room and the filling.
    pub conditions: &'a Conditions,
    how: How<'a>,
}

impl<'a> Source<'a> {
    /// Blown across the mouth.
    #[must_use]
    pub fn blown(bottle: &'a Bottle, conditions: &'a Conditions) -> Self {
        Self {
            bottle,
            conditions,
            how: How::Blown,
        }
    }

    /// Struck on its wall, liquid in it tuning it.
    #[must_use]
    pub fn struck(bottle: &'a Bottle, conditions: &'a Conditions, wall: Wall<'a>) -> Self {
        Self {
            bottle,
            conditions,
            how: How::Struck(wall),
        }
    }

    /// Struck on its wall while it is pumped up, with `liquid` in it.
    #[must_use]
    pub fn pressurised(
        bottle: &'a Bottle,
        conditions: &'a Conditions,
        wall: Wall<'a>,
        liquid: Volume,
    ) -> Self {
        Self {
            bottle,
            conditions,
            how: How::Pressurised(wall, liquid),
        }
    }

    /// Blown over a floor that slides.
    #[must_use]
    pub fn sliding(bottle: &'a Bottle, conditions: &'a Conditions) -> Self {
        Self {
            bottle,
            conditions,
            how: How::Sliding,
        }
    }

    /// Blown, one bottle of a joined pair.
    #[must_use]
    pub fn joined(pair: PairOf<'a>, conditions: &'a Conditions) -> Self {
        Self {
            bottle: pair.bottles[pair.which as usize],
            conditions,
            how: How::Joined(pair),
        }
    }

    /// The same heard in other conditions than it was poured in: liquid that does not tune it swells and shrinks too. Liquid
    /// that does is a [`Setting`], and is moved by [`Setting::moved`].
    #[must_use]
    pub fn heard_in<'b>(&self, conditions: &'b Conditions) -> Source<'b>
    where
        'a: 'b,
    {
        let swollen = |liquid| drift::swollen(liquid, self.conditions, conditions);
        let how = match self.how {
            How::Pressurised(wall, liquid) => How::Pressurised(wall, swollen(liquid)),
            How::Joined(pair) => How::Joined(PairOf {
                liquid: swollen(pair.liquid),
                ..pair
            }),
            same @ (How::Blown | How::Struck(_) | How::Sliding) => same,
        };
        Source {
            bottle: self.bottle,
            conditions,
            how,
        }
    }

    /// The same under other conditions; what is in it keeps its volume.
    #[must_use]
    pub fn under<'b>(&self, conditions: &'b Conditions) -> Source<'b>
    where
        'a: 'b,
    {
        Source {
            bottle: self.bottle,
            conditions,
            how: self.how,
        }
    }
}

impl Source<'_> {
    /// How it is sounded.
    #[must_use]
    pub fn way(&self) -> Way {
        match self.how {
            How::Blown => Way::Blown,
            How::Struck(_) => Way::Struck,
            How::Pressurised(..) => Way::Pressurised,
            How::Sliding => Way::Sliding,
            How::Joined(_) => Way::Joined,
        }
    }

    /// Set as planned, or as `target` needs where nothing was.
    ///
    /// # Errors
    /// As [`Self::set_to`] and [`Self::solved`].
    pub fn planned_or_solved(
        &self,
        target: Frequency,
        setting: Option<Setting>,
    ) -> Result<Sounded, SoundedError> {
        match setting {
            Some(setting) => self.set_to(target, setting),
            None => self.solved(target),
        }
    }

    /// Set so that it gives `target`.
    ///
    /// # Errors
    /// Out of reach, or conditions out of range.
    pub fn solved(&self, target: Frequency) -> Result<Sounded, SoundedError> {
        match self.how {
            How::Blown => self.of_air(
                target,
                Poured::solved(self.bottle, target, self.conditions)?,
            ),
            How::Struck(wall) => {
                let struck = self.struck_wall()?;
                let fill = struck.fill_for(target)?;
                self.of_wall(target, &wall, &struck, fill)
            }
            How::Pressurised(wall, fill) => {
                let pressed = self.pressed(&wall, fill)?;
                let gauge = pressed.pressure_for(target)?;
                self.of_pressed(target, &wall, &pressed, gauge)
            }
            How::Sliding => {
                let travel = self.slide()?.mark(target)?.travel;
                self.set_to(target, Setting::Travel(travel))
            }
            How::Joined(pair) => {
                let lift = self.pair(&pair)?.mark(pair.which, target)?.lift;
                self.set_to(target, Setting::Lift(lift))
            }
        }
    }

    /// Set as asked, whatever pitch that gives.
    ///
    /// # Errors
    /// A setting that this bottle cannot have, or one of another way.
    pub fn set_to(&self, target: Frequency, setting: Setting) -> Result<Sounded, SoundedError> {
        match (self.how, setting) {
            (How::Blown, Setting::Fill(fill)) => {
                let poured = Poured::with_fill(self.bottle, target, fill, self.conditions)?;
                self.of_air(target, poured)
            }
            (How::Struck(wall), Setting::Fill(fill)) => {
                self.of_wall(target, &wall, &self.struck_wall()?, fill)
            }
            (How::Pressurised(wall, fill), Setting::Gauge(gauge)) => {
                self.of_pressed(target, &wall, &self.pressed(&wall, fill)?, gauge)
            }
            (How::Sliding, Setting::Travel(travel)) => self.slid(target, travel),
            (How::Joined(pair), Setting::Lift(lift)) => self.lifted(target, &pair, lift),
            (_, given) => Err(SoundedError::Setting {
                way: self.way(),
                wanted: self.way().knob(),
                given: given.name(),
            }),
        }
    }

    /// Pitch and Q alone, set as asked: the quick way.
    ///
    /// # Errors
    /// As [`Self::set_to`].
    pub fn at(&self, setting: Setting) -> Result<Resonance, SoundedError> {
        match (self.how, setting) {
            (How::Blown, Setting::Fill(fill)) => {
                Ok(Blown::new(self.bottle, self.conditions)?.fundamental(fill)?)
            }
            (How::Struck(_), Setting::Fill(fill)) => Ok(of_mode(&self.struck_wall()?.note(fill)?)),
            (How::Sliding, Setting::Travel(travel)) => Ok(self.slide()?.at(travel)?),
            _ => Ok(self.set_to(Frequency::from_hz(1.0), setting)?.note()),
        }
    }

    /// The lowest and the highest pitch that it gives. Nothing for a wall that is tuned by liquid: there the strongest partial
    /// jumps, and what lies between the ends is no range.
    ///
    /// # Errors
    /// It does not sound at one of its ends.
    pub fn reach(&self) -> Result<Option<[Frequency; 2]>, SoundedError> {
        let [a, b] = match self.how {
            How::Struck(_) => return Ok(None),
            How::Blown => {
                let blown = Blown::new(self.bottle, self.conditions)?;
                let empty = blown.fundamental(Volume::default())?;
                let (_, fullest) = blown.fullest()?;
                [empty.frequency, fullest.frequency]
            }
            How::Pressurised(..) | How::Sliding | How::Joined(_) => {
                let (least, most) = self.range()?;
                [self.at(least)?.frequency, self.at(most)?.frequency]
            }
        };
        Ok(Some([a.min(b), a.max(b)]))
    }

    /// The least and the most that it can be set to. Of a fill the most is brimful, which may be more than still sounds.
    ///
    /// # Errors
    /// A floor that cannot slide, or a pair that cannot be joined.
    pub fn range(&self) -> Result<(Setting, Setting), SoundedError> {
        Ok(match self.how {
            How::Blown | How::Struck(_) => {
                let full = self.bottle.bore().capacity();
                (Setting::Fill(Volume::default()), Setting::Fill(full))
            }
            How::Pressurised(..) => {
                let most = Pressure::from_bar(PLAN_BAR);
                (Setting::Gauge(Pressure::default()), Setting::Gauge(most))
            }
            How::Sliding => {
                let stroke = self.slide()?.stroke();
                (Setting::Travel(Length::default()), Setting::Travel(stroke))
            }
            How::Joined(pair) => {
                let (least, most) = self.pair(&pair)?.lift_range();
                (Setting::Lift(least), Setting::Lift(most))
            }
        })
    }

    /// How it is struck; what is not struck, as if with wood halfway up a wall of which nothing was learnt.
    #[must_use]
    pub fn spec(&self) -> StruckSpec {
        match self.how {
            How::Struck(wall) | How::Pressurised(wall, _) => {
                struck_spec(self.conditions, &wall.striking, wall.fits)
            }
            How::Blown | How::Sliding | How::Joined(_) => {
                struck_spec(self.conditions, &Striking::default(), &WallFits::default())
            }
        }
    }

    fn struck_wall(&self) -> Result<Struck<'_>, StruckError> {
        Struck::new(self.bottle, self.spec())
    }

    fn pressed(&self, wall: &Wall<'_>, fill: Volume) -> Result<Pressed<'_>, StruckError> {
        let fit = wall.fits.pressed.unwrap_or_default();
        Pressed::new(self.bottle, self.spec(), fit, fill)
    }

    fn slide(&self) -> Result<Sliding<'_>, SlidingError> {
        Sliding::new(self.bottle, self.conditions)
    }

    fn pair<'p>(&self, pair: &PairOf<'p>) -> Result<Joined<'p>, JoinedError> {
        Joined::new(pair.bottles, pair.hose, pair.liquid, self.conditions)
    }

    fn mass(&self, fill: Volume) -> Mass {
        Mass::from_kg(fill.m3() * self.spec().density_kg_m3)
    }

    fn of_air(&self, target: Frequency, poured: Poured) -> Result<Sounded, SoundedError> {
        let p = &poured.prediction;
        Ok(Sounded {
            target,
            way: self.way(),
            setting: Setting::Fill(p.fill),
            fill: p.fill,
            mass: poured.mass,
            level: p.level,
            per_unit: p.per_ml,
            doubt: Doubted::of(&p.uncertainty),
            partials: Partials::Air(p.resonances.clone()),
            other: None,
            mallet: None,
            material: self.bottle.material(),
            air: Some(poured),
        })
    }

    fn slid(&self, target: Frequency, travel: Length) -> Result<Sounded, SoundedError> {
        let mark = self.slide()?.mark_at(travel)?;
        // The air above the floor is that above as much liquid.
        let instead = self.bottle.bore().volume_below(travel);
        let poured = Poured::with_fill(self.bottle, target, instead, self.conditions)?;
        let mut sounded = self.of_air(target, poured)?;
        if let Partials::Air(resonances) = &mut sounded.partials {
            resonances[0] = mark.resonance;
        }
        Ok(Sounded {
            setting: Setting::Travel(travel),
            fill: Volume::default(),
            mass: Mass::default(),
            level: travel + self.bottle.floor(),
            per_unit: mark.per_mm,
            ..sounded
        })
    }

    fn lifted(
        &self,
        target: Frequency,
        pair: &PairOf<'_>,
        lift: Length,
    ) -> Result<Sounded, SoundedError> {
        let joined = self.pair(pair)?;
        let both = joined.at(lift)?;
        let sides = [both.first, both.second];
        let (own, other) = (sides[pair.which as usize], sides[1 - pair.which as usize]);
        let poured = Poured::with_fill(self.bottle, target, own.fill, self.conditions)?;
        let (least, most) = joined.lift_range();
        let step = Length::from_mm(1.0);
        let (low, high) = ((lift - step).max(least), (lift + step).min(most));
        let pitch = |lift: Length| {
            let both = joined.at(lift)?;
            let sides = [both.first, both.second];
            Ok::<_, JoinedError>(sides[pair.which as usize].resonance.frequency)
        };
        let rise = pitch(high)?.interval_above(pitch(low)?);
        Ok(Sounded {
            setting: Setting::Lift(lift),
            per_unit: rise * (1.0 / (high - low).mm()),
            other: Some(OtherSide {
                fill: other.fill,
                level: other.level,
                resonance: other.resonance,
            }),
            ..self.of_air(target, poured)?
        })
    }

    fn of_wall(
        &self,
        target: Frequency,
        wall: &Wall<'_>,
        struck: &Struck<'_>,
        fill: Volume,
    ) -> Result<Sounded, SoundedError> {
        let modes = struck.modes(fill)?;
        let strongest = struck.note_of(&modes)?;
        let key = strongest.key();
        let note = modes.iter().position(|m| m == strongest).unwrap_or(0);
        Ok(Sounded {
            target,
            way: Way::Struck,
            setting: Setting::Fill(fill),
            fill,
            mass: self.mass(fill),
            level: self.bottle.level_outside(fill),
            per_unit: struck.per_ml_of(key, fill)?,
            doubt: struck_doubt(struck.plus_minus(), wall.fits.tapped.as_ref()),
            partials: Partials::Wall { modes, note },
            other: None,
            mallet: Some(wall.striking.mallet),
            material: self.bottle.material(),
            air: None,
        })
    }

    fn of_pressed(
        &self,
        target: Frequency,
        wall: &Wall<'_>,
        pressed: &Pressed<'_>,
        gauge: Pressure,
    ) -> Result<Sounded, SoundedError> {
        let at = pressed.at(gauge)?;
        let note = at.partials.iter().position(|m| *m == at.note).unwrap_or(0);
        let fill = pressed.fill();
        Ok(Sounded {
            target,
            way: Way::Pressurised,
            setting: Setting::Gauge(gauge),
            fill,
            mass: self.mass(fill),
            level: self.bottle.level_outside(fill),
            per_unit: at.per_bar,
            doubt: pressed_doubt(at.plus_minus, wall.fits.pressed.as_ref()),
            partials: Partials::Wall {
                modes: at.partials,
                note,
            },
            other: None,
            mallet: Some(wall.striking.mallet),
            material: self.bottle.material(),
            air: None,
        })
    }
}
