//! The shelf: every bottle to scale, from low to high, to be blown and filled.

use std::collections::BTreeMap;

use eframe::egui::{
    Align2, CursorIcon, EventFilter, FontId, Key, Painter, Pos2, Rect, Response, Role, ScrollArea,
    Sense, Shape, Stroke, Ui, Vec2, WidgetInfo, accesskit, pos2, vec2,
};

use super::glass::{self, Outline, Picture, Standing};
use super::touch::{self, FOCUS_BREATH};
use super::{View, coming, gesture, together};
use crate::app::ask::{Ask, EditAsk, Gesture, ViewAsk};
use crate::app::derived::Shown;
use crate::app::palette::Palette;
use crate::index::PourIndex;
use crate::number::signed;
use crate::physics::bottle::Bottle;
use crate::sounding::Setting;
use crate::units::Length;

/// What to do here, while less than two bottles sound.
const HINT: &str =
    "Press a bottle to blow or strike it, higher up is harder. Drag the arrow at a level to pour.";
/// Height under the table for names and numbers, points.
const CAPTION: f32 = 58.0;
/// Room over the tallest bottle, points.
const TOP: f32 = 14.0;
/// Room between two bottles, with the grip in it, points.
const GAP: f32 = 22.0;
/// The narrowest that a bottle's place may be, points: its note must stand under it.
const NARROWEST: f32 = 30.0;
/// The smallest scale, points a metre: below it the shelf scrolls.
const LEAST_SCALE: f32 = 300.0;
/// The largest: twice as large as life on a common screen.
const LARGEST_SCALE: f32 = 8000.0;
/// A step of a key, ml.
const STEP_ML: f64 = 1.0;
/// The same for a pressure, bar.
const STEP_BAR: f64 = 0.02;
/// The same with Shift, and with Alt.
const STEPS: (f64, f64) = (10.0, 0.1);

/// A bottle in its place.
struct Placed {
    index: PourIndex,
    outline: Outline,
    standing: Standing,
    /// From the top of the shelf to the end of the captions.
    column: Rect,
}

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    match together::line(view, &view.sounding()) {
        Some(line) => ui.label(line),
        None => ui.weak(HINT),
    };
    ScrollArea::horizontal().show(ui, |ui| {
        let placed = place(ui, view);
        let palette = Palette::of(ui.visuals());
        let area = ui.clip_rect();
        for place in &placed {
            let table = place.standing.foot.y + 1.0;
            ui.painter().hline(
                place.column.x_range(),
                table,
                Stroke::new(2.0, palette.table),
            );
        }
        let mut blown = BTreeMap::new();
        let mut pressed = None;
        for place in &placed {
            let response = bottle(ui, view, place, &palette, asks);
            if response.is_pointer_button_down_on() {
                pressed = response.interact_pointer_pos();
            }
            if response.has_focus() && ui.input(|input| input.key_down(Key::Space)) {
                blown.insert(place.index, FOCUS_BREATH);
            }
        }
        let fingers = touch::fingers(ui, area);
        // With fingers the pointer is one of them, made up by the toolkit.
        let hands = if fingers.is_empty() {
            pressed.into_iter().collect()
        } else {
            fingers
        };
        for at in hands {
            if let Some(place) = placed.iter().find(|place| place.column.contains(at)) {
                let rect = place.standing.rect(&place.outline);
                blown.insert(place.index, touch::breath(rect, at.y));
            }
        }
        touch::changes(&view.state.blown, &blown, asks);
    });
}

fn kind<'a>(view: &'a View<'_>, index: PourIndex) -> &'a Bottle {
    &view.document.fixed.kinds[view.document.model.pours[index].kind].bottle
}

/// Rows that bottles are spread over at most.
const MOST_ROWS: usize = 4;

/// How the bottles are spread over the shelf.
struct Spread {
    /// Points a metre.
    scale: f32,
    /// Bottles of each row, from the top.
    rows: Vec<usize>,
}

/// Width of a bottle's place.
fn width(outline: &Outline, scale: f32) -> f32 {
    (2.0 * outline.radius_m as f32 * scale).max(NARROWEST) + GAP
}

