//! The shelf: every bottle to scale, from low to high, to be blown and filled; alone and large on the stage.

use std::collections::BTreeMap;
use std::time::Duration;

use eframe::egui::{
    Align2, CursorIcon, EventFilter, FontId, Id, Key, Label, Pos2, Response, RichText, Role,
    ScrollArea, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo, accesskit, pos2, vec2,
};

use super::caption;
use super::glass::{self, Picture};
use super::marks;
use super::shelf_menu;
use super::spread::{Lettering, Placed, kind, place};
use super::tight::Tight;
use super::touch::{self, FOCUS_BREATH};
use super::{SOUNDING, View, coming, gesture, regions, together};
use crate::app::ask::{Ask, EditAsk, Gesture, PlayAsk, ViewAsk};
use crate::app::derived::Shown;
use crate::app::palette::Palette;
use crate::index::PourIndex;
use crate::physics::recipe::GasRecipe;
use crate::sounding::Setting;
use crate::units::Length;

/// What to do here, while less than two bottles sound.
const HINT: &str =
    "Press a bottle to play it, higher up is louder. Drag the arrow at a level to pour.";
/// Breath of a bottle whose height chooses the note.
const MARK_BREATH: f32 = 0.7;
/// A step of a key, ml.
const STEP_ML: f64 = 1.0;
/// The same for a pressure, bar.
const STEP_BAR: f64 = 0.02;
/// The same with Shift, and with Alt.
const STEPS: (f64, f64) = (10.0, 0.1);
/// A strike is seen for so long at least, s.
const FLASH_S: f64 = 0.45;
/// When it is looked at next whether that is over.
const FLASH_LOOK: Duration = Duration::from_millis(33);

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let window = ui.ctx().content_rect().height();
    let lettering = Lettering::of(view.state.stage, window, view.state.practice.is_some());
    what_sounds(ui, view, lettering, &palette);
    ScrollArea::horizontal().show(ui, |ui| {
        let placed = place(ui, view, lettering);
        let area = ui.clip_rect();
        for place in &placed {
            let table = place.standing.foot.y + 1.0;
            let stroke = Stroke::new(2.0, palette.table);
            ui.painter().hline(place.column.x_range(), table, stroke);
        }
        let mut shelf = Shelf {
            lettering,
            palette: &palette,
            blown: BTreeMap::new(),
            pressed: None,
        };
        for place in &placed {
            shelf.bottle(ui, view, place, asks);
        }
        marks::hoses(ui.painter(), view, &placed, &palette);
        walk(ui, view, asks);
        let fingers = touch::fingers(ui, area);
        // With fingers the pointer is one of them, made up by the toolkit.
        let hands = if fingers.is_empty() {
            shelf.pressed.into_iter().collect()
        } else {
            fingers
        };
        let mut blown = shelf.blown;
        for at in hands {
            if let Some(place) = placed.iter().find(|place| place.column.contains(at)) {
                let (pour, breath) = meant(view, place, at);
                blown.insert(pour, breath);
            }
        }
        blown.extend(touch::elsewhere(ui));
        for &pour in &view.state.held {
            blown.entry(pour).or_insert(FOCUS_BREATH);
        }
        touch::changes(&view.state.blown, &blown, asks);
    });
}

/// The line over the shelf: the interval that sounds, and what gas is in the bottles if it is no air.
fn what_sounds(ui: &mut Ui, view: &View<'_>, lettering: Lettering, palette: &Palette) {
    let sounding = view.sounding();
    let line = together::line(view, &sounding);
    if view.state.stage {
        let alone = sounding
            .first()
            .map(|&at| view.derived.bottles[at].note.plain().to_string());
        let text = line.or(alone).unwrap_or_default();
        // As large as the notes, and smaller only where it would not go in.
        let room = ui.available_width();
        let measured = |size: f32| {
            let font = FontId::proportional(size);
            ui.painter()
                .layout_no_wrap(text.clone(), font, palette.text)
        };
        let full = measured(lettering.note);
        let share = (room / full.size().x.max(1.0)).min(1.0);
        let galley = if share < 1.0 {
            measured(lettering.note * share)
        } else {
            full
        };
        let size = vec2(room, 1.3 * lettering.note);
        let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Status, true, text.clone()));
        let at = rect.center() - 0.5 * galley.size();
        ui.painter().galley(at, galley, palette.text);
        return;
    }
    let low = Tight::of(ui.ctx()).low;
    ui.horizontal(|ui| {
        let gas = view.document.model.conditions.gas;
        if gas != GasRecipe::default() {
            ui.label(RichText::new(format!("filled with {gas}")).strong());
            ui.separator();
        }
        // In one line whatever it says: no bottle moves by it.
        match line {
            Some(line) => {
                ui.add(Label::new(line).truncate());
            }
            None if low => {}
            None => {
                ui.add(Label::new(RichText::new(HINT).weak()).truncate());
            }
        }
    });
}

/// The note that a hand at a point of a bottle's place means, and how hard it is played.
fn meant(view: &View<'_>, place: &Placed, at: Pos2) -> (PourIndex, f32) {
    if place.has_marks() {
        (marks::nearest(view, place, at.y), MARK_BREATH)
    } else {
        (place.index, touch::breath(place.rect(), at.y))
    }
}

