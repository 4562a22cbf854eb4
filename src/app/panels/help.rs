//! The list of keys.

use eframe::egui::{Context, Grid, Id, Modal, RichText, ScrollArea, Ui};

use crate::app::ask::{Ask, ViewAsk};

/// Keys and what they do.
const KEYS: [(&str, &str); 20] = [
    ("letters and digits", "play, as printed under the bottles"),
    ("Escape", "stop all sound"),
    (
        "Space",
        "blow the bottle that has the focus; else start and stop the piece",
    ),
    (
        "Ctrl+Space",
        "start and stop the piece, wherever the focus is",
    ),
    ("left, right", "the next bottle"),
    (
        "up, down",
        "a millilitre more or less; ten with Shift, a tenth with Alt",
    ),
    (
        "Shift and a press",
        "the bottle sounds on until it is pressed again",
    ),
    (
        "arrows on a photograph",
        "up and down: the next point of the outline; left and right: move it by 0.2 mm, by 1 mm with Shift",
    ),
    ("F1", "this list"),
    ("F6", "the next part of the window"),
    ("F11", "stage view: the bottles alone, large"),
    ("Ctrl+1 to Ctrl+5", "Home, Crate, Plan, Pour, Play"),
    ("Ctrl+O", "open"),
    ("Ctrl+S", "save"),
    ("Ctrl+Shift+S", "save under another name"),
    ("Ctrl+Z", "undo"),
    ("Ctrl+Shift+Z", "do it again"),
    ("Ctrl+M", "mute"),
    ("Ctrl++, Ctrl+−", "larger and smaller text"),
    ("Ctrl+Q", "close"),
];

/// Draws it.
pub(in crate::app) fn show(context: &Context, asks: &mut Vec<Ask>) {
    let modal = Modal::new(Id::unique("keys")).show(context, |ui| {
        ui.heading("Keys");
        let room = context.content_rect().size();
        ScrollArea::both()
            .max_height(room.y - 120.0)
            .max_width(room.x - 60.0)
            .show(ui, list);
        if ui.button("Close").clicked() {
            asks.push(ViewAsk::Help(false).into());
        }
    });
    if modal.should_close() {
        asks.push(ViewAsk::Help(false).into());
    }
}

fn list(ui: &mut Ui) {
    Grid::new("list of keys")
        .num_columns(2)
        .striped(true)
        .show(ui, |ui| {
            for (key, does) in KEYS {
                ui.label(RichText::new(key).strong());
                ui.label(does);
                ui.end_row();
            }
        });
}
