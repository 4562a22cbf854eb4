//! The tuner: the microphone, what it hears of a bottle, and what to add or take out.

use eframe::egui::{
    Align2, Checkbox, ComboBox, FontId, Painter, Rect, Response, RichText, Role, Sense, Slider,
    Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

use super::{View, device_name, device_wish};
use crate::app::ask::Ask;
use crate::app::derived::Shown;
use crate::app::palette::Palette;
use crate::app::tuner::{BANDS_CENTS, FAR_CENTS, HISTORY_S, Tuner, TunerAsk};
use crate::index::PourIndex;
use crate::live::{DeviceWish, EarState, InputState};
use crate::number::signed;
use crate::tuner::Verdict;
use crate::tuner::keep::never_kept;

/// Ends of the needle's scale, cents.
const SCALE_CENTS: f64 = 50.0;
/// Height of the needle and of the history, points.
const NEEDLE: f32 = 54.0;
const STRIP: f32 = 64.0;
/// Heights that are kept free for what is said of the microphone, and of what it hears; points.
const MICROPHONE: f32 = 80.0;
const WORDS: f32 = 150.0;
/// The lowest level of the meter, dB.
const LOWEST_DB: f64 = -60.0;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let mut told = Vec::new();
    ui.heading("Tuner");
    microphone(ui, &view.state.tuner, &palette, &mut told);
    ui.add_space(6.0);
    let mut follows = view.state.tuner.follows;
    let hint = "The bottle whose note is nearest to what is heard selects itself";
    if ui
        .add(Checkbox::new(&mut follows, "Follow what is heard"))
        .on_hover_text(hint)
        .changed()
    {
        told.push(TunerAsk::Follow(follows));
    }
    bottle(ui, view, &palette, &mut told);
    ui.add_space(6.0);
    let mut within = view.state.tuner.within_cents;
    let slider = Slider::new(&mut within, BANDS_CENTS.0..=BANDS_CENTS.1)
        .suffix(" cents")
        .max_decimals(0)
        .text("in tune within");
    if ui.add(slider).changed() {
        told.push(TunerAsk::Within(within));
    }
    asks.extend(told.into_iter().map(Ask::Tuner));
}

fn microphone(ui: &mut Ui, tuner: &Tuner, palette: &Palette, told: &mut Vec<TunerAsk>) {
    ui.vertical(|ui| {
        ui.set_min_height(MICROPHONE);
        opened(ui, tuner, palette, told);
    });
    input(ui, tuner, told);
}

fn opened(ui: &mut Ui, tuner: &Tuner, palette: &Palette, told: &mut Vec<TunerAsk>) {
    match &tuner.ear {
        None => {
            let button = ui.button(RichText::new("Listen").strong());
            if button
                .on_hover_text("Open the microphone; it is never open without this")
                .clicked()
            {
                told.push(TunerAsk::Listen);
            }
            ui.label(RichText::new("The microphone is closed.").color(palette.weak));
        }
        Some(ear) => {
            if ui
                .button("Stop listening")
                .on_hover_text("Close the microphone")
                .clicked()
            {
                told.push(TunerAsk::Stop);
            }
            state(ui, ear, palette, told);
            meter(ui, ear.level_db, palette);
            troubles(ui, tuner, ear, palette);
        }
    }
}

fn state(ui: &mut Ui, ear: &EarState, palette: &Palette, told: &mut Vec<TunerAsk>) {
    match &ear.state {
        InputState::Opening => {
            ui.label("opening the microphone");
        }
        InputState::Listening {
            host,
            device,
            rate_hz,
            ..
        } => {
            ui.label(format!("{device} ({host}), {rate_hz} Hz"));
        }
        InputState::Deaf { because, .. } => {
            ui.colored_label(palette.wrong, format!("hears nothing: {because}"));
            ui.horizontal_wrapped(|ui| {
                if ui.button("Try again").clicked() {
                    told.push(TunerAsk::Retry);
                }
                if ui.button("Take the usual one").clicked() {
                    told.push(TunerAsk::Input(DeviceWish::default()));
                }
            });
        }
    }
}

