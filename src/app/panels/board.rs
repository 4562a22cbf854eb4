//! The keys of the set as a strip: which note is there, which key of the computer gives it, which are held.

use eframe::egui::{
    Align2, CornerRadius, FontId, Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

use super::View;
use super::touch;
use crate::app::ask::{Ask, BoardAsk, BoardSetting, PlayAsk};
use crate::app::keyboard::Layout;
use crate::app::palette::{Palette, between};
use crate::index::PourIndex;
use crate::tuning::NoteName;

/// Its height, points.
const HEIGHT: f32 = 62.0;
/// The part of it that black keys reach down.
const BLACK: f32 = 0.58;
/// Breath of a key that is pressed with the pointer.
const KEY_BREATH: f32 = 0.7;
/// Keys shown at least: an octave.
const FEWEST: i32 = 12;

fn is_black(key: i32) -> bool {
    matches!(key.rem_euclid(12), 1 | 3 | 6 | 8 | 10)
}

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    ui.horizontal(|ui| {
        let board = &view.keyboard.board;
        let what = match board.layout {
            Layout::Piano => "octave",
            Layout::Row => "row",
        };
        ui.vertical(|ui| {
            ui.small(format!("{what} {:+}", board.shift));
            ui.horizontal(|ui| {
                let mut shift = |ui: &mut Ui, sign: &str, name: &str, by: i32| {
                    let button = ui.small_button(sign).on_hover_text(format!("Keys one {what} {name}"));
                    if button.accessible_name(format!("{what} {name}")).clicked() {
                        let shift = BoardSetting::Shift(board.shift + by);
                        asks.push(BoardAsk::Set(shift).into());
                    }
                };
                shift(ui, "−", "lower", -1);
                shift(ui, "+", "higher", 1);
            });
            let mut latch = view.keyboard.latch;
            let hint = "A key press starts a note and the next press ends it: for keyboards that drop keys held together";
            if ui.toggle_value(&mut latch, "hold").on_hover_text(hint).changed() {
                asks.push(BoardAsk::Set(BoardSetting::Latch(latch)).into());
            }
        });
        strip(ui, view, asks);
    });
}

/// Lowest and highest key of the set, from a C or F up to a white key.
fn reach(view: &View<'_>) -> (i32, i32) {
    let notes = &view.keyboard.board.notes;
    let low = notes.first().map_or(60, |n| i32::from(*n));
    let high = notes.last().map_or(72, |n| i32::from(*n)).max(low + FEWEST);
    let white_below = |key: i32| if is_black(key) { key - 1 } else { key };
    let white_above = |key: i32| if is_black(key) { key + 1 } else { key };
    (white_below(low - 1), white_above(high + 1))
}

fn strip(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let (low, high) = reach(view);
    let (rect, response) = ui.allocate_exact_size(
        vec2(ui.available_width(), HEIGHT),
        Sense::CLICK | Sense::DRAG,
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, told(view)));
    let whites = (low..=high).filter(|key| !is_black(*key)).count().max(1);
    let width = rect.width() / whites as f32;
    let palette = Palette::of(ui.visuals());
    let mut left = rect.left();
    let (mut blacks, mut whites_at) = (Vec::new(), Vec::new());
    for key in low..=high {
        if is_black(key) {
            let half = 0.32 * width;
            let black = Rect::from_min_max(
                pos2(left - half, rect.top()),
                pos2(left + half, rect.top() + BLACK * HEIGHT),
            );
            blacks.push((key, black));
            continue;
        }
        let white = Rect::from_min_size(pos2(left, rect.top()), vec2(width, HEIGHT));
        key_of(ui, view, &palette, key, white);
        whites_at.push((key, white));
        left += width;
    }
    for &(key, black) in &blacks {
        key_of(ui, view, &palette, key, black);
    }
    let at = response.interact_pointer_pos();
    let pressed = at.and_then(|at| {
        // A black key lies over the white ones.
        let keys = blacks.iter().chain(&whites_at);
        let found = keys.into_iter().find(|(_, rect)| rect.contains(at));
        found.and_then(|(key, _)| bottle_of(view, *key))
    });
    let Some(pour) = pressed else { return };
    if response.is_pointer_button_down_on() {
        touch::press_elsewhere(ui, pour, KEY_BREATH);
    } else if response.clicked() && !view.state.blown.iter().any(|(blown, _)| *blown == pour) {
        asks.push(PlayAsk::Tap(pour, KEY_BREATH).into());
    }
}

/// The bottle that plays a key.
fn bottle_of(view: &View<'_>, key: i32) -> Option<PourIndex> {
    let mut order = view.derived.order.iter().copied();
    order.find(|pour| i32::from(view.derived.bottles[*pour].note.midi()) == key)
}

fn key_of(ui: &Ui, view: &View<'_>, palette: &Palette, key: i32, rect: Rect) {
    let Ok(note) = u8::try_from(key) else { return };
    let painter = ui.painter_at(rect.expand(1.0));
    let has_bottle = view.keyboard.board.notes.contains(&note);
    let bottles = view.derived.bottles.iter().zip(view.swings);
    let swing = bottles
        .filter(|(bottle, _)| bottle.note.midi() == note)
        .fold(0.0f32, |most, (_, swing)| most.max(*swing));
    let is_held = view.keyboard.held().any(|held| held == note);
    let (plain, ink) = match (is_black(key), has_bottle) {
        (false, true) => (palette.keys[0], palette.ink),
        (false, false) => (palette.keys[1], palette.ink),
        (true, true) => (palette.keys[2], palette.keys[0]),
        (true, false) => (palette.keys[3], palette.keys[0]),
    };
    let fill = between(
        plain,
        palette.glow,
        swing.max(if is_held { 0.35 } else { 0.0 }),
    );
    painter.rect_filled(rect, CornerRadius::same(2), fill);
    let edge = Stroke::new(if is_held { 2.0 } else { 1.0 }, palette.wall);
    painter.rect_stroke(rect, CornerRadius::same(2), edge, StrokeKind::Inside);
    if !has_bottle {
        return;
    }
    let foot = pos2(rect.center().x, rect.bottom() - 2.0);
    if let Some(hint) = view.keyboard.hint(note) {
        painter.text(
            foot,
            Align2::CENTER_BOTTOM,
            hint,
            FontId::monospace(12.0),
            ink,
        );
    }
    if !is_black(key) && rect.width() > 22.0 {
        let name = NoteName::from_midi(note).to_string();
        let at = foot - vec2(0.0, 14.0);
        painter.text(
            at,
            Align2::CENTER_BOTTOM,
            name,
            FontId::proportional(10.0),
            palette.ink,
        );
    }
}

/// What a screen reader says of the strip.
fn told(view: &View<'_>) -> String {
    let keys = view.keyboard.board.notes.iter().map(|&note| {
        let name = NoteName::from_midi(note);
        match view.keyboard.hint(note) {
            Some(key) => format!("{name} by {key}"),
            None => format!("{name} without a key"),
        }
    });
    format!("Keys: {}", keys.collect::<Vec<_>>().join(", "))
}
