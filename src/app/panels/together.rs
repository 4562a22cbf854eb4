//! What sounds now, as intervals with their beats; where partials fall; every pair of the set.

use eframe::egui::{Grid, RichText, Ui};

use super::{View, matrix, spectrum};
use crate::app::ask::Ask;
use crate::app::palette::Palette;
use crate::index::PourIndex;
use crate::plan::together::{Pair, pair};
use crate::report::words;
use crate::units::Interval;

/// Pairs that are listed at most.
const MOST_PAIRS: usize = 6;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ui.heading("Sounding now");
    let sounding = view.sounding();
    if sounding.is_empty() {
        ui.label(RichText::new("Blow two bottles to see their interval.").color(palette.weak));
    } else {
        let notes: Vec<String> = sounding
            .iter()
            .map(|&i| view.derived.bottles[i].note.to_string())
            .collect();
        ui.label(notes.join("  "));
    }
    pairs(ui, view, &sounding, &palette);
    ui.add_space(8.0);
    spectrum::show(ui, view, &sounding, &palette);
    ui.add_space(8.0);
    ui.heading("Every pair");
    matrix::show(ui, view, &palette, asks);
}

fn pairs(ui: &mut Ui, view: &View<'_>, sounding: &[PourIndex], palette: &Palette) {
    if sounding.len() < 2 {
        return;
    }
    Grid::new("pairs")
        .num_columns(4)
        .striped(true)
        .show(ui, |ui| {
            for name in ["notes", "interval", "beside the pure one", "beats"] {
                ui.label(RichText::new(name).color(palette.weak));
            }
            ui.end_row();
            let mut count = 0;
            for (place, &low) in sounding.iter().enumerate() {
                for &high in &sounding[place + 1..] {
                    if count == MOST_PAIRS {
                        return;
                    }
                    if let Some(pair) = pair_of(view, low, high) {
                        row(ui, &pair, palette);
                        count += 1;
                    }
                }
            }
        });
}

/// Two bottles as they sound together.
pub(super) fn pair_of(view: &View<'_>, low: PourIndex, high: PourIndex) -> Option<Pair> {
    let (low, high) = (&view.derived.bottles[low], &view.derived.bottles[high]);
    Some(pair(&low.sounding()?, &high.sounding()?))
}

fn row(ui: &mut Ui, pair: &Pair, palette: &Palette) {
    let interval = &pair.interval;
    ui.label(format!("{} {}", pair.a_note, pair.b_note));
    let size = Interval::from_cents(interval.interval_cents);
    ui.label(words::interval(size))
        .on_hover_text(format!("{:.0} cents", interval.interval_cents));
    ui.colored_label(
        palette.cents(interval.off_just_cents),
        format!("{} {:+.1} cents", interval.just, interval.off_just_cents),
    );
    ui.label(beats(pair));
    ui.end_row();
}

/// Beats in words.
pub(super) fn beats(pair: &Pair) -> String {
    match pair.beats {
        Some(beats) if beats.most_per_s > beats.least_per_s => {
            format!(
                "{:.1} to {:.1} a second",
                beats.least_per_s, beats.most_per_s
            )
        }
        Some(beats) => format!("{:.1} a second", beats.beats_per_s),
        None => "none".to_owned(),
    }
}

/// What sounds, in a line: every note, and the interval of the outer two with its beats.
pub(super) fn line(view: &View<'_>, sounding: &[PourIndex]) -> Option<String> {
    let (&low, &high) = (sounding.first()?, sounding.last()?);
    if low == high {
        return None;
    }
    let pair = pair_of(view, low, high)?;
    let notes = sounding
        .iter()
        .map(|&i| view.derived.bottles[i].note.plain().to_string());
    let notes = notes.collect::<Vec<_>>().join(" ");
    let interval = Interval::from_cents(pair.interval.interval_cents);
    let beats = match pair.beats {
        Some(_) => format!(", beats {}", beats(&pair)),
        None => String::new(),
    };
    Some(format!("{notes}: {}{beats}", words::interval(interval)))
}
