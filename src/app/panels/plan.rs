//! The plan: what is wanted, how far it is worked out, and what came of it.

use eframe::egui::{
    Checkbox, ComboBox, Frame, Id, Panel as Side, ProgressBar, RichText, ScrollArea, Sense, Ui,
    vec2,
};

use super::View;
use super::pieces::{self, Field, main_button};
use super::tight::Tight;
use crate::app::ask::{Ask, ViewAsk};
use crate::app::examples::Small;
use crate::app::making::{PlanAsk, PlanField, WantedFrom, Wish, Wishes};
use crate::app::palette::Palette;
use crate::app::planning::Planned;
use crate::app::state::Place;
use crate::plan::wanted::scale_names;
use crate::set::Way;
use crate::tuning::Temperament;

/// Notes that a scale can be built on.
const TONICS: [&str; 12] = [
    "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];
/// Width of what is wanted, points.
const WISHES: f32 = 300.0;
/// Height of the picture of what came of it, points.
const PICTURE: f32 = 200.0;
/// Notes without a bottle that are listed at most.
const MOST_LEFT_OUT: usize = 12;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let mut told = Vec::new();
    if Tight::of(ui.ctx()).narrow {
        ScrollArea::vertical()
            .auto_shrink([false, false])
            .show(ui, |ui| {
                wanted(ui, view, &palette, &mut told);
                ui.separator();
                outcome(ui, view, &palette, &mut told, asks);
            });
        asks.extend(told.into_iter().map(Ask::Plan));
        return;
    }
    Side::left("what is wanted")
        .exact_size(WISHES)
        .resizable(false)
        .show(ui, |ui| {
            ScrollArea::vertical()
                .auto_shrink([false, false])
                .show(ui, |ui| wanted(ui, view, &palette, &mut told));
        });
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            Frame::new()
                .inner_margin(12.0)
                .show(ui, |ui| outcome(ui, view, &palette, &mut told, asks));
        });
    asks.extend(told.into_iter().map(Ask::Plan));
}

fn outcome(
    ui: &mut Ui,
    view: &View<'_>,
    palette: &Palette,
    told: &mut Vec<PlanAsk>,
    asks: &mut Vec<Ask>,
) {
    match &view.making.planned {
        Some(planned) => came_out(ui, planned, palette, told, asks),
        None => nothing_yet(ui, view, palette),
    }
}

fn nothing_yet(ui: &mut Ui, view: &View<'_>, palette: &Palette) {
    ui.add_space(20.0);
    let text = if view.making.progress.is_some() {
        "Every bottle is worked out, empty to full."
    } else {
        "Say at the left which notes you want, and press \"Work it out\". Each gets the bottle that plays it best, and how much goes into it."
    };
    ui.label(RichText::new(text).size(16.0).color(palette.weak));
}

fn wanted(ui: &mut Ui, view: &View<'_>, palette: &Palette, told: &mut Vec<PlanAsk>) {
    let wishes = &view.making.wishes;
    let problem = |field| wishes.problems.get(&field).map(String::as_str);
    ui.heading("Notes");
    ui.horizontal(|ui| {
        for from in WantedFrom::ALL {
            if ui.radio(wishes.from == from, from.name()).clicked() {
                told.push(PlanAsk::Wish(Wish::From(from)));
            }
        }
    });
    match wishes.from {
        WantedFrom::Scale => scale(ui, wishes, palette, told),
        WantedFrom::Notes => {
            let field = Field {
                label: "Which ones",
                text: &wishes.notes,
                hint: "G3 A3 B3 D4 E4 x2",
                wrong: problem(PlanField::Notes),
                width: 250.0,
            };
            let typed = field.show(ui, Id::unique("notes of a plan"), palette);
            told.extend(typed.map(|text| PlanAsk::Wish(Wish::Notes(text))));
            let text = "x2 behind a note asks for two bottles of it.";
            ui.label(RichText::new(text).small().color(palette.weak));
        }
        WantedFrom::Piece => {
            if let Some((path, notes, key)) = &wishes.piece {
                let name = path.file_name().unwrap_or_default().to_string_lossy();
                ui.label(RichText::new(name).strong());
                ui.label(format!("{} different notes, {key}", notes.len()));
            }
            if ui
                .button("Choose a piece…")
                .on_hover_text("A MIDI file or MusicXML")
                .clicked()
            {
                told.push(PlanAsk::ChoosePiece);
            }
            pieces::wrong(ui, problem(PlanField::Piece), palette);
        }
    }
    ui.add_space(8.0);
    ways(ui, wishes, palette, told);
    ui.add_space(8.0);
    tuning(ui, wishes, palette, told);
    ui.add_space(12.0);
    match view.making.progress {
        Some(progress) => {
            let share = progress.done as f32 / progress.of.max(1) as f32;
            let text = format!("{} of {} kinds of bottle", progress.done, progress.of);
            ui.add(ProgressBar::new(share).text(text));
            if ui.button("Cancel").clicked() {
                told.push(PlanAsk::Cancel);
            }
        }
        None => {
            if main_button(ui, "Work it out", palette).clicked() {
                told.push(PlanAsk::Begin);
            }
        }
    }
}

