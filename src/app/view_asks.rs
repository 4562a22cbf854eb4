//! What is shown and how large, the computer keyboard, and keeping both for the next session.

use super::ask::{BoardAsk, BoardSetting, ViewAsk};
use super::examples::Painting;
use super::session::Session;
use super::settings::Settings;
use super::state::Place;
use crate::synth::Command;

/// Smallest and largest size of everything.
pub(super) const ZOOMS: (f32, f32) = (0.5, 4.0);
/// Lowest and highest shift of the keyboard.
const SHIFTS: (i32, i32) = (-3, 5);

impl Session {
    /// Does what was asked of what is shown.
    pub(super) fn view(&mut self, ask: ViewAsk) {
        match ask {
            ViewAsk::Select(pour) => {
                if pour.place() < self.derived().bottles.len() {
                    self.state.selected = Some(pour);
                }
            }
            ViewAsk::Place(place) => self.go_to(place),
            ViewAsk::Stage(stage) => {
                self.state.stage = stage;
                if stage {
                    self.go_to(Place::Play);
                }
            }
            ViewAsk::Help(help) => self.state.help = help,
            ViewAsk::Poured(pour, is_poured) => {
                if is_poured {
                    self.making.poured.insert(pour);
                } else {
                    self.making.poured.remove(&pour);
                }
            }
            ViewAsk::Shelf => self.state.panel_first = false,
            ViewAsk::Panel(panel) => {
                self.state.panel_first = true;
                self.state.panel = panel;
                self.keep_settings();
            }
            ViewAsk::Looks(looks) => {
                self.state.looks = looks;
                self.keep_settings();
            }
            ViewAsk::Zoom(zoom) => {
                self.state.zoom = zoom.clamp(ZOOMS.0, ZOOMS.1);
                self.keep_settings();
            }
            ViewAsk::Dismiss => self.state.note = None,
        }
    }

    /// Does what was asked of the keyboard; everything that is held lets go.
    pub(super) fn board(&mut self, ask: BoardAsk) {
        let mut keyboard = self.keyboard.borrow_mut();
        keyboard.all_off();
        match ask {
            BoardAsk::WaitFor(note) => {
                keyboard.take_asked();
                self.state.wants_key = note;
            }
            BoardAsk::Set(setting) => {
                match setting {
                    BoardSetting::Layout(layout) => {
                        keyboard.board.layout = layout;
                        keyboard.board.shift = 0;
                        keyboard.board.shift = keyboard.board.best_shift();
                    }
                    BoardSetting::Shift(shift) => {
                        keyboard.board.shift = shift.clamp(SHIFTS.0, SHIFTS.1);
                    }
                    BoardSetting::Velocity(velocity) => {
                        keyboard.velocity = velocity.clamp(1, 127);
                    }
                    BoardSetting::Latch(latch) => keyboard.latch = latch,
                    BoardSetting::ForgetOwn => keyboard.board.own.clear(),
                }
                drop(keyboard);
                self.keep_settings();
            }
        }
    }

    /// Gives the note that waits the key that was pressed.
    pub(super) fn take_wanted_key(&mut self) {
        let mut keyboard = self.keyboard.borrow_mut();
        let asked = keyboard.take_asked();
        let (Some(note), Some(code)) = (self.state.wants_key, asked) else {
            return;
        };
        keyboard.board.own.retain(|_, own| *own != note);
        keyboard.board.own.insert(code, note);
        drop(keyboard);
        self.state.wants_key = None;
        self.keep_settings();
    }

    /// Shows another place, if there is something to see there.
    fn go_to(&mut self, place: Place) {
        let has_notes = !self.document().model.pours.is_empty();
        let has_bottles = !self.document().fixed.kinds.is_empty();
        let is_open = match place {
            Place::Start | Place::Crate => true,
            Place::Plan => has_bottles,
            Place::Pour | Place::Play => has_notes,
        };
        if !is_open {
            return;
        }
        if place != Place::Play {
            self.state.stage = false;
        }
        if place != self.state.place {
            if !self.state.blown.is_empty() {
                self.playing.sound.send(Command::AllOff);
            }
            self.let_everything_go();
        }
        self.state.place = place;
        if place == Place::Start {
            self.hang_pictures();
        }
    }

    /// Works out the pictures that one begins with.
    pub(super) fn hang_pictures(&mut self) {
        let (gallery, painting) = Painting::begin(self.kept.last().recent.clone());
        // What hangs already stays until its new picture comes.
        if self.gallery.examples.is_empty() {
            self.gallery = gallery;
        } else {
            self.gallery.recent = gallery.recent;
        }
        self.painting = Some(painting);
    }

    /// Hangs the pictures that are ready; once a frame.
    pub(super) fn poll_pictures(&mut self) {
        if let Some(painting) = &self.painting
            && !painting.hang(&mut self.gallery)
        {
            self.painting = None;
        }
    }

    /// The set's file is one of those of late.
    pub(super) fn remember_file(&mut self) {
        if self.document().is_unnamed() {
            return;
        }
        let recent = self.kept.with_file(&self.document().path);
        let settings = Settings {
            recent,
            ..self.settings()
        };
        if let Some(job) = self.kept.keep(settings) {
            self.jobs.follow(job);
        }
    }

    /// The window closes, and was so large.
    pub(super) fn keep_window(&mut self, size: [f32; 2]) {
        let settings = Settings {
            window: size,
            ..self.settings()
        };
        self.kept.keep_at_once(settings);
    }

    /// As everything is now.
    fn settings(&self) -> Settings {
        let keyboard = self.keyboard.borrow();
        let (looks, zoom) = (self.state.looks, self.state.zoom);
        let last = self.kept.last();
        Settings {
            recent: last.recent.clone(),
            window: last.window,
            panel: self.state.panel.title().to_owned(),
            ..Settings::of(&keyboard.board, keyboard.velocity, looks, zoom)
        }
    }

    /// Keeps the settings if they have changed.
    fn keep_settings(&mut self) {
        let settings = self.settings();
        if let Some(job) = self.kept.keep(settings) {
            self.jobs.follow(job);
        }
    }
}
