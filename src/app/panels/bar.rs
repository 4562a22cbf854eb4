//! The bar at the top: the file, undo, recording, and what the program has to say.

use eframe::egui::{self, Button, Key, KeyboardShortcut, Modifiers, RichText, Ui};

use super::View;
use crate::app::ask::{Ask, BoardAsk, EditAsk, FileAsk, LeaveAsk, PlayAsk, TakeAsk, ViewAsk};
use crate::app::palette::Palette;
use crate::app::state::Panel;
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

/// A step of size.
const ZOOM_STEP: f32 = 1.1;

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    shortcuts(ui, view, asks);
    let palette = Palette::of(ui.visuals());
    ui.horizontal_wrapped(|ui| {
        file(ui, view, asks);
        ui.separator();
        let (can_undo, can_redo) = view.undo_redo;
        if button(ui, "Undo", can_undo, "Take the last change back (Ctrl+Z)") {
            asks.push(EditAsk::Undo.into());
        }
        if button(ui, "Redo", can_redo, "Do it again (Ctrl+Shift+Z)") {
            asks.push(EditAsk::Redo.into());
        }
        ui.separator();
        recording(ui, view, asks, &palette);
        ui.separator();
        if button(
            ui,
            "All off",
            true,
            "Every key, finger and tone lets go (Escape)",
        ) {
            asks.push(PlayAsk::AllOff.into());
        }
        ui.separator();
        for (equal, text, hint) in [
            (false, "As filled", "Hear every bottle as it is filled"),
            (
                true,
                "Equal",
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
        let hazards = hazards(&view.document.model.conditions);
        if !hazards.is_empty() {
            let beware = Button::new(RichText::new("Beware").color(palette.off));
            if ui.add(beware).on_hover_text(hazards.join("\n")).clicked() {
                asks.push(ViewAsk::Panel(Panel::Room).into());
            }
        }
    });
}

fn button(ui: &mut Ui, text: &str, enabled: bool, hint: &str) -> bool {
    ui.add_enabled(enabled, Button::new(text))
        .on_hover_text(hint)
        .clicked()
}

fn file(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let document = view.document;
    let name = document
        .path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy();
    let title = if document.title.is_empty() {
        name.clone()
    } else {
        document.title.as_str().into()
    };
    let title = crate::report::svg::shortened(&title, 40);
    let changed = document.is_changed();
    let said = if changed { "unsaved" } else { "saved" };
    ui.label(RichText::new(title).strong())
        .on_hover_text(format!("{}, {said}", document.path.display()));
    if changed {
        ui.label(said)
            .on_hover_text("There are changes that are not in the file yet");
    }
    ui.separator();
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
        changed,
        "Write the fills and the room into the file, comments and all (Ctrl+S)",
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

fn shortcuts(ui: &Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let zoom = view.state.zoom;
    let typing = ui.ctx().text_edit_focused();
    ui.input_mut(|input| {
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
            asks.push(BoardAsk::WaitFor(None).into());
            asks.push(PlayAsk::AllOff.into());
        }
    });
}