/// The rows of `outlines` at a scale: as many bottles in each as go in.
fn rows_at(outlines: &[Outline], scale: f32, room: f32) -> Vec<usize> {
    let mut rows = vec![0];
    let mut used = 0.0;
    for outline in outlines {
        let wide = width(outline, scale);
        if used + wide > room && used > 0.0 {
            rows.push(0);
            used = 0.0;
        }
        used += wide;
        if let Some(last) = rows.last_mut() {
            *last += 1;
        }
    }
    rows
}

/// Points that rows of these bottles take from top to bottom.
fn height(outlines: &[Outline], rows: &[usize], scale: f32) -> f32 {
    let mut from = 0;
    let tall = rows.iter().map(|count| {
        let row = &outlines[from..from + count];
        from += count;
        row.iter()
            .fold(0.0, |most: f32, o| most.max(o.height_m as f32))
            * scale
            + CAPTION
            + TOP
    });
    tall.sum()
}

/// The largest scale at which everything fits, by halving; one row that scrolls where nothing does.
fn spread(outlines: &[Outline], room: Vec2) -> Spread {
    let fits = |scale: f32| {
        let rows = rows_at(outlines, scale, room.x);
        (rows.len() <= MOST_ROWS && height(outlines, &rows, scale) <= room.y).then_some(rows)
    };
    let (mut low, mut high) = (LEAST_SCALE, LARGEST_SCALE);
    let Some(mut rows) = fits(low) else {
        let one = vec![outlines.len()];
        let tallest = height(outlines, &one, 1.0) - CAPTION - TOP;
        let scale = ((room.y - CAPTION - TOP).max(60.0) / tallest.max(0.01)).min(LEAST_SCALE);
        return Spread { scale, rows: one };
    };
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        match fits(middle) {
            Some(found) => (low, rows) = (middle, found),
            None => high = middle,
        }
    }
    Spread { scale: low, rows }
}

/// Every bottle in its place, as large as it goes.
fn place(ui: &mut Ui, view: &View<'_>) -> Vec<Placed> {
    let order = &view.derived.order;
    let outlines: Vec<Outline> = order.iter().map(|&i| Outline::of(kind(view, i))).collect();
    let room = ui.available_size();
    let Spread { scale, rows } = spread(&outlines, room);
    let mut bottles = order.iter().copied().zip(outlines.iter().cloned());
    let wide = |row: &[Outline]| row.iter().map(|o| width(o, scale)).sum::<f32>();
    let mut from = 0;
    let mut widest = room.x;
    for count in &rows {
        widest = widest.max(wide(&outlines[from..from + count]));
        from += count;
    }
    let (rect, _) = ui.allocate_exact_size(vec2(widest, room.y), Sense::hover());
    let spare = (rect.height() - height(&outlines, &rows, scale)).max(0.0) / rows.len() as f32;
    let (mut placed, mut top, mut from) = (Vec::with_capacity(order.len()), rect.top(), 0);
    for count in rows {
        let row = &outlines[from..from + count];
        from += count;
        let tall = row
            .iter()
            .fold(0.0, |most: f32, o| most.max(o.height_m as f32))
            * scale;
        let table = top + spare + TOP + tall;
        let mut left = rect.left() + 0.5 * (rect.width() - wide(row)).max(0.0);
        for (index, outline) in bottles.by_ref().take(count) {
            let right = left + width(&outline, scale);
            let foot = pos2(0.5 * (left + right - GAP) + 3.0, table);
            let column = Rect::from_min_max(pos2(left, top), pos2(right, table + CAPTION));
            left = right;
            let standing = Standing { foot, scale };
            placed.push(Placed {
                index,
                outline,
                standing,
                column,
            });
        }
        top = table + CAPTION;
    }
    placed
}

