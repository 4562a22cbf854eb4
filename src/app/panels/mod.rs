//! The panels. Each one draws what it is shown and returns what was asked; none holds a formula or changes anything.

pub(super) mod bar;
pub(super) mod board;
mod bottle;
mod caption;
mod coming;
mod crates;
mod desk;
pub(super) mod glass;
pub(super) mod help;
mod keys;
mod marks;
mod matrix;
mod photo;
mod pieces;
mod plan;
mod pour;
mod pouring;
pub(super) mod practice;
pub(super) mod regions;
mod room;
pub(super) mod shelf;
mod shelf_menu;
mod spectrum;
mod spread;
mod start;
pub(super) mod status;
pub(super) mod tight;
mod together;
mod touch;
pub(super) mod transport;
mod tuner;

use std::collections::BTreeMap;

use eframe::egui::{ComboBox, Id, Response, RichText, Role, ScrollArea, Ui, WidgetInfo};

use super::ask::{Ask, Gesture, ViewAsk};
use super::derived::Derived;
use super::document::Document;
use super::examples::Gallery;
use super::keyboard::Keyboard;
use super::making::Making;
use super::state::{Panel, Place, State};
use crate::index::PourIndex;
use crate::live::{DeskState, DeviceWish, HostInfo};
use regions::Region;
use tight::Tight;

/// What the device is called that the system takes if none is named.
const USUAL_DEVICE: &str = "the usual one";

/// What the shelf is called among the panels.
const SHELF: &str = "The bottles";

/// What a panel may look at.
pub struct View<'a> {
    /// What there is to see besides the set.
    pub state: &'a State,
    /// The set that is being made.
    pub making: &'a Making,
    /// What one begins with.
    pub gallery: &'a Gallery,
    /// There is unsaved work of a session that did not end as it should.
    pub has_draft: bool,
    /// For each pour the first one into the same bottle.
    pub bottle_of: &'a [PourIndex],
    /// The note that each bottle plays now, of those that play several: by their first pour.
    pub active: &'a BTreeMap<PourIndex, PourIndex>,
    /// The set.
    pub document: &'a Document,
    /// What the models say about it.
    pub derived: &'a Derived,
    /// How the sound stands.
    pub desk: &'a DeskState,
    /// The output that was asked for.
    pub output: &'a DeviceWish,
    /// The computer keyboard.
    pub keyboard: &'a Keyboard,
    /// How far each bottle's air swings, 0 to 1 and a little above.
    pub swings: &'a [f32],
    /// Whether there is something to undo, and to redo.
    pub undo_redo: (bool, bool),
}

/// A swing from which a bottle counts as sounding.
const SOUNDING: f32 = 0.02;

impl View<'_> {
    /// The note that a bottle plays now, of the pours that are into the same one as `first`: the one that sounded last,
    /// else the one that is selected, else the first.
    #[must_use]
    pub fn current(&self, first: PourIndex) -> PourIndex {
        let is_of_it = |pour: &PourIndex| self.bottle_of.get(pour.place()) == Some(&first);
        let active = self.active.get(&first).copied().filter(is_of_it);
        let selected = self.state.selected.filter(is_of_it);
        active.or(selected).unwrap_or(first)
    }

    /// The bottles that sound, from low to high.
    #[must_use]
    pub fn sounding(&self) -> Vec<PourIndex> {
        let sounds = |index: &&PourIndex| {
            let first = self.bottle_of.get(index.place());
            // A bottle that plays several notes plays one at a time.
            let is_it = first.is_none_or(|first| self.current(*first) == **index);
            is_it
                && self
                    .swings
                    .get(index.place())
                    .is_some_and(|s| *s > SOUNDING)
        };
        self.derived.order.iter().filter(sounds).copied().collect()
    }
}

/// Draws what fills the window in a place that is not the shelf.
pub(super) fn place(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    match view.state.place {
        Place::Start => start::show(ui, view, asks),
        Place::Crate => crates::show(ui, view, asks),
        Place::Plan => plan::show(ui, view, asks),
        Place::Pour => pouring::show(ui, view, asks),
        Place::Play if view.state.panel_first && Tight::of(ui.ctx()).narrow => {
            scrolled(view.state.panel, ui, view, asks);
        }
        Place::Play => shelf::show(ui, view, asks),
    }
}

/// Draws the panel at the side, which scrolls and never gets wider by what is in it.
pub(super) fn scrolled(panel: Panel, ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    ScrollArea::both()
        .id_salt(panel.title())
        .auto_shrink([false, false])
        .show(ui, |ui| show(panel, ui, view, asks));
}

