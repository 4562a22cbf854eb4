//! From where the picture was taken, and with that the outline's pixels in millimetres.
//!
//! The camera is taken to look at the axis, `distance` from it and `height` above the table, tilted `down`: turned about
//! its own upright it always does, since a line in a picture and the lens make a plane. Lip and base are circles, seen as
//! arcs whose depth says how far above or below them the lens is. What the picture does not say, four weak expectations do:
//! how far away people stand, how high they hold a camera, what lens they have, that they aim at the bottle.
//!
//! A point of an outline, its tangent and the lens lie in a plane that touches the glass; where the plane touches, its
//! normal meets the axis. That gives height and radius in closed form.

use nalgebra::{SMatrix, SVector};

use super::TraceError;
use super::View;
use super::arcs::Arc;
use super::sides::{Edge, Sides};
use crate::units::Length;

/// Focal length that a camera is guessed to have, as a share of the picture's diagonal: 50 mm on film.
const GUESSED_FOCAL: f64 = 50.0 / 43.27;
/// How much that may be off, in the logarithm (guess: 20 mm of a telephone to 135 mm of a zoom are within one of it), and one that is known.
const FOCAL_SPREAD: f64 = 1.0;
const KNOWN_SPREAD: f64 = 0.03;
/// Where people photograph a bottle from, mm, with spreads (guesses): the distance's in the logarithm.
const DISTANCE_MM: f64 = 1_500.0;
const DISTANCE_SPREAD: f64 = 0.7;
const HEIGHT_SPREAD_MM: f64 = 400.0;
/// How well the ends are found, fine pixels, and the depth of an arc, with a share of it.
const APEX_PX: f64 = 1.0;
const DEPTH_PX: f64 = 1.0;
const DEPTH_SHARE: f64 = 0.1;
/// How much narrower than the lowest of the sides the circle is that a bottle stands on, and how unlike heels are, mm: guesses.
const HEEL_MM: f64 = 2.0;
const HEEL_SPREAD_MM: f64 = 2.0;
/// Places before and after one of an outline that give its direction.
const NEAR: usize = 5;
/// Heights at which it is looked how sure the scale is.
const SAMPLES: usize = 3;
/// Rounds of Newton's method.
const ROUNDS: usize = 40;

/// What is known of the size.
#[derive(Clone, Copy, Debug)]
pub(super) enum Known {
    /// Of the bottle, mm.
    Height(f64),
    /// Of a fine pixel at the axis, mm.
    MmPerPixel(f64),
}

/// A camera and the bottle before it; millimetres and radians.
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    distance: f64,
    height: f64,
    down: f64,
    focal: f64,
    /// The bottle's height.
    pub bottle: f64,
    pub focal_known: bool,
    /// Where the lens looks in the sides' frame.
    aim: (f64, f64),
    /// How sure the cosine of the view's elevation is: a share of every radius.
    pub scale_spread: f64,
    /// How far the arcs are from what this camera would see, in their spreads.
    pub misfit: f64,
}

/// What is solved for: logarithm of the distance, height, tilt, logarithm of the focal length.
type Unknown = SVector<f64, 4>;

/// A place and a direction on the outline as the lens sees it: to the right and up, over the distance ahead.
#[derive(Clone, Copy, Debug)]
struct Sight {
    right: f64,
    up: f64,
}

impl Camera {
    /// Of a picture of this size; `lens` is the focal length in its pixels, if it is known.
    pub fn solve(
        (width, height): (f64, f64),
        lens: Option<f64>,
        sides: &Sides,
        known: Known,
    ) -> Result<Self, TraceError> {
        let focal = lens.unwrap_or(GUESSED_FOCAL * width.hypot(height));
        let aim = sides.frame.of(0.5 * (width - 1.0), 0.5 * (height - 1.0));
        let tall = |camera: &Self| match known {
            Known::Height(mm) => mm,
            // The distance and the lens make the pixel, so that the height follows.
            Known::MmPerPixel(mm) => mm * sides.height() / camera.foreshortening().max(0.5),
        };
        let mut camera = Self {
            distance: DISTANCE_MM,
            height: 0.0,
            down: 0.0,
            focal,
            bottle: match known {
                Known::Height(mm) => mm,
                Known::MmPerPixel(mm) => mm * sides.height(),
            },
            focal_known: lens.is_some(),
            aim,
            scale_spread: 0.0,
            misfit: 0.0,
        };
        camera.distance = focal * camera.bottle / sides.height();
        camera.height = 0.5 * camera.bottle;
        // A height that follows from the view changes the view a little.
        let rounds = if matches!(known, Known::Height(_)) {
            1
        } else {
            4
        };
        for _ in 0..rounds {
            camera = camera.fitted(sides, focal)?;
            camera.bottle = tall(&camera);
        }
        Ok(camera)
    }