fn troubles(ui: &mut Ui, tuner: &Tuner, ear: &EarState, palette: &Palette) {
    if ear.clipped > 0 {
        let text = "Too loud: it was clipped. Turn the microphone down, or go away from it.";
        ui.colored_label(palette.off, text);
    }
    let lost = ear.lost + tuner.missed;
    if lost > 0 {
        let text = format!("{lost} frames lost: the machine is too busy");
        ui.colored_label(palette.off, text);
    }
    if ear.dropouts > 0 {
        let text = format!("dropouts {}: the sound card was late", ear.dropouts);
        ui.colored_label(palette.off, text);
    }
}

fn input(ui: &mut Ui, tuner: &Tuner, told: &mut Vec<TunerAsk>) {
    let now = &tuner.input;
    let mut wanted = None;
    ComboBox::from_label("microphone")
        .selected_text(device_name(now, 22))
        .show_ui(ui, |ui| {
            wanted = device_wish(ui, tuner.inputs.as_deref(), now, DeviceWish::default());
        });
    if tuner.looking {
        ui.label("looking for microphones");
    } else if ui
        .button("Look for microphones")
        .on_hover_text("List what can be chosen above; opens none")
        .clicked()
    {
        told.push(TunerAsk::LookForInputs);
    }
    told.extend(wanted.map(TunerAsk::Input));
}

fn meter(ui: &mut Ui, level_db: f64, palette: &Palette) {
    let size = vec2(ui.available_width().min(220.0), 12.0);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| {
        let text = format!("Microphone level {level_db:.0} decibels");
        WidgetInfo::labeled(Role::Meter, true, text)
    });
    let painter = ui.painter();
    painter.rect_filled(rect, 2.0, palette.glass);
    let share = (1.0 - level_db / LOWEST_DB).clamp(0.0, 1.0) as f32;
    let bar = Rect::from_min_size(rect.min, vec2(rect.width() * share, rect.height()));
    let colour = if level_db > -1.0 {
        palette.off
    } else {
        palette.good
    };
    painter.rect_filled(bar, 2.0, colour);
    let edge = Stroke::new(1.0, palette.weak);
    painter.rect_stroke(rect, 2.0, edge, StrokeKind::Inside);
    response.on_hover_text(format!("{level_db:.0} dB below full scale"));
}

fn bottle(ui: &mut Ui, view: &View<'_>, palette: &Palette, told: &mut Vec<TunerAsk>) {
    let tuner = &view.state.tuner;
    let chosen = view.state.selected;
    let Some((index, shown)) = chosen.and_then(|i| Some((i, view.derived.bottles.get(i.place())?)))
    else {
        ui.label("Press a bottle on the shelf to tune it.");
        return;
    };
    let heading = format!("{} in {}", shown.note, shown.name);
    ui.label(RichText::new(heading).strong().size(18.0));
    let heard = tuner.of(index);
    let near = heard.filter(|heard| !is_far(heard));
    needle(ui, tuner, near, palette);
    strip(ui, tuner, index, palette);
    // Its place is kept free: what is heard must not move the buttons below.
    ui.vertical(|ui| {
        ui.set_min_height(WORDS);
        ui.spacing_mut().item_spacing.y = 3.0;
        in_words(ui, view, (index, shown), palette);
    });
    ui.add_space(4.0);
    apply(ui, view, index, near, told);
}

