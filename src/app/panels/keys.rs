//! The computer keyboard, and the looks of the window.

use eframe::egui::{RichText, Slider, Ui};

use super::View;
use crate::app::ask::{Ask, BoardAsk, BoardSetting, ViewAsk};
use crate::app::keyboard::Layout;
use crate::app::palette::Palette;
use crate::app::state::Looks;
use crate::app::view_asks::ZOOMS;
use crate::tuning::NoteName;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let board = &view.keyboard.board;
    ui.heading("Keys");
    for (layout, text, hint) in [
        (
            Layout::Piano,
            "As on a piano",
            "Bottom and upper rows are white keys, the rows above them black ones",
        ),
        (
            Layout::Row,
            "A key for each bottle",
            "From low to high, bottom row first",
        ),
    ] {
        if ui
            .radio(board.layout == layout, text)
            .on_hover_text(hint)
            .clicked()
        {
            asks.push(BoardAsk::Set(BoardSetting::Layout(layout)).into());
        }
    }
    let mut velocity = view.keyboard.velocity;
    if ui
        .add(Slider::new(&mut velocity, 1..=127).text("strength"))
        .changed()
    {
        asks.push(BoardAsk::Set(BoardSetting::Velocity(velocity)).into());
    }
    ui.add_space(4.0);
    ui.label(
        RichText::new("To change a key press its note here, then the key.").color(palette.weak),
    );
    ui.horizontal_wrapped(|ui| {
        for &note in &board.notes {
            let key = view
                .keyboard
                .hint(note)
                .unwrap_or_else(|| "none".to_owned());
            let waits = view.state.wants_key == Some(note);
            let text = if waits {
                "press a key".to_owned()
            } else {
                format!("{} {key}", NoteName::from_midi(note))
            };
            if ui.selectable_label(waits, text).clicked() {
                asks.push(BoardAsk::WaitFor((!waits).then_some(note)).into());
            }
        }
    });
    if !board.own.is_empty() && ui.button("Forget my own keys").clicked() {
        asks.push(BoardAsk::Set(BoardSetting::ForgetOwn).into());
    }
    ui.label(
        RichText::new("Many keyboards drop the third or fourth key of a chord. Try other keys, \"hold\", or MIDI.")
            .color(palette.weak),
    );
    ui.add_space(8.0);
    ui.heading("Looks");
    ui.horizontal(|ui| {
        for looks in Looks::ALL {
            if ui.radio(view.state.looks == looks, looks.name()).clicked() {
                asks.push(ViewAsk::Looks(looks).into());
            }
        }
    });
    ui.horizontal(|ui| {
        let zoom = view.state.zoom;
        ui.label(format!("size {:.0} %", 100.0 * zoom));
        for (text, name, size) in [
            ("−", "Smaller", zoom / 1.1),
            ("+", "Larger", zoom * 1.1),
            ("100 %", "Usual size", 1.0),
        ] {
            let fits = (ZOOMS.0..=ZOOMS.1).contains(&size);
            let button = ui.add_enabled(fits, eframe::egui::Button::new(text));
            if button.accessible_name(name).clicked() {
                asks.push(ViewAsk::Zoom(size).into());
            }
        }
    });
}
