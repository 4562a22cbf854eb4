//! The wall of a described bottle as a meridian: floor, body, shoulder, neck and mouth ring.
//!
//! The floor is a flat plate as thick as the bottle's description says (1.7 times the wall for glass), so stiff that it
//! holds the foot of the body as a clamp would. The wall blends across the shoulder into a neck halfway between it and the
//! wall of the mouth, and the last 12 mm are the mouth ring. Where nobody measured the wall but the bottle was
//! weighed, the body's wall is what the mass leaves after floor, neck and ring.
//!
//! ```
//! use ullage::physics::shell::wall::{Mouth, Trim, Wall};
//! use ullage::physics::struck::{Struck, StruckSpec};
//! let rung = |times: f64| -> Result<_, Box<dyn std::error::Error>> {
//!     let outline = [[0.0, 62.0], [130.0, 62.0], [160.0, 18.0], [220.0, 18.0]].map(|point| point.map(|mm| times * mm));
//!     let glass = 2.0 * times;
//!     let shelf = ullage::set::read_shelf(&format!(
//!         "[[bottle]]\nname = \"x\"\nprofile_mm = {outline:?}\nwall_mm = {glass}\nlip_wall_mm = {glass}"
//!     ))?;
//!     let bottle = &shelf.kinds[0].bottle;
//!     let hz = Struck::with_waves(bottle, StruckSpec::default(), [2])?.pitch(2, Default::default())?.hz();
//!     Ok((Wall::of(bottle, &Trim::default(), Mouth::Open)?.mass.g(), hz))
//! };
//! // Twice as large in everything, the wall too: eight times the glass, an octave lower. 2 cents: pieces of another length.
//! let ((small_g, small_hz), (large_g, large_hz)) = (rung(1.0)?, rung(2.0)?);
//! assert!((large_g / small_g - 8.0).abs() < 0.01);
//! assert!((1200.0 * (small_hz / large_hz).log2() - 1200.0).abs() < 2.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

use super::super::bottle::Bottle;
use super::super::profile::{BorePoint, Profile};
use super::{End, Meridian, MeridianPoint, ShellError};
use crate::units::{Length, Mass};

/// Length of the mouth ring, m: common practice, no source.
const RING_M: f64 = 12e-3;
/// Pieces of the floor.
const FLOOR_PIECES: usize = 6;
/// Length of a piece of the wall, m, and the most pieces; 2.5 mm is converged to a cent or two.
const PIECE_M: f64 = 2.5e-3;
const MOST_PIECES: f64 = 110.0;
/// Thinnest and thickest body that a mass is met with, over the usual wall.
const WALL_RANGE: (f64, f64) = (0.15, 4.0);

/// Factors on a bottle as described, 1 for the description itself: what fitting to heard pitches turns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trim {
    /// On the wall of body and shoulder.
    pub wall: f64,
    /// On the radius of the body.
    pub radius: f64,
    /// On the heights of body and shoulder.
    pub length: f64,
    /// On the wall of neck and mouth ring.
    pub finish: f64,
}

impl Default for Trim {
    fn default() -> Self {
        Self {
            wall: 1.0,
            radius: 1.0,
            length: 1.0,
            finish: 1.0,
        }
    }
}

/// A wall with the bore inside it.
#[derive(Clone, Debug)]
pub struct Wall {
    /// The middle surface.
    pub meridian: Meridian,
    /// What holds the liquid.
    pub bore: Profile,
    /// Wall of the body.
    pub body: Length,
    /// Mass of the empty bottle.
    pub mass: Mass,
}

/// Whether the mouth is open or closed by a cap, which keeps it round and in place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mouth {
    /// Open.
    #[default]
    Open,
    /// Capped.
    Capped,
}

/// Walls of the parts, m.
#[derive(Clone, Copy)]
struct Walls {
    body_m: f64,
    floor_m: f64,
    neck_m: f64,
    ring_m: f64,
}

/// Where the parts meet, m above the inner floor.
#[derive(Clone, Copy)]
struct Parts {
    body_top_m: f64,
    neck_foot_m: f64,
    ring_foot_m: f64,
}

impl Wall {
    /// The wall of `bottle`, turned by `trim`.
    ///
    /// # Errors
    /// A wall that is none, or a bore that leaves its range when turned.
    pub fn of(bottle: &Bottle, trim: &Trim, mouth: Mouth) -> Result<Self, ShellError> {
        let density_kg_m3 = bottle.material().elastic().density_kg_m3;
        let untrimmed = Parts::of(bottle.bore(), bottle.neck_foot().m());
        let as_described = walls(bottle, |body_m| {
            let points = points(bottle.bore(), untrimmed, parted(bottle, body_m));
            mass_kg(&points, density_kg_m3)
        });
        let bore = trimmed(bottle, untrimmed, trim)?;
        let stretch = |height_m: f64| stretched(height_m, untrimmed, trim.length);
        let parts = Parts {
            body_top_m: stretch(untrimmed.body_top_m),
            neck_foot_m: stretch(untrimmed.neck_foot_m),
            ring_foot_m: stretch(untrimmed.ring_foot_m),
        };
        let walls = Walls {
            body_m: as_described.body_m * trim.wall,
            floor_m: as_described.floor_m * trim.wall,
            neck_m: as_described.neck_m * trim.finish,
            ring_m: as_described.ring_m * trim.finish,
        };
        let points = points(&bore, parts, walls);
        let mass = Mass::from_kg(mass_kg(&points, density_kg_m3));
        let upper = match mouth {
            Mouth::Open => End::Free,
            Mouth::Capped => End::Diaphragm,
        };
        Ok(Self {
            meridian: Meridian::new(points, End::Axis, upper)?,
            bore,
            body: Length::from_m(walls.body_m),
            mass,
        })
    }
}

