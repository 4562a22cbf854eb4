//! The sound: card, rate, buffer, level, ceiling, MIDI inputs.

use eframe::egui::{ComboBox, RichText, Slider, Ui};

use super::status::CEILING_DB;
use super::{View, device_name, device_wish, status};
use crate::app::ask::{Ask, PlayAsk, SoundAsk};
use crate::app::palette::Palette;
use crate::app::play_asks::LEVELS_DB;
use crate::live::{DeviceWish, OutputState};
use crate::tuning::NoteName;

/// Rates that are offered, Hz.
const RATES_HZ: [u32; 4] = [44_100, 48_000, 88_200, 96_000];
/// Callbacks that are offered, frames.
const BUFFERS: [u32; 6] = [64, 128, 256, 512, 1024, 2048];
/// Said where the level is set.
const LOUD: &str =
    "Begin softly with headphones. The ceiling is always on, and your ears need rest all the same.";

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ui.heading("Sound");
    state(ui, view, &palette, asks);
    ui.add_space(6.0);
    output(ui, view, asks);
    ui.add_space(6.0);
    level(ui, view, &palette, asks);
    ui.add_space(6.0);
    ui.label(RichText::new("MIDI inputs").strong());
    if let Some(because) = &view.desk.midi_because {
        ui.colored_label(palette.off, because);
    } else if view.desk.midi.is_empty() {
        ui.label("none; one that is plugged in is taken by itself");
    }
    for port in &view.desk.midi {
        let text = if port.connected {
            port.name.clone()
        } else {
            format!("{} (gone)", port.name)
        };
        let colour = if port.connected {
            palette.text
        } else {
            palette.off
        };
        ui.colored_label(colour, text);
    }
    let meters = &view.desk.meters;
    if let Some(key) = meters.missing_key {
        let text = format!(
            "no bottle for {} ({} keys so far)",
            NoteName::from_midi(key),
            meters.missing_count
        );
        ui.colored_label(palette.off, text);
    }
}

fn state(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    match &view.desk.output {
        OutputState::Opening => {
            ui.label("opening the sound card");
        }
        OutputState::Playing {
            host,
            device,
            rate_hz,
            buffer_frames,
            grown_from,
            latency_ms,
        } => {
            ui.label(format!("{device} ({host})"));
            ui.label(format!("{latency_ms:.0} ms from key to ear"));
            if let Some(from) = grown_from {
                ui.label(status::longer(*from, *buffer_frames, *rate_hz));
            }
            ui.collapsing("Details", |ui| {
                ui.label(format!("{rate_hz} Hz, {buffer_frames} frames at a time"));
                ui.label(format!(
                    "load {:.0} %, dropouts {}, sounding {}",
                    100.0 * view.desk.load,
                    view.desk.dropouts,
                    view.desk.meters.sounding
                ));
            });
        }
        OutputState::Silent { because } => {
            ui.colored_label(palette.wrong, format!("no sound: {because}"));
            ui.label("Everything else works: levels, pitches, the file.");
            ui.horizontal(|ui| {
                if ui.button("Retry").clicked() {
                    asks.push(SoundAsk::Retry.into());
                }
                if ui.button("Go on with the usual one").clicked() {
                    asks.push(SoundAsk::Output(DeviceWish::default()).into());
                }
            });
        }
    }
}

fn output(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let now = view.output;
    let mut wanted = None;
    ComboBox::from_label("card")
        .selected_text(device_name(now, 26))
        .show_ui(ui, |ui| {
            let usual = DeviceWish {
                host: None,
                device: None,
                ..now.clone()
            };
            wanted = device_wish(ui, view.state.outputs.as_deref(), now, usual);
        });
    if view.state.looking {
        ui.label("looking for sound cards");
    } else if ui
        .button("Look for cards")
        .on_hover_text("List what can be chosen above")
        .clicked()
    {
        asks.push(SoundAsk::LookForOutputs.into());
    }
    if let Some(rate_hz) = number(ui, "rate, Hz", now.rate_hz, &RATES_HZ) {
        wanted = Some(DeviceWish {
            rate_hz,
            ..now.clone()
        });
    }
    if let Some(buffer_frames) = number(ui, "delay, in frames", now.buffer_frames, &BUFFERS) {
        wanted = Some(DeviceWish {
            buffer_frames,
            ..now.clone()
        });
    }
    asks.extend(wanted.map(|wish| SoundAsk::Output(wish).into()));
}

/// One of some numbers, or none: the program chooses.
fn number(ui: &mut Ui, label: &str, now: Option<u32>, offered: &[u32]) -> Option<Option<u32>> {
    let text = |number: Option<u32>| number.map_or("as it comes".to_owned(), |n| n.to_string());
    let mut chosen = None;
    ComboBox::from_label(label)
        .selected_text(text(now))
        .show_ui(ui, |ui| {
            for number in std::iter::once(None).chain(offered.iter().map(|n| Some(*n))) {
                if ui.selectable_label(now == number, text(number)).clicked() && now != number {
                    chosen = Some(number);
                }
            }
        });
    chosen
}

fn level(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let mut db = view.state.level_db;
    let slider = Slider::new(&mut db, LEVELS_DB.0..=LEVELS_DB.1)
        .suffix(" dB")
        .max_decimals(1)
        .text("volume");
    if ui.add(slider).changed() {
        asks.push(SoundAsk::Level(db).into());
    }
    let mut wet = f64::from(view.state.wet) * 100.0;
    let slider = Slider::new(&mut wet, 0.0..=100.0)
        .suffix(" %")
        .max_decimals(0)
        .text("room echo");
    let response = ui
        .add_enabled(!view.state.dry, slider)
        .on_disabled_hover_text("The set was opened without a room: there is no echo");
    if response.changed() {
        asks.push(SoundAsk::Wet(wet as f32 / 100.0).into());
    }
    ui.horizontal(|ui| status::meter(ui, view, palette));
    ui.label(format!(
        "ceiling {CEILING_DB:.0} dBFS, held back {:.1} dB",
        view.desk.meters.limited_db
    ));
    ui.label(RichText::new(LOUD).color(palette.weak));
    if ui
        .button("Silence")
        .on_hover_text("Everything is silent in 5 ms")
        .clicked()
    {
        asks.push(PlayAsk::Silence.into());
    }
}