/// What is shown where there is no room for the shelf and a panel: one of them.
pub(super) fn one_of(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let is_shelf = !view.state.panel_first;
    let now = if is_shelf {
        SHELF
    } else {
        view.state.panel.title()
    };
    ui.horizontal(|ui| {
        let label = ui.label("Show");
        let list = ComboBox::from_id_salt("what is shown").selected_text(now);
        let list = list.show_ui(ui, |ui| {
            if ui.selectable_label(is_shelf, SHELF).clicked() {
                asks.push(ViewAsk::Shelf.into());
            }
            for panel in Panel::TABS {
                let is_it = !is_shelf && view.state.panel == panel;
                if ui.selectable_label(is_it, panel.title()).clicked() {
                    asks.push(ViewAsk::Panel(panel).into());
                }
            }
        });
        list.response.labelled_by(label.id);
    });
}

/// Draws the panel at the side.
pub(super) fn show(panel: Panel, ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    match panel {
        Panel::Bottle => bottle::show(ui, view, asks),
        Panel::Together => together::show(ui, view, asks),
        Panel::Tuner => tuner::show(ui, view, asks),
        Panel::Pour => pour::show(ui, view, asks),
        Panel::Room => room::show(ui, view, asks),
        Panel::Practice => practice::show(ui, view, asks),
        Panel::Desk => desk::show(ui, view, asks),
        Panel::Keys => keys::show(ui, view, asks),
    }
}

/// A new row if so many points are not left in this one: a slider goes over the edge by itself, where anything else wraps.
pub(super) fn keep_together(ui: &mut Ui, points: f32) {
    if ui.available_size_before_wrap().x < points {
        ui.end_row();
    }
}

/// One of a list of tabs, of which the chosen one takes the focus for its part of the window.
pub(super) fn tab(ui: &mut Ui, is_it: bool, text: &str, region: Region) -> Response {
    let tab = ui.selectable_label(is_it, RichText::new(text).size(15.0));
    tab.widget_info(|| WidgetInfo::selected(Role::Tab, true, is_it, text));
    if is_it {
        regions::anchor(ui, region, tab.id);
    }
    tab
}

/// The gesture that a widget's change belongs to: all steps of one drag are one.
pub(super) fn gesture(ui: &Ui, response: &Response) -> Gesture {
    let id = response.id.with("drag");
    if response.drag_started() {
        let number = ui.ctx().cumulative_frame_nr();
        ui.data_mut(|data| data.insert_temp(id, number));
    }
    if response.dragged() || response.drag_stopped() {
        let number: Option<u64> = ui.data(|data| data.get_temp(id));
        // The widget tells two drags of one frame apart.
        return number.map_or(Gesture::Single, |n| Gesture::Drag(n ^ response.id.value()));
    }
    Gesture::Single
}

/// What is wished for, in so many letters at most.
fn device_name(wish: &DeviceWish, most: usize) -> String {
    let name = wish.device.as_deref().unwrap_or(USUAL_DEVICE);
    crate::report::svg::shortened(name, most)
}

/// The devices to choose from, beside the usual one: another than `now` that is chosen, or `usual`.
fn device_wish(
    ui: &mut Ui,
    hosts: Option<&[HostInfo]>,
    now: &DeviceWish,
    usual: DeviceWish,
) -> Option<DeviceWish> {
    let mut wanted = None;
    let is_usual = now.device.is_none();
    if ui.selectable_label(is_usual, USUAL_DEVICE).clicked() {
        wanted = Some(usual);
    }
    for host in hosts.into_iter().flatten() {
        for device in host.devices.iter().flatten() {
            let is_it = now.device.as_deref() == Some(&device.id);
            let text = format!("{}: {}", host.host, device.name);
            if ui.selectable_label(is_it, text).clicked() {
                wanted = Some(DeviceWish {
                    host: Some(host.host.clone()),
                    device: Some(device.id.clone()),
                    ..now.clone()
                });
            }
        }
    }
    wanted
}

/// A field of text that keeps what is typed until Enter, or until it is left; then gives it, if it is another.
pub(super) fn text_field(
    ui: &mut Ui,
    id: Id,
    label: &str,
    now: &str,
    width: f32,
) -> Option<String> {
    let kept: Option<String> = ui.data(|data| data.get_temp(id));
    let mut text = kept.unwrap_or_else(|| now.to_owned());
    let edit = eframe::egui::TextEdit::singleline(&mut text)
        .id(id)
        .desired_width(width);
    let response = ui.add(edit).accessible_name(label);
    if response.has_focus() {
        ui.data_mut(|data| data.insert_temp(id, text));
        return None;
    }
    ui.data_mut(|data| data.remove::<String>(id));
    (response.lost_focus() && text != now).then_some(text)
}
