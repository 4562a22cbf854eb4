//! Pouring the set, bottle by bottle, large enough to be read from the sink.

use eframe::egui::{
    Panel as Side, RichText, Role, ScrollArea, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2,
};

use super::View;
use super::glass::{self, Outline, Picture, Standing};
use super::pieces::{caution, main_button};
use super::pour;
use super::tight::Tight;
use crate::app::ask::{Ask, FileAsk, PlayAsk, ViewAsk};
use crate::app::derived::Shown;
use crate::app::palette::Palette;
use crate::app::tuner::TunerAsk;
use crate::index::PourIndex;
use crate::live::InputState;
use crate::report::words::{hazards, in_tune};
use crate::sounding::Setting;
use crate::units::Interval;

/// Width of the list and of the drawing, points.
const LIST: f32 = 190.0;
/// Size of a note and of what is poured, points.
const NOTE: f32 = 64.0;
const AMOUNT: f32 = 34.0;
const VERDICT: f32 = 28.0;
/// Height of what the microphone says of it, points.
const JUDGED: f32 = 130.0;
/// Height that is left for a drawing at least, points.
const DRAWING: f32 = 220.0;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let narrow = Tight::of(ui.ctx()).narrow;
    if !narrow {
        Side::left("bottles to pour")
            .exact_size(LIST)
            .resizable(false)
            .show(ui, |ui| {
                top(ui, view, asks);
                ui.separator();
                ScrollArea::vertical()
                    .auto_shrink([false, false])
                    .show(ui, |ui| list(ui, view, asks));
            });
    }
    let order = order(view);
    let selected = view.state.selected.map(|at| view.bottle_of[at]);
    let Some(index) = selected
        .filter(|at| order.contains(at))
        .or(order.first().copied())
    else {
        ui.label("There is nothing to pour.");
        return;
    };
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            if narrow {
                top(ui, view, asks);
                ui.horizontal_wrapped(|ui| list(ui, view, asks));
                ui.separator();
            }
            bottle(ui, view, index, &order, &palette, asks);
        });
}

/// The bottles as they are poured: from the lowest note up, each once.
fn order(view: &View<'_>) -> Vec<PourIndex> {
    let order = view.derived.order.iter().copied();
    let first = |pour: &PourIndex| view.bottle_of.get(pour.place()) == Some(pour);
    order.filter(first).collect()
}

/// How many are poured, and what is printed.
fn top(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let order = order(view);
    let poured = &view.making.poured;
    let done = order.iter().filter(|at| poured.contains(at)).count();
    ui.heading("Pour");
    ui.label(format!("{done} of {} poured", order.len()));
    if ui
        .button("Print the pour sheet")
        .on_hover_text("A page with every bottle, its level, and a strip to tape to it")
        .clicked()
    {
        asks.push(FileAsk::PrintSheet.into());
    }
    if view.state.practice.is_some() && ui.button("Print the parts").on_hover_text(PARTS).clicked()
    {
        asks.push(FileAsk::PrintParts.into());
    }
}

fn list(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let poured = &view.making.poured;
    for index in order(view) {
        let shown = &view.derived.bottles[index];
        let mark = if poured.contains(&index) {
            "done: "
        } else {
            ""
        };
        let text = format!("{mark}{}  {}", shown.note.plain(), shown.name);
        let is_it = view.state.selected.map(|at| view.bottle_of[at]) == Some(index);
        let text = RichText::new(text).size(15.0);
        if ui.selectable_label(is_it, text).clicked() {
            asks.push(ViewAsk::Select(index).into());
        }
    }
}

fn bottle(
    ui: &mut Ui,
    view: &View<'_>,
    index: PourIndex,
    order: &[PourIndex],
    palette: &Palette,
    asks: &mut Vec<Ask>,
) {
    let shown = &view.derived.bottles[index];
    let place = order.iter().position(|at| *at == index).unwrap_or(0);
    for words in hazards(&view.document.model.conditions) {
        caution(ui, words, palette);
    }
    ui.horizontal_top(|ui| {
        let height = (0.72 * ui.clip_rect().height()).max(DRAWING);
        let width = (0.5 * height).clamp(130.0, 0.4 * ui.available_width().max(330.0));
        drawing(ui, view, index, vec2(width, height), palette);
        ui.vertical(|ui| {
            ui.label(
                RichText::new(shown.note.plain().to_string())
                    .strong()
                    .size(NOTE),
            );
            ui.label(
                RichText::new(format!("in {}", shown.name))
                    .size(18.0)
                    .color(palette.weak),
            );
            amount(ui, view, index, shown, palette);
            ui.add_space(8.0);
            // Its place is kept free: what is heard must not move the buttons below.
            ui.vertical(|ui| {
                ui.set_min_height(JUDGED);
                judged(ui, view, index, shown, palette, asks);
            });
            ui.add_space(8.0);
            ui.horizontal_wrapped(|ui| {
                let before = place.checked_sub(1).and_then(|at| order.get(at));
                let back = ui.add_enabled(before.is_some(), eframe::egui::Button::new("Back"));
                if back.clicked()
                    && let Some(&before) = before
                {
                    asks.push(ViewAsk::Select(before).into());
                }
                let next = order.get(place + 1);
                let text = if next.is_some() {
                    "Poured, next"
                } else {
                    "Poured"
                };
                if main_button(ui, text, palette).clicked() {
                    asks.push(ViewAsk::Poured(index, true).into());
                    if let Some(&next) = next {
                        asks.push(ViewAsk::Select(next).into());
                    }
                }
            });
        });
    });
    ui.add_space(6.0);
    ui.collapsing("Follow the pour by ear", |ui| pour::show(ui, view, asks));
}

