//! A piece that plays along: how it is run, whose bottles are whose, and how it went.

use eframe::egui::{Grid, Key, RichText, Ui};

use super::View;
use super::pouring::PARTS;
use crate::app::ask::{Ask, FileAsk};
use crate::app::palette::Palette;
use crate::app::practice::{Passed, PracticeAsk, Practising, RunAsk};
use crate::app::state::State;
use crate::index::{PlayerIndex, PourIndex};
use crate::plan::practice::BarTally;
use crate::tuning::NoteName;

/// Notes without a bottle that are listed at most.
const MOST_MISSING: usize = 8;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let mut wanted = Vec::new();
    ui.heading("Piece");
    match &view.state.practice {
        None => {
            ui.label("A piece plays along on these bottles; the ones you take are left to you.");
            let open = ui.button("Open a piece...");
            if open
                .on_hover_text("A MIDI file or MusicXML; or drop one here")
                .clicked()
            {
                wanted.push(PracticeAsk::Choose);
            }
        }
        Some(practice) => {
            let palette = Palette::of(ui.visuals());
            file(ui, practice, &palette, &mut wanted);
            ui.add_space(6.0);
            bottles(ui, view, practice, &mut wanted);
            ui.add_space(6.0);
            let print = ui.button("Print the parts").on_hover_text(PARTS);
            if print.clicked() {
                asks.push(FileAsk::PrintParts.into());
            }
            ui.add_space(8.0);
            went(ui, practice, &palette);
        }
    }
    asks.extend(wanted.into_iter().map(Ask::Practice));
}

/// The keys that hold in the whole window: the space bar where nothing has the focus, with Control everywhere.
pub(in crate::app) fn shortcuts(ui: &Ui, state: &State, asks: &mut Vec<Ask>) {
    let busy = state.leaving.is_some() || state.naming.is_some() || state.wants_key.is_some();
    let Some(practice) = &state.practice else {
        return;
    };
    if busy || ui.ctx().text_edit_focused() {
        return;
    }
    let free = ui.ctx().memory(|memory| memory.focused().is_none());
    let pressed = ui.input(|input| {
        input.key_pressed(Key::Space)
            && (free && input.modifiers.is_none() || input.modifiers.command)
    });
    if pressed {
        asks.push(go_or_stop(practice).into());
    }
}

/// What the button and the space bar ask for: to go on from where it is, or to stop.
pub(super) fn go_or_stop(practice: &Practising) -> PracticeAsk {
    if practice.runs() {
        PracticeAsk::Stop
    } else {
        PracticeAsk::Start
    }
}

fn file(ui: &mut Ui, practice: &Practising, palette: &Palette, wanted: &mut Vec<PracticeAsk>) {
    let name = practice
        .path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy();
    ui.label(RichText::new(name).strong())
        .on_hover_text(practice.path.display().to_string());
    ui.horizontal(|ui| {
        if ui.button("Another piece...").clicked() {
            wanted.push(PracticeAsk::Choose);
        }
        if ui.button("Close the piece").clicked() {
            wanted.push(PracticeAsk::Close);
        }
    });
    let missing = practice.rehearsal.missing();
    if missing.is_empty() {
        return;
    }
    let mut counts = std::collections::BTreeMap::new();
    for note in missing {
        *counts.entry(note.key).or_insert(0usize) += 1;
    }
    let few = counts.iter().take(MOST_MISSING);
    let few = few.map(|(key, count)| format!("{} ({count})", NoteName::from_midi(*key)));
    let more = if counts.len() > MOST_MISSING {
        ", ..."
    } else {
        ""
    };
    let text = format!("no bottle for {}{more}", few.collect::<Vec<_>>().join(", "));
    ui.colored_label(palette.off, text);
}

fn note_of(view: &View<'_>, pour: PourIndex) -> String {
    view.derived.bottles[pour].note.plain().to_string()
}

