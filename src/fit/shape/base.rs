//! Where a shape comes from: the family of bottles, a bore that was measured, or an outline that was seen.

use super::family::{self, Theta, at};
use super::nodes::Nodes;
use crate::physics::material::Material;

/// Points of a measured bore that are worked with.
const BORE_POINTS: usize = 80;
/// Points of an outline that are worked with.
const OUTLINE_POINTS: usize = 44;
/// Radius, over that of the mouth, at which a given bore counts as neck.
const NECK_WIDTH: f64 = 1.6;
/// How high the rings and threads of a finish reach down, and how wide a ring is taken off, m: from finish drawings, from memory.
const FINISH_M: f64 = 30e-3;
const RING_M: f64 = 24e-3;
/// How far down rings are taken off, and the distance of the heights at which they are looked for, m.
const OPENED_M: f64 = 45e-3;
const OPENING_STEP_M: f64 = 1e-3;
/// By how much the bore under a finish narrows upwards, as a slope of its radius, and how unlike finishes are in that: as necks do
/// in the family of bottles.
const NARROWS: f64 = 0.04;
const NARROWS_SPREAD: f64 = 0.025;
/// How far down a lip flares, m: as in the family of bottles.
const FLARED_M: f64 = 5e-3;

/// A shape: its bore and what can be measured outside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    pub nodes: Nodes,
    /// Thickness of body, floor and lip, m.
    pub wall: f64,
    pub floor: f64,
    pub lip: f64,
    /// Where the shoulder begins and ends, above the inner floor, m.
    pub body_top: f64,
    pub foot: f64,
    /// Bore at the foot of the neck, just under the rim, and where it is narrowest, as radii, m.
    pub foot_radius: f64,
    pub throat: f64,
    pub narrowest: f64,
    /// What the player adds to the mouth, in its radii.
    pub player: f64,
    /// Soft limits that are overstepped, in standard deviations.
    pub strained: f64,
}

/// Where shapes come from.
#[derive(Clone, Debug)]
pub(super) enum Base {
    Family,
    Bore(Bore),
    Outline(Outline),
}

/// A bore that was measured point by point.
#[derive(Clone, Debug)]
pub(super) struct Bore {
    pub points: Vec<(f64, f64)>,
    pub foot: f64,
    pub body_top: f64,
    /// One standard deviation of all diameters together over two, and of the height as a share.
    pub radius_error: f64,
    pub height_error: f64,
    /// By how much a stated capacity may widen the body, as a share (one standard deviation); 0 where none is stated.
    pub body_error: f64,
}

/// An outline, heights above the table and outer radii, m.
#[derive(Clone, Debug)]
pub(super) struct Outline {
    pub points: Vec<(f64, f64)>,
    /// The same without the rings of the finish.
    opened: Vec<f64>,
    pub foot: f64,
    pub body_top: f64,
    /// One standard deviation of all radii together, and of the scale as a share.
    pub radius_error: f64,
    pub scale_error: f64,
}

impl Base {
    pub(super) fn shape(&self, x: &Theta, material: Material) -> Shape {
        match self {
            Self::Family => family::shape(x, material),
            Self::Bore(bore) => bore.shape(x, material),
            Self::Outline(outline) => outline.shape(x, material),
        }
    }
}

impl Bore {
    pub(super) fn new(
        all: &[(f64, f64)],
        neck: Option<f64>,
        radius_error: f64,
        length_error: f64,
    ) -> Self {
        let height = all[all.len() - 1].0;
        let mouth = all[all.len() - 1].1;
        let widest = all.iter().fold(0.0_f64, |most, p| most.max(p.1));
        let (foot, body_top) = parts(all, mouth, widest, neck);
        Self {
            points: all.to_vec(),
            foot,
            body_top,
            radius_error,
            height_error: length_error / height,
            body_error: 0.0,
        }
    }

    /// A point of the bore of that number of standard deviations.
    pub(super) fn turned(&self, x: &Theta, (z, r): (f64, f64)) -> (f64, f64) {
        let body =
            1.0 - ((z - self.body_top) / (self.foot - self.body_top).max(1e-6)).clamp(0.0, 1.0);
        let radius =
            r * (1.0 + self.body_error * x[at::BODY] * body) + self.radius_error * x[at::MOUTH];
        (z * (1.0 + self.height_error * x[at::SLENDER]), radius)
    }

