//! What is shown and how large, the computer keyboard, and keeping both for the next session.

use super::ask::{BoardAsk, BoardSetting, ViewAsk};
use super::session::Session;
use super::settings::Settings;

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
            ViewAsk::Panel(panel) => self.state.panel = panel,
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

    /// Keeps the settings if they have changed.
    fn keep_settings(&mut self) {
        let keyboard = self.keyboard.borrow();
        let (looks, zoom) = (self.state.looks, self.state.zoom);
        let settings = Settings::of(&keyboard.board, keyboard.velocity, looks, zoom);
        drop(keyboard);
        if let Some(job) = self.kept.keep(settings) {
            self.jobs.follow(job);
        }
    }
}
