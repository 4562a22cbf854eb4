//! The room, the filling and the lips: what moves every bottle at once.

use eframe::egui::{ComboBox, Id, Response, Slider, Ui};

use super::{View, gesture, text_field};
use crate::app::ask::{Ask, EditAsk, Gesture, RoomAsk};
use crate::app::palette::Palette;
use crate::app::state::Drift;
use crate::physics::recipe::NamedGas;
use crate::report::words::hazards;
use crate::set::change::{Change, Key};
use crate::units::{Frequency, Pressure, Temperature};

/// Liquids that are offered; any other can be typed.
const LIQUIDS: [&str; 9] = [
    "water",
    "sea water",
    "brine",
    "salt 10%",
    "sugar 30%",
    "glycerol 50%",
    "vegetable oil",
    "dish soap",
    "ethanol 40%",
];
/// How far its vapour fills the gas.
const HEADSPACES: [&str; 3] = ["room", "dry", "saturated"];

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    ui.heading("Room");
    drift(ui, view, asks);
    ui.add_space(6.0);
    let conditions = &view.document.model.conditions;
    let room = &conditions.room;
    let mut slide = |ui: &mut Ui, slider: &Slid<'_>, ask: &dyn Fn(f64) -> RoomAsk| {
        if let Some((value, response)) = slider.show(ui) {
            asks.push(EditAsk::Room(ask(value), gesture(ui, &response)).into());
        }
    };
    let slid = |name, value, range, unit| Slid {
        name,
        value,
        range,
        unit,
    };
    slide(
        ui,
        &slid("temperature", room.temperature.c(), (-10.0, 60.0), " °C"),
        &|v| RoomAsk::Condition(Change::Temperature(Temperature::from_c(v))),
    );
    slide(
        ui,
        &slid("humidity", 100.0 * room.humidity, (0.0, 100.0), " %"),
        &|v| RoomAsk::Condition(Change::Humidity(v / 100.0)),
    );
    slide(
        ui,
        &slid("pressure", room.pressure.kpa(), (50.0, 120.0), " kPa"),
        &|v| RoomAsk::Condition(Change::Pressure(Pressure::from_kpa(v))),
    );
    slide(
        ui,
        &slid(
            "mouth left open",
            100.0 * conditions.lip_open,
            (5.0, 100.0),
            " %",
        ),
        &|v| RoomAsk::Condition(Change::LipOpen(v / 100.0)),
    );
    slide(
        ui,
        &slid(
            "breath in the neck",
            100.0 * conditions.neck_breath,
            (0.0, 100.0),
            " %",
        ),
        &|v| RoomAsk::Breath(v / 100.0),
    );
    slide(
        ui,
        &slid(
            "A4",
            view.document.model.tuning.a4().hz(),
            (380.0, 500.0),
            " Hz",
        ),
        &|v| RoomAsk::A4(Frequency::from_hz(v)),
    );
    ui.add_space(6.0);
    let mut typed = |key, name| {
        let ask = RoomAsk::Typed(key, name);
        asks.push(EditAsk::Room(ask, Gesture::Single).into());
    };
    let gases = NamedGas::ALL.map(NamedGas::name);
    if let Some(name) = choice(ui, "gas", &conditions.gas.to_string(), &gases) {
        typed(Key::Gas, name);
    }
    if let Some(name) = choice(ui, "liquid", &conditions.liquid.to_string(), &LIQUIDS) {
        typed(Key::Liquid, name);
    }
    if let Some(name) = choice(
        ui,
        "its vapour",
        &conditions.headspace.to_string(),
        &HEADSPACES,
    ) {
        typed(Key::Headspace, name);
    }
    let palette = Palette::of(ui.visuals());
    for hazard in hazards(conditions) {
        ui.add_space(6.0);
        super::pieces::caution(ui, hazard, &palette);
    }
}

fn drift(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    for (drift, text, hint) in [
        (
            Drift::AsPoured,
            "Fills as poured",
            "What is in the bottles stays there, and the pitch drifts",
        ),
        (
            Drift::PourAgain,
            "Pour again to stay in tune",
            "Every bottle is poured anew for the room as it is",
        ),
    ] {
        let is_it = view.state.drift == drift;
        if ui.radio(is_it, text).on_hover_text(hint).clicked() && !is_it {
            asks.push(EditAsk::Drift(drift).into());
        }
    }
}

/// A slider with its name and range.
struct Slid<'a> {
    name: &'a str,
    value: f64,
    range: (f64, f64),
    unit: &'a str,
}

impl Slid<'_> {
    /// The new value and the widget, if it was moved.
    fn show(&self, ui: &mut Ui) -> Option<(f64, Response)> {
        let mut value = self.value;
        let slider = Slider::new(&mut value, self.range.0..=self.range.1)
            .suffix(self.unit)
            .max_decimals(1)
            .text(self.name);
        let response = ui.add(slider);
        response.changed().then_some((value, response))
    }
}

/// A name from a list, or any other that is typed.
fn choice(ui: &mut Ui, label: &str, now: &str, offered: &[&str]) -> Option<String> {
    let mut chosen = None;
    ui.horizontal(|ui| {
        chosen = text_field(ui, Id::unique(("typed", label)), label, now, 120.0);
        let list = ComboBox::from_id_salt(("offered", label))
            .width(20.0)
            .selected_text("");
        let offer = list.show_ui(ui, |ui| {
            for name in offered {
                if ui.selectable_label(*name == now, *name).clicked() {
                    chosen = Some((*name).to_owned());
                }
            }
        });
        offer.response.accessible_name(format!("Choose {label}"));
        ui.label(label);
    });
    chosen
}
