//! The bottle that stands for all that are as likely, and what is left to doubt.

use std::sync::Arc;

use super::base::{Base, Shape};
use super::dice::Dice;
use super::family::{Theta, UNKNOWNS, at};
use super::seen::{Seen, What};
use super::solve::{Problem, Slopes};
use crate::physics::bottle::{self, Bottle, Description, Known};
use crate::physics::doubt::{Doubts, Measurable, Reading};
use crate::physics::liquid::WATER_KG_M3;
use crate::physics::material::Material;
use crate::physics::profile::{BorePoint, Profile, ProfileError};
use crate::units::{Length, Mass, Volume};

/// What is called for before all else, beside a note.
const NEVER_SEEN: &str = "its outline (never seen)";
const NEVER_FILLED: &str = "capacity_ml (never measured)";
/// Bottles in the ensemble.
const MEMBERS: usize = 200;
/// Rounds that each takes at most.
const ROUNDS: usize = 5;
/// Shares of the capacity at which pitches are worked out.
const FILLS: [f64; 9] = [0.0, 0.15, 0.3, 0.45, 0.6, 0.72, 0.82, 0.9, 0.96];
/// Those at which the bottle that stands for the others has their median, and how near, cents.
const MEDIAN_AT: [usize; 3] = [0, 3, 5];
const MEDIAN_CENTS: f64 = 1.0;
/// What was measured is kept so much more closely than it is known by the bottle that stands for the others.
const CLOSER: f64 = 8.0;
/// A form nearer to none than this is none, in standard deviations: a straight tube is solved sooner.
const PLAIN: f64 = 0.4;
/// What the rounding of the lip does, cents (one standard deviation): 1 to 2 mm do +3 to +23; a guess.
const LIP_CENTS: f64 = 4.0;
/// What walls that give way do to plastic, cents (one standard deviation): round ones −6 to −15; a guess.
const SOFT_CENTS: f64 = 5.0;
/// How well a blown pitch repeats, cents (one standard deviation).
pub(super) const HEARD_CENTS: f64 = 15.0;
/// Levels that may be read next, evenly over the capacity, and how well one is read, m.
const READINGS: u32 = 32;
const LEVEL_M: f64 = 0.6e-3;
/// A reading that takes less of the variance is not worth its pouring: taste.
const LEAST_SHARE: f64 = 0.03;
/// One seed, one ensemble.
const SEED: u64 = 0x0b07_71e5;

/// The shapes that are as likely as each other.
pub(super) struct Ensemble<'a> {
    problem: &'a Problem,
    x: Theta,
    shapes: Vec<Shape>,
    fills: Vec<f64>,
    /// One row a fill, cents above 1 Hz without losses.
    pitches: Vec<Vec<f64>>,
}

impl<'a> Ensemble<'a> {
    /// Around the likeliest shape.
    pub(super) fn drawn(problem: &'a Problem, x: &Theta, slopes: &Slopes) -> Self {
        let off = problem.off(x);
        let mut dice = Dice::new(SEED);
        let priors: Vec<Vec<f64>> = (0..UNKNOWNS).map(|_| dice.bell(MEMBERS)).collect();
        let errors: Vec<Vec<f64>> = problem.seen.iter().map(|_| dice.bell(MEMBERS)).collect();
        let member = |which: usize| {
            let mut centre = [0.0; UNKNOWNS];
            for (c, draws) in centre.iter_mut().zip(&priors) {
                *c = draws[which];
            }
            let mut wanted: Vec<f64> = errors.iter().map(|draws| draws[which]).collect();
            wanted.push(0.0);
            problem.shape(&problem.drawn(&centre, &wanted, (x, slopes, &off), ROUNDS))
        };
        let shapes: Vec<Shape> = (0..MEMBERS).map(member).collect();
        let capacity = problem.shape(x).nodes.capacity();
        let fills = FILLS.map(|share| share * capacity).to_vec();
        let (lip, soft) = (dice.bell(MEMBERS), dice.bell(MEMBERS));
        let other = |which: usize| {
            let soft = match problem.material {
                Material::Plastic => SOFT_CENTS * soft[which],
                Material::Glass | Material::Ceramic | Material::Metal => 0.0,
            };
            LIP_CENTS * lip[which] + soft
        };
        let pitch = |(which, shape): (usize, &Shape), fill: f64| {
            // What was heard has the lip and the walls in it.
            let other = if problem.player > 0.0 {
                0.0
            } else {
                other(which)
            };
            shape.pitch_cents(fill, problem.around) + other
        };
        let row = |&fill: &f64| shapes.iter().enumerate().map(|s| pitch(s, fill)).collect();
        let pitches = fills.iter().map(row).collect();
        Self {
            problem,
            x: *x,
            shapes,
            fills,
            pitches,
        }
    }