/// Who plays what.
fn bottles(ui: &mut Ui, view: &View<'_>, practice: &Practising, wanted: &mut Vec<PracticeAsk>) {
    ui.label(
        RichText::new("Left to you")
            .strong()
            .color(Palette::of(ui.visuals()).yours),
    );
    ui.horizontal_wrapped(|ui| {
        if ui
            .button("nothing")
            .on_hover_text("The piece plays every bottle")
            .clicked()
        {
            wanted.push(RunAsk::Player(None).into());
        }
        for (player, own) in PlayerIndex::each(&practice.players) {
            let notes: Vec<String> = own.iter().map(|&pour| note_of(view, pour)).collect();
            let mine = practice
                .pours
                .iter()
                .all(|p| practice.is_mine(*p) == own.contains(p));
            let text = format!("player {}: {}", player.number(), notes.join(" "));
            if ui.selectable_label(mine, text).clicked() {
                wanted.push(RunAsk::Player(Some(player)).into());
            }
        }
    });
    ui.horizontal_wrapped(|ui| {
        for &pour in view
            .derived
            .order
            .iter()
            .filter(|p| practice.pours.contains(p))
        {
            let mut mine = practice.is_mine(pour);
            let note = note_of(view, pour);
            let button = ui.checkbox(&mut mine, &note);
            let hint = format!("{note} is left to you, and the piece does not play it");
            if button.on_hover_text(hint).changed() {
                wanted.push(RunAsk::Mine(pour, mine).into());
            }
        }
    });
}

/// How the last pass went.
fn went(ui: &mut Ui, practice: &Practising, palette: &Palette) {
    ui.label(RichText::new("How it went").strong());
    let Some(passed) = &practice.passed else {
        let text = if practice.rehearsal.muted().contains(&true) {
            "Play along: after the pass, what was early, late, missed and wrong stands here."
        } else {
            "Take a bottle, and play it along with the piece."
        };
        ui.label(RichText::new(text).color(palette.weak));
        return;
    };
    ui.label(in_words(passed));
    Grid::new("tally")
        .num_columns(8)
        .min_col_width(22.0)
        .striped(true)
        .spacing([6.0, 2.0])
        .show(ui, |ui| {
            for name in [
                "bar", "notes", "in time", "early", "late", "missed", "wrong", "ms",
            ] {
                ui.label(RichText::new(name).small().color(palette.weak));
            }
            ui.end_row();
            for bar in &passed.bars {
                row(ui, bar, palette);
            }
        });
    ui.label(
        RichText::new("In time is within 50 ms; ms is how late on the average, below 0 early.")
            .small()
            .color(palette.weak),
    );
}

fn row(ui: &mut Ui, bar: &BarTally, palette: &Palette) {
    ui.label(bar.bar.to_string());
    ui.label(bar.written.to_string());
    ui.label(bar.fine.to_string());
    for count in [bar.early, bar.late, bar.missed, bar.wrong] {
        if count > 0 {
            ui.colored_label(palette.off, count.to_string());
        } else {
            ui.label("0");
        }
    }
    if bar.written > bar.missed {
        ui.label(format!("{:.0}", bar.mean_late_ms + 0.0));
    }
    ui.end_row();
}

/// A pass in a line.
fn in_words(passed: &Passed) -> String {
    let all = BarTally::sum(&passed.bars);
    let first = passed.bars.first().map_or(0, |bar| bar.bar);
    let last = passed.bars.last().map_or(0, |bar| bar.bar);
    let bars = if first == last {
        format!("Bar {first}")
    } else {
        format!("Bars {first} to {last}")
    };
    let mut text = format!("{bars}: {} of {} in time", all.fine, all.written);
    for (count, what) in [
        (all.early, "early"),
        (all.late, "late"),
        (all.missed, "missed"),
        (all.wrong, "wrong"),
    ] {
        if count > 0 {
            text += &format!(", {count} {what}");
        }
    }
    if all.written > all.missed {
        let (ms, way) = (
            all.mean_late_ms.abs(),
            if all.mean_late_ms < 0.0 {
                "early"
            } else {
                "late"
            },
        );
        text += &format!("; {ms:.0} ms {way} on the average");
    }
    text
}