fn scale(ui: &mut Ui, wishes: &Wishes, palette: &Palette, told: &mut Vec<PlanAsk>) {
    ui.horizontal(|ui| {
        let tonic = ComboBox::from_id_salt("tonic")
            .width(50.0)
            .selected_text(&wishes.tonic);
        let tonic = tonic.show_ui(ui, |ui| {
            for tonic in TONICS {
                if ui.selectable_label(tonic == wishes.tonic, tonic).clicked() {
                    told.push(PlanAsk::Wish(Wish::Tonic(tonic.to_owned())));
                }
            }
        });
        tonic.response.accessible_name("Tonic of the scale");
        let scale = ComboBox::from_id_salt("scale")
            .width(150.0)
            .selected_text(wishes.scale);
        let scale = scale.show_ui(ui, |ui| {
            for name in scale_names() {
                if ui.selectable_label(name == wishes.scale, name).clicked() {
                    told.push(PlanAsk::Wish(Wish::Scale(name)));
                }
            }
        });
        scale.response.accessible_name("Scale");
    });
    ui.horizontal(|ui| {
        for (place, label, hint) in [(0, "from", "lowest"), (1, "to", "highest")] {
            let field = Field {
                label,
                text: &wishes.ends[place],
                hint,
                wrong: None,
                width: 96.0,
            };
            if let Some(text) = field.show(ui, Id::unique(("end of the scale", place)), palette) {
                let wish = if place == 0 {
                    Wish::Lowest(text)
                } else {
                    Wish::Highest(text)
                };
                told.push(PlanAsk::Wish(wish));
            }
        }
    });
    let problem = wishes.problems.get(&PlanField::Ends);
    pieces::wrong(ui, problem.map(String::as_str), palette);
}

/// The ways that a plan can choose, as people say them.
const WAYS: [(Way, &str, &str); 4] = [
    (Way::Blown, "Blown", "Across the mouth, as on a flute"),
    (Way::Struck, "Struck", "With a mallet, on the glass"),
    (
        Way::Pressurised,
        "Pumped up and tapped",
        "Plastic bottles for sparkling drinks alone, to 2.4 bar",
    ),
    (
        Way::Sliding,
        "With a floor that slides",
        "One bottle for many notes, one at a time",
    ),
];

fn ways(ui: &mut Ui, wishes: &Wishes, palette: &Palette, told: &mut Vec<PlanAsk>) {
    ui.heading("How they are played");
    for (way, text, hint) in WAYS {
        let mut is_allowed = wishes.ways.contains(&way);
        let response = ui.add(Checkbox::new(&mut is_allowed, text));
        if response.on_hover_text(hint).changed() {
            told.push(PlanAsk::Wish(Wish::Way(way, is_allowed)));
        }
    }
    let problem = wishes.problems.get(&PlanField::Ways);
    pieces::wrong(ui, problem.map(String::as_str), palette);
}

