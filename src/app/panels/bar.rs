//! The bar at the top: the file, undo, recording, and what the program has to say.

use eframe::egui::{
    self, Button, Key, KeyboardShortcut, Modifiers, RichText, Role, ScrollArea, Sense, Slider, Ui,
    WidgetInfo, vec2,
};

use super::pieces::sign;
use super::regions::Region;
use super::tight::Tight;
use super::{View, keep_together, tab};
use crate::app::ask::{
    Ask, BoardAsk, EditAsk, FileAsk, LeaveAsk, PlayAsk, SoundAsk, TakeAsk, ViewAsk,
};
use crate::app::palette::Palette;
use crate::app::play_asks::LEVELS_DB;
use crate::app::state::{Panel, Place};
use crate::report::words::hazards;

const OPEN: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::O);
const SAVE: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::S);
const SAVE_AS: KeyboardShortcut =
    KeyboardShortcut::new(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::S);
const UNDO: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Z);
const REDO: KeyboardShortcut =
    KeyboardShortcut::new(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::Z);
const REDO_TOO: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Y);
const CLOSE: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Q);
const LARGER: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Plus);
const LARGER_TOO: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Equals);
const SMALLER: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::Minus);
const MUTE: KeyboardShortcut = KeyboardShortcut::new(Modifiers::COMMAND, Key::M);
/// The keys of the places, in their order.
const PLACES: [Key; 5] = [Key::Num1, Key::Num2, Key::Num3, Key::Num4, Key::Num5];

/// Room for the word beside the slider, points.
const VOLUME_LABEL: f32 = 70.0;
/// A step of size.
const ZOOM_STEP: f32 = 1.1;

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ui.add_space(2.0);
    if Tight::of(ui.ctx()).any() {
        ui.horizontal_wrapped(|ui| {
            places(ui, view, asks);
            mute(ui, view, &palette, asks);
            level(ui, view, 60.0, asks);
            ui.menu_button("More", |ui| more(ui, view, &palette, asks));
        });
    } else {
        ui.horizontal_wrapped(|ui| {
            places(ui, view, asks);
            elsewhere(ui, view, asks);
            ui.separator();
            mute(ui, view, &palette, asks);
            level(ui, view, 90.0, asks);
            stop(ui, asks);
        });
        ui.horizontal_wrapped(|ui| {
            file(ui, view, asks);
            ui.separator();
            steps(ui, view, asks);
            safety(ui, view, &palette, asks);
            if view.state.place == Place::Play {
                ui.separator();
                heard_as(ui, view, asks);
                ui.separator();
                // What is at the end moves nothing when it changes.
                recording(ui, view, asks, &palette);
            }
        });
    }
    ui.add_space(2.0);
}

/// The rest of it where there is little room, one below the other.
fn more(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let most = ui.ctx().content_rect().height() - 80.0;
    ScrollArea::vertical().max_height(most).show(ui, |ui| {
        stop(ui, asks);
        elsewhere(ui, view, asks);
        ui.separator();
        file(ui, view, asks);
        steps(ui, view, asks);
        safety(ui, view, palette, asks);
        if view.state.place == Place::Play {
            ui.separator();
            heard_as(ui, view, asks);
            recording(ui, view, asks, palette);
        }
    });
}

fn steps(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let (can_undo, can_redo) = view.undo_redo;
    if button(ui, "Undo", can_undo, "Take the last change back (Ctrl+Z)") {
        asks.push(EditAsk::Undo.into());
    }
    if button(ui, "Redo", can_redo, "Do it again (Ctrl+Shift+Z)") {
        asks.push(EditAsk::Redo.into());
    }
}

fn safety(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let hazards = hazards(&view.document.model.conditions);
    if hazards.is_empty() {
        return;
    }
    sign(ui, palette.hazard);
    let safety = Button::new(RichText::new("Safety").color(palette.hazard));
    if ui.add(safety).on_hover_text(hazards.join("\n")).clicked() {
        asks.push(ViewAsk::Panel(Panel::Room).into());
    }
}

