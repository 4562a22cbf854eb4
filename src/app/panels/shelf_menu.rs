//! What can be done with a bottle of the shelf, and what is said of it under the pointer.

use eframe::egui::{RichText, Ui};

use super::View;
use super::caption;
use crate::app::ask::{Ask, EditAsk, PlayAsk, ShelfAsk};
use crate::index::{KindIndex, PourIndex};
use crate::set::Way;

/// Ways that a note can be changed to by hand.
const WAYS: [Way; 4] = [Way::Blown, Way::Struck, Way::Pressurised, Way::Sliding];

/// The entries of its menu.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, index: PourIndex, asks: &mut Vec<Ask>) {
    let shown = &view.derived.bottles[index];
    ui.label(RichText::new(format!("{} in {}", shown.note, shown.name)).strong());
    let mut entry = |ui: &mut Ui, text: &str, ask: Ask| {
        if ui.button(text).clicked() {
            asks.push(ask);
            ui.close();
        }
    };
    entry(ui, "Pour to the note", EditAsk::Tune(index).into());
    entry(ui, "Let it sound on", PlayAsk::Hold(index).into());
    entry(
        ui,
        "Duplicate",
        EditAsk::Shelf(ShelfAsk::Duplicate(index)).into(),
    );
    entry(ui, "Remove", EditAsk::Shelf(ShelfAsk::Remove(index)).into());
    let own = view.document.model.pours[index].kind;
    if view.document.fixed.kinds.len() > 1 {
        ui.menu_button("In another bottle", |ui| {
            for (kind, other) in KindIndex::each(&view.document.fixed.kinds) {
                if kind != own {
                    let ask = EditAsk::Shelf(ShelfAsk::Into(index, kind));
                    entry(ui, &other.name, ask.into());
                }
            }
        });
    }
    if shown.way != Way::Joined {
        ui.menu_button("Played another way", |ui| {
            for way in WAYS.into_iter().filter(|way| *way != shown.way) {
                let ask = EditAsk::Shelf(ShelfAsk::Way(index, way));
                entry(ui, way.name(), ask.into());
            }
        });
    }
}

/// What is said of it under the pointer.
pub(super) fn card(ui: &mut Ui, view: &View<'_>, index: PourIndex) {
    let shown = &view.derived.bottles[index];
    ui.label(RichText::new(format!("{} in {}", shown.note, shown.name)).strong());
    ui.label(caption::said(shown));
    let now = shown.knob.now;
    ui.label(format!("{} {:.1} {}", now.name(), now.value(), now.unit()));
    if let Some(more) = shown.more.as_ref().filter(|more| more.mass_g > 0.0) {
        ui.label(format!("{:.0} g of liquid", more.mass_g));
    }
    if let Some(key) = view.keyboard.hint(shown.note.midi()) {
        ui.label(format!("key {key}"));
    }
}
