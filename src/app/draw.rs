//! One frame: bring the session up to date, draw it, do what was asked.

use std::path::Path;
use std::rc::Rc;

use eframe::egui::text::{CCursor, CCursorRange};
use eframe::egui::{
    Align2, Area, CentralPanel, Color32, Context, Frame, Id, Key, Label, Modal, Order,
    Panel as Side, RichText, TextEdit, ThemePreference, Ui, ViewportCommand,
};

use super::ask::{Ask, FileAsk, LeaveAsk, ViewAsk};
use super::palette::{Palette, dress};
use super::panels::regions::Region;
use super::panels::tight::Tight;
use super::panels::{self, View};
use super::session::Session;
use super::state::{Leaving, Looks, Naming, Note, Panel, Place};
use super::turns;

/// Width of the panel at the side, points.
const SIDE_WIDTH: f32 = 300.0;
/// A window narrower than this has a narrower panel, points.
const NARROW: f32 = 900.0;
/// The widest that a message gets, points.
const NOTE_WIDTH: f32 = 560.0;
/// The width there, points.
const NARROW_WIDTH: f32 = 250.0;

/// Draws everything and does what was asked.
pub fn draw(ui: &mut Ui, session: &mut Session) {
    session.poll();
    turns::take(ui);
    looks(ui.ctx(), session);
    dress(ui.ctx());
    let mut asks = Vec::new();
    if session.state.quit {
        let size = ui.ctx().content_rect().size() * ui.ctx().zoom_factor();
        session.keep_window(size.into());
    }
    leave(ui, session, &mut asks);
    drop_files(ui, &mut asks);
    panels::practice::shortcuts(ui, &session.state, &mut asks);
    let keyboard = Rc::clone(&session.keyboard);
    let state = &session.state;
    let is_asked = state.wants_key.is_some() || state.leaving.is_some() || state.naming.is_some();
    keyboard.borrow_mut().typing = is_asked || ui.ctx().text_edit_focused();
    title(ui.ctx(), session);
    {
        let keyboard = keyboard.borrow();
        let swings = session.swings();
        let view = View {
            state: &session.state,
            making: &session.making,
            gallery: &session.gallery,
            has_draft: session.draft.is_found(),
            bottle_of: session.bottle_of(),
            active: session.active(),
            document: session.document(),
            derived: session.derived(),
            desk: session.desk(),
            output: session.output(),
            keyboard: &keyboard,
            swings: &swings,
            undo_redo: session.can_undo_redo(),
        };
        frame(ui, &view, &mut asks);
    }
    session.apply_all(asks);
}

fn frame(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    panels::bar::shortcuts(ui, view, asks);
    // What gets the focus has to be drawn with it before the next key: until then an arrow would take it elsewhere.
    if ui.input(|input| input.key_pressed(Key::Tab)) {
        ui.ctx().request_repaint();
    }
    let mut bars_end = 0.0;
    if view.state.stage {
        open(ui).show(ui, |ui| panels::shelf::show(ui, view, asks));
    } else {
        bars(ui, view, asks);
        bars_end = ui.available_rect_before_wrap().top();
        if view.state.place == Place::Play {
            board_and_side(ui, view, asks);
        }
        open(ui).show(ui, |ui| panels::place(ui, view, asks));
    }
    if let Some(note) = &view.state.note {
        say(ui.ctx(), note, bars_end, asks);
    }
    let is_named = view.state.naming.is_some() || view.state.asking;
    if let Some(leaving) = view.state.leaving.as_ref().filter(|_| !is_named) {
        guard(ui.ctx(), leaving, asks);
    }
    match &view.state.naming {
        Some(naming) => name(ui.ctx(), naming, asks),
        None => ui.data_mut(|data| data.remove::<String>(naming_id())),
    }
    panels::regions::step(ui);
    if view.state.help {
        panels::help::show(ui.ctx(), asks);
    }
}

/// A panel's frame that paints no ground: the window is cleared with it, and without a graphics card every point that is painted
/// twice is paid for twice.
fn clear(ui: &Ui) -> Frame {
    Frame::side_top_panel(ui.style()).fill(Color32::TRANSPARENT)
}

