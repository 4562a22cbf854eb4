//! The crate: a card for each kind of bottle, and the questions by which one is described.

use eframe::egui::{
    ComboBox, DragValue, Frame, Grid, Id, Panel as Side, Rect, RichText, ScrollArea, Sense, Ui,
    vec2,
};

use super::View;
use super::photo;
use super::pieces::{self, Field, main_button};
use super::tight::Tight;
use crate::app::ask::{Ask, FileAsk, ViewAsk};
use crate::app::examples::Drawn;
use crate::app::form::BottleForm;
use crate::app::making::CrateAsk;
use crate::app::palette::Palette;
use crate::app::panels::glass::Outline;
use crate::app::picture::Picture;
use crate::app::state::Place;
use crate::app::tuner::TunerAsk;
use crate::index::KindIndex;
use crate::live::InputState;
use crate::report::words::plain;
use crate::set::Kind;
use crate::set::describe::{MATERIALS, Question, Reach};
use crate::tuning::Tuning;
use crate::units::{Frequency, Length};

/// Size of a card and of the picture in it, points.
const CARD: (f32, f32) = (236.0, 330.0);
const PICTURE: f32 = 150.0;
/// Height of the picture beside the questions, points, and of the one beside a photograph.
const LARGE: f32 = 280.0;
const SMALL: f32 = 170.0;
/// Width of the questions, points.
const QUESTIONS: f32 = 400.0;
/// The part of the width that the questions may take.
const ASKED_SHARE: f32 = 0.45;
/// Width from which a photograph has what it comes to beside it, points, and the part that it may take of it.
const SIDE_BY_SIDE: f32 = 440.0;
const PHOTO_SHARE: f32 = 0.5;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    if let Some(form) = &view.making.form {
        if form.picture.is_none() {
            photo::forget(ui);
        }
        return describe(ui, view, form, &palette, asks);
    }
    photo::forget(ui);
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            top(ui, view, &palette, asks);
            ui.add_space(6.0);
            ui.horizontal_wrapped(|ui| {
                for (index, kind) in KindIndex::each(&view.document.fixed.kinds) {
                    ui.allocate_ui(vec2(CARD.0, CARD.1), |ui| {
                        card(ui, view, (index, kind), &palette, asks);
                    });
                }
            });
        });
}

fn top(ui: &mut Ui, view: &View<'_>, palette: &Palette, asks: &mut Vec<Ask>) {
    let kinds = &view.document.fixed.kinds;
    let count: u32 = kinds.iter().map(|kind| kind.count).sum();
    ui.horizontal_wrapped(|ui| {
        ui.heading("Bottles");
        if count > 0 {
            let bottles = if count == 1 { "bottle" } else { "bottles" };
            let of = if kinds.len() == 1 { "kind" } else { "kinds" };
            let text = format!("{count} {bottles} of {} {of}", kinds.len());
            ui.label(RichText::new(text).color(palette.weak));
        }
    });
    ui.horizontal_wrapped(|ui| {
        if main_button(ui, "Add a bottle", palette).clicked() {
            asks.push(CrateAsk::Add.into());
        }
        if !kinds.is_empty() {
            let plan = eframe::egui::Button::new("Choose the notes").min_size(vec2(0.0, 34.0));
            if ui
                .add(plan)
                .on_hover_text("Which bottle plays which note")
                .clicked()
            {
                asks.push(ViewAsk::Place(Place::Plan).into());
            }
        }
    });
    if kinds.is_empty() {
        ui.add_space(6.0);
        ui.label("The crate is empty. Take a bottle in your hand and describe it.");
        if ui.button("Open a shelf of bottles…").clicked() {
            asks.push(FileAsk::Choose.into());
        }
    } else if !view.document.model.pours.is_empty() {
        let text = "Notes that are planned stay in their bottles; one that is taken out takes its notes with it.";
        ui.label(RichText::new(text).color(palette.weak));
    }
}

/// A kind's shape, empty.
fn drawn(kind: &Kind) -> [Drawn; 1] {
    [Drawn {
        outline: Outline::of(&kind.bottle),
        level: Length::default(),
        is_floor: false,
    }]
}

