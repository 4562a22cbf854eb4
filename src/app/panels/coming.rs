//! The notes that come, over the bottles that play them: bars that fall to the mouth and close on it.

use eframe::egui::{Painter, Rect, Stroke, StrokeKind, pos2, vec2};

use super::View;
use crate::app::palette::Palette;
use crate::app::practice::{Coming, SHOWN_S};
use crate::index::PourIndex;

/// Height that a note falls through while it is shown, points.
const FALL: f32 = 110.0;
/// Least height of a bar, points.
const LEAST: f32 = 3.0;
/// How much wider than the bottle a bar is that is farthest away.
const FAR: f32 = 0.5;
/// The width of a bar at the mouth, of the bottle's.
const NEAR: f32 = 0.4;

/// Draws what comes to a pour's bottle, which is in `rect`, within its `column`: at one speed wherever it stands.
pub(super) fn paint(
    painter: &Painter,
    view: &View<'_>,
    pour: PourIndex,
    (rect, column): (Rect, Rect),
    palette: &Palette,
) {
    let Some(practice) = &view.state.practice else {
        return;
    };
    let mine = practice.is_mine(pour);
    if mine {
        let around = rect.expand2(vec2(3.0, 3.0));
        let line = Stroke::new(2.0, palette.yours);
        painter.rect_stroke(around, 5.0, line, StrokeKind::Outside);
    }
    let mouth = rect.top();
    // What is higher than the row's own place would cover the captions of the row above.
    let own = Rect::from_min_max(column.left_top(), pos2(column.right(), mouth + 8.0));
    let painter = painter.with_clip_rect(painter.clip_rect().intersect(own));
    for note in practice.coming.iter().filter(|note| note.pour == pour) {
        let far = (note.in_s / SHOWN_S as f32).clamp(0.0, 1.0);
        let width = rect.width() * (NEAR + (1.0 + FAR - NEAR) * far);
        let (top, bottom) = over_the_mouth(note);
        let (top, bottom) = (mouth - top, mouth - bottom);
        let bar = Rect::from_min_max(
            pos2(rect.center().x - 0.5 * width, top),
            pos2(rect.center().x + 0.5 * width, bottom),
        );
        let colour = if note.mine {
            palette.yours
        } else {
            palette.good
        };
        if note.in_s <= 0.0 {
            painter.rect_filled(bar.expand(2.0), 2.0, colour);
        } else if note.mine {
            painter.rect_filled(bar, 1.5, colour.gamma_multiply(1.0 - 0.5 * far));
        } else {
            painter.rect_filled(bar, 1.5, colour.gamma_multiply(0.55 - 0.35 * far));
        }
    }
}

/// How far over the mouth the upper and the lower end of a note are, points: all fall at one speed, whatever they fall to.
fn over_the_mouth(note: &Coming) -> (f32, f32) {
    let up = |in_s: f32| FALL * (in_s / SHOWN_S as f32).clamp(0.0, 1.0);
    let bottom = up(note.in_s);
    let top = (up(note.in_s + note.lasts_s) - 1.0).max(bottom + LEAST);
    (top, bottom)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_note_falls_at_one_speed_and_is_as_long_as_it_lasts() {
        let at = |in_s: f32, lasts_s: f32| {
            let pour = PourIndex::new(0);
            over_the_mouth(&Coming {
                pour,
                in_s,
                lasts_s,
                mine: false,
            })
        };
        let points_per_s = FALL / SHOWN_S as f32;
        for (early_s, late_s) in [(1.5f32, 1.0f32), (0.6, 0.1)] {
            let fallen = at(early_s, 0.3).1 - at(late_s, 0.3).1;
            assert!((fallen - points_per_s * (early_s - late_s)).abs() < 1e-3);
        }
        let (top, bottom) = at(0.5, 0.8);
        assert!((top - bottom + 1.0 - 0.8 * points_per_s).abs() < 1e-3);
        // The shortest is still seen, and one that sounds stands at the mouth.
        assert!(at(1.0, 0.0).0 - at(1.0, 0.0).1 >= LEAST && at(-0.2, 0.1).1 == 0.0);
    }
}
