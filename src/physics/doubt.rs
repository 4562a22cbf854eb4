//! What may be wrong about a bottle: each source of doubt, and the bottles at the ends of its range.
//!
//! ```
//! use ullage::physics::bottle::Bottle;
//! use ullage::physics::prediction::Blown;
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let jug = &set.kinds[0].bottle;
//! let note = |bottle: &Bottle| Blown::new(bottle, &set.conditions)?.fundamental(Volume::default());
//! let doubts = jug.doubts();
//! let capacity = doubts.iter().find(|doubt| doubt.what == "capacity_ml").ok_or("no capacity given")?;
//! let planned = note(jug)?.frequency;
//! let moved = capacity.ends.iter().map(note).collect::<Result<Vec<_>, _>>()?;
//! // Air is a spring, softer the more there is of it: 1 % of capacity is half a percent of pitch, 8.6 cents.
//! let spread_cents = capacity.spread_cents(moved.iter().map(|end| end.frequency.interval_above(planned).cents()));
//! assert!((spread_cents - 600.0 * 1.01_f64.log2()).abs() < 1.0); // the neck, with air of its own, stays as it is
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::bottle::{Bottle, Description, Known};
use super::dimensions::{Dimensions, Guess, GuessFactors};
use super::profile::{BorePoint, Profile};
use crate::units::Length;

/// One source of doubt, and the bottles that it leaves possible.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What is uncertain, as it is called in a file.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// Nobody measured it.
    pub guessed: bool,
    /// The bottles at its ends; fewer if one does not hold together there.
    pub ends: Vec<Bottle>,
    /// What the ends are to each other.
    pub ends_are: Ends,
}

/// What the ends of a doubt are to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// One or the other may be the truth: the worse counts.
    Either,
    /// One end each of several independent errors of a kind: their squares add.
    EachOfMany,
}

impl Doubt {
    /// How far a pitch may be off (95 %), cents, where its ends move it by `moved_cents`.
    #[must_use]
    pub fn spread_cents(&self, moved_cents: impl Iterator<Item = f64>) -> f64 {
        match self.ends_are {
            Ends::Either => moved_cents.fold(0.0, |most, cents| most.max(cents.abs())),
            Ends::EachOfMany => moved_cents.map(|cents| cents * cents).sum::<f64>().sqrt(),
        }
    }
}

impl Description {
    /// The doubts that come from measuring, each turned to both ends of its range.
    pub(super) fn measuring_doubts(&self) -> Vec<Doubt> {
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
                ends_are: Ends::Either,
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
    pub(super) fn guess_doubt(&self, guess: Guess) -> Doubt {
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
            Bottle::guessed(self.clone(), &factors).ok()
        };
        Doubt {
            what,
            remedy,
            guessed: true,
            ends: [low, high].into_iter().filter_map(end).collect(),
            ends_are: Ends::Either,
        }
    }
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
