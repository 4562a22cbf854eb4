//! The piece that plays along, in a bar of its own: start, place, tempo, loop, beat.

use eframe::egui::{Button, Checkbox, DragValue, Label, ProgressBar, RichText, Slider, Ui, vec2};

use super::practice::go_or_stop;
use super::tight::Tight;
use super::{keep_together, regions};
use crate::app::ask::Ask;
use crate::app::palette::Palette;
use crate::app::practice::{PracticeAsk, Practising, RunAsk};
use crate::plan::practice::{MOST_COUNT_IN, TEMPOS_PCT};

/// Width of the words that say where it is, points.
const WORDS: f32 = 190.0;
/// Room for the tempo with its word, points.
const TEMPO: f32 = 250.0;

/// Draws it.
pub(in crate::app) fn show(ui: &mut Ui, practice: &Practising, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let mut wanted = Vec::new();
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().slider_width = 110.0;
        run(ui, practice, &palette, &mut wanted);
        ui.separator();
        if Tight::of(ui.ctx()).any() {
            now(ui, practice);
            ui.menu_button("Tempo and loop", |ui| {
                go_to(ui, practice, &mut wanted);
                tempo(ui, practice, &mut wanted);
                ui.horizontal(|ui| looped(ui, practice, &mut wanted));
            });
            return;
        }
        now(ui, practice);
        along(ui, practice);
        go_to(ui, practice, &mut wanted);
        ui.separator();
        tempo(ui, practice, &mut wanted);
        ui.separator();
        looped(ui, practice, &mut wanted);
    });
    asks.extend(wanted.into_iter().map(Ask::Practice));
}

fn run(ui: &mut Ui, practice: &Practising, palette: &Palette, wanted: &mut Vec<PracticeAsk>) {
    let runs = practice.runs();
    let text = if runs { "Stop" } else { "Start" };
    let text = RichText::new(text).strong().color(palette.ground);
    let button = Button::new(text)
        .fill(palette.good)
        .min_size(vec2(64.0, 28.0));
    let hint = "Space, or Ctrl+Space while something has the focus";
    let response = ui.add(button).on_hover_text(hint);
    regions::anchor(ui, regions::Region::Transport, response.id);
    if response.clicked() {
        wanted.push(go_or_stop(practice));
    }
    if ui
        .button("Rewind")
        .on_hover_text("Back to the count-in")
        .clicked()
    {
        wanted.push(RunAsk::Rewind.into());
    }
}

/// Where it is, in words. As wide as the widest of them, so that nothing behind them moves.
fn now(ui: &mut Ui, practice: &Practising) {
    let place = practice.place();
    let bars = practice.rehearsal.bar_count();
    let looped = practice.rehearsal.run().looped;
    let round = match looped {
        Some(_) => format!(", round {}", place.round + 1),
        None => String::new(),
    };
    let text = if place.counting_in {
        format!("counting in, to bar {}", place.bar)
    } else if place.ended {
        format!("at the end of {bars} bars")
    } else {
        format!("bar {}.{} of {bars}{round}", place.bar, place.beat.floor())
    };
    ui.add_sized(
        [WORDS, 20.0],
        Label::new(RichText::new(text).strong().size(16.0)),
    );
}

/// The bars that are practised.
fn bars(practice: &Practising) -> (u64, u64) {
    let all = (1, practice.rehearsal.bar_count());
    practice.rehearsal.run().looped.unwrap_or(all)
}

/// How much of it is over, as a bar.
fn along(ui: &mut Ui, practice: &Practising) {
    let place = practice.place();
    let (first, last) = bars(practice);
    let count = (last + 1 - first) as f32;
    let over = if place.counting_in {
        0
    } else {
        place.bar.saturating_sub(first)
    };
    let share = if place.ended {
        1.0
    } else {
        over as f32 / count
    };
    ui.add(
        ProgressBar::new(share)
            .desired_height(6.0)
            .desired_width(90.0),
    );
}

fn go_to(ui: &mut Ui, practice: &Practising, wanted: &mut Vec<PracticeAsk>) {
    let (first, last) = bars(practice);
    let mut bar = practice.place().bar.clamp(first, last);
    if last > first {
        let label = ui.label("go to bar");
        let field = DragValue::new(&mut bar).range(first..=last);
        if ui.add(field).labelled_by(label.id).changed() {
            wanted.push(RunAsk::Seek(bar).into());
        }
    }
}

fn tempo(ui: &mut Ui, practice: &Practising, wanted: &mut Vec<PracticeAsk>) {
    let run = practice.rehearsal.run();
    let mut tempo_pct = (100.0 * run.tempo()).round();
    keep_together(ui, TEMPO);
    let label = ui.label("tempo");
    let slider = Slider::new(&mut tempo_pct, TEMPOS_PCT)
        .step_by(1.0)
        .suffix(" %");
    if ui.add(slider).labelled_by(label.id).changed() {
        wanted.push(RunAsk::Tempo(tempo_pct).into());
    }
    let mut click = run.click;
    if ui.checkbox(&mut click, "click on every beat").changed() {
        wanted.push(RunAsk::Click(click).into());
    }
    let mut count_in = run.count_in_bars;
    let label = ui.label("bars counted in");
    let field = DragValue::new(&mut count_in).range(0..=MOST_COUNT_IN);
    if ui.add(field).labelled_by(label.id).changed() {
        wanted.push(RunAsk::CountIn(count_in).into());
    }
}

fn looped(ui: &mut Ui, practice: &Practising, wanted: &mut Vec<PracticeAsk>) {
    let run = practice.rehearsal.run();
    let bars = practice.rehearsal.bar_count();
    let mut is_looped = run.looped.is_some();
    let (mut first, mut last) = run.looped.unwrap_or((1, bars));
    let mut changed = ui.add(Checkbox::new(&mut is_looped, "loop")).changed();
    ui.add_enabled_ui(is_looped, |ui| {
        let from = DragValue::new(&mut first).range(1..=last).prefix("bar ");
        changed |= ui.add(from).accessible_name("Loop from bar").changed();
        let to = DragValue::new(&mut last).range(first..=bars).prefix("to ");
        changed |= ui.add(to).accessible_name("Loop to bar").changed();
    });
    if changed {
        wanted.push(RunAsk::Loop(is_looped.then_some((first, last))).into());
    }
}