fn card(
    ui: &mut Ui,
    view: &View<'_>,
    (index, kind): (KindIndex, &Kind),
    palette: &Palette,
    asks: &mut Vec<Ask>,
) {
    Frame::group(ui.style()).fill(palette.card).show(ui, |ui| {
        ui.set_width(CARD.0 - 16.0);
        ui.set_min_height(CARD.1 - 16.0);
        ui.vertical(|ui| {
            let size = vec2(ui.available_width(), PICTURE);
            let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
            pieces::row(ui, rect.shrink(4.0), &drawn(kind), palette);
            ui.label(RichText::new(&kind.name).strong().size(16.0));
            match view.making.reach.get(&kind.name) {
                None => {
                    ui.label(RichText::new("…").color(palette.weak));
                }
                Some(None) => {
                    ui.colored_label(palette.wrong, "It gives no note.");
                }
                Some(Some(reach)) => notes(ui, reach, palette),
            }
            ui.horizontal(|ui| {
                let label = ui.label("How many");
                let mut count = kind.count;
                let field = DragValue::new(&mut count).range(1..=10_000);
                if ui.add(field).labelled_by(label.id).changed() {
                    asks.push(CrateAsk::Count(index, count).into());
                }
            });
            ui.horizontal(|ui| {
                for (text, ask) in [
                    ("Edit", CrateAsk::Edit(index)),
                    ("Duplicate", CrateAsk::Duplicate(index)),
                    ("Remove", CrateAsk::Remove(index)),
                ] {
                    let button = ui.small_button(text);
                    let name = format!("{text} {}", kind.name);
                    if button.accessible_name(name).clicked() {
                        asks.push(ask.into());
                    }
                }
            });
        });
    });
}

/// What a bottle gives, how sure that is, and what would help.
fn notes(ui: &mut Ui, reach: &Reach, palette: &Palette) {
    let named = |pitch: Frequency| Tuning::default().nearest(pitch).0;
    ui.label(format!(
        "{} to {}, ±{:.0} cents",
        named(reach.lowest),
        named(reach.highest),
        reach.plus_minus.cents()
    ))
    .on_hover_text(format!(
        "{:.0} Hz empty to {:.0} Hz with {:.0} ml in it; the ± is that of the empty bottle (95 %)",
        reach.lowest.hz(),
        reach.highest.hz(),
        reach.fullest.ml()
    ));
    let remedy = plain(reach.remedy);
    ui.label(
        RichText::new(format!("Surer: {remedy}"))
            .small()
            .color(palette.weak),
    );
}

/// The questions, and what is known after each answer.
fn describe(
    ui: &mut Ui,
    view: &View<'_>,
    form: &BottleForm,
    palette: &Palette,
    asks: &mut Vec<Ask>,
) {
    let mut told = Vec::new();
    let narrow = Tight::of(ui.ctx()).narrow;
    // The buttons are always in sight, however low the window is.
    Side::bottom("what becomes of the answers")
        .resizable(false)
        .show(ui, |ui| {
            ui.add_space(4.0);
            pieces::wrong(ui, form.trouble.as_deref(), palette);
            ui.horizontal_wrapped(|ui| {
                if main_button(ui, "Put it into the crate", palette).clicked() {
                    told.push(CrateAsk::Keep);
                }
                if ui.button("Never mind").clicked() {
                    told.push(CrateAsk::Cancel);
                }
            });
            ui.add_space(4.0);
        });
    ScrollArea::vertical()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            ui.heading(match &form.editing {
                None => "A bottle more".to_owned(),
                Some(name) => format!("The bottle \"{name}\""),
            });
            let hint = "Units are yours: mm, cm or inches, ml or fl oz. What you cannot measure, leave out.";
            ui.label(RichText::new(hint).color(palette.weak));
            if form.picture.is_none() {
                let hint = "Surest: drop a photograph of it on this window, fill it to the brim once, blow it once.";
                ui.label(RichText::new(hint).color(palette.weak));
            }
            ui.add_space(4.0);
            if narrow {
                if let Some(picture) = &form.picture {
                    photo::fields(ui, form, picture, palette, &mut told);
                    photo::show(ui, form, picture, palette, &mut told);
                    ui.separator();
                }
                questions(ui, view, form, palette, &mut told, asks);
                ui.separator();
                known(ui, form, palette);
                return;
            }
            ui.horizontal_top(|ui| {
                ui.vertical(|ui| {
                    ui.set_width(QUESTIONS.min(ASKED_SHARE * ui.available_width()));
                    questions(ui, view, form, palette, &mut told, asks);
                    ui.add_space(8.0);
                });
                ui.separator();
                match &form.picture {
                    None => {
                        ui.vertical(|ui| known(ui, form, palette));
                    }
                    Some(picture) => beside(ui, form, picture, palette, &mut told),
                }
            });
        });
    asks.extend(told.into_iter().map(Ask::Crate));
}

/// Its photograph, and beside it what brings it to scale and what comes of it; one below the other where there is little room.
fn beside(
    ui: &mut Ui,
    form: &BottleForm,
    picture: &Picture,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
) {
    let width = ui.available_width();
    if width < SIDE_BY_SIDE {
        ui.vertical(|ui| {
            photo::show(ui, form, picture, palette, told);
            photo::fields(ui, form, picture, palette, told);
            known(ui, form, palette);
        });
        return;
    }
    ui.vertical(|ui| {
        ui.set_max_width(PHOTO_SHARE * width);
        photo::show(ui, form, picture, palette, told);
    });
    ui.add_space(8.0);
    ui.vertical(|ui| {
        photo::fields(ui, form, picture, palette, told);
        known(ui, form, palette);
    });
}

