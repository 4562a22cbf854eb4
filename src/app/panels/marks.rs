//! What stands at a bottle besides glass and liquid: marks for the notes that it plays, the hose of a pair, a gauge.

use std::f32::consts::TAU;

use eframe::egui::{Align2, FontId, Painter, Pos2, Shape, Stroke, pos2, vec2};

use super::View;
use super::spread::{Lettering, Placed};
use crate::app::palette::Palette;
use crate::index::PourIndex;
use crate::physics::joined::Which;
use crate::physics::struck::PLAN_BAR;
use crate::units::Pressure;

/// The least distance of two names of marks, of their size.
const APART: f32 = 1.05;

/// Where the mark of a note is on the screen.
pub(super) fn mark_y(view: &View<'_>, place: &Placed, pour: PourIndex) -> f32 {
    let level = view.derived.bottles[pour].level;
    place.standing.level_y(&place.outline, level)
}

/// The note of a bottle whose mark is nearest to a height on the screen.
pub(super) fn nearest(view: &View<'_>, place: &Placed, y: f32) -> PourIndex {
    let off = |pour: &PourIndex| (mark_y(view, place, *pour) - y).abs();
    let nearest = place.pours.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    nearest.copied().unwrap_or(place.index)
}

/// A mark for each note of a bottle that plays several; the one that sounds is lit.
pub(super) fn paint(
    painter: &Painter,
    view: &View<'_>,
    place: &Placed,
    lettering: Lettering,
    palette: &Palette,
) {
    if !place.has_marks() {
        return;
    }
    let rect = place.rect();
    let size = lettering.small.min(22.0);
    let sounds = view
        .swings
        .get(place.index.place())
        .is_some_and(|swing| *swing > super::SOUNDING);
    let mut last_y = [f32::INFINITY; 2];
    for (count, &pour) in place.pours.iter().enumerate() {
        let y = mark_y(view, place, pour);
        let is_it = pour == place.index;
        let (width, colour) = match (is_it, sounds) {
            (true, true) => (4.0, palette.glow),
            (true, false) => (2.5, palette.chosen),
            (false, _) => (1.5, palette.wall),
        };
        let ends = (rect.left() - 4.0)..=(rect.right() + 4.0);
        painter.hline(ends, y, Stroke::new(width, colour));
        let note = view.derived.bottles[pour].note.plain().to_string();
        // Names stand left and right in turn, so that near ones do not cover each other.
        let side = count % 2;
        if (last_y[side] - y).abs() < APART * size && !is_it {
            continue;
        }
        last_y[side] = y;
        let (at, align) = if side == 0 {
            (pos2(rect.left() - 7.0, y), Align2::RIGHT_CENTER)
        } else {
            (pos2(rect.right() + 18.0, y), Align2::LEFT_CENTER)
        };
        let colour = if is_it { palette.text } else { palette.weak };
        painter.text(at, align, note, FontId::proportional(size), colour);
    }
}

/// The hoses of pairs whose bottles stand beside each other.
pub(super) fn hoses(painter: &Painter, view: &View<'_>, placed: &[Placed], palette: &Palette) {
    let joined = |place: &Placed| view.document.model.pours[place.index].joined;
    for two in placed.windows(2) {
        let (Some((pair, which)), Some((other, _))) = (joined(&two[0]), joined(&two[1])) else {
            continue;
        };
        let same_row = (two[0].standing.foot.y - two[1].standing.foot.y).abs() < 1.0;
        if pair != other || !same_row {
            continue;
        }
        let [left, right] = [two[0].rect(), two[1].rect()];
        let from = pos2(left.right(), left.bottom() - 7.0);
        let to = pos2(right.left(), right.bottom() - 7.0);
        let hang = 5.0;
        let point = |along: f32| {
            let at = from + (to - from) * along;
            at + vec2(0.0, hang * (along * TAU / 2.0).sin())
        };
        let line: Vec<Pos2> = (0..=16).map(|step| point(step as f32 / 16.0)).collect();
        painter.add(Shape::line(line.clone(), Stroke::new(7.0, palette.wall)));
        painter.add(Shape::line(line, Stroke::new(4.0, palette.liquid)));
        let lifted = if which == Which::Second { left } else { right };
        painter.text(
            pos2(lifted.center().x, lifted.top() - 4.0),
            Align2::CENTER_BOTTOM,
            "lift this one",
            FontId::proportional(12.0),
            palette.weak,
        );
    }
}

/// A gauge beside the neck of a bottle that is pumped up.
pub(super) fn gauge(painter: &Painter, place: &Placed, gauge: Pressure, palette: &Palette) {
    let rect = place.rect();
    let radius = 13.0;
    let centre = pos2(
        (rect.right() + 10.0).min(place.column.right() - radius - 1.0),
        rect.top() + radius,
    );
    painter.circle(centre, radius, palette.card, Stroke::new(1.5, palette.wall));
    // From half past seven to half past four, as gauges are.
    let turn = |share: f32| TAU * (0.375 + 0.75 * share);
    let towards = |angle: f32, length: f32| centre + length * vec2(angle.cos(), angle.sin());
    for step in 0..=4 {
        let angle = turn(step as f32 / 4.0);
        let ends = [towards(angle, radius - 3.5), towards(angle, radius - 1.0)];
        painter.line_segment(ends, Stroke::new(1.0, palette.weak));
    }
    let share = (gauge.bar() / PLAN_BAR).clamp(0.0, 1.0) as f32;
    let needle = [centre, towards(turn(share), radius - 3.0)];
    painter.line_segment(needle, Stroke::new(2.0, palette.text));
    painter.text(
        centre + vec2(0.0, radius + 1.0),
        Align2::CENTER_TOP,
        format!("{:.1} bar", gauge.bar()),
        FontId::proportional(11.0),
        palette.text,
    );
}
