//! The window, without a display, a sound card or a microphone.
#![cfg(feature = "window")]
#![allow(clippy::unwrap_used)]

#[path = "../common/mod.rs"]
mod common;

mod document;
mod layout;
mod made;
mod paper;
#[cfg(feature = "photographs")]
mod photo;
mod played_along;
mod playing;
mod poured;
mod practised;
mod shelf;
mod stream;
mod tape;
mod tuner;

use eframe::egui;
use egui_kittest::{Harness, kittest::Queryable};
use ullage::app::{Document, Session, draw};
use ullage::index::PourIndex;

use crate::common::files::{Folder, read};
use crate::common::window::{session, without_card};

/// A copy of a set in a folder of its own, opened.
fn copied(set: &str) -> (Folder, Document) {
    let folder = Folder::new();
    let path = folder.write("set.toml", read(set));
    let document = Document::open(&path).unwrap();
    (folder, document)
}

fn drawn(session: Session, size: [f32; 2]) -> Harness<'static, Session> {
    Harness::builder().with_size(size).build_ui_state(
        |ui: &mut egui::Ui, session: &mut Session| draw(ui, session),
        session,
    )
}

/// The place of the bottle with a note.
fn index(session: &Session, note: &str) -> PourIndex {
    let mut bottles = session.derived().bottles.iter();
    let place = bottles.position(|b| b.note.to_string() == note);
    PourIndex::new(place.unwrap())
}

fn sees(harness: &Harness<'_, Session>, text: &str) -> bool {
    harness.query_all_by_label_contains(text).next().is_some()
}

fn click(harness: &mut Harness<'_, Session>, label: &str) {
    harness.get_by_label(label).click();
    harness.run_steps(3);
}