/// What was heard of a bottle and what to do about it, or what is waited for.
fn in_words(ui: &mut Ui, view: &View<'_>, (index, shown): (PourIndex, &Shown), palette: &Palette) {
    let tuner = &view.state.tuner;
    match tuner.of(index) {
        Some(far) if is_far(far) => {
            let text = format!("That is {}, and not this bottle.", far.nearest.0);
            ui.label(RichText::new(text).strong().size(17.0).color(palette.off));
            ui.label(format!(
                "{:.1} Hz was heard, and {:.1} Hz is wanted. Press the bottle that sounded, or follow what is heard.",
                far.frequency.hz(),
                far.aim.hz()
            ));
        }
        Some(heard) => {
            let colour = colour(heard.in_tune, palette);
            let text = RichText::new(capital(&heard.to_do()));
            ui.colored_label(colour, text.strong().size(17.0));
            pitch(ui, heard, tuner.sounds, palette);
            if heard.moved.cents().abs() >= 0.05 {
                let text = format!(
                    "The room moves every bottle; this one by {} cents, which is not poured away.",
                    signed(heard.moved.cents(), 1)
                );
                ui.label(RichText::new(text).color(palette.weak));
            }
        }
        None => {
            let verb = if shown.way.is_struck() { "Tap" } else { "Blow" };
            let text = if tuner.listens() {
                format!("{verb} it: {:.2} Hz is wanted.", shown.target.hz())
            } else {
                format!("Press Listen, and {} it.", verb.to_lowercase())
            };
            ui.label(text);
        }
    }
    if tuner.seems(index).is_some() {
        let text = "Dashed on the shelf: where it seems to be filled to.";
        ui.label(RichText::new(text).color(palette.weak));
    }
}

/// Whether it is another bottle that was heard.
fn is_far(heard: &Verdict) -> bool {
    heard.off.cents().abs() > FAR_CENTS
}

/// The first letter large.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn pitch(ui: &mut Ui, heard: &Verdict, sounds: bool, palette: &Palette) {
    let (note, off) = &heard.nearest;
    let when = if sounds { "" } else { " (last heard)" };
    let text = format!(
        "{:.2} Hz, {note} {} cents{when}",
        heard.frequency.hz(),
        signed(off.cents(), 1)
    );
    ui.label(RichText::new(text).size(15.0));
    let text = format!(
        "{} cents ±{:.1} of the {:.2} Hz wanted",
        signed(heard.off.cents(), 1),
        heard.plus_minus.cents().max(0.05),
        heard.aim.hz()
    );
    ui.colored_label(colour(heard.in_tune, palette), text);
}

fn colour(in_tune: bool, palette: &Palette) -> eframe::egui::Color32 {
    if in_tune { palette.good } else { palette.off }
}

fn framed(ui: &mut Ui, height: f32, palette: &Palette) -> (Rect, Response, Painter) {
    let size = vec2(ui.available_width(), height);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 3.0, palette.air);
    let edge = Stroke::new(1.0, palette.glass);
    painter.rect_stroke(rect, 3.0, edge, StrokeKind::Inside);
    (rect, response, painter)
}

/// The needle over its scale, with the band that counts as in tune.
fn needle(ui: &mut Ui, tuner: &Tuner, heard: Option<&Verdict>, palette: &Palette) {
    let within_cents = tuner.within_cents;
    let (rect, response, painter) = framed(ui, NEEDLE, palette);
    response.widget_info(|| {
        let text = heard.map_or("Needle: nothing heard".to_owned(), |heard| {
            let verdict = if heard.in_tune {
                "in tune"
            } else {
                "not in tune"
            };
            let cents = signed(heard.off.cents(), 1);
            format!("Needle: {cents} cents, {verdict}")
        });
        WidgetInfo::labeled(Role::Meter, true, text)
    });
    let x = |cents: f64| {
        let along = (cents / SCALE_CENTS).clamp(-1.0, 1.0) as f32;
        rect.center().x + 0.46 * rect.width() * along
    };
    let foot = rect.bottom() - 15.0;
    let band = Rect::from_x_y_ranges(x(-within_cents)..=x(within_cents), rect.top() + 3.0..=foot);
    painter.rect_filled(band, 2.0, palette.good.gamma_multiply(0.30));
    for cents in [-50.0, -25.0, 0.0, 25.0, 50.0] {
        let long = if cents == 0.0 {
            foot - rect.top() - 4.0
        } else {
            8.0
        };
        let tick = Stroke::new(1.0, palette.weak);
        painter.vline(x(cents), (foot - long)..=foot, tick);
        let at = pos2(x(cents), rect.bottom() - 2.0);
        let size = FontId::proportional(10.0);
        painter.text(
            at,
            Align2::CENTER_BOTTOM,
            format!("{cents:+.0}"),
            size,
            palette.weak,
        );
    }
    let Some(heard) = heard else { return };
    let cents = heard.off.cents();
    let colour = colour(heard.in_tune, palette);
    let colour = if tuner.sounds {
        colour
    } else {
        colour.gamma_multiply(0.6)
    };
    let sure = heard.plus_minus.cents();
    let blur = Rect::from_x_y_ranges(x(cents - sure)..=x(cents + sure), rect.top() + 6.0..=foot);
    painter.rect_filled(blur, 0.0, colour.gamma_multiply(0.35));
    let stroke = Stroke::new(3.0, colour);
    painter.vline(x(cents), rect.top() + 4.0..=foot, stroke);
}

