//! The middle surface of a wall, from one end to the other, and how its ends are held.

use super::ShellError;
use super::element::Piece;

/// Fewest and most points of a meridian.
const POINTS: (usize, usize) = (3, 4_000);
/// Steepest meridian whose tension is that of a membrane, as the cosine of its angle to the axis; flatter parts
/// carry their pressure by bending or are domes.
const LEAST_COSINE: f64 = 0.3;

/// How an end of a wall is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Not at all.
    Free,
    /// On the axis: for two waves around or more nothing moves there.
    Axis,
    /// A shear diaphragm: round, free to move along and to tilt.
    Diaphragm,
    /// Held in place, free to tilt.
    Pinned,
    /// Held in place and in its direction.
    Clamped,
    /// A plane of symmetry: free to change its shape, not to move along or to tilt.
    Symmetric,
}

impl End {
    /// Which unknowns are held: axial, radial, around, slope.
    pub(super) fn held(self) -> [bool; 4] {
        match self {
            Self::Free => [false; 4],
            Self::Axis | Self::Clamped => [true; 4],
            Self::Diaphragm => [false, true, true, false],
            Self::Pinned => [true, true, true, false],
            Self::Symmetric => [true, false, false, true],
        }
    }
}

/// A point of the middle surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeridianPoint {
    /// Height, m.
    pub height_m: f64,
    /// Radius of the middle surface, m; 0 on the axis.
    pub radius_m: f64,
    /// Wall, m.
    pub wall_m: f64,
}

/// A wall as a chain of straight pieces, each its own element.
#[derive(Clone, Debug, PartialEq)]
pub struct Meridian {
    points: Vec<MeridianPoint>,
    ends: [End; 2],
}

impl Meridian {
    /// A wall through `points`, held by `lower` at the first of them and by `upper` at the last. The outside is to the
    /// right of the way along it: listed upwards for a wall, outwards for a floor.
    ///
    /// # Errors
    /// Too few or too many points, two at one place, a negative radius, a wall that is no wall or as thick as a third
    /// of its radius.
    pub fn new(points: Vec<MeridianPoint>, lower: End, upper: End) -> Result<Self, ShellError> {
        if !(POINTS.0..=POINTS.1).contains(&points.len()) {
            return Err(ShellError::Points {
                points: points.len(),
                least: POINTS.0,
                most: POINTS.1,
            });
        }
        let widest_m = points.iter().fold(0.0, |most: f64, p| most.max(p.radius_m));
        for (index, p) in points.iter().enumerate() {
            let finite = p.height_m.is_finite() && p.radius_m.is_finite() && p.wall_m.is_finite();
            let axis_ok = p.radius_m > 0.0 || (index == 0 && lower == End::Axis);
            if !finite || p.radius_m < 0.0 || !axis_ok {
                return Err(ShellError::Point { point: index + 1 });
            }
            if p.wall_m <= 0.0 || 3.0 * p.wall_m > widest_m {
                return Err(ShellError::Wall {
                    wall_mm: 1e3 * p.wall_m,
                    radius_mm: 1e3 * widest_m,
                });
            }
            let apart =
                |q: &MeridianPoint| (q.height_m - p.height_m).hypot(q.radius_m - p.radius_m) > 1e-9;
            if index > 0 && !apart(&points[index - 1]) {
                return Err(ShellError::Point { point: index + 1 });
            }
        }
        Ok(Self {
            points,
            ends: [lower, upper],
        })
    }

    /// A cylinder of `pieces` equal pieces.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn cylinder(
        radius_m: f64,
        length_m: f64,
        wall_m: f64,
        pieces: usize,
        ends: [End; 2],
    ) -> Result<Self, ShellError> {
        let point = |i: usize| MeridianPoint {
            height_m: length_m * i as f64 / pieces as f64,
            radius_m,
            wall_m,
        };
        Self::new((0..=pieces).map(point).collect(), ends[0], ends[1])
    }

    /// The points, in their order.
    #[must_use]
    pub fn points(&self) -> &[MeridianPoint] {
        &self.points
    }

    /// How the two ends are held.
    #[must_use]
    pub fn ends(&self) -> [End; 2] {
        self.ends
    }

    pub(super) fn pieces(&self) -> Vec<Piece> {
        let mut pieces: Vec<Piece> = self
            .points
            .windows(2)
            .map(|pair| Piece {
                from: [pair[0].height_m, pair[0].radius_m],
                to: [pair[1].height_m, pair[1].radius_m],
                wall_m: 0.5 * (pair[0].wall_m + pair[1].wall_m),
                along_m: 0.0,
                around_m: 0.0,
            })
            .collect();
        set_tensions(&mut pieces);
        pieces
    }
}

/// Tension under a pressure of 1 Pa in a closed vessel: N_s = r/(2 cos) along, and N_t = (1 − N_s κ) r / cos around, κ
/// the curvature of the meridian.
///
/// Where the wall runs more than 73° from the axis, at a floor or a step, a membrane would need any tension at all: there
/// both are those of a hemisphere of that radius. Around is kept within twice the cylinder's.
fn set_tensions(pieces: &mut [Piece]) {
    let slants: Vec<(f64, f64, f64)> = pieces
        .iter()
        .map(|p| {
            let (sin, cos) = p.slant();
            (sin.atan2(cos), cos, p.length_m())
        })
        .collect();
    let is_wall = |i: usize| slants[i].1 >= LEAST_COSINE;
    for i in 0..pieces.len() {
        let radius_m = 0.5 * (pieces[i].from[1] + pieces[i].to[1]);
        if !is_wall(i) {
            (pieces[i].along_m, pieces[i].around_m) = (0.5 * radius_m, 0.5 * radius_m);
            continue;
        }
        let low = if i > 0 && is_wall(i - 1) { i - 1 } else { i };
        let high = if i + 1 < pieces.len() && is_wall(i + 1) {
            i + 1
        } else {
            i
        };
        let apart_m: f64 = (low..high)
            .map(|j| 0.5 * (slants[j].2 + slants[j + 1].2))
            .sum();
        let curvature_per_m = if apart_m > 0.0 {
            (slants[low].0 - slants[high].0) / apart_m
        } else {
            0.0
        };
        let cos = slants[i].1;
        let along_m = 0.5 * radius_m / cos;
        let around_m = (1.0 - along_m * curvature_per_m) * radius_m / cos;
        pieces[i].along_m = along_m;
        pieces[i].around_m = around_m.clamp(-2.0 * radius_m, 2.0 * radius_m);
    }
}