/// Where one can go, as a list of tabs.
fn places(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let has_bottles = !view.document.fixed.kinds.is_empty();
    let has_notes = has_notes(view);
    for place in Place::ALL {
        let is_open = match place {
            Place::Start | Place::Crate => true,
            Place::Plan => has_bottles,
            Place::Pour | Place::Play => has_notes,
        };
        let is_it = view.state.place == place;
        ui.add_enabled_ui(is_open, |ui| {
            let tab = tab(ui, is_it, place.title(), Region::Places);
            let number = Place::ALL.iter().position(|p| *p == place).unwrap_or(0) + 1;
            let hint = format!("{} (Ctrl+{number})", place.hint());
            if tab.on_hover_text(hint).clicked() {
                asks.push(ViewAsk::Place(place).into());
            }
        });
    }
}

fn has_notes(view: &View<'_>) -> bool {
    !view.document.model.pours.is_empty()
}

/// What is shown besides the places.
fn elsewhere(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    if has_notes(view)
        && button(
            ui,
            "Stage",
            true,
            "The bottles alone, large enough for a class (F11)",
        )
    {
        asks.push(ViewAsk::Stage(true).into());
    }
    if button(ui, "Help", true, "What each key does (F1)") {
        asks.push(ViewAsk::Help(true).into());
    }
}

/// Whether anything is heard: always in sight.
fn mute(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let muted = view.state.muted;
    let text = if muted {
        RichText::new("Muted").color(palette.hazard)
    } else {
        RichText::new("Mute")
    };
    let mute = ui.selectable_label(muted, text);
    if mute
        .on_hover_text("Nothing is heard until it is pressed again (Ctrl+M)")
        .clicked()
    {
        asks.push(SoundAsk::Mute(!muted).into());
    }
}

/// How loud it is: always in sight.
fn level(ui: &mut Ui, view: &View<'_>, width: f32, asks: &mut Vec<Ask>) {
    let mut db = view.state.level_db;
    keep_together(ui, VOLUME_LABEL + width);
    let label = ui.label("Volume");
    ui.spacing_mut().slider_width = width;
    let slider = Slider::new(&mut db, LEVELS_DB.0..=LEVELS_DB.1).show_value(false);
    let slider = ui
        .add_enabled(!view.state.muted, slider)
        .labelled_by(label.id);
    let slider = slider.on_hover_text(format!("{db:.0} dB"));
    if slider.changed() {
        asks.push(SoundAsk::Level(db).into());
    }
}

fn stop(ui: &mut Ui, asks: &mut Vec<Ask>) {
    if button(
        ui,
        "Stop all sound",
        true,
        "Every key, finger and tone lets go (Escape)",
    ) {
        asks.push(PlayAsk::AllOff.into());
    }
}

fn heard_as(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    for (equal, text, hint) in [
        (false, "As poured", "Hear every bottle as it is filled"),
        (
            true,
            "Perfectly tuned",
            "Hear every bottle at the equal-tempered pitch of its note; nothing is poured",
        ),
    ] {
        let is_it = view.state.equal == equal;
        if ui
            .selectable_label(is_it, text)
            .on_hover_text(hint)
            .clicked()
            && !is_it
        {
            asks.push(PlayAsk::Equal(equal).into());
        }
    }
}

fn button(ui: &mut Ui, text: &str, enabled: bool, hint: &str) -> bool {
    ui.add_enabled(enabled, Button::new(text))
        .on_hover_text(hint)
        .clicked()
}

