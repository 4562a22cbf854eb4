//! Every pair of the set, the rougher the brighter; the numbers are under the pointer.

use std::f32::consts::FRAC_PI_2;

use eframe::egui::epaint::TextShape;
use eframe::egui::{
    Align2, Color32, FontId, Painter, Pos2, Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo,
    pos2, vec2,
};

use super::View;
use super::together::{beats, pair_of};
use super::touch;
use crate::app::ask::{Ask, PlayAsk, ViewAsk};
use crate::app::palette::{Palette, roughness};
use crate::index::PourIndex;

/// Room for the names at the side and under it, points.
const MARGIN: f32 = 30.0;
/// Squares smaller than this have no names: they would cover each other. Points.
const NAMED: f32 = 9.0;
/// Size of the names, points.
const NAME: f32 = 10.0;
/// Breath of a pair that is heard.
const PAIR_BREATH: f32 = 0.6;
/// The largest side of a square, points.
const LARGEST: f32 = 26.0;
/// Bottles of a set that it is drawn for at most: more squares than this cannot be told apart.
const MOST: usize = 60;
/// Roughness of the brightest square: two pure tones of amplitude 1 at their roughest.
const ROUGHEST: f64 = 1.0;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let order: Vec<PourIndex> = view
        .derived
        .order
        .iter()
        .copied()
        .filter(|&i| view.derived.bottles[i].pitch.is_ok())
        .collect();
    if order.len() < 2 {
        ui.label("A matrix needs two bottles that sound.");
        return;
    }
    if order.len() > MOST {
        ui.label(format!(
            "{} bottles are more than the {MOST} that a matrix shows.",
            order.len()
        ));
        return;
    }
    let side = ((ui.available_width() - MARGIN) / order.len() as f32).clamp(4.0, LARGEST);
    let size = vec2(1.0, 1.0) * (MARGIN + side * order.len() as f32);
    let (rect, response) = ui.allocate_exact_size(size, Sense::CLICK | Sense::DRAG);
    response.widget_info(|| {
        WidgetInfo::labeled(Role::Image, true, "Roughness of every pair of bottles")
    });
    let corner = rect.min + vec2(MARGIN, 0.0);
    let painter = ui.painter_at(rect);
    let square = |row: usize, column: usize| {
        let at = corner + vec2(column as f32 * side, row as f32 * side);
        Rect::from_min_size(at, vec2(side, side))
    };
    let at = |pos: Pos2| {
        let from = (pos - corner) / side;
        let cell = (from.y.floor(), from.x.floor());
        (cell.0 > cell.1 && cell.1 >= 0.0 && (cell.0 as usize) < order.len())
            .then_some((cell.0 as usize, cell.1 as usize))
    };
    let hovered = response.hover_pos().and_then(at);
    let cells = cells(ui, view, &order);
    for (row, &pour) in order.iter().enumerate() {
        for column in 0..row {
            let share = (cells[row * (row - 1) / 2 + column] / ROUGHEST).sqrt();
            painter.rect_filled(
                square(row, column).shrink(0.5),
                0.0,
                roughness(share as f32),
            );
        }
        painter.rect_filled(square(row, row).shrink(0.5), 0.0, palette.glass);
        if side < NAMED {
            continue;
        }
        let note = view.derived.bottles[pour].note.plain().to_string();
        let colour = |is_it: bool| if is_it { palette.text } else { palette.weak };
        let beside = pos2(corner.x - 3.0, square(row, 0).center().y);
        let font = FontId::proportional(NAME);
        let lit = colour(hovered.is_some_and(|at| at.0 == row));
        painter.text(beside, Align2::RIGHT_CENTER, &note, font, lit);
        let under = pos2(
            square(0, row).center().x,
            square(order.len(), 0).top() + 3.0,
        );
        upright(
            &painter,
            under,
            note,
            colour(hovered.is_some_and(|at| at.1 == row)),
        );
    }
    if let Some((row, column)) = hovered {
        let edge = Stroke::new(2.0, palette.chosen);
        painter.rect_stroke(square(row, column), 0.0, edge, StrokeKind::Outside);
        let (low, high) = (order[column], order[row]);
        let text = pair_of(view, low, high).map(|pair| {
            format!(
                "{} and {}: {:.1} cents, {} {:+.1} cents, {:+.1} off equal\nbeats {}, roughness {:.2}",
                pair.a_note,
                pair.b_note,
                pair.interval.interval_cents,
                pair.interval.just,
                pair.interval.off_just_cents,
                pair.interval.off_equal_cents,
                beats(&pair),
                pair.roughness
            )
        });
        if response.is_pointer_button_down_on() {
            for pour in [low, high] {
                touch::press_elsewhere(ui, pour, PAIR_BREATH);
            }
        }
        if response.clicked() {
            asks.push(ViewAsk::Select(high).into());
            for pour in [low, high] {
                if !view.state.blown.iter().any(|(blown, _)| *blown == pour) {
                    asks.push(PlayAsk::Tap(pour, PAIR_BREATH).into());
                }
            }
        }
        response.on_hover_text_at_pointer(text.unwrap_or_default());
    }
    ui.label("Dark is smooth, bright is rough. Press a square to hear the two.");
}

/// Writes a name from below up to `top`.
fn upright(painter: &Painter, top: Pos2, text: String, colour: Color32) {
    let galley = painter.layout_no_wrap(text, FontId::proportional(NAME), colour);
    let size = galley.size();
    let foot = top + vec2(-0.5 * size.y, size.x);
    painter.add(TextShape::new(foot, galley, colour).with_angle(-FRAC_PI_2));
}

/// The roughness of every pair, row after row; worked out once for each change of the set.
fn cells(ui: &Ui, view: &View<'_>, order: &[PourIndex]) -> Vec<f64> {
    let id = response_id();
    let kept: Option<(u64, Vec<f64>)> = ui.data(|data| data.get_temp(id));
    if let Some((revision, cells)) = kept
        && revision == view.derived.revision
    {
        return cells;
    }
    let mut cells = Vec::new();
    for (row, &high) in order.iter().enumerate() {
        for &low in &order[..row] {
            cells.push(pair_of(view, low, high).map_or(0.0, |pair| pair.roughness));
        }
    }
    ui.data_mut(|data| data.insert_temp(id, (view.derived.revision, cells.clone())));
    cells
}

fn response_id() -> eframe::egui::Id {
    eframe::egui::Id::unique("roughness of every pair")
}
