//! A bottle painted to scale: glass, air, liquid, and the light of its own sound.

use eframe::egui::{Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

use crate::app::palette::{Palette, between};
use crate::physics::bottle::Bottle;
use crate::report::drawing::outside;
use crate::units::Length;

/// Where a bottle stands on the screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::app) struct Standing {
    /// Its axis, and the table under it.
    pub foot: Pos2,
    /// Points a metre.
    pub scale: f32,
}

/// A bottle's outline, in metres: heights above the table and radii.
#[derive(Clone, Debug)]
pub(in crate::app) struct Outline {
    pub outside: Vec<(f64, f64)>,
    pub inside: Vec<(f64, f64)>,
    pub floor_m: f64,
    pub height_m: f64,
    pub radius_m: f64,
}

impl Outline {
    pub(in crate::app) fn of(bottle: &Bottle) -> Self {
        let outside = outside(bottle);
        let floor_m = bottle.floor().m();
        let points = bottle.bore().points().iter();
        let inside = points.map(|p| (p.height_m + floor_m, p.radius_m)).collect();
        let most = |(h, r): (f64, f64), p: &(f64, f64)| (h.max(p.0), r.max(p.1));
        let (height_m, radius_m) = outside.iter().fold((0.0, 0.0), most);
        Self {
            outside,
            inside,
            floor_m,
            height_m,
            radius_m,
        }
    }
}

impl Standing {
    fn at(self, height_m: f64, radius_m: f64) -> Pos2 {
        self.foot + vec2(radius_m as f32 * self.scale, -height_m as f32 * self.scale)
    }

    /// The rectangle around a bottle.
    pub(in crate::app) fn rect(self, outline: &Outline) -> Rect {
        Rect::from_two_pos(
            self.at(0.0, -outline.radius_m),
            self.at(outline.height_m, outline.radius_m),
        )
    }

    /// Where a level above the inner floor is on the screen.
    pub(in crate::app) fn level_y(self, outline: &Outline, level: Length) -> f32 {
        self.at(level.m() + outline.floor_m, 0.0).y
    }

    /// The level above the inner floor at a height on the screen.
    pub(in crate::app) fn level_at(self, outline: &Outline, y: f32) -> Length {
        let height_m = f64::from((self.foot.y - y) / self.scale);
        Length::from_m(height_m - outline.floor_m)
    }

    /// A shape symmetric about the axis, filled; it need not be convex.
    fn solid(self, side: &[(f64, f64)], colour: Color32) -> Shape {
        let mut mesh = Mesh::default();
        for (index, &(height_m, radius_m)) in side.iter().enumerate() {
            mesh.colored_vertex(self.at(height_m, -radius_m), colour);
            mesh.colored_vertex(self.at(height_m, radius_m), colour);
            if index > 0 {
                let next = 2 * index as u32;
                mesh.add_triangle(next - 2, next - 1, next);
                mesh.add_triangle(next - 1, next, next + 1);
            }
        }
        Shape::mesh(mesh)
    }

    /// The glass between a bottle's outside and its inside; nothing of what it holds, so that no point is painted twice.
    fn wall(self, outline: &Outline, colour: Color32) -> Shape {
        let Outline {
            outside, inside, ..
        } = outline;
        let mut mesh = Mesh::default();
        let mut quad = |low: [Pos2; 2], high: [Pos2; 2]| {
            let first = mesh.vertices.len() as u32;
            for corner in low.into_iter().chain(high) {
                mesh.colored_vertex(corner, colour);
            }
            mesh.add_triangle(first, first + 1, first + 2);
            mesh.add_triangle(first + 1, first + 2, first + 3);
        };
        let floor_m = inside.first().map_or(outline.height_m, |p| p.0);
        for pair in below(outside, floor_m).windows(2) {
            let across = |(h, r): (f64, f64)| [self.at(h, -r), self.at(h, r)];
            quad(across(pair[0]), across(pair[1]));
        }
        let mut heights: Vec<f64> = outside.iter().chain(inside).map(|p| p.0).collect();
        heights.retain(|h| *h >= floor_m);
        heights.sort_by(f64::total_cmp);
        heights.dedup();
        for pair in heights.windows(2) {
            let ends = |side: &[(f64, f64)]| (radius(side, pair[0]).1, radius(side, pair[1]).0);
            let (outer, inner) = (ends(outside), ends(inside));
            for sign in [-1.0, 1.0] {
                let across = |h, inner: f64, outer: f64| {
                    [
                        self.at(h, sign * inner.min(outer)),
                        self.at(h, sign * outer),
                    ]
                };
                quad(
                    across(pair[0], inner.0, outer.0),
                    across(pair[1], inner.1, outer.1),
                );
            }
        }
        Shape::mesh(mesh)
    }

    fn outline(self, side: &[(f64, f64)], stroke: Stroke) -> Shape {
        let right = side.iter().map(|&(h, r)| self.at(h, r));
        let left = side.iter().rev().map(|&(h, r)| self.at(h, -r));
        Shape::line(left.chain(right).collect(), stroke)
    }
}

/// What is painted of a bottle.
pub(in crate::app) struct Picture<'a> {
    pub outline: &'a Outline,
    pub standing: Standing,
    pub level: Length,
    /// A floor that slides is up to there, no liquid.
    pub is_floor: bool,
    /// How far its air swings.
    pub swing: f32,
    pub is_chosen: bool,
}