impl Parts {
    fn of(bore: &Profile, neck_foot_m: f64) -> Self {
        let height_m = bore.height().m();
        let limit_m = 0.97 * bore.widest_radius().m();
        let body_top_m = bore
            .points()
            .iter()
            .rfind(|p| p.radius_m >= limit_m)
            .map_or(0.0, |p| p.height_m);
        Self {
            body_top_m: body_top_m.min(neck_foot_m),
            neck_foot_m,
            ring_foot_m: (height_m - RING_M).max(0.5 * height_m),
        }
    }
}

/// Walls of all parts, those of floor and neck following a body of `body_m`.
fn parted(bottle: &Bottle, body_m: f64) -> Walls {
    let ring_m = bottle.lip_wall().m().max(0.5 * body_m);
    Walls {
        body_m,
        floor_m: body_m * bottle.material().floor_over_wall(),
        neck_m: 0.5 * (body_m + ring_m),
        ring_m,
    }
}

/// Walls as measured, or as the mass has it, or the usual ones.
fn walls(bottle: &Bottle, mass_kg: impl Fn(f64) -> f64) -> Walls {
    let given = &bottle.described().dimensions;
    let usual_m = Length::from_mm(bottle.material().usual_wall_mm()).m();
    let (Some(mass), None) = (given.mass, given.wall) else {
        return parted(bottle, given.wall.map_or(usual_m, Length::m));
    };
    let (mut low_m, mut high_m) = (WALL_RANGE.0 * usual_m, WALL_RANGE.1 * usual_m);
    // The mass grows with the wall; 40 halvings leave nothing of it.
    for _ in 0..40 {
        let middle_m = 0.5 * (low_m + high_m);
        if mass_kg(middle_m) < mass.kg() {
            low_m = middle_m
        } else {
            high_m = middle_m
        }
    }
    parted(bottle, 0.5 * (low_m + high_m))
}

/// A height after body and shoulder have been stretched; the neck keeps its length.
fn stretched(height_m: f64, parts: Parts, factor: f64) -> f64 {
    factor * height_m.min(parts.neck_foot_m) + (height_m - parts.neck_foot_m).max(0.0)
}

fn trimmed(bottle: &Bottle, parts: Parts, trim: &Trim) -> Result<Profile, ShellError> {
    let out_of_range = |_| ShellError::Point { point: 1 };
    let (from, to) = (
        Length::from_m(parts.body_top_m),
        Length::from_m(parts.neck_foot_m),
    );
    let wider = bottle
        .bore()
        .with_body_scaled(trim.radius, from, to)
        .map_err(out_of_range)?;
    let point = |p: &BorePoint| BorePoint {
        height_m: stretched(p.height_m, parts, trim.length),
        ..*p
    };
    Profile::new(wider.points().iter().map(point).collect()).map_err(out_of_range)
}

/// Points of the middle surface: along the floor, then up the wall.
fn points(bore: &Profile, parts: Parts, walls: Walls) -> Vec<MeridianPoint> {
    let wall_m = |height_m: f64| {
        if height_m >= parts.ring_foot_m {
            return walls.ring_m;
        }
        let span_m = (parts.neck_foot_m - parts.body_top_m).max(1e-6);
        let share = ((height_m - parts.body_top_m) / span_m).clamp(0.0, 1.0);
        walls.body_m + share * (walls.neck_m - walls.body_m)
    };
    let middle_m =
        |height_m: f64| bore.radius_at(Length::from_m(height_m)).m() + 0.5 * wall_m(height_m);
    let under_m = -0.5 * walls.floor_m;
    let corner_m = middle_m(0.0);
    let mut points: Vec<MeridianPoint> = (0..=FLOOR_PIECES)
        .map(|i| MeridianPoint {
            height_m: under_m,
            radius_m: corner_m * i as f64 / FLOOR_PIECES as f64,
            wall_m: walls.floor_m,
        })
        .collect();
    let height_m = bore.height().m();
    let pieces = (height_m / PIECE_M).min(MOST_PIECES).ceil().max(8.0);
    points.extend((0..=pieces as usize).map(|i| {
        let at_m = height_m * i as f64 / pieces;
        MeridianPoint {
            height_m: at_m,
            radius_m: middle_m(at_m),
            wall_m: wall_m(at_m),
        }
    }));
    points
}

fn mass_kg(points: &[MeridianPoint], density_kg_m3: f64) -> f64 {
    let piece = |pair: &[MeridianPoint]| {
        let (a, b) = (&pair[0], &pair[1]);
        let length_m = (b.height_m - a.height_m).hypot(b.radius_m - a.radius_m);
        PI * (a.radius_m + b.radius_m) * length_m * 0.5 * (a.wall_m + b.wall_m)
    };
    density_kg_m3 * points.windows(2).map(piece).sum::<f64>()
}