    fn shape(&self, x: &Theta, material: Material) -> Shape {
        let mut nodes = Nodes::new();
        // A thinned list for the likelihood; what is given on is the whole.
        let step = self.points.len().div_ceil(BORE_POINTS).max(1);
        let last = self.points.len() - 1;
        for (index, &point) in self.points.iter().enumerate() {
            if index % step == 0 || index == last {
                let (z, r) = self.turned(x, point);
                nodes.push(z, r);
            }
        }
        let stretch = 1.0 + self.height_error * x[at::SLENDER];
        let (wall, floor, lip) = family::walls(x, material);
        let (foot, body_top) = (self.foot * stretch, self.body_top * stretch);
        let mouth = nodes.r[nodes.count - 1];
        let narrowest = narrowest(&nodes, foot);
        Shape {
            wall,
            floor,
            lip,
            body_top,
            foot,
            foot_radius: nodes.radius_at(foot),
            throat: mouth,
            narrowest,
            player: 0.0,
            strained: 0.0,
            nodes,
        }
    }
}

impl Outline {
    pub(super) fn new(
        all: &[(f64, f64)],
        neck: Option<f64>,
        radius_error: f64,
        scale_error: f64,
    ) -> Self {
        let points = thinned(all);
        let height = points[points.len() - 1].0;
        let opened = opened(&points);
        let bare: Vec<(f64, f64)> = points.iter().zip(&opened).map(|(p, r)| (p.0, *r)).collect();
        let widest = bare.iter().fold(0.0_f64, |most, p| most.max(p.1));
        let neck_radius = bare[bare.len() - 1].1;
        let (foot, body_top) = parts(&bare, 0.85 * neck_radius, widest, neck);
        Self {
            points,
            opened,
            foot: foot.min(height - 2e-3),
            body_top,
            radius_error,
            scale_error,
        }
    }

    fn shape(&self, x: &Theta, material: Material) -> Shape {
        let (wall, floor, lip) = family::walls(x, material);
        let scale = 1.0 + self.scale_error * x[at::SLENDER];
        let height = self.points[self.points.len() - 1].0 * scale;
        let span = self.points[self.points.len() - 1].0;
        // The error of the edge wanders slowly along it.
        let wander = |z: f64| {
            let turn = std::f64::consts::PI * z / span;
            let waves = [
                x[at::MOUTH],
                x[at::WAVE] * turn.cos(),
                x[at::WAVE_2] * (2.0 * turn).cos(),
                x[at::WAVE_3] * (4.0 * turn).cos(),
                x[at::WAIST] * (8.0 * turn).cos(),
            ];
            0.55 * self.radius_error * waves.iter().sum::<f64>()
        };
        let (foot, body_top) = (
            self.foot * scale - floor,
            (self.body_top * scale - floor).max(1e-3),
        );
        let wall_at = |z: f64| {
            let up = ((z - body_top) / (foot - body_top).max(1e-3)).clamp(0.0, 1.0);
            wall + (lip - wall) * up
        };
        // The wall is measured across it: on a slope it takes more of the radius.
        let inner: Vec<f64> = self
            .points
            .iter()
            .zip(&self.opened)
            .map(|(&(h, _), &opened)| {
                let slope = self.slope_at(h).clamp(-3.0, 3.0);
                let across = wall_at(h * scale - floor) * (1.0 + slope * slope).sqrt();
                (opened + wander(h)) * scale - across
            })
            .collect();
        // No narrower than the neck above it: where a shoulder meets its neck the wall fills the corner.
        let mut least = vec![0.0; self.points.len()];
        let mut so_far = f64::INFINITY;
        for (least, (&(h, _), &opened)) in least
            .iter_mut()
            .zip(self.points.iter().zip(&self.opened))
            .rev()
        {
            so_far = so_far.min((opened + wander(h)) * scale - wall_at(h * scale - floor));
            *least = so_far;
        }
        let top = height - floor;
        let finish = FINISH_M.min(0.5 * (top - foot).max(4e-3));
        let bore: Vec<(f64, f64)> = (self.points.iter().zip(inner).zip(&least))
            .map(|((&(h, _), inner), &least)| (h * scale - floor, inner.max(least).max(1e-3)))
            .collect();
        // From the floor to the finish, both ends between two points: a point that goes over an end moves nothing by itself.
        let mut nodes = Nodes::new();
        nodes.push(0.0, between(&bore, 0.0));
        for &(z, r) in bore.iter().filter(|p| p.0 > 0.0 && p.0 < top - finish) {
            nodes.push(z, r);
        }
        let under = between(&bore, top - finish);
        nodes.push(top - finish, under);
        // Under the finish the neck goes on as straight as it comes, and the throat is a little narrower.
        let throat = (under - finish * (NARROWS + NARROWS_SPREAD * x[at::FINISH])).max(0.3 * under)
            + 0.5e-3 * x[at::TAPER];
        nodes.push(
            top - 0.5 * finish,
            0.5 * (under + throat) + 0.2e-3 * x[at::NECK_MID],
        );
        // The rim hides from outside whether the lip flares.
        nodes.push(top - FLARED_M.min(0.3 * finish), throat);
        nodes.push(top, throat / (1.0 - family::flare(x)));
        let narrowest = narrowest(&nodes, foot);
        Shape {
            wall,
            floor,
            lip,
            body_top,
            foot,
            foot_radius: nodes.radius_at(foot),
            throat,
            narrowest,
            player: 0.0,
            strained: 0.0,
            nodes,
        }
    }