fn bottle(
    ui: &mut Ui,
    view: &View<'_>,
    place: &Placed,
    palette: &Palette,
    asks: &mut Vec<Ask>,
) -> Response {
    let (index, standing) = (place.index, place.standing);
    let shown = &view.derived.bottles[index];
    let rect = standing.rect(&place.outline);
    let id = ui.scope_id().with(("bottle", index));
    let response = ui.interact(rect, id, Sense::click_and_drag());
    let is_chosen = view.state.selected == Some(index);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, said(shown)));
    if response.is_pointer_button_down_on() && !is_chosen || response.gained_focus() {
        asks.push(ViewAsk::Select(index).into());
    }
    if response.gained_focus() {
        response.scroll_to_me(None);
    }
    if !ui.is_rect_visible(place.column) {
        return response;
    }
    let picture = Picture {
        outline: &place.outline,
        standing,
        level: shown.level,
        is_floor: matches!(shown.knob.now, Setting::Travel(_)),
        swing: view.swings.get(index.place()).copied().unwrap_or(0.0),
        is_chosen,
    };
    glass::paint(ui.painter(), &picture, palette);
    if response.has_focus() {
        let around = Stroke::new(2.0, palette.good);
        ui.painter().rect_stroke(
            rect.expand(4.0),
            4.0,
            around,
            eframe::egui::StrokeKind::Outside,
        );
        keys_on_focus(ui, &response, index, shown, asks);
    }
    aim(ui.painter(), place, shown, palette);
    coming::paint(ui.painter(), view, index, rect, place.column, palette);
    seems(ui.painter(), view, place, palette);
    level(ui, view, place, palette, asks);
    caption(ui, view, place, shown, palette);
    response
}

/// What a screen reader says of a bottle.
fn said(shown: &Shown) -> String {
    let what = match &shown.pitch {
        Ok(pitch) => format!(
            "{:.1} hertz, {} cents",
            pitch.frequency.hz(),
            signed(pitch.cents, 1)
        ),
        Err(because) => format!("does not sound: {because}"),
    };
    let now = shown.knob.now;
    format!(
        "{}, {}, {}, {} {:.1} {}, {what}",
        shown.note,
        shown.name,
        shown.way,
        now.name(),
        now.value(),
        now.unit()
    )
}

