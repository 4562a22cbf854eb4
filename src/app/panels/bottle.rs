//! The selected bottle: its note, what is in it, what it gives and how sure that is.

use eframe::egui::{DragValue, Grid, Id, RichText, Ui};

use super::pieces::{caution, main_button};
use super::{View, gesture, text_field};
use crate::app::ask::{Ask, BoardAsk, EditAsk, PlayAsk};
use crate::app::derived::{More, Pitch, Shown};
use crate::app::palette::{IN_TUNE_CENTS, Palette};
use crate::index::PourIndex;
use crate::number::signed;
use crate::report::words::in_tune;
use crate::sounding::Setting;
use crate::units::Interval;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let chosen = view
        .state
        .selected
        .filter(|index| index.place() < view.derived.bottles.len());
    let Some(index) = chosen else {
        ui.label("Press a bottle to see it here.");
        return;
    };
    let shown = &view.derived.bottles[index];
    let palette = Palette::of(ui.visuals());
    first_card(ui, index, shown, asks);
    Grid::new("bottle")
        .num_columns(2)
        .spacing([12.0, 6.0])
        .show(ui, |ui| edited(ui, index, shown, asks));
    buttons(ui, view, index, shown, asks);
    for words in &shown.cautions {
        ui.add_space(4.0);
        caution(ui, words, &palette);
    }
    ui.add_space(4.0);
    ui.collapsing("Details", |ui| {
        Grid::new("details of the bottle")
            .num_columns(2)
            .spacing([12.0, 6.0])
            .show(ui, |ui| {
                if let Ok(pitch) = &shown.pitch {
                    given(ui, shown, pitch, &palette);
                }
                if let Some(more) = &shown.more {
                    details(ui, shown, more);
                }
            });
        let remark = &view.document.fixed.kinds[view.document.model.pours[index].kind].remark;
        if !remark.is_empty() {
            ui.label(RichText::new(remark).italics().color(palette.weak));
        }
    });
}

/// What one wants to know of it at a glance.
fn first_card(ui: &mut Ui, index: PourIndex, shown: &Shown, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ui.horizontal(|ui| {
        let note = RichText::new(shown.note.plain().to_string()).strong();
        ui.label(note.size(44.0));
        ui.vertical(|ui| {
            ui.add_space(6.0);
            match &shown.pitch {
                Ok(pitch) => {
                    let within = Interval::from_cents(IN_TUNE_CENTS);
                    let text = in_tune(Interval::from_cents(pitch.cents), within);
                    let colour = palette.cents(pitch.cents);
                    ui.label(RichText::new(text).strong().size(18.0).color(colour));
                }
                Err(because) => {
                    ui.colored_label(palette.wrong, format!("silent: {because}"));
                }
            }
            ui.label(RichText::new(format!("{}, {}", shown.name, shown.way)).color(palette.weak));
        });
    });
    let now = shown.knob.now;
    let mass = shown.more.as_ref().filter(|more| more.mass_g > 0.0);
    let mass = mass.map_or(String::new(), |more| format!(", {:.0} g", more.mass_g));
    let text = format!("{:.0} {}{mass}", now.value(), now.unit());
    let text = match now {
        Setting::Gauge(gauge) => format!("{:.2} bar", gauge.bar()),
        Setting::Fill(_) | Setting::Travel(_) | Setting::Lift(_) => text,
    };
    ui.label(RichText::new(text).size(20.0));
    let (text, hint) = match now {
        Setting::Fill(_) => (
            "Pour to the note",
            "As much as the note needs, in the room as it is",
        ),
        _ => (
            "Set to the note",
            "Where the note needs it, in the room as it is",
        ),
    };
    if main_button(ui, text, &palette)
        .on_hover_text(hint)
        .clicked()
    {
        asks.push(EditAsk::Tune(index).into());
    }
    ui.add_space(6.0);
}

fn row(ui: &mut Ui, name: &str, value: impl Into<String>) {
    ui.label(name);
    ui.label(value.into());
    ui.end_row();
}