    /// How fast the radius changes with height.
    fn slope_at(&self, h: f64) -> f64 {
        let at = self
            .points
            .partition_point(|p| p.0 < h)
            .clamp(1, self.points.len() - 1);
        let (low, high) = (at.saturating_sub(1), (at + 1).min(self.points.len() - 1));
        (self.opened[high] - self.opened[low])
            / (self.points[high].0 - self.points[low].0).max(1e-4)
    }
}

/// The radius at a height, on the straight line between the points around it.
fn between(bore: &[(f64, f64)], z: f64) -> f64 {
    let above = bore.partition_point(|p| p.0 <= z).clamp(1, bore.len() - 1);
    let ((low, r0), (high, r1)) = (bore[above - 1], bore[above]);
    let share = if high > low {
        (z - low) / (high - low)
    } else {
        0.0
    };
    r0 + (r1 - r0) * share.clamp(0.0, 1.0)
}

/// The narrowest radius from the foot of the neck up.
fn narrowest(nodes: &Nodes, foot: f64) -> f64 {
    let neck = (0..nodes.count).filter(|&i| nodes.z[i] >= foot - 1e-9);
    neck.fold(nodes.r[nodes.count - 1], |least, i| least.min(nodes.r[i]))
}

/// Foot of the neck and end of the body of a row of points.
fn parts(points: &[(f64, f64)], mouth: f64, widest: f64, neck: Option<f64>) -> (f64, f64) {
    let height = points[points.len() - 1].0;
    let above = |limit: f64| points.iter().rposition(|p| p.1 > limit);
    let foot = match neck {
        Some(neck) => (height - neck).max(0.0),
        None => above(NECK_WIDTH * mouth).map_or(0.0, |i| points[(i + 1).min(points.len() - 1)].0),
    };
    let top = above(0.97 * widest - 1e-9).map_or(0.0, |i| points[i].0);
    (foot, top.min(foot))
}

/// At most so many points, those kept where the line bends most.
fn thinned(all: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept = all.to_vec();
    while kept.len() > OUTLINE_POINTS {
        let missed = |at: usize| {
            let ((a, r), (b, s), (z, q)) = (kept[at - 1], kept[at + 1], kept[at]);
            let along = if b > a { (z - a) / (b - a) } else { 0.5 };
            (q - (r + (s - r) * along)).abs() * (b - a)
        };
        let least = (1..kept.len() - 1).min_by(|&a, &b| missed(a).total_cmp(&missed(b)));
        let Some(least) = least else { break };
        kept.remove(least);
    }
    kept
}

/// Outer radii without what stands out of the finish for less than a ring's width: a grey opening of the highest 45 mm.
///
/// It is done on heights a millimetre apart: the points of a straight side are further from each other than a ring is wide.
fn opened(points: &[(f64, f64)]) -> Vec<f64> {
    let (first, height) = (points[0].0, points[points.len() - 1].0);
    let from = (height - OPENED_M - RING_M).max(first);
    let count = ((height - from) / OPENING_STEP_M).ceil().max(1.0) as usize;
    let reach = (0.5 * RING_M / OPENING_STEP_M).round() as usize;
    let step = (height - from) / count as f64;
    let radii: Vec<f64> = (0..=count)
        .map(|k| between(points, from + k as f64 * step))
        .collect();
    let over = |values: &[f64], choose: fn(f64, f64) -> f64| -> Vec<f64> {
        let around = |k: usize| &values[k.saturating_sub(reach)..(k + reach + 1).min(values.len())];
        (0..values.len())
            .map(|k| around(k).iter().copied().fold(values[k], choose))
            .collect()
    };
    let opened = over(&over(&radii, f64::min), f64::max);
    let heights = (0..=count).map(|k| from + k as f64 * step);
    let line: Vec<(f64, f64)> = heights.zip(opened).collect();
    let without = |&(z, r): &(f64, f64)| {
        if height - z < OPENED_M {
            between(&line, z).min(r)
        } else {
            r
        }
    };
    points.iter().map(without).collect()
}