/// The panel in the middle, likewise.
fn open(ui: &Ui) -> CentralPanel {
    CentralPanel::default().frame(Frame::central_panel(ui.style()).fill(Color32::TRANSPARENT))
}

fn bars(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    Side::top("bar")
        .frame(clear(ui))
        .show(ui, |ui| panels::bar::show(ui, view, asks));
    Side::bottom("status")
        .frame(clear(ui))
        .show(ui, |ui| panels::status::show(ui, view, asks));
}

fn board_and_side(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let width = ui.available_width();
    let tight = Tight::of(ui.ctx());
    if let Some(practice) = &view.state.practice {
        Side::bottom("transport").frame(clear(ui)).show(ui, |ui| {
            ui.add_space(2.0);
            panels::transport::show(ui, practice, asks);
            ui.add_space(2.0);
        });
    }
    if !tight.low {
        Side::bottom("board").frame(clear(ui)).show(ui, |ui| {
            ui.add_space(2.0);
            panels::board::show(ui, view, asks);
            ui.add_space(2.0);
        });
    }
    if tight.narrow {
        Side::top("what is shown").frame(clear(ui)).show(ui, |ui| {
            ui.add_space(2.0);
            panels::one_of(ui, view, asks);
            ui.add_space(2.0);
        });
        return;
    }
    let side = if width < NARROW {
        NARROW_WIDTH
    } else {
        SIDE_WIDTH
    };
    Side::right("side")
        .frame(clear(ui))
        .default_size(side)
        .min_size(220.0)
        .max_size(0.5 * width)
        .show(ui, |ui| {
            ui.add_space(4.0);
            ui.horizontal_wrapped(|ui| {
                ui.spacing_mut().item_spacing.x = 2.0;
                for panel in Panel::TABS {
                    let is_it = view.state.panel == panel;
                    if panels::tab(ui, is_it, panel.title(), Region::Side).clicked() {
                        asks.push(ViewAsk::Panel(panel).into());
                    }
                }
            });
            ui.separator();
            panels::scrolled(view.state.panel, ui, view, asks);
        });
}

fn looks(context: &Context, session: &Session) {
    let wanted = match session.state.looks {
        Looks::System => ThemePreference::System,
        Looks::Light => ThemePreference::Light,
        Looks::Dark => ThemePreference::Dark,
    };
    context.set_theme(wanted);
    if (context.zoom_factor() - session.state.zoom).abs() > 1e-3 {
        context.set_zoom_factor(session.state.zoom);
    }
}

/// The title of the window: the set's file, and whether it has changes.
fn title(context: &Context, session: &Session) {
    let document = session.document();
    let name = match document.path.file_name() {
        Some(name) => name.to_string_lossy().into_owned(),
        None => document.called(),
    };
    let mark = if document.is_changed() { "* " } else { "" };
    let title = format!("{mark}{name} – ullage");
    let id = Id::unique("title of the window");
    let before: Option<String> = context.data(|data| data.get_temp(id));
    if before.as_ref() != Some(&title) {
        context.send_viewport_cmd(ViewportCommand::Title(title.clone()));
        context.data_mut(|data| data.insert_temp(id, title));
    }
}

/// The window closes when nothing is unsaved, or when the answer was to leave anyway.
fn leave(ui: &Ui, session: &Session, asks: &mut Vec<Ask>) {
    let context = ui.ctx();
    if session.state.quit {
        context.send_viewport_cmd(ViewportCommand::Close);
    } else if context.input(|input| input.viewport().close_requested()) {
        context.send_viewport_cmd(ViewportCommand::CancelClose);
        asks.push(LeaveAsk::Close.into());
    }
}

fn drop_files(ui: &Ui, asks: &mut Vec<Ask>) {
    let dropped = ui.ctx().input(|input| input.raw.dropped_files.clone());
    if let Some(path) = dropped.first().map(|file| file.path().to_owned()) {
        asks.push(FileAsk::Open(path).into());
    }
}