    fn foreshortening(&self) -> f64 {
        ((self.height - 0.5 * self.bottle) / self.distance)
            .atan()
            .cos()
    }

    fn unknown(&self) -> Unknown {
        Unknown::new(self.distance.ln(), self.height, self.down, self.focal.ln())
    }

    fn with(&self, unknown: &Unknown) -> Self {
        Self {
            distance: unknown[0].clamp(4.0, 11.0).exp(),
            height: unknown[1].clamp(-3_000.0, 5_000.0),
            down: unknown[2].clamp(-1.2, 1.2),
            focal: unknown[3].clamp(3.0, 12.0).exp(),
            ..*self
        }
    }

    /// The camera of least squares.
    fn fitted(&self, sides: &Sides, focal: f64) -> Result<Self, TraceError> {
        let mut at = self.unknown();
        let mut damping = 1e-3;
        let mut here = self.off(&at, sides, focal);
        let steps = Unknown::new(1e-5, 1e-2, 1e-5, 1e-5);
        let mut normal = SMatrix::<f64, 4, 4>::identity();
        for _ in 0..ROUNDS {
            let mut slopes = SMatrix::<f64, 7, 4>::zeros();
            for k in 0..4 {
                let mut beyond = at;
                beyond[k] += steps[k];
                slopes.set_column(k, &((self.off(&beyond, sides, focal) - here) / steps[k]));
            }
            normal = slopes.transpose() * slopes;
            let mut damped = normal;
            for k in 0..4 {
                damped[(k, k)] *= 1.0 + damping;
            }
            let Some(inverse) = damped.try_inverse() else {
                return Err(TraceError::Camera);
            };
            let next = at - inverse * slopes.transpose() * here;
            let there = self.off(&next, sides, focal);
            if there.norm() <= here.norm() {
                let gain = here.norm() - there.norm();
                (at, here) = (next, there);
                damping = (damping * 0.3).max(1e-9);
                if gain < 1e-9 {
                    break;
                }
            } else {
                damping *= 8.0;
                if damping > 1e9 {
                    break;
                }
            }
        }
        let fitted = self.with(&at);
        if !here.norm().is_finite() || fitted.distance < 60.0 {
            return Err(TraceError::Camera);
        }
        let radii = fitted.some_radii(sides);
        let mut slopes = [Unknown::zeros(); SAMPLES];
        for k in 0..4 {
            let mut beyond = at;
            beyond[k] += steps[k];
            let there = self.with(&beyond).some_radii(sides);
            for (slope, (there, here)) in slopes.iter_mut().zip(there.iter().zip(radii)) {
                slope[k] = (there / here).ln() / steps[k];
            }
        }
        let covariance = normal.try_inverse().ok_or(TraceError::Camera)?;
        let spread = |slope: &Unknown| {
            let squared = (slope.transpose() * covariance * slope)[0];
            if squared.is_finite() {
                squared.max(0.0).sqrt()
            } else {
                0.0
            }
        };
        Ok(Self {
            scale_spread: slopes.iter().map(spread).fold(0.0, f64::max),
            misfit: (here[2].powi(2) + here[3].powi(2)).sqrt(),
            ..fitted
        })
    }

