//! The outer radius of a bottle against its height.

use super::TraceError;
use super::camera::Camera;
use super::hand::{BY_HAND, GRIPS, out_at, share};
use super::sides::{Edge, Sides};
use crate::units::{Length, Volume};

/// Distance of the heights at which both sides are compared, mm, and what they are smoothed over.
const STEP_MM: f64 = 0.5;
const SMOOTH_MM: f64 = 1.2;
/// How far from the smoothed outline a straight piece may stray, mm: what of it is not worth a point.
const THIN_MM: f64 = 0.08;
/// Most points.
const MAX_POINTS: usize = 80;
/// The least radius that a hand can give it, mm: a line that crosses the axis is no outline.
const LEAST_RADIUS_MM: f64 = 1.0;

/// The outer radius of a bottle against the height above the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    points: Vec<(f64, f64)>,
    /// Error of a radius, 1 σ, mm, and of all lengths, as a share.
    radius_error_mm: f64,
    scale_error: f64,
    /// Root mean square of half of what both sides differ by, mm.
    asymmetry_mm: f64,
    /// Share of the heights at which the sides do not agree.
    unlike: f64,
    /// Share of the heights at which an edge was found on either side.
    pub(super) found: f64,
}

impl Outline {
    /// Heights above the table and outer diameters, mm, from the table up.
    #[must_use]
    pub fn diameters_mm(&self) -> Vec<[f64; 2]> {
        self.points
            .iter()
            .map(|&(height, radius)| [height, 2.0 * radius])
            .collect()
    }

    /// Outer diameter at a height; beyond an end, that of the end.
    #[must_use]
    pub fn diameter_at(&self, height: Length) -> Length {
        Length::from_mm(2.0 * radius_at(&self.points, height.mm()))
    }

    /// The widest outer diameter.
    #[must_use]
    pub fn widest(&self) -> Length {
        Length::from_mm(2.0 * self.points.iter().fold(0.0, |widest, p| p.1.max(widest)))
    }

    /// Height of the bottle.
    #[must_use]
    pub fn height(&self) -> Length {
        Length::from_mm(self.points.last().map_or(0.0, |p| p.0))
    }

    /// Volume within the outline, glass and all.
    #[must_use]
    pub fn volume(&self) -> Volume {
        let cone = |pair: &[(f64, f64)]| {
            let ((z0, r0), (z1, r1)) = (pair[0], pair[1]);
            std::f64::consts::PI * (z1 - z0) * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0
        };
        Volume::from_ml(self.points.windows(2).map(cone).sum::<f64>() / 1e3)
    }

    /// Its surface but for the mouth, mm².
    pub(super) fn surface_mm2(&self) -> f64 {
        let side = |pair: &[(f64, f64)]| {
            let ((z0, r0), (z1, r1)) = (pair[0], pair[1]);
            std::f64::consts::PI * (r0 + r1) * (z1 - z0).hypot(r1 - r0)
        };
        let foot = self.points.first().map_or(0.0, |p| p.1);
        self.points.windows(2).map(side).sum::<f64>() + std::f64::consts::PI * foot * foot
    }

    /// Error of a radius, one standard deviation; where a hand has moved some, theirs.
    #[must_use]
    pub fn radius_error(&self) -> Length {
        Length::from_mm(self.radius_error_mm)
    }

    /// Error of all radii together, as a share, one standard deviation.
    #[must_use]
    pub fn scale_error(&self) -> f64 {
        self.scale_error
    }

    /// Half of what both sides differ by, root mean square.
    #[must_use]
    pub fn asymmetry(&self) -> Length {
        Length::from_mm(self.asymmetry_mm)
    }

    /// Share of the heights at which the sides do not agree.
    pub(super) fn unlike(&self) -> f64 {
        self.unlike
    }