fn questions(
    ui: &mut Ui,
    view: &View<'_>,
    form: &BottleForm,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
    asks: &mut Vec<Ask>,
) {
    for question in Question::ALL {
        ask(ui, view, form, question, palette, told, asks);
    }
}

fn ask(
    ui: &mut Ui,
    view: &View<'_>,
    form: &BottleForm,
    question: Question,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
    asks: &mut Vec<Ask>,
) {
    let text = form.answers.get(&question).map_or("", String::as_str);
    let wrong = form.problems.get(&question).map(String::as_str);
    match question {
        Question::Material => {
            let now = if text.is_empty() { MATERIALS[0] } else { text };
            ui.horizontal(|ui| {
                let label = ui.label("Made of");
                let list = ComboBox::from_id_salt("material").selected_text(now);
                let list = list.show_ui(ui, |ui| {
                    for material in MATERIALS {
                        if ui.selectable_label(material == now, material).clicked() {
                            told.push(CrateAsk::Answer(question, material.to_owned()));
                        }
                    }
                });
                list.response.labelled_by(label.id);
            });
            pieces::wrong(ui, wrong, palette);
        }
        Question::Name
        | Question::Capacity
        | Question::Mouth
        | Question::Height
        | Question::Body
        | Question::Neck
        | Question::Heard
        | Question::Count => {
            let field = Field {
                label: asked(question),
                text,
                hint: question.example(),
                wrong,
                width: 190.0,
            };
            let id = Id::unique(("answer", question.asks()));
            let answer = field.show(ui, id, palette);
            told.extend(answer.map(|text| CrateAsk::Answer(question, text)));
        }
    }
    if question == Question::Heard {
        heard(ui, view, palette, told, asks);
    }
}

/// What is asked, as on a form.
fn asked(question: Question) -> &'static str {
    match question {
        Question::Heard => "Have you blown it empty? Its pitch in Hz, or press Listen and blow:",
        other => other.asks(),
    }
}

fn heard(
    ui: &mut Ui,
    view: &View<'_>,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
    asks: &mut Vec<Ask>,
) {
    let tuner = &view.state.tuner;
    ui.horizontal_wrapped(|ui| match &tuner.ear {
        None => {
            let hint = "Opens the microphone; it is never open without this";
            if ui.button("Listen").on_hover_text(hint).clicked() {
                asks.push(TunerAsk::Listen.into());
            }
        }
        Some(ear) => {
            if ui.button("Stop listening").clicked() {
                asks.push(TunerAsk::Stop.into());
            }
            match (&ear.state, tuner.tone_hz) {
                (InputState::Deaf { because, .. }, _) => {
                    ui.colored_label(palette.wrong, format!("hears nothing: {because}"));
                }
                (_, Some(hz)) => {
                    if ui.button(format!("Take {hz:.1} Hz")).clicked() {
                        told.push(CrateAsk::TakeHeard);
                    }
                }
                (_, None) => {
                    ui.label("Blow it, empty, for a second.");
                }
            }
        }
    });
}

/// The drawing of what has been said so far, and its notes.
fn known(ui: &mut Ui, form: &BottleForm, palette: &Palette) {
    let high = if form.picture.is_some() { SMALL } else { LARGE };
    let size = vec2(ui.available_width().clamp(120.0, 360.0), high);
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    ui.painter().rect_filled(rect, 6.0, palette.card);
    let Some((kind, reach)) = &form.known else {
        let text = if form.picture.is_some() {
            "How high it is: then it is drawn here, as the picture has it."
        } else {
            "What it holds, how wide its mouth is and how high it is or how long its neck: then it is drawn here."
        };
        let inner = Rect::from_center_size(rect.center(), rect.size() - vec2(40.0, 40.0));
        ui.put(
            inner,
            eframe::egui::Label::new(RichText::new(text).color(palette.weak)).wrap(),
        );
        return;
    };
    pieces::row(ui, rect.shrink(14.0), &drawn(kind), palette);
    Grid::new("what it gives").num_columns(2).show(ui, |ui| {
        let named = |pitch: Frequency| Tuning::default().nearest(pitch).0;
        ui.label("Empty");
        ui.label(
            RichText::new(format!(
                "{}, {:.0} Hz",
                named(reach.lowest),
                reach.lowest.hz()
            ))
            .strong()
            .size(17.0),
        );
        ui.end_row();
        ui.label("At most");
        ui.label(
            RichText::new(format!(
                "{}, {:.0} Hz with {:.0} ml",
                named(reach.highest),
                reach.highest.hz(),
                reach.fullest.ml()
            ))
            .strong()
            .size(17.0),
        );
        ui.end_row();
        ui.label("How sure");
        ui.label(format!("±{:.0} cents", reach.plus_minus.cents()));
        ui.end_row();
    });
    ui.label(format!("What would help most: {}.", plain(reach.remedy)));
}