/// What the program has to say, over everything, so that no bottle moves from under a hand; but not over the bars, whose buttons
/// would be out of reach until it goes.
fn say(context: &Context, note: &Note, bars_end: f32, asks: &mut Vec<Ask>) {
    // Good news go by themselves, and what is below them is there for the hand meanwhile.
    let area = Area::new(Id::unique("what the program has to say"))
        .order(Order::Foreground)
        .interactable(note.is_bad);
    area.anchor(Align2::CENTER_TOP, [0.0, bars_end + 8.0])
        .show(context, |ui| {
            Frame::popup(ui.style()).show(ui, |ui| {
                ui.set_max_width(within(ui.ctx(), NOTE_WIDTH));
                let palette = Palette::of(ui.visuals());
                let colour = if note.is_bad {
                    palette.wrong
                } else {
                    palette.good
                };
                ui.horizontal(|ui| {
                    if note.is_bad && ui.button("OK").on_hover_text("It has been read").clicked() {
                        asks.push(ViewAsk::Dismiss.into());
                    }
                    ui.add(Label::new(RichText::new(&note.text).color(colour)).wrap());
                });
            });
        });
}

/// Asks before changes are lost.
fn guard(context: &Context, leaving: &Leaving, asks: &mut Vec<Ask>) {
    let modal = Modal::new(Id::unique("unsaved changes")).show(context, |ui| {
        ui.heading("There are changes that are not saved");
        match leaving {
            Leaving::Window => ui.label("The window is about to close."),
            Leaving::For(path) => ui.label(format!("{} is about to be opened.", path.display())),
            Leaving::Example(_) => ui.label("Another set is about to be opened."),
            Leaving::New => ui.label("A new set is about to be begun."),
        };
        ui.add_space(8.0);
        ui.horizontal_wrapped(|ui| {
            if ui.button("Save and go on").clicked() {
                asks.push(LeaveAsk::SaveFirst.into());
            }
            if ui.button("Go on without saving").clicked() {
                asks.push(LeaveAsk::Anyway.into());
            }
            if ui.button("Stay").clicked() {
                asks.push(LeaveAsk::Stay.into());
            }
        });
    });
    if modal.should_close() && asks.is_empty() {
        asks.push(LeaveAsk::Stay.into());
    }
}

/// A width that the window has room for.
fn within(context: &Context, width: f32) -> f32 {
    width.min(context.content_rect().width() - 60.0)
}

fn naming_id() -> Id {
    Id::unique("name of a file")
}

/// Asks for a file's name where the desktop has no dialog for it.
fn name(context: &Context, naming: &Naming, asks: &mut Vec<Ask>) {
    let kept: Option<String> = context.data(|data| data.get_temp(naming_id()));
    let is_new = kept.is_none();
    let mut text = kept.unwrap_or_else(|| naming.suggested.clone());
    let mut answer = None;
    let modal = Modal::new(Id::unique("naming")).show(context, |ui| {
        ui.heading(naming.purpose.title());
        let field = TextEdit::singleline(&mut text).desired_width(within(ui.ctx(), 420.0));
        let response = ui.add(field).accessible_name("File name");
        if is_new {
            response.request_focus();
            // What is typed takes the place of what is suggested.
            let mut state = TextEdit::load_state(ui.ctx(), response.id).unwrap_or_default();
            let ends = [0, text.chars().count()].map(CCursor::new);
            state
                .cursor
                .set_char_range(Some(CCursorRange::two(ends[0], ends[1])));
            state.store(ui.ctx(), response.id);
        }
        let entered = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        let again = naming.exists.as_deref() == Some(Path::new(text.trim()));
        if again {
            ui.label("It exists already.");
        }
        ui.horizontal(|ui| {
            let button = if again { "Replace it" } else { "OK" };
            if ui.button(button).clicked() || entered && !again {
                answer = Some(FileAsk::Named(text.clone()));
            }
            if ui.button("Cancel").clicked() {
                answer = Some(FileAsk::Unnamed);
            }
        });
    });
    if modal.should_close() {
        answer = Some(FileAsk::Unnamed);
    }
    context.data_mut(|data| data.insert_temp(naming_id(), text));
    asks.extend(answer.map(Ask::File));
}