    /// The bottle that stands for them, with what is left to doubt.
    pub(super) fn bottle(&self, described: &Description) -> Result<Bottle, ProfileError> {
        let x = self.stands_for_all();
        let shape = self.problem.shape(&x);
        let bore = self.bore(&x, &shape, described)?;
        let rows = self.fills.iter().zip(&self.pitches);
        let above = |(fill, row): (&f64, &Vec<f64>)| {
            let its = shape.pitch_cents(*fill, self.problem.around);
            let wider = self.wider(row);
            let middle = median(row);
            let spread = |cents: &f64| middle - its + wider * (cents - middle);
            row.iter().map(spread).collect()
        };
        let fills: Vec<Volume> = self
            .fills
            .iter()
            .map(|&fill| Volume::from_m3(fill))
            .collect();
        let doubts = Doubts::new(
            &fills,
            rows.map(above).collect(),
            self.measurable(described),
        );
        let next = match described.known {
            Known::Poured(_) => self.next_reading(&doubts),
            Known::Dimensions | Known::Bore(_) | Known::Outline(_) => None,
        };
        let doubts = doubts.with_next_reading(next);
        let length = Length::from_m;
        let mouth_radius = shape.nodes.r[shape.nodes.count - 1];
        let shape = bottle::Shape {
            neck_foot: length(shape.foot.clamp(0.0, bore.height().m())),
            body_top: length(shape.body_top.clamp(0.0, shape.foot.max(0.0))),
            floor: length(shape.floor),
            wall: length(shape.wall),
            lip_wall: described.lip_wall.unwrap_or(length(shape.lip)),
            mouth_extra: length(shape.player * mouth_radius),
            bore,
        };
        Ok(Bottle::new(described.clone(), shape, Arc::new(doubts)))
    }

    /// By how much what makes pitches unsure besides spreads them more.
    fn wider(&self, row: &[f64]) -> f64 {
        let mean = row.iter().sum::<f64>() / row.len() as f64;
        let variance = row.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / row.len() as f64;
        (1.0 + self.problem.besides.powi(2) / variance.max(1e-6)).sqrt()
    }

    /// A shape with the ensemble's median pitches and, as nearly as can be, what was measured.
    fn stands_for_all(&self) -> Theta {
        // What was measured point by point stands for itself.
        if matches!(self.problem.base, Base::Bore(_)) {
            return self.x;
        }
        let mut closer = self.problem.clone();
        // A pitch may say that what was measured is a little off.
        let heard = self.problem.player > 0.0;
        for seen in &mut closer.seen {
            let kept = !heard
                && matches!(
                    seen.what,
                    What::Capacity
                        | What::MouthBore
                        | What::ThroatBore
                        | What::Height
                        | What::BodyDiameter { .. }
                );
            if kept {
                seen.sigma /= CLOSER;
            }
        }
        for index in MEDIAN_AT {
            closer.seen.push(Seen {
                what: What::Pitch {
                    volume: self.fills[index],
                },
                value: median(&self.pitches[index]),
                sigma: MEDIAN_CENTS,
            });
        }
        let mut start = self.x;
        let mut free = [true; UNKNOWNS];
        if matches!(self.problem.base, Base::Family) {
            for form in [
                at::CONE,
                at::WAIST,
                at::WAIST_2,
                at::WAVE,
                at::WAVE_2,
                at::WAVE_3,
            ] {
                if start[form].abs() < PLAIN {
                    start[form] = 0.0;
                    free[form] = false;
                }
            }
        }
        closer.climbed(&start, &start, &free).0
    }

