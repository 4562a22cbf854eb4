//! Where one begins: sets of late, sets that come with the program, an empty crate.

use eframe::egui::{RichText, ScrollArea, Ui, vec2};

use super::View;
use super::pieces::{Card, main_button};
use crate::app::ask::{Ask, FileAsk};
use crate::app::examples::{EXAMPLES, Small};
use crate::app::palette::Palette;

/// Size of a card, points.
const CARD: (f32, f32) = (226.0, 178.0);

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            ui.add_space(6.0);
            ui.heading("Make music with bottles");
            ui.label(
                RichText::new(
                    "Say which bottles you have, choose the notes, pour them to the right height, and play.",
                )
                .color(palette.weak),
            );
            ui.add_space(6.0);
            ui.horizontal_wrapped(|ui| {
                if main_button(ui, "New from my bottles", &palette).clicked() {
                    asks.push(FileAsk::New.into());
                }
                let open = eframe::egui::Button::new(RichText::new("Open…").size(16.0))
                    .min_size(vec2(90.0, 34.0));
                let open = ui.add_enabled(!view.state.asking, open);
                if open
                    .on_hover_text("A set or a shelf of bottles, or drop its file on the window")
                    .clicked()
                {
                    asks.push(FileAsk::Choose.into());
                }
            });
            if view.has_draft {
                ui.add_space(8.0);
                ui.horizontal_wrapped(|ui| {
                    ui.label(
                        RichText::new("There is work that was not saved when the program ended.")
                            .strong(),
                    );
                    if ui.button("Go on with it").clicked() {
                        asks.push(FileAsk::Recover.into());
                    }
                    if ui.button("Throw it away").clicked() {
                        asks.push(FileAsk::ForgetDraft.into());
                    }
                });
            }
            recent(ui, view, &palette, asks);
            ui.add_space(10.0);
            ui.label(RichText::new("Try one of these").strong().size(16.0));
            ui.horizontal_wrapped(|ui| {
                for (place, example) in EXAMPLES.iter().enumerate() {
                    let small = view.gallery.examples.get(place).and_then(Option::as_ref);
                    let words = match small.and_then(|small| small.notes) {
                        Some((low, high)) => format!("{} · {low} to {high}", example.words),
                        None => example.words.to_owned(),
                    };
                    let card = Card {
                        title: example.name,
                        words: &words,
                        bottles: small.map(|small| small.bottles.as_slice()),
                        size: vec2(CARD.0, CARD.1),
                    };
                    if card.show(ui, &palette).clicked() {
                        asks.push(FileAsk::Example(place).into());
                    }
                }
            });
            ui.add_space(8.0);
        });
}

fn recent(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let recent = &view.gallery.recent;
    let shown: Vec<_> = recent
        .iter()
        .filter_map(|(path, small)| Some((path, small.as_ref()?)))
        .collect();
    if shown.is_empty() {
        return;
    }
    ui.add_space(10.0);
    ui.label(RichText::new("Go on with").strong().size(16.0));
    ui.horizontal_wrapped(|ui| {
        for (path, small) in shown {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let words = words(small, &name);
            let card = Card {
                title: &small.called,
                words: &words,
                bottles: Some(&small.bottles),
                size: vec2(CARD.0, CARD.1),
            };
            let response = card.show(ui, palette);
            if response.on_hover_text(path.display().to_string()).clicked() {
                asks.push(FileAsk::Open(path.clone()).into());
            }
        }
    });
}

fn words(small: &Small, name: &str) -> String {
    match small.notes {
        Some((low, high)) => format!("{name} · {low} to {high}"),
        None => format!("{name} · bottles only"),
    }
}