    /// What does not fit, each over its spread: both ends, both arcs, distance, height, lens.
    fn off(&self, unknown: &Unknown, sides: &Sides, focal: f64) -> SVector<f64, 7> {
        let camera = self.with(unknown);
        let turn = camera.turn();
        let up = |along: f64| camera.sight(along, 0.0, turn).up;
        // Circles of lip and base, by how wide they look.
        let radius = |half: f64, along: f64, height: f64| {
            let sight = camera.sight(along, half, turn);
            sight.right * camera.ahead(height, 0.0)
        };
        let widest = radius(sides.base.half, sides.base.apex, 0.0);
        let base = widest.signum() * (widest.abs() - HEEL_MM).max(0.6 * widest.abs());
        let lip = radius(sides.lip.half, sides.lip.apex, camera.bottle);
        let rise = |height: f64, towards: f64| camera.up_of(height, towards);
        let base_apex = rise(0.0, base).min(rise(0.0, -base));
        let lip_apex = rise(camera.bottle, lip).max(rise(camera.bottle, -lip));
        let px = camera.focal;
        let spread = |arc: &Arc| {
            let weak = if arc.strength < 6.0 { 4.0 } else { 1.0 };
            weak * DEPTH_PX.hypot(arc.depth_spread) + DEPTH_SHARE * arc.depth
        };
        // A heel that is rounder or sharper moves the foot towards the lens or away.
        let steep = camera.up_of(0.0, HEEL_SPREAD_MM) - camera.up_of(0.0, 0.0);
        let base_px = APEX_PX.hypot(steep * px);
        let known = if self.focal_known {
            KNOWN_SPREAD
        } else {
            FOCAL_SPREAD
        };
        SVector::<f64, 7>::from([
            (base_apex - up(sides.base.apex)) * px / base_px,
            (lip_apex - up(sides.lip.apex)) * px / APEX_PX,
            ((rise(0.0, 0.0) - base_apex) * px - sides.base.depth) / spread(&sides.base),
            ((lip_apex - rise(camera.bottle, 0.0)) * px - sides.lip.depth) / spread(&sides.lip),
            (camera.distance / DISTANCE_MM).ln() / DISTANCE_SPREAD,
            (camera.height - 0.6 * camera.bottle) / HEIGHT_SPREAD_MM,
            (camera.focal / focal).ln() / known,
        ])
    }

    /// Turn about the camera's upright, to the right, that brings the axis to the middle.
    fn turn(&self) -> f64 {
        (-self.aim.1 / self.focal).atan()
    }

    /// A place of the sides' frame as the lens sees it when it looks at the axis.
    fn sight(&self, along: f64, across: f64, turn: f64) -> Sight {
        let (x, y) = (across - self.aim.1, along - self.aim.0);
        let (sin, cos) = turn.sin_cos();
        let ahead = (sin * x + cos * self.focal).max(1e-3 * self.focal);
        Sight {
            right: (cos * x - sin * self.focal) / ahead,
            up: -y / ahead,
        }
    }

    /// How far ahead of the lens a place above the axis's foot is, `towards` it from the axis.
    fn ahead(&self, height: f64, towards: f64) -> f64 {
        let (sin, cos) = self.down.sin_cos();
        ((self.distance - towards) * cos + (self.height - height) * sin).max(1.0)
    }

    /// How high it looks.
    fn up_of(&self, height: f64, towards: f64) -> f64 {
        let (sin, cos) = self.down.sin_cos();
        ((self.distance - towards) * sin - (self.height - height) * cos)
            / self.ahead(height, towards)
    }

    /// Height and radius of the glass at each place of one side, if there are any.
    pub fn profile(&self, edges: &[Edge], side: f64) -> Vec<Option<(f64, f64)>> {
        let sights = self.sights(edges, side);
        let touches = |at: usize| {
            let around = &sights[at.saturating_sub(NEAR)..(at + NEAR + 1).min(sights.len())];
            self.touch(sights[at], direction(around)?)
        };
        (0..sights.len()).map(touches).collect()
    }

    fn sights(&self, edges: &[Edge], side: f64) -> Vec<Sight> {
        let turn = self.turn();
        let sight = |edge: &Edge| {
            let sight = self.sight(edge.along, side * edge.across, turn);
            Sight {
                right: side * sight.right,
                ..sight
            }
        };
        edges.iter().map(sight).collect()
    }

