//! What sounds now, as intervals with their beats; where partials fall; every pair of the set.

use eframe::egui::{Label, RichText, Ui};

use super::{View, matrix, spectrum};
use crate::app::ask::Ask;
use crate::app::palette::Palette;
use crate::index::PourIndex;
use crate::plan::together::{Pair, pair};
use crate::report::words;
use crate::units::Interval;

/// Pairs that are listed at most.
const MOST_PAIRS: usize = 4;
/// Height of what is said of them, points: the notes, two lines a pair, and how many are left out.
const NOW: f32 = 205.0;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    ui.heading("Sounding now");
    let sounding = view.sounding();
    // Its place is kept free: a matrix that is pressed must not move away from under the pointer.
    ui.vertical(|ui| {
        ui.set_min_height(NOW);
        ui.spacing_mut().item_spacing.y = 2.0;
        if sounding.is_empty() {
            ui.label(RichText::new("Blow two bottles to see their interval.").color(palette.weak));
        } else {
            let notes: Vec<String> = sounding
                .iter()
                .map(|&i| view.derived.bottles[i].note.to_string())
                .collect();
            ui.add(Label::new(notes.join("  ")).truncate());
        }
        pairs(ui, view, &sounding, &palette);
    });
    ui.add_space(8.0);
    spectrum::show(ui, view, &sounding, &palette);
    ui.add_space(8.0);
    ui.heading("Every pair");
    matrix::show(ui, view, &palette, asks);
}

fn pairs(ui: &mut Ui, view: &View<'_>, sounding: &[PourIndex], palette: &Palette) {
    let mut left_out = 0;
    let mut shown = 0;
    for (place, &low) in sounding.iter().enumerate() {
        for &high in &sounding[place + 1..] {
            match pair_of(view, low, high) {
                Some(pair) if shown < MOST_PAIRS => {
                    row(ui, &pair, palette);
                    shown += 1;
                }
                Some(_) => left_out += 1,
                None => {}
            }
        }
    }
    if left_out > 0 {
        ui.weak(format!("and {left_out} more"));
    }
}

/// Two bottles as they sound together.
pub(super) fn pair_of(view: &View<'_>, low: PourIndex, high: PourIndex) -> Option<Pair> {
    let (low, high) = (&view.derived.bottles[low], &view.derived.bottles[high]);
    Some(pair(&low.sounding()?, &high.sounding()?))
}

fn row(ui: &mut Ui, pair: &Pair, palette: &Palette) {
    let interval = &pair.interval;
    let size = Interval::from_cents(interval.interval_cents);
    let text = format!("{} {}: {}", pair.a_note, pair.b_note, words::interval(size));
    ui.add(Label::new(RichText::new(text).strong()).truncate())
        .on_hover_text(format!("{:.0} cents", interval.interval_cents));
    let text = format!(
        "{:+.1} cents beside {}, beats {}",
        interval.off_just_cents,
        interval.just,
        beats(pair)
    );
    let colour = palette.cents(interval.off_just_cents);
    ui.add(Label::new(RichText::new(text).color(colour)).truncate());
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