    pub(super) fn seen(camera: &Camera, sides: &Sides) -> Result<Self, TraceError> {
        let bottle = camera.bottle;
        let [left, right] = [(&sides.left, -1.0), (&sides.right, 1.0)]
            .map(|(edges, side)| Side::of(camera, edges, side, bottle));
        let steps = (bottle / STEP_MM).round().max(20.0) as usize;
        let mut joined = Vec::new();
        let (mut squares, mut both, mut unlike) = (0.0, 0usize, 0usize);
        for step in 0..=steps {
            let height = bottle * step as f64 / steps as f64;
            let agree = 0.6 + 1.5 * camera.mm_per_pixel();
            match (left.at(height), right.at(height)) {
                (Some((l, by_left)), Some((r, by_right))) => {
                    both += 1;
                    let half = 0.5 * (l - r);
                    if half.abs() < agree {
                        squares += half * half;
                        joined.push((height, 0.5 * (l + r)));
                    } else {
                        unlike += 1;
                        // A shadow is wider and softer than the glass.
                        let side = if by_left > 1.4 * by_right {
                            l
                        } else if by_right > 1.4 * by_left {
                            r
                        } else {
                            l.min(r)
                        };
                        joined.push((height, side));
                    }
                }
                (Some((one, _)), None) | (None, Some((one, _))) => joined.push((height, one)),
                (None, None) => (),
            }
        }
        if joined.len() < steps / 2 || both < steps / 4 {
            return Err(TraceError::Outline);
        }
        let found = joined.len() as f64 / steps as f64;
        let asymmetry_mm = (squares / (both - unlike).max(1) as f64).sqrt();
        let points = ended(thinned(&joined), bottle);
        let pixel_mm = camera.mm_per_pixel();
        Ok(Self {
            points,
            // Half a pixel for where the edge of glass is, the sides' difference, and 0.1 mm for what is smoothed away.
            radius_error_mm: (0.1f64.powi(2)
                + (0.5 * pixel_mm).powi(2)
                + 0.5 * asymmetry_mm.powi(2))
            .sqrt(),
            scale_error: (camera.scale_spread.powi(2) + 0.004f64.powi(2)).sqrt(),
            asymmetry_mm,
            unlike: unlike as f64 / both.max(1) as f64,
            found,
        })
    }

    /// The same with its radius so many millimetres larger at each grip, and less between them.
    pub(super) fn moved(&self, out_mm: &[f64; GRIPS]) -> Self {
        if out_mm.iter().all(|out| *out == 0.0) {
            return self.clone();
        }
        let bottle = self.height().mm();
        let mut heights: Vec<f64> = self.points.iter().map(|p| p.0).collect();
        // The line bends at the grip that is moved and at those beside it.
        for grip in 0..GRIPS {
            let near = grip.saturating_sub(1)..=(grip + 1).min(GRIPS - 1);
            let at = bottle * share(grip);
            let is_new = heights.iter().all(|h| (h - at).abs() > 0.5 * STEP_MM);
            if is_new && out_mm[near].iter().any(|out| *out != 0.0) {
                heights.push(at);
            }
        }
        heights.sort_by(f64::total_cmp);
        let point = |height: f64| {
            let radius = radius_at(&self.points, height) + out_at(out_mm, height / bottle);
            (height, radius.max(LEAST_RADIUS_MM))
        };
        Self {
            points: heights.into_iter().map(point).collect(),
            radius_error_mm: self.by_hand_mm(),
            ..self.clone()
        }
    }

    /// Error of a radius that a hand has moved, one standard deviation, mm: of an outline that no hand has moved.
    pub(super) fn by_hand_mm(&self) -> f64 {
        self.radius_error_mm.hypot(BY_HAND * self.height().mm())
    }

    /// Radius at a height, mm, and how much it widens upwards there.
    pub(super) fn radius_and_slope(&self, height: f64) -> (f64, f64) {
        let at = |height: f64| radius_at(&self.points, height);
        let slope = (at(height + SMOOTH_MM) - at(height - SMOOTH_MM)) / (2.0 * SMOOTH_MM);
        (at(height), slope)
    }

    /// Largest change of the radius between points 3 mm apart below the finish, mm: shoulders are steep, and no more.
    pub(super) fn steepest_mm(&self) -> f64 {
        let height = self.height().mm();
        let (from, to) = (0.03 * height, height - 45.0f64.min(0.2 * height));
        let mut most: f64 = 0.0;
        let mut at = from;
        while at + 3.0 < to {
            let change = radius_at(&self.points, at + 3.0) - radius_at(&self.points, at);
            most = most.max(change);
            at += 1.0;
        }
        most
    }
}