fn edited(ui: &mut Ui, index: PourIndex, shown: &Shown, asks: &mut Vec<Ask>) {
    ui.label("note");
    let id = Id::unique(("note of", index));
    if let Some(text) = text_field(ui, id, "Note", &shown.note.to_string(), 70.0) {
        asks.push(EditAsk::Note(index, text).into());
    }
    ui.end_row();
    let (now, range) = (shown.knob.now, shown.knob.range);
    ui.label(now.name());
    let mut value = now.value();
    let (speed, unit) = match now {
        Setting::Fill(_) => (0.2, "millilitres"),
        Setting::Gauge(_) => (0.005, "bar"),
        Setting::Travel(_) | Setting::Lift(_) => (0.1, "millimetres"),
    };
    let field = DragValue::new(&mut value)
        .speed(speed)
        .range(range.0..=range.1)
        .max_decimals(2)
        .suffix(format!(" {}", now.unit()));
    let name = now.name();
    let label = format!("{}{}, {unit}", name[..1].to_uppercase(), &name[1..]);
    let response = ui.add(field).accessible_name(label);
    if response.changed() {
        asks.push(EditAsk::Set(index, value, gesture(ui, &response)).into());
    }
    ui.end_row();
}

fn given(ui: &mut Ui, shown: &Shown, pitch: &Pitch, palette: &Palette) {
    row(ui, "target", format!("{:.2} Hz", shown.target.hz()));
    row(ui, "sounds at", format!("{:.2} Hz", pitch.frequency.hz()));
    ui.label("out of tune by");
    let text = format!("{} cents", signed(pitch.cents, 1));
    ui.colored_label(palette.cents(pitch.cents), text)
        .on_hover_text("How far above its target");
    ui.end_row();
    if let Some(more) = &shown.more {
        ui.label("sure to");
        ui.label(format!("{} cents", more.sure)).on_hover_text(
            "How sure the model is of the pitch (95 %): what it may be off either way, or at most below and above",
        );
        ui.end_row();
    }
    row(ui, "rings long", format!("Q {:.0}", pitch.q));
}

fn details(ui: &mut Ui, shown: &Shown, more: &More) {
    if more.mass_g > 0.0 {
        row(ui, "weighs", format!("{:.1} g of liquid", more.mass_g));
    }
    let step = match shown.knob.now {
        Setting::Fill(_) => "per millilitre more",
        Setting::Gauge(_) => "per bar more",
        Setting::Travel(_) | Setting::Lift(_) => "per millimetre more",
    };
    row(ui, step, format!("{:+.1} cents", more.cents_per_unit));
    if let Some(cents) = more.cents_per_k {
        row(ui, "per °C warmer", format!("{cents:+.1} cents"));
    }
    row(ui, "least certain", more.doubt.clone());
    let modes: Vec<String> = more.modes_hz.iter().map(|hz| format!("{hz:.0}")).collect();
    row(ui, "also rings at", format!("{} Hz", modes.join(", ")));
}

fn buttons(ui: &mut Ui, view: &View<'_>, index: PourIndex, shown: &Shown, asks: &mut Vec<Ask>) {
    if ui
        .button("All to their notes")
        .on_hover_text("The same for every bottle")
        .clicked()
    {
        asks.push(EditAsk::TuneAll.into());
    }
    ui.horizontal_wrapped(|ui| {
        let mut drone = view.state.tone == Some(index);
        let hint = "A plain tone at the target, to compare with, until it is pressed again";
        if ui
            .toggle_value(&mut drone, "Tone at the target")
            .on_hover_text(hint)
            .changed()
        {
            asks.push(PlayAsk::Tone(drone.then_some(index)).into());
        }
        let note = shown.note.midi();
        let waits = view.state.wants_key == Some(note);
        let text = if waits {
            "Press a key…"
        } else {
            "Give it a key"
        };
        let hint = "The next key pressed on the computer keyboard plays this note from then on";
        if ui
            .selectable_label(waits, text)
            .on_hover_text(hint)
            .clicked()
        {
            asks.push(BoardAsk::WaitFor((!waits).then_some(note)).into());
        }
    });
}