/// Up and down on the bottle that has the focus pour in and out.
fn keys_on_focus(
    ui: &Ui,
    response: &Response,
    index: PourIndex,
    shown: &Shown,
    asks: &mut Vec<Ask>,
) {
    let filter = EventFilter {
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    let steps = ui.input(|input| {
        let size = match (input.modifiers.shift, input.modifiers.alt) {
            (true, _) => STEPS.0,
            (_, true) => STEPS.1,
            _ => STEP_ML,
        };
        let count = |key| input.num_presses(key) as f64;
        size * (count(Key::ArrowUp) - count(Key::ArrowDown))
    });
    if steps != 0.0 {
        let value = shown.knob.now.value() + steps * step_of(shown);
        asks.push(EditAsk::Set(index, value, Gesture::Single).into());
    }
}

/// What a key's step of one is, in the unit of the bottle's setting.
fn step_of(shown: &Shown) -> f64 {
    match shown.knob.now {
        Setting::Gauge(_) => STEP_BAR,
        Setting::Fill(_) | Setting::Travel(_) | Setting::Lift(_) => 1.0,
    }
}

/// A mark at the level that gives the note.
fn aim(painter: &Painter, place: &Placed, shown: &Shown, palette: &Palette) {
    let Some(level) = shown.aim else { return };
    let y = place.standing.level_y(&place.outline, level);
    let left = place.standing.rect(&place.outline).left();
    painter.hline(left - 7.0..=left - 1.0, y, Stroke::new(2.0, palette.good));
}

/// A line across the bottle where it seems to be filled to, by what the microphone hears.
fn seems(painter: &Painter, view: &View<'_>, place: &Placed, palette: &Palette) {
    let Some(level) = view.state.tuner.seems(place.index) else {
        return;
    };
    let y = place.standing.level_y(&place.outline, level);
    let rect = place.standing.rect(&place.outline);
    let ends = [pos2(rect.left() - 7.0, y), pos2(rect.right() + 1.0, y)];
    let stroke = Stroke::new(2.0, palette.off);
    painter.extend(Shape::dashed_line(&ends, stroke, 5.0, 3.0));
}

/// The grip at the level.
fn level(ui: &mut Ui, view: &View<'_>, place: &Placed, palette: &Palette, asks: &mut Vec<Ask>) {
    let index = place.index;
    let shown = &view.derived.bottles[index];
    if matches!(shown.knob.now, Setting::Gauge(_) | Setting::Lift(_)) {
        // Neither pressure nor lift is a level of this bottle: they have their place in its panel.
        return;
    }
    let (rect, arrow) = glass::grip(place.standing, &place.outline, shown.level);
    let id = ui.scope_id().with(("level", index));
    let response = ui
        .interact(rect, id, Sense::drag())
        .on_hover_and_drag_cursor(CursorIcon::ResizeVertical);
    response.widget_info(|| {
        let (now, what) = match shown.knob.now {
            Setting::Travel(travel) => (travel.mm(), "Floor of {}, millimetres"),
            _ => (shown.fill.ml(), "Level of {}, millilitres"),
        };
        let of = format!("{} in {}", shown.note, shown.name);
        WidgetInfo::slider(true, now, what.replace("{}", &of))
    });
    if let Some(at) = response
        .interact_pointer_pos()
        .filter(|_| response.dragged())
    {
        asks.push(fill_at(view, place, at, gesture(ui, &response)).into());
    }
    let count =
        |action| ui.input(|input| input.num_accesskit_action_requests(response.id, action)) as f64;
    let mut steps = count(accesskit::Action::Increment) - count(accesskit::Action::Decrement);
    if response.has_focus() {
        let filter = EventFilter {
            vertical_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        ui.input(|input| {
            steps +=
                input.num_presses(Key::ArrowUp) as f64 - input.num_presses(Key::ArrowDown) as f64;
        });
    }
    if steps != 0.0 {
        let value = shown.knob.now.value() + STEP_ML * steps;
        asks.push(EditAsk::Set(index, value, Gesture::Single).into());
    }
    let is_held = response.hovered() || response.dragged() || response.has_focus();
    let colour = if is_held {
        palette.chosen
    } else {
        palette.surface
    };
    let shape = Shape::convex_polygon(arrow.to_vec(), colour, Stroke::NONE);
    ui.painter().add(shape);
    response.on_hover_text(
        "Drag the level: the pitch follows. Up and down keys do it by the millilitre.",
    );
}

fn fill_at(view: &View<'_>, place: &Placed, at: Pos2, gesture: Gesture) -> EditAsk {
    let level = place.standing.level_at(&place.outline, at.y);
    let bore = kind(view, place.index).bore();
    let level = level.max(Length::default()).min(bore.height());
    if let Setting::Travel(_) = view.derived.bottles[place.index].knob.now {
        return EditAsk::Set(place.index, level.mm(), gesture);
    }
    EditAsk::Fill(place.index, bore.volume_below(level), gesture)
}

/// The note, how far off it is, and its key.
fn caption(ui: &Ui, view: &View<'_>, place: &Placed, shown: &Shown, palette: &Palette) {
    let painter = ui.painter();
    let at = |down: f32| pos2(place.standing.foot.x, place.standing.foot.y + down);
    let note = shown.note.plain().to_string();
    let write = |down, text: &str, size, colour| {
        painter.text(
            at(down),
            Align2::CENTER_TOP,
            text,
            FontId::proportional(size),
            colour,
        );
    };
    write(5.0, &note, 16.0, palette.text);
    match &shown.pitch {
        Ok(pitch) => {
            let cents = format!("{} c", signed(pitch.cents, 0));
            write(23.0, &cents, 12.0, palette.cents(pitch.cents));
        }
        Err(_) => write(23.0, "silent", 12.0, palette.off),
    }
    if let Some(hint) = view.keyboard.hint(shown.note.midi()) {
        let galley = painter.layout_no_wrap(hint, FontId::monospace(11.0), palette.weak);
        let size = galley.size();
        let corner = at(41.0) - vec2(0.5 * size.x, 0.0);
        let around = Rect::from_min_size(corner, size).expand2(vec2(4.0, 1.0));
        let edge = Stroke::new(1.0, palette.weak);
        painter.rect_stroke(around, 3.0, edge, eframe::egui::StrokeKind::Inside);
        painter.galley(corner, galley, palette.weak);
    }
}