    fn bore(
        &self,
        x: &Theta,
        shape: &Shape,
        described: &Description,
    ) -> Result<Profile, ProfileError> {
        let point = |(height_m, radius_m): (f64, f64)| BorePoint { height_m, radius_m };
        let points: Vec<BorePoint> = match &self.problem.base {
            Base::Bore(bore) => bore
                .points
                .iter()
                .map(|&p| point(bore.turned(x, p)))
                .collect(),
            Base::Family | Base::Outline(_) => {
                let nodes = &shape.nodes;
                (0..nodes.count)
                    .map(|i| point((nodes.z[i], nodes.r[i])))
                    .collect()
            }
        };
        let bore = Profile::new(points)?;
        match described.dimensions.capacity {
            Some(capacity)
                if self.problem.player == 0.0 && !matches!(described.known, Known::Poured(_)) =>
            {
                holding(
                    &bore,
                    capacity,
                    (shape.body_top.min(shape.foot), shape.foot),
                )
            }
            _ => Ok(bore),
        }
    }

    /// Notes that could be blown.
    fn notes(&self) -> Vec<Measurable> {
        let heard = self.problem.player > 0.0;
        let note = |what, remedy, guessed, minutes, index: usize| Measurable {
            what,
            remedy,
            guessed,
            minutes,
            blown: true,
            recommended: (!heard && index == 0).then_some("blow it once"),
            readings: vec![Reading {
                values: self.pitches[index].clone(),
                sigma: HEARD_CENTS,
            }],
        };
        let empty = if heard {
            note(
                "how well a blown pitch repeats",
                "blow it empty again and add what was heard",
                false,
                1.0,
                0,
            )
        } else {
            note(
                "never blown",
                "blow it empty once and add the pitch to heard",
                true,
                1.0,
                0,
            )
        };
        let half = note(
            "never blown with liquid in it",
            "blow it half full and add the pitch to heard",
            !heard,
            3.0,
            3,
        );
        let fuller = note(
            "never blown nearly full",
            "blow it three quarters full and add the pitch to heard",
            !heard,
            3.0,
            5,
        );
        vec![empty, half, fuller]
    }