/// The radius of `side` at `height_m`, just below it and just above: a step has two.
fn radius(side: &[(f64, f64)], height_m: f64) -> (f64, f64) {
    let between = |upper: usize| match (upper.checked_sub(1).map(|at| side[at]), side.get(upper)) {
        (Some((low, r0)), Some(&(high, r1))) => {
            r0 + (r1 - r0) * ((height_m - low) / (high - low).max(1e-9)).clamp(0.0, 1.0)
        }
        (Some((_, r)), None) | (None, Some(&(_, r))) => r,
        (None, None) => 0.0,
    };
    let below = side.partition_point(|p| p.0 < height_m);
    let above = side.partition_point(|p| p.0 <= height_m);
    (between(below), between(above))
}

/// The part of `side` above `height_m`, cut off there.
fn above(side: &[(f64, f64)], height_m: f64) -> Vec<(f64, f64)> {
    let from = side.partition_point(|p| p.0 <= height_m);
    let mut cut = Vec::with_capacity(side.len() - from + 1);
    if from > 0 {
        cut.push((height_m, radius(side, height_m).1));
    }
    cut.extend_from_slice(&side[from..]);
    cut
}

/// The part of `side` below `height_m`, cut off there.
fn below(side: &[(f64, f64)], height_m: f64) -> Vec<(f64, f64)> {
    let to = side.partition_point(|p| p.0 < height_m);
    let mut cut = side[..to].to_vec();
    if to > 0 && to < side.len() {
        cut.push((height_m, radius(side, height_m).0));
    }
    cut
}

/// Paints it.
pub(in crate::app) fn paint(painter: &Painter, picture: &Picture<'_>, palette: &Palette) {
    let Picture {
        outline,
        standing,
        level,
        is_floor,
        swing,
        is_chosen,
    } = *picture;
    let light = swing.clamp(0.0, 1.0);
    if light > 0.01 {
        let rect = standing.rect(outline).expand(3.0 + 5.0 * light);
        let halo = palette.glow.gamma_multiply(0.30 * light);
        painter.rect_filled(rect, 10.0, halo);
    }
    painter.add(standing.wall(outline, palette.glass));
    let surface_m = level.m() + outline.floor_m;
    let air = between(palette.air, palette.glow, 0.85 * light);
    painter.add(standing.solid(&above(&outline.inside, surface_m), air));
    let liquid = below(&outline.inside, surface_m);
    if liquid.len() > 1 {
        let below_it = if is_floor {
            palette.table
        } else {
            palette.liquid
        };
        painter.add(standing.solid(&liquid, below_it));
        let (height_m, radius_m) = liquid[liquid.len() - 1];
        let ends = [
            standing.at(height_m, -radius_m),
            standing.at(height_m, radius_m),
        ];
        painter.line_segment(ends, Stroke::new(1.5, palette.surface));
    }
    let (width, colour) = if is_chosen {
        (2.0, palette.chosen)
    } else {
        (1.0, palette.wall)
    };
    painter.add(standing.outline(&outline.outside, Stroke::new(width, colour)));
}

/// The grip at a level: a small arrow that points at it from the right, with its rectangle to take hold of.
pub(in crate::app) fn grip(
    standing: Standing,
    outline: &Outline,
    level: Length,
) -> (Rect, [Pos2; 3]) {
    let y = standing.level_y(outline, level);
    let x = standing.rect(outline).right();
    let rect = Rect::from_min_max(pos2(x + 1.0, y - 9.0), pos2(x + 15.0, y + 9.0));
    let arrow = [
        pos2(x + 2.0, y),
        pos2(x + 13.0, y - 7.0),
        pos2(x + 13.0, y + 7.0),
    ];
    (rect, arrow)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: [(f64, f64); 4] = [(0.0, 2.0), (1.0, 2.0), (1.0, 1.0), (3.0, 0.5)];

    #[test]
    fn a_step_has_two_radii_and_a_slope_one() {
        assert_eq!(radius(&SIDE, 1.0), (2.0, 1.0));
        assert_eq!(radius(&SIDE, 2.0), (0.75, 0.75));
        assert_eq!(radius(&SIDE, 3.0).0, 0.5);
    }

    #[test]
    fn what_is_below_a_level_and_what_is_above_make_the_whole() {
        let area = |side: &[(f64, f64)]| {
            let strip = |p: &[(f64, f64)]| (p[1].0 - p[0].0) * (p[0].1 + p[1].1);
            side.windows(2).map(strip).sum::<f64>()
        };
        for level in [0.0, 0.4, 1.0, 1.5, 2.9] {
            let parts = area(&below(&SIDE, level)) + area(&above(&SIDE, level));
            assert!((parts - area(&SIDE)).abs() < 1e-12, "{level}: {parts}");
        }
    }

    /// Area of the triangles of a mesh, square points.
    fn area(shape: &Shape) -> f32 {
        let Shape::Mesh(mesh) = shape else { return 0.0 };
        let of = |t: &[u32]| {
            let [a, b, c] = [t[0], t[1], t[2]].map(|i| mesh.vertices[i as usize].pos);
            0.5 * ((b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y)).abs()
        };
        mesh.indices.chunks(3).map(of).sum()
    }

    #[test]
    fn glass_is_what_is_outside_less_what_is_inside() {
        let set = crate::set::open("presets/quay/set.toml").expect("a preset");
        let standing = Standing {
            foot: pos2(0.0, 0.0),
            scale: 2_000.0,
        };
        for kind in &set.kinds {
            let outline = Outline::of(&kind.bottle);
            let whole = area(&standing.solid(&outline.outside, Color32::WHITE));
            let held = area(&standing.solid(&outline.inside, Color32::WHITE));
            let glass = area(&standing.wall(&outline, Color32::WHITE));
            assert!(held > 0.5 * whole, "{}", kind.name);
            assert!(
                (glass - (whole - held)).abs() < 2e-3 * whole,
                "{}: {glass} of {whole} less {held}",
                kind.name
            );
        }
    }
}