/// What the parts are.
pub(super) const PARTS: &str =
    "For each player of the piece a page to play from, and files for notation programs";

/// How much goes in, and how high that is.
fn amount(ui: &mut Ui, view: &View<'_>, index: PourIndex, shown: &Shown, palette: &Palette) {
    let large = |text: String| RichText::new(text).strong().size(AMOUNT);
    match shown.knob.now {
        Setting::Fill(fill) => {
            if fill.ml() < 0.05 {
                ui.label(large("leave it empty".to_owned()));
                return;
            }
            ui.label(large(format!("{:.0} ml", fill.ml())));
            let mass = shown
                .more
                .as_ref()
                .map(|more| format!("{:.0} g on a scale, ", more.mass_g));
            let kind = view.document.model.pours[index].kind;
            let floor = view.document.fixed.kinds[kind].bottle.floor();
            let level_mm = shown.level.mm() + floor.mm();
            let text = format!(
                "{}{level_mm:.0} mm above the table",
                mass.unwrap_or_default()
            );
            ui.label(RichText::new(text).size(20.0));
        }
        Setting::Gauge(gauge) => {
            ui.label(large(format!("{:.2} bar", gauge.bar())));
            ui.label(RichText::new("pumped up, never more than it says").color(palette.hazard));
        }
        Setting::Travel(travel) => {
            ui.label(large(format!("floor {:.0} mm in", travel.mm())));
        }
        Setting::Lift(lift) => {
            ui.label(large(format!("lifted {:.0} mm", lift.mm())));
        }
    }
}

/// What the microphone says of it, in large words.
fn judged(
    ui: &mut Ui,
    view: &View<'_>,
    index: PourIndex,
    shown: &Shown,
    palette: &Palette,
    asks: &mut Vec<Ask>,
) {
    let tuner = &view.state.tuner;
    ui.horizontal_wrapped(|ui| {
        match &tuner.ear {
            None => {
                let listen = eframe::egui::Button::new(RichText::new("Listen").size(18.0));
                let hint = "Opens the microphone: blow the bottle, and hear whether it is right";
                if ui.add(listen).on_hover_text(hint).clicked() {
                    asks.push(TunerAsk::Listen.into());
                }
            }
            Some(_) => {
                if ui.button("Stop listening").clicked() {
                    asks.push(TunerAsk::Stop.into());
                }
            }
        }
        let mut tone = view.state.tone == Some(index);
        if ui.toggle_value(&mut tone, "Its tone").changed() {
            asks.push(PlayAsk::Tone(tone.then_some(index)).into());
        }
    });
    let Some(ear) = &tuner.ear else { return };
    if let InputState::Deaf { because, .. } = &ear.state {
        ui.colored_label(
            palette.wrong,
            format!("The microphone hears nothing: {because}"),
        );
        return;
    }
    match tuner.of(index) {
        Some(heard) if heard.off.cents().abs() > crate::app::tuner::FAR_CENTS => {
            let text = format!("That was {}, another bottle?", heard.nearest.0);
            ui.label(RichText::new(text).size(VERDICT).color(palette.off));
        }
        Some(heard) => {
            let colour = if heard.in_tune {
                palette.good
            } else {
                palette.off
            };
            let within = Interval::from_cents(tuner.within_cents);
            let text = in_tune(heard.off, within);
            ui.label(RichText::new(text).strong().size(VERDICT).color(colour));
            if !heard.in_tune {
                ui.label(RichText::new(heard.to_do()).size(20.0));
            }
        }
        None => {
            let verb = if shown.way.is_struck() { "Tap" } else { "Blow" };
            ui.label(
                RichText::new(format!("{verb} it."))
                    .size(VERDICT)
                    .color(palette.weak),
            );
        }
    }
}

/// The bottle to scale, its level marked.
fn drawing(
    ui: &mut Ui,
    view: &View<'_>,
    index: PourIndex,
    size: eframe::egui::Vec2,
    palette: &Palette,
) {
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    let shown = &view.derived.bottles[index];
    response.widget_info(|| {
        WidgetInfo::labeled(Role::Image, true, format!("{} and its level", shown.name))
    });
    let kind = &view.document.fixed.kinds[view.document.model.pours[index].kind];
    let outline = Outline::of(&kind.bottle);
    let inner = rect.shrink2(vec2(26.0, 8.0));
    let by_height = inner.height() / outline.height_m as f32;
    let by_width = inner.width() / (2.0 * outline.radius_m as f32);
    let standing = Standing {
        foot: pos2(inner.center().x, inner.bottom()),
        scale: by_height.min(by_width),
    };
    let picture = Picture {
        outline: &outline,
        standing,
        level: shown.level,
        is_floor: matches!(shown.knob.now, Setting::Travel(_)),
        swing: 0.0,
        is_chosen: false,
    };
    glass::paint(ui.painter(), &picture, palette);
    if let (Setting::Fill(_), Some(seems)) = (shown.knob.now, view.state.tuner.seems(index)) {
        let y = standing.level_y(&outline, seems);
        let ends = [pos2(rect.left(), y), pos2(rect.right(), y)];
        let stroke = Stroke::new(2.0, palette.off);
        ui.painter()
            .extend(Shape::dashed_line(&ends, stroke, 6.0, 4.0));
    }
    let y = standing.level_y(&outline, shown.level);
    let glass = standing.rect(&outline);
    let x = glass.right() + 3.0;
    let arrow = vec![pos2(x, y), pos2(x + 13.0, y - 8.0), pos2(x + 13.0, y + 8.0)];
    let shape = Shape::convex_polygon(arrow, palette.surface, Stroke::NONE);
    ui.painter().add(shape);
}