/// The last minute.
fn strip(ui: &mut Ui, tuner: &Tuner, index: PourIndex, palette: &Palette) {
    let (rect, response, painter) = framed(ui, STRIP, palette);
    let points = || tuner.history.iter().filter(|p| p.index == index);
    response.widget_info(|| {
        let text = format!("The last minute: {} readings", points().count());
        WidgetInfo::labeled(Role::Image, true, text)
    });
    let y = |cents: f64| {
        let up = (cents / SCALE_CENTS).clamp(-1.0, 1.0) as f32;
        rect.center().y - 0.46 * rect.height() * up
    };
    let within = tuner.within_cents;
    let band = Rect::from_x_y_ranges(rect.x_range(), y(within)..=y(-within));
    painter.rect_filled(band, 0.0, palette.good.gamma_multiply(0.30));
    painter.hline(rect.x_range(), y(0.0), Stroke::new(1.0, palette.weak));
    for point in points() {
        let ago = ((tuner.clock_s - point.at_s) / HISTORY_S) as f32;
        let at = pos2(
            rect.right() - 3.0 - ago * (rect.width() - 6.0),
            y(point.cents),
        );
        let is_in = point.cents.abs() <= within;
        painter.circle_filled(at, 1.8, colour(is_in, palette));
    }
    response.on_hover_text("Cents above the target over the last minute, 50 either way");
}

fn apply(
    ui: &mut Ui,
    view: &View<'_>,
    index: PourIndex,
    heard: Option<&Verdict>,
    told: &mut Vec<TunerAsk>,
) {
    let model = &view.document.model;
    let shown = &view.derived.bottles[index];
    let why_not = never_kept(shown.way, &model.conditions).map(|never| never.to_string());
    let (now, kind) = (shown.knob.now, &shown.name);
    let amount = format!("{:.1} {}", now.value(), now.unit());
    ui.label("When it does not sound as it is drawn:");
    let button = eframe::egui::Button::new("The amount is right: learn this bottle").wrap();
    let response = ui.add_enabled(heard.is_some() && why_not.is_none(), button);
    let hint = format!(
        "There are {amount} in it: the model of every {kind} moves to what was heard, and the file keeps that"
    );
    let response = response.on_hover_text(hint).on_disabled_hover_text(
        why_not.unwrap_or_else(|| "Nothing was heard of it yet".to_owned()),
    );
    if response.clicked() {
        told.push(TunerAsk::HoldsPoured);
    }
    let seems = heard.and_then(|heard| heard.seems);
    let button = eframe::egui::Button::new("The amount is different: draw it so").wrap();
    let response = ui.add_enabled(seems.is_some(), button);
    let hint = seems.map_or(String::new(), |seems| {
        format!(
            "It sounds like {:.1} {} and not like {amount}: the drawing moves to that",
            seems.value(),
            seems.unit()
        )
    });
    let response = response
        .on_hover_text(hint)
        .on_disabled_hover_text("Nothing was heard of it that it could be set to");
    if response.clicked() {
        told.push(TunerAsk::HoldsOther);
    }
}