fn file(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let document = view.document;
    let title = crate::report::svg::shortened(&document.called(), 32);
    let changed = document.is_changed();
    let said = if changed { "unsaved" } else { "saved" };
    let hint = if document.is_unnamed() {
        format!("It has no file yet, {said}")
    } else {
        format!("{}, {said}", document.path.display())
    };
    // The mark has a place of its own, so that nothing moves when it comes.
    let (mark, _) = ui.allocate_exact_size(vec2(9.0, 16.0), Sense::hover());
    if changed {
        let radius = 3.5;
        let colour = ui.visuals().text_color();
        ui.painter().circle_filled(mark.center(), radius, colour);
    }
    let title = ui.label(RichText::new(title).strong());
    let title = title.on_hover_text(hint);
    title.widget_info(|| {
        WidgetInfo::labeled(Role::Label, true, format!("{}, {said}", document.called()))
    });
    let free = !view.state.asking;
    if button(
        ui,
        "Open…",
        free,
        "Open another set (Ctrl+O), or drop its file on the window",
    ) {
        asks.push(FileAsk::Choose.into());
    }
    if button(
        ui,
        "Save",
        changed && free,
        "Write everything into the file; comments in it stay (Ctrl+S)",
    ) {
        asks.push(FileAsk::Save.into());
    }
    if button(ui, "Save as…", free, "Write another file (Ctrl+Shift+S)") {
        asks.push(FileAsk::SaveAs.into());
    }
}

fn recording(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>, palette: &Palette) {
    if view.state.taking.is_empty() {
        let free = !view.state.asking;
        if button(
            ui,
            "Record sound…",
            free,
            "What is heard from now on, as a WAV file",
        ) {
            asks.push(TakeAsk::Sound.into());
        }
        if button(
            ui,
            "Record keys…",
            free,
            "What is played from now on, as a MIDI file",
        ) {
            asks.push(TakeAsk::Keys.into());
        }
        return;
    }
    let stop = Button::new(RichText::new("Stop recording").color(palette.off));
    if ui
        .add(stop)
        .on_hover_text("Write the recording down")
        .clicked()
    {
        asks.push(TakeAsk::Stop.into());
    }
}

/// Draws nothing: the keys that hold in the whole window.
pub(in crate::app) fn shortcuts(ui: &Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let zoom = view.state.zoom;
    let typing = ui.ctx().text_edit_focused();
    ui.input_mut(|input| {
        for (place, key) in Place::ALL.into_iter().zip(PLACES) {
            if input.consume_shortcut(&KeyboardShortcut::new(Modifiers::COMMAND, key)) {
                asks.push(ViewAsk::Place(place).into());
            }
        }
        if input.consume_shortcut(&MUTE) {
            asks.push(SoundAsk::Mute(!view.state.muted).into());
        }
        if input.key_pressed(Key::F1) {
            asks.push(ViewAsk::Help(!view.state.help).into());
        }
        if input.key_pressed(Key::F11) {
            asks.push(ViewAsk::Stage(!view.state.stage).into());
        }
        // The longer ones first: Ctrl+S would take Ctrl+Shift+S as well.
        for (shortcut, ask) in [
            (SAVE_AS, FileAsk::SaveAs.into()),
            (REDO, EditAsk::Redo.into()),
            (REDO_TOO, EditAsk::Redo.into()),
            (UNDO, EditAsk::Undo.into()),
            (SAVE, FileAsk::Save.into()),
            (OPEN, FileAsk::Choose.into()),
            (CLOSE, LeaveAsk::Close.into()),
            (LARGER, ViewAsk::Zoom(zoom * ZOOM_STEP).into()),
            (LARGER_TOO, ViewAsk::Zoom(zoom * ZOOM_STEP).into()),
            (SMALLER, ViewAsk::Zoom(zoom / ZOOM_STEP).into()),
        ] {
            // A field of text takes its own changes back.
            let is_fields = typing && matches!(ask, Ask::Edit(EditAsk::Undo | EditAsk::Redo));
            if !is_fields && input.consume_shortcut(&shortcut) {
                asks.push(ask);
            }
        }
        let is_asked = view.state.leaving.is_some() || view.state.naming.is_some();
        if input.key_pressed(egui::Key::Escape) && !is_asked {
            if view.state.stage {
                asks.push(ViewAsk::Stage(false).into());
            }
            asks.push(BoardAsk::WaitFor(None).into());
            asks.push(PlayAsk::AllOff.into());
        }
    });
}
