//! What stands under a bottle: its note, how far off it is, and its key.

use eframe::egui::{
    Align2, Color32, FontId, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, pos2, vec2,
};

use super::View;
use super::spread::{Lettering, Placed};
use crate::app::derived::Shown;
use crate::app::palette::{IN_TUNE_CENTS, Palette};
use crate::number::signed;
use crate::report::words::in_tune;
use crate::units::Interval;

/// Farther off than this it is called by the note that it gives, cents.
const OTHER_NOTE_CENTS: f64 = 50.0;

/// Writes it.
pub(super) fn paint(
    painter: &Painter,
    view: &View<'_>,
    place: &Placed,
    lettering: Lettering,
    palette: &Palette,
) {
    let shown = &view.derived.bottles[place.index];
    let foot = place.standing.foot + vec2(0.0, 5.0);
    let note = shown.note.plain().to_string();
    let font = FontId::proportional(lettering.note);
    let galley = painter.layout_no_wrap(note, font, palette.text);
    let size = galley.size();
    let arrow = if view.state.stage {
        0.5 * lettering.note
    } else {
        0.0
    };
    let off = shown.pitch.as_ref().map(|pitch| pitch.cents);
    let is_off = off.as_ref().is_ok_and(|cents| cents.abs() > IN_TUNE_CENTS);
    let shift = if is_off { 0.6 * arrow } else { 0.0 };
    painter.galley(foot - vec2(0.5 * size.x + shift, 0.0), galley, palette.text);
    if view.state.stage {
        let at = foot + vec2(0.5 * size.x - shift + 0.7 * arrow, 0.55 * size.y);
        match off {
            Ok(cents) if is_off => triangle(painter, at, arrow, (cents > 0.0, palette.off)),
            Ok(_) => {}
            Err(_) => cross(painter, at, arrow, palette.wrong),
        }
        return;
    }
    let below = foot + vec2(0.0, size.y);
    let (text, colour) = standing(view, shown, palette);
    painter.text(
        below,
        Align2::CENTER_TOP,
        text,
        FontId::proportional(lettering.small),
        colour,
    );
    key(
        painter,
        view,
        shown,
        below + vec2(0.0, lettering.small + 5.0),
        palette,
    );
}

/// How it stands: in tune, so far off, another note altogether, or silent.
fn standing(view: &View<'_>, shown: &Shown, palette: &Palette) -> (String, Color32) {
    let Ok(pitch) = &shown.pitch else {
        return ("silent".to_owned(), palette.wrong);
    };
    let cents = pitch.cents;
    let text = if cents.abs() > OTHER_NOTE_CENTS {
        let (note, off) = view.document.model.tuning.nearest(pitch.frequency);
        format!("now {} {}", note.plain(), signed(off.cents(), 0))
    } else if cents.abs() <= IN_TUNE_CENTS {
        "in tune".to_owned()
    } else {
        let way = if cents > 0.0 { "sharp" } else { "flat" };
        format!("{:.0} {way}", cents.abs())
    };
    (text, palette.cents(cents))
}

/// The same for whoever listens to the window.
pub(super) fn said(shown: &Shown) -> String {
    match &shown.pitch {
        Ok(pitch) => {
            let within = Interval::from_cents(IN_TUNE_CENTS);
            let off = in_tune(Interval::from_cents(pitch.cents), within);
            format!("{:.1} hertz, {off}", pitch.frequency.hz())
        }
        Err(because) => format!("does not sound: {because}"),
    }
}

fn key(painter: &Painter, view: &View<'_>, shown: &Shown, at: Pos2, palette: &Palette) {
    let Some(hint) = view.keyboard.hint(shown.note.midi()) else {
        return;
    };
    let galley = painter.layout_no_wrap(hint, FontId::monospace(11.0), palette.weak);
    let size = galley.size();
    let corner = at - vec2(0.5 * size.x, 0.0);
    let around = Rect::from_min_size(corner, size).expand2(vec2(4.0, 1.0));
    let edge = Stroke::new(1.0, palette.weak);
    painter.rect_stroke(around, 3.0, edge, StrokeKind::Inside);
    painter.galley(corner, galley, palette.weak);
}

/// Up for sharp, down for flat.
fn triangle(painter: &Painter, at: Pos2, size: f32, (up, colour): (bool, Color32)) {
    let tip = if up { -0.5 * size } else { 0.5 * size };
    let points = vec![
        pos2(at.x, at.y + tip),
        pos2(at.x - 0.5 * size, at.y - tip),
        pos2(at.x + 0.5 * size, at.y - tip),
    ];
    painter.add(Shape::convex_polygon(points, colour, Stroke::NONE));
}

fn cross(painter: &Painter, at: Pos2, size: f32, colour: Color32) {
    let half = 0.35 * size;
    let stroke = Stroke::new(0.12 * size, colour);
    for (a, b) in [(-half, half), (half, -half)] {
        painter.line_segment([at + vec2(-half, a), at + vec2(half, b)], stroke);
    }
}