fn bottle_id(ui: &Ui, first: PourIndex) -> Id {
    ui.scope_id().with(("bottle", first))
}

/// Left and right, while a bottle has the focus, go to the next note.
fn walk(ui: &Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let order = &view.derived.order;
    let first = |at: PourIndex| view.bottle_of.get(at.place()).copied().unwrap_or(at);
    let Some(now) = view.state.selected.filter(|at| order.contains(at)) else {
        return;
    };
    if !ui.memory(|memory| memory.has_focus(bottle_id(ui, first(now)))) {
        return;
    }
    let steps = ui.input(|input| {
        input.num_presses(Key::ArrowRight) as i64 - input.num_presses(Key::ArrowLeft) as i64
    });
    if steps == 0 {
        return;
    }
    let place = order.iter().position(|at| *at == now).unwrap_or(0) as i64;
    let next = order[(place + steps).clamp(0, order.len() as i64 - 1) as usize];
    asks.push(ViewAsk::Select(next).into());
    ui.memory_mut(|memory| memory.request_focus(bottle_id(ui, first(next))));
}

/// What is gathered while the bottles are drawn.
struct Shelf<'a> {
    lettering: Lettering,
    palette: &'a Palette,
    blown: BTreeMap<PourIndex, f32>,
    pressed: Option<Pos2>,
}

impl Shelf<'_> {
    fn bottle(&mut self, ui: &mut Ui, view: &View<'_>, place: &Placed, asks: &mut Vec<Ask>) {
        let index = place.index;
        let shown = &view.derived.bottles[index];
        let rect = place.rect();
        let selected = view.state.selected;
        let is_chosen = selected.is_some_and(|at| place.pours.contains(&at));
        let id = bottle_id(ui, place.pours_first(view));
        // One stop for Tab on the whole shelf; arrows go on from there.
        let sense = if is_chosen || selected.is_none() {
            Sense::click_and_drag()
        } else {
            Sense::CLICK | Sense::DRAG
        };
        let response = ui.interact(rect, id, sense);
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, said(shown)));
        if is_chosen {
            regions::anchor(ui, regions::Region::Shelf, response.id);
        }
        self.pointer(ui, view, place, &response, asks);
        focus(ui, &response, is_chosen, index, asks);
        if response.has_focus() && ui.input(|input| input.key_down(Key::Space)) {
            self.blown.insert(index, FOCUS_BREATH);
        }
        if !ui.is_rect_visible(place.column) {
            return;
        }
        self.paint(ui, view, place, is_chosen);
        if response.has_focus() {
            let around = Stroke::new(2.0, self.palette.good);
            ui.painter()
                .rect_stroke(rect.expand(4.0), 4.0, around, StrokeKind::Outside);
            keys_on_focus(ui, &response, index, shown, asks);
        }
        level(ui, view, place, (self.palette, is_chosen), asks);
        if !view.state.stage {
            response.context_menu(|ui| shelf_menu::show(ui, view, index, asks));
            response.on_hover_ui(|ui| shelf_menu::card(ui, view, index));
        }
    }

    /// What a hand does: it plays, selects, and with Shift leaves the bottle sounding.
    fn pointer(
        &mut self,
        ui: &Ui,
        view: &View<'_>,
        place: &Placed,
        response: &Response,
        asks: &mut Vec<Ask>,
    ) {
        let at = response.interact_pointer_pos();
        let shift = ui.input(|input| input.modifiers.shift);
        let is_down = response.is_pointer_button_down_on();
        let pour = at.map_or((place.index, FOCUS_BREATH), |at| meant(view, place, at));
        if is_down && !shift && ui.input(|input| input.pointer.primary_down()) {
            self.pressed = at;
        }
        if is_down && view.state.selected != Some(pour.0) {
            asks.push(ViewAsk::Select(pour.0).into());
        }
        if is_down && !response.has_focus() {
            response.request_focus();
        }
        if response.clicked() {
            response.request_focus();
            let is_known = view.state.blown.iter().any(|(blown, _)| *blown == pour.0);
            if shift {
                asks.push(PlayAsk::Hold(pour.0).into());
            } else if !is_known && at.is_some() {
                // It was over before this frame saw it.
                asks.push(ViewAsk::Select(pour.0).into());
                asks.push(PlayAsk::Tap(pour.0, pour.1).into());
            }
        }
    }

    fn paint(&self, ui: &Ui, view: &View<'_>, place: &Placed, is_chosen: bool) {
        let shown = &view.derived.bottles[place.index];
        let palette = self.palette;
        let picture = Picture {
            outline: &place.outline,
            standing: place.standing,
            level: shown.level,
            is_floor: matches!(shown.knob.now, Setting::Travel(_)),
            swing: light(ui, view, place, shown),
            is_chosen: is_chosen && !view.state.stage,
        };
        glass::paint(ui.painter(), &picture, palette);
        marks::paint(ui.painter(), view, place, self.lettering, palette);
        if let Setting::Gauge(gauge) = shown.knob.now {
            marks::gauge(ui.painter(), place, gauge, palette);
        }
        if !view.state.stage {
            aim(ui, place, shown, palette);
            seems(ui, view, place, palette);
        }
        for &pour in &place.pours {
            coming::paint(
                ui.painter(),
                view,
                pour,
                (place.rect(), place.column),
                palette,
            );
        }
        caption::paint(ui.painter(), view, place, self.lettering, palette);
    }
}