    /// Every quantity that could be measured, in every shape.
    fn measurable(&self, described: &Description) -> Vec<Measurable> {
        let around = self.problem.around;
        let read = |what: What, sigma: f64| Reading {
            values: self
                .shapes
                .iter()
                .map(|shape| shape.of(what, around))
                .collect(),
            sigma,
        };
        let mut all = self.notes();
        let mut add = |what: &'static str, remedy, guessed, minutes, readings: Vec<Reading>| {
            all.push(Measurable {
                what,
                remedy,
                guessed,
                minutes,
                blown: false,
                recommended: match what {
                    NEVER_SEEN => Some("photograph it (ullage trace)"),
                    NEVER_FILLED => Some("fill it to the brim once"),
                    _ => None,
                },
                readings,
            });
        };
        let d = &described.dimensions;
        let is_bore = matches!(described.known, Known::Bore(_));
        let is_outline = matches!(described.known, Known::Outline(_));
        if d.capacity.is_none() && !matches!(described.known, Known::Poured(_)) {
            add(
                NEVER_FILLED,
                "weigh the bottle full and empty",
                true,
                3.0,
                vec![read(What::Capacity, 0.0055)],
            );
        }
        if described.lip_wall.is_none() {
            add(
                "lip_wall_mm (never measured)",
                "measure lip_wall_mm",
                true,
                1.0,
                vec![read(What::LipWall, 0.05)],
            );
        }
        if is_bore {
            return all;
        }
        if !is_outline {
            let edges = [0.1, 0.35, 0.6, 0.75, 0.9].map(|share| self.outer(share));
            add(
                NEVER_SEEN,
                "photograph it: ullage trace makes outline_mm of the picture",
                true,
                4.0,
                edges.to_vec(),
            );
        }
        let lengths: [(&str, &str, bool, What, f64, f64); 6] = [
            (
                "neck_length_mm (never measured)",
                "measure neck_length_mm",
                d.neck_length.is_some(),
                What::NeckLength,
                1e-3,
                1.0,
            ),
            (
                "neck_bore_mm (never measured)",
                "measure neck_bore_mm at the foot of the neck",
                d.neck_bore.is_some(),
                What::NeckBore,
                0.25e-3,
                3.0,
            ),
            (
                "shoulder_length_mm (never measured)",
                "measure shoulder_length_mm",
                d.shoulder_length.is_some(),
                What::ShoulderLength,
                1.2e-3,
                2.0,
            ),
            (
                "body_diameter_mm (never measured)",
                "measure body_diameter_mm",
                d.body_diameter.is_some(),
                What::BodyDiameter { square: d.square },
                0.5e-3,
                1.0,
            ),
            (
                "height_mm (never measured)",
                "measure height_mm",
                d.height.is_some(),
                What::Height,
                0.5e-3,
                1.0,
            ),
            (
                "wall_mm (never measured)",
                "give wall_mm or mass_g",
                d.wall.is_some() || d.mass.is_some(),
                What::Wall,
                0.1,
                3.0,
            ),
        ];
        for (what, remedy, known, quantity, sigma, minutes) in lengths {
            if !known {
                add(what, remedy, true, minutes, vec![read(quantity, sigma)]);
            }
        }
        if d.narrowest_bore.is_none() && d.lip_bore.is_none() {
            let narrow = [
                read(What::NarrowestBore, 0.2e-3),
                read(What::ThroatBore, 0.2e-3),
            ];
            let remedy = "look for a bead or a flare: give narrowest_bore_mm, or lip_bore_mm";
            add(
                "a bead in the neck or a flared lip (never looked for)",
                remedy,
                true,
                2.0,
                narrow.to_vec(),
            );
        }
        let mouth = if d.lip_bore.is_some() {
            What::ThroatBore
        } else {
            What::MouthBore
        };
        add(
            "mouth_bore_mm",
            "measure mouth_bore_mm more closely",
            d.mouth_bore.m() == 0.0,
            2.0,
            vec![read(mouth, 5e-5)],
        );
        all
    }

    /// Water with which the level says most of the empty bottle's pitch.
    fn next_reading(&self, doubts: &Doubts) -> Option<Mass> {
        let capacity = self.problem.shape(&self.x).nodes.capacity();
        let asked = (1..READINGS).map(|part| {
            let volume = capacity * f64::from(part) / f64::from(READINGS);
            let levels = Reading {
                values: (self.shapes.iter())
                    .map(|shape| shape.of(What::Level { volume }, self.problem.around))
                    .collect(),
                sigma: LEVEL_M,
            };
            (volume, doubts.share_of(&levels, Volume::default()))
        });
        let (volume, share) = asked.max_by(|a, b| a.1.total_cmp(&b.1))?;
        (share > LEAST_SHARE).then(|| Mass::from_kg(volume * WATER_KG_M3))
    }

    /// Outer radius at a share of the height, as a photograph shows it.
    fn outer(&self, share: f64) -> Reading {
        let height = |shape: &Shape| share * (shape.nodes.height() + shape.floor);
        Reading {
            values: self
                .shapes
                .iter()
                .map(|shape| shape.outer(height(shape)))
                .collect(),
            sigma: 0.7e-3,
        }
    }
}

/// A bore whose body is scaled so that it holds exactly so much.
fn holding(
    bore: &Profile,
    capacity: Volume,
    (body_top, foot): (f64, f64),
) -> Result<Profile, ProfileError> {
    let (from, to) = (Length::from_m(body_top), Length::from_m(foot));
    if foot <= 0.0 {
        return Ok(bore.clone());
    }
    let holds = |factor: f64| {
        Ok::<f64, ProfileError>(bore.with_body_scaled(factor, from, to)?.capacity().m3())
    };
    // The capacity is a parabola in the factor but for its blending: a few secant steps leave nothing.
    let (mut a, mut b) = (1.0, 1.01);
    let target = capacity.m3();
    let (mut at_a, mut at_b) = (holds(a)? - target, holds(b)? - target);
    for _ in 0..8 {
        if (at_b - at_a).abs() < 1e-16 || at_b.abs() < 1e-13 * target {
            break;
        }
        let next = (b - at_b * (b - a) / (at_b - at_a)).clamp(0.8, 1.25);
        (a, at_a) = (b, at_b);
        (b, at_b) = (next, holds(next)? - target);
    }
    bore.with_body_scaled(b, from, to)
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    0.5 * (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2])
}
