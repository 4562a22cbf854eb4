//! The line at the foot: where the sound goes, how it keeps up, how loud it is.

use eframe::egui::{Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};

use super::View;
use super::tight::Tight;
use crate::app::ask::{Ask, SoundAsk};
use crate::app::palette::Palette;
use crate::live::{DeskState, OutputState};
use crate::tuning::NoteName;

/// The part of the time that the sound takes from which the machine counts as busy.
const BUSY: f32 = 0.7;
/// The lowest level of the meter, dB.
const LOWEST_DB: f32 = -60.0;
/// The ceiling that is always on, dBFS: what the engine is built with.
pub(super) const CEILING_DB: f32 = -6.0;

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let desk = view.desk;
    let tight = Tight::of(ui.ctx()).any();
    // Where there is little room, no more than a line of it.
    let (device_letters, reason_letters) = if tight { (18, 24) } else { (28, 60) };
    ui.horizontal_wrapped(|ui| {
        match &desk.output {
            OutputState::Opening => {
                ui.label("opening the sound card");
            }
            OutputState::Playing {
                device,
                latency_ms,
                grown_from,
                buffer_frames,
                rate_hz,
                ..
            } => {
                let device = crate::report::svg::shortened(device, device_letters);
                ui.label(format!("{device}, {latency_ms:.0} ms delay"));
                if let Some(from) = grown_from {
                    ui.label("made longer, since the sound broke up")
                        .on_hover_text(longer(*from, *buffer_frames, *rate_hz));
                }
            }
            OutputState::Silent { because } => {
                let text = format!(
                    "no sound: {}",
                    crate::report::svg::shortened(because, reason_letters)
                );
                ui.colored_label(palette.wrong, text).on_hover_text(because);
                if ui
                    .small_button("Retry")
                    .on_hover_text("Try the sound card once more")
                    .clicked()
                {
                    asks.push(SoundAsk::Retry.into());
                }
            }
        }
        // Without sound there is no level to show.
        if matches!(desk.output, OutputState::Playing { .. }) {
            ui.separator();
            meter(ui, view, &palette);
        }
        trouble(ui, desk, &palette);
        if !tight {
            ui.separator();
            midi(ui, desk);
        }
        if let Some(key) = desk.meters.missing_key {
            let name = NoteName::from_midi(key);
            ui.colored_label(palette.wrong, format!("no bottle for {name}"));
        }
    });
}

fn midi(ui: &mut Ui, desk: &DeskState) {
    let ports = desk.midi.iter().filter(|port| port.connected).count();
    match (&desk.midi_because, ports) {
        (Some(because), _) => ui.label("no MIDI").on_hover_text(because),
        (None, 1) => ui.label("1 MIDI input"),
        (None, ports) => ui.label(format!("{ports} MIDI inputs")),
    };
}

/// That the buffer has grown, and what that costs.
pub(super) fn longer(from: u32, to: u32, rate_hz: u32) -> String {
    let ms = |frames: u32| 1000.0 * f64::from(frames) / f64::from(rate_hz.max(1));
    format!(
        "The sound broke up with {from} frames at a time ({:.0} ms), so it is {to} now ({:.0} ms).",
        ms(from),
        ms(to)
    )
}

/// What of the sound was lost; nothing where nothing was.
fn trouble(ui: &mut Ui, desk: &DeskState, palette: &Palette) {
    let plays = matches!(desk.output, OutputState::Playing { .. });
    if plays && desk.load > BUSY {
        let text = format!("the machine is busy: {:.0} %", 100.0 * desk.load);
        ui.colored_label(palette.wrong, text);
    }
    if desk.dropouts > 0 {
        let hint =
            "The sound was interrupted: choose a longer delay under Sound, or close other programs";
        let text = match desk.dropouts {
            1 => "interrupted once".to_owned(),
            times => format!("interrupted {times} times"),
        };
        ui.colored_label(palette.wrong, text).on_hover_text(hint);
    }
    if desk.queue_full > 0 {
        let text = format!("{} keys came too fast", desk.queue_full);
        ui.colored_label(palette.wrong, text);
    }
}

/// The level of both sides under the ceiling.
pub(super) fn meter(ui: &mut Ui, view: &View<'_>, palette: &Palette) {
    let meters = &view.desk.meters;
    let db = |peak: f32| 20.0 * peak.max(1e-6).log10();
    let (left, right) = (db(meters.peak_left), db(meters.peak_right));
    let (rect, response) = ui.allocate_exact_size(vec2(110.0, 14.0), Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(
            Role::Meter,
            true,
            format!("Level {:.0} decibels", left.max(right)),
        )
    });
    let along =
        |db: f32| rect.left() + rect.width() * ((db - LOWEST_DB) / -LOWEST_DB).clamp(0.0, 1.0);
    let painter = ui.painter();
    painter.rect_filled(rect, 2.0, palette.glass);
    for (db, top) in [(left, rect.top()), (right, rect.top() + 7.0)] {
        let bar = Rect::from_min_max(pos2(rect.left(), top + 1.0), pos2(along(db), top + 6.0));
        painter.rect_filled(bar, 1.0, palette.good);
    }
    let at = along(CEILING_DB);
    painter.vline(at, rect.y_range(), Stroke::new(2.0, palette.off));
    painter.rect_stroke(
        rect,
        2.0,
        Stroke::new(1.0, palette.weak),
        StrokeKind::Inside,
    );
    let limited = meters.limited_db;
    response.on_hover_text(format!(
        "{:.0} and {:.0} dBFS; the ceiling is at {CEILING_DB:.0} dBFS and took {limited:.1} dB",
        left, right
    ));
    if limited > 0.1 {
        ui.colored_label(palette.off, "limited")
            .on_hover_text("The ceiling holds the level back: play softer or turn down");
    }
}