impl Placed {
    /// What the bottle is known by.
    fn pours_first(&self, view: &View<'_>) -> PourIndex {
        let first = view.bottle_of.get(self.index.place()).copied();
        first.unwrap_or(self.index)
    }
}

/// Selects what gets the focus; one whose focus is asked for by who listens to the window gets it.
fn focus(ui: &Ui, response: &Response, is_chosen: bool, index: PourIndex, asks: &mut Vec<Ask>) {
    let wants = ui.input(|input| {
        input.num_accesskit_action_requests(response.id, accesskit::Action::Focus) > 0
    });
    if wants && !response.has_focus() {
        response.request_focus();
    }
    if (wants || response.gained_focus()) && !is_chosen {
        asks.push(ViewAsk::Select(index).into());
    }
    if response.gained_focus() {
        response.scroll_to_me(None);
    }
}

/// How bright a bottle is: as its air swings, and after a strike long enough to be seen.
fn light(ui: &Ui, view: &View<'_>, place: &Placed, shown: &Shown) -> f32 {
    let swing = place
        .pours
        .iter()
        .filter_map(|pour| view.swings.get(pour.place()))
        .fold(0.0f32, |most, swing| most.max(*swing));
    if !shown.way.is_struck() {
        return swing;
    }
    let id = Id::unique(("struck", place.pours_first(view)));
    let now_s = ui.input(|input| input.time);
    if swing > SOUNDING {
        ui.data_mut(|data| data.insert_temp(id, now_s));
    }
    let struck_s: Option<f64> = ui.data(|data| data.get_temp(id));
    let ago_s = struck_s.map_or(f64::INFINITY, |at| now_s - at);
    if ago_s < FLASH_S {
        ui.ctx().request_repaint_after(FLASH_LOOK);
        swing.max(0.9)
    } else {
        swing
    }
}

/// What a screen reader says of a bottle.
fn said(shown: &Shown) -> String {
    let now = shown.knob.now;
    format!(
        "{}, {}, {}, {} {:.1} {}, {}",
        shown.note,
        shown.name,
        shown.way,
        now.name(),
        now.value(),
        now.unit(),
        caption::said(shown)
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
        horizontal_arrows: true,
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
fn aim(ui: &Ui, place: &Placed, shown: &Shown, palette: &Palette) {
    let Some(level) = shown.aim else { return };
    let y = place.standing.level_y(&place.outline, level);
    let left = place.rect().left();
    let stroke = Stroke::new(2.0, palette.good);
    ui.painter().hline(left - 7.0..=left - 1.0, y, stroke);
}

/// A line across the bottle where it seems to be filled to, by what the microphone hears.
fn seems(ui: &Ui, view: &View<'_>, place: &Placed, palette: &Palette) {
    let Some(level) = view.state.tuner.seems(place.index) else {
        return;
    };
    let y = place.standing.level_y(&place.outline, level);
    let rect = place.rect();
    let ends = [pos2(rect.left() - 7.0, y), pos2(rect.right() + 1.0, y)];
    let stroke = Stroke::new(2.0, palette.off);
    ui.painter()
        .extend(Shape::dashed_line(&ends, stroke, 5.0, 3.0));
}

/// The grip at the level.
fn level(
    ui: &mut Ui,
    view: &View<'_>,
    place: &Placed,
    (palette, is_chosen): (&Palette, bool),
    asks: &mut Vec<Ask>,
) {
    let index = place.index;
    let shown = &view.derived.bottles[index];
    if matches!(shown.knob.now, Setting::Gauge(_) | Setting::Lift(_)) || view.state.stage {
        // Neither pressure nor lift is a level of this bottle: they have their place in its panel.
        return;
    }
    let (rect, arrow) = glass::grip(place.standing, &place.outline, shown.level);
    let id = ui.scope_id().with(("level", index));
    let sense = if is_chosen {
        Sense::drag()
    } else {
        Sense::DRAG
    };
    let response = ui
        .interact(rect, id, sense)
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
    let steps = grip_steps(ui, &response);
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
    if response.dragged() {
        let text = format!("{:.1} {}", shown.knob.now.value(), shown.knob.now.unit());
        let font = FontId::proportional(14.0);
        let at = rect.right_center() + vec2(4.0, 0.0);
        ui.painter()
            .text(at, Align2::LEFT_CENTER, text, font, palette.text);
    }
    response.on_hover_text(
        "Drag the level: the pitch follows. Up and down keys do it by the millilitre.",
    );
}

/// Steps that the keys, or who listens to the window, make with a grip.
fn grip_steps(ui: &Ui, response: &Response) -> f64 {
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
    steps
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