    /// Radii at a few heights, mm: what they change by with the camera is how sure the scale is.
    fn some_radii(&self, sides: &Sides) -> [f64; SAMPLES] {
        let edges = &sides.left;
        std::array::from_fn(|sample| {
            let at = edges.len() * (sample + 1) / (SAMPLES + 1);
            let from = at.saturating_sub(NEAR);
            let around = self.sights(&edges[from..(at + NEAR + 1).min(edges.len())], -1.0);
            let touched = around.get(at - from).zip(direction(&around));
            let touched = touched.and_then(|(sight, along)| self.touch(*sight, along));
            touched.map_or(1.0, |(_, radius)| radius.max(1e-3))
        })
    }

    /// Where the plane of a place and a direction of the outline touches the glass: height and radius.
    fn touch(&self, sight: Sight, (dr, du): (f64, f64)) -> Option<(f64, f64)> {
        let (sin, cos) = self.down.sin_cos();
        // The lens is at (distance, 0, height) and looks towards −x, y to the right.
        let ray = [-cos - sight.up * sin, sight.right, -sin + sight.up * cos];
        let along = [-du * sin, dr, du * cos];
        let normal = [
            ray[1] * along[2] - ray[2] * along[1],
            ray[2] * along[0] - ray[0] * along[2],
            ray[0] * along[1] - ray[1] * along[0],
        ];
        let across = normal[0] * ray[1] - normal[1] * ray[0];
        let level = normal[0].hypot(normal[1]) * ray[0].hypot(ray[1]);
        if across.abs() < 0.05 * level {
            return None;
        }
        let far = normal[1] * self.distance / across;
        let (x, y) = (self.distance + far * ray[0], far * ray[1]);
        let radius = x.hypot(y);
        let height = self.height + far * ray[2];
        (far > 0.0 && radius.is_finite() && height.is_finite()).then_some((height, radius))
    }

    /// Where the edge of the glass is seen at a height where it is so wide and widens by `slope` upwards: along and across
    /// in the sides' frame. Nothing where the lens sees no edge.
    ///
    /// The reverse of [`Self::profile`]: of the circle at that height the place where the sight grazes the glass.
    pub fn silhouette(
        &self,
        height: f64,
        (radius, slope): (f64, f64),
        side: f64,
    ) -> Option<(f64, f64)> {
        let above = height - self.height;
        let towards = (radius - slope * above) / self.distance;
        if !(-1.0..=1.0).contains(&towards) {
            return None;
        }
        let beside = side * (1.0 - towards * towards).sqrt();
        let (x, y) = (radius * towards - self.distance, radius * beside);
        let (sin, cos) = self.down.sin_cos();
        let ahead = -x * cos - above * sin;
        if ahead < 1.0 {
            return None;
        }
        let (right, up) = (y / ahead, (above * cos - x * sin) / ahead);
        let (sin, cos) = self.turn().sin_cos();
        let out = self.focal * (right * cos + sin) / (cos - right * sin);
        let far = sin * out + cos * self.focal;
        Some((self.aim.0 - up * far, self.aim.1 + out))
    }

    /// For people.
    pub fn view(&self, sides: &Sides) -> View {
        View {
            distance: Length::from_mm(self.distance),
            height: Length::from_mm(self.height),
            roll_deg: sides.frame.mirror().roll_deg(),
            down_deg: self.down.to_degrees(),
            focal_known: self.focal_known,
        }
    }

    /// Millimetres to a fine pixel at the axis.
    pub fn mm_per_pixel(&self) -> f64 {
        self.distance / self.focal
    }

    /// How steeply it looks down on the middle of the bottle, degrees.
    pub fn elevation_deg(&self) -> f64 {
        ((self.height - 0.5 * self.bottle) / self.distance)
            .atan()
            .to_degrees()
    }
}

/// Direction of a short piece of an outline: its main axis.
fn direction(around: &[Sight]) -> Option<(f64, f64)> {
    let count = around.len() as f64;
    let (mr, mu) = around.iter().fold((0.0, 0.0), |(r, u), s| {
        (r + s.right / count, u + s.up / count)
    });
    let (mut rr, mut ru, mut uu) = (0.0, 0.0, 0.0);
    for s in around {
        let (r, u) = (s.right - mr, s.up - mu);
        rr += r * r;
        ru += r * u;
        uu += u * u;
    }
    let angle = 0.5 * (2.0 * ru).atan2(rr - uu);
    let (sin, cos) = angle.sin_cos();
    (rr + uu > 0.0).then_some((cos, sin))
}