/// One side in millimetres: heights in order, radii, and how strong the edge is.
struct Side {
    points: Vec<(f64, f64, f64)>,
}

impl Side {
    fn of(camera: &Camera, edges: &[Edge], side: f64, bottle: f64) -> Self {
        let mut points: Vec<(f64, f64, f64)> = camera
            .profile(edges, side)
            .into_iter()
            .zip(edges)
            .filter_map(|(seen, edge)| seen.map(|(height, radius)| (height, radius, edge.strength)))
            .filter(|p| (-0.3..=bottle + 0.3).contains(&p.0))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { points }
    }

    /// Radius at a height by a straight line through what is near, and the mean strength; nothing where nothing is.
    fn at(&self, height: f64) -> Option<(f64, f64)> {
        let from = self.points.partition_point(|p| p.0 < height - SMOOTH_MM);
        let to = self.points.partition_point(|p| p.0 <= height + SMOOTH_MM);
        let near = &self.points[from..to];
        let mut sorted: Vec<f64> = near.iter().map(|p| p.1).collect();
        if sorted.is_empty() {
            return None;
        }
        let middle = super::plane::median(&mut sorted);
        let mut sums = [0.0; 6];
        for &(z, r, strength) in near {
            let away = (z - height) / SMOOTH_MM;
            // One stray edge in a smooth side does not bend it.
            let stray = (r - middle) / 2.0;
            let weight = (1.0 - away.abs().powi(3)).max(0.01).powi(3) / (1.0 + stray * stray);
            for (sum, term) in sums
                .iter_mut()
                .zip([1.0, away, away * away, r, away * r, strength])
            {
                *sum += weight * term;
            }
        }
        let [n, x, xx, y, xy, strength] = sums;
        let det = n * xx - x * x;
        let radius = if near.len() >= 4 && det > 0.02 * n * n {
            (y * xx - x * xy) / det
        } else {
            y / n
        };
        Some((radius, strength / n))
    }
}

/// Radius at a height, straight between points.
fn radius_at(points: &[(f64, f64)], height: f64) -> f64 {
    let above = points.partition_point(|p| p.0 <= height);
    match (above.checked_sub(1).map(|i| points[i]), points.get(above)) {
        (Some(low), Some(high)) => {
            low.1 + (high.1 - low.1) * (height - low.0) / (high.0 - low.0).max(1e-9)
        }
        (Some(end), None) => end.1,
        (None, Some(start)) => start.1,
        (None, None) => 0.0,
    }
}

/// The outline from the table to the lip: its ends are as wide as what was last seen.
fn ended(mut points: Vec<(f64, f64)>, bottle: f64) -> Vec<(f64, f64)> {
    if let Some(&(height, radius)) = points.first()
        && height > 0.0
    {
        points.insert(0, (0.0, radius));
    }
    if let Some(&(height, radius)) = points.last()
        && height < bottle
    {
        points.push((bottle, radius));
    }
    points
}

/// As few points as stay within [`THIN_MM`] of all, or a little more if those are too many. Douglas & Peucker 1973.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut within = THIN_MM;
    loop {
        let mut keep = vec![false; points.len()];
        keep[0] = true;
        keep[points.len() - 1] = true;
        let mut pieces = vec![(0, points.len() - 1)];
        while let Some((from, to)) = pieces.pop() {
            let (a, b) = (points[from], points[to]);
            let off = |at: usize| {
                let share = (points[at].0 - a.0) / (b.0 - a.0).max(1e-9);
                (points[at].1 - a.1 - share * (b.1 - a.1)).abs()
            };
            let Some(worst) = (from + 1..to).max_by(|&i, &j| off(i).total_cmp(&off(j))) else {
                continue;
            };
            if off(worst) > within {
                keep[worst] = true;
                pieces.extend([(from, worst), (worst, to)]);
            }
        }
        let kept: Vec<_> = points
            .iter()
            .zip(&keep)
            .filter(|(_, keep)| **keep)
            .map(|(p, _)| *p)
            .collect();
        if kept.len() <= MAX_POINTS {
            return kept;
        }
        within *= 1.5;
    }
}