fn tuning(ui: &mut Ui, wishes: &Wishes, palette: &Palette, told: &mut Vec<PlanAsk>) {
    ui.heading("Tuning");
    ui.horizontal(|ui| {
        let label = ui.label("Temperament");
        let list = ComboBox::from_id_salt("temperament").selected_text(wishes.temperament.name());
        let list = list.show_ui(ui, |ui| {
            for temperament in [
                Temperament::Equal,
                Temperament::Just,
                Temperament::Pythagorean,
                Temperament::Meantone,
            ] {
                let is_it = wishes.temperament == temperament;
                if ui.selectable_label(is_it, temperament.name()).clicked() {
                    told.push(PlanAsk::Wish(Wish::Temperament(temperament)));
                }
            }
        });
        list.response.labelled_by(label.id);
    });
    let problem = wishes.problems.get(&PlanField::A4);
    ui.horizontal(|ui| {
        let field = Field {
            label: "A4, Hz",
            text: &wishes.a4,
            hint: "440",
            wrong: None,
            width: 60.0,
        };
        let typed = field.show(ui, Id::unique("A4 of a plan"), palette);
        told.extend(typed.map(|text| PlanAsk::Wish(Wish::A4(text))));
    });
    pieces::wrong(ui, problem.map(String::as_str), palette);
}

fn came_out(
    ui: &mut Ui,
    planned: &Planned,
    palette: &Palette,
    told: &mut Vec<PlanAsk>,
    asks: &mut Vec<Ask>,
) {
    let count = planned.document.model.pours.len();
    ui.horizontal_wrapped(|ui| {
        let notes = if count == 1 { "note" } else { "notes" };
        ui.heading(format!("{count} {notes} in {}", planned.key));
        if main_button(ui, "Use this set", palette)
            .on_hover_text("Undo brings the set before back")
            .clicked()
        {
            told.push(PlanAsk::Use);
        }
    });
    picture(ui, planned, palette);
    pours(ui, planned, palette);
    keys(ui, planned, told);
    if planned.left_out.is_empty() {
        return;
    }
    ui.add_space(8.0);
    let text = format!("{} without a bottle", planned.left_out.len());
    ui.label(RichText::new(text).strong().size(16.0).color(palette.off));
    for note in planned.left_out.iter().take(MOST_LEFT_OUT) {
        ui.label(RichText::new(format!("{}: {}.", note.note, note.reason)));
        ui.label(RichText::new(format!("What would help: {}.", note.remedy)).color(palette.weak));
    }
    if ui.button("Change the bottles").clicked() {
        asks.push(ViewAsk::Place(Place::Crate).into());
    }
}

fn picture(ui: &mut Ui, planned: &Planned, palette: &Palette) {
    let size = vec2(ui.available_width(), PICTURE);
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    ui.painter().rect_filled(rect, 6.0, palette.card);
    let small = Small::of(&planned.document, &planned.derived);
    pieces::row(ui, rect.shrink(12.0), &small.bottles, palette);
}

/// Which bottle plays which note, in a line each.
fn pours(ui: &mut Ui, planned: &Planned, palette: &Palette) {
    eframe::egui::Grid::new("what was planned")
        .num_columns(4)
        .striped(true)
        .spacing([18.0, 4.0])
        .show(ui, |ui| {
            for name in ["note", "bottle", "set to", "how"] {
                ui.label(RichText::new(name).color(palette.weak));
            }
            ui.end_row();
            for &index in &planned.derived.order {
                let shown = &planned.derived.bottles[index];
                let now = shown.knob.now;
                ui.label(RichText::new(shown.note.to_string()).strong());
                ui.label(&shown.name);
                ui.label(format!("{:.1} {}", now.value(), now.unit()));
                ui.label(shown.way.name());
                ui.end_row();
            }
        });
}

/// The keys that fit best, by their names.
fn keys(ui: &mut Ui, planned: &Planned, told: &mut Vec<PlanAsk>) {
    ui.add_space(8.0);
    ui.label(
        RichText::new("Keys that fit these bottles best")
            .strong()
            .size(16.0),
    );
    ui.horizontal_wrapped(|ui| {
        for (place, key) in planned.keys.iter().enumerate() {
            let is_it = key.semitones == planned.semitones;
            let how_many = if key.placed == key.wanted {
                "all".to_owned()
            } else {
                format!("{} of {}", key.placed, key.wanted)
            };
            let text = format!("{}: {how_many}", key.name);
            let moved = match key.semitones {
                0 => "as it was wanted".to_owned(),
                by if by > 0 => format!("{by} semitones higher"),
                by => format!("{} semitones lower", -by),
            };
            let label = ui.selectable_label(is_it, text).on_hover_text(moved);
            if label.clicked() && !is_it {
                told.push(PlanAsk::InKey(place));
            }
        }
    });
}
