//! Opening the window and keeping it open.

use std::cell::{OnceCell, RefCell};
use std::io::Write;
use std::rc::Rc;
use std::time::{Duration, Instant};

use eframe::{App, CreationContext, Frame, NativeOptions, UserEvent};
use winit::event_loop::EventLoop;

use super::document::Document;
use super::draw::draw;
use super::events::Listening;
use super::session::{Session, Setup, WorkedOut};
use super::settings::Settings;
use crate::file::piece::OpenedPiece;
use crate::live::{Desk, DeviceWish, MidiWish};
use crate::stage::EngineOptions;

/// A frame's time while something moves: thirty a second.
const LIVELY: Duration = Duration::from_millis(33);
/// The same while the microphone is open: a needle needs no more.
const HEARING: Duration = Duration::from_millis(50);
/// The smallest window that everything fits into, points.
const LEAST_SIZE: [f32; 2] = [640.0, 480.0];

/// What a window is opened with.
pub struct Start {
    /// The set.
    pub document: Document,
    /// How the engine is set up.
    pub engine: EngineOptions,
    /// The output that is wanted.
    pub output: DeviceWish,
    /// The MIDI inputs that are wanted.
    pub midi: MidiWish,
    /// The piece that plays along.
    pub piece: Option<OpenedPiece>,
    /// Since when the program runs, to tell the time to the first frame on standard error.
    pub measure: Option<Instant>,
    /// How long it stays open; until it is closed if nothing.
    pub open_for: Option<Duration>,
}

/// Why there is no window.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AppError {
    /// No display, or none that answers.
    #[error("no display: {because}")]
    NoDisplay {
        /// In one line.
        because: String,
    },
    /// There is a display, and no window or no drawing on it.
    #[error("no window: {because}")]
    NoWindow {
        /// In one line.
        because: String,
    },
}

/// The window.
struct Window {
    session: Rc<RefCell<Session>>,
    measure: Option<Instant>,
    /// When it closes by itself.
    closes_at: Option<Instant>,
    /// The first frame has been drawn.
    has_drawn: bool,
}

/// Opens the window and returns when it is closed.
///
/// # Errors
/// No display, or no drawing on it; nothing has sounded then.
pub fn run(start: Start) -> Result<(), AppError> {
    let events = EventLoop::<UserEvent>::with_user_event()
        .build()
        .map_err(|error| AppError::NoDisplay {
            because: one_line(&error.to_string()),
        })?;
    let (place, settings, because) = match Settings::place() {
        Some(place) => {
            let (settings, because) = Settings::read(&place);
            (Some(place), settings, because)
        }
        None => (None, Settings::default(), None),
    };
    let size = settings.window_size();
    let (spec, worked_out) = WorkedOut::new(&start.document, &start.engine);
    let desk = Desk::start(spec, start.output.clone(), start.midi);
    let setup = Setup {
        document: start.document,
        engine: start.engine,
        output: start.output,
        sound: Box::new(desk),
        settings,
        settings_place: place,
    };
    let mut session = Session::begin(setup, worked_out);
    if let Some(piece) = start.piece {
        session.open_piece(piece);
    }
    if let Some(error) = because {
        session.complain(error);
    }
    let keyboard = Rc::clone(&session.keyboard);
    let session = Rc::new(RefCell::new(session));
    let (watched, context) = (Rc::clone(&session), Rc::new(OnceCell::new()));
    let window = Window {
        session,
        measure: start.measure,
        closes_at: start.open_for.map(|time| Instant::now() + time),
        has_drawn: false,
    };
    let asked = Rc::clone(&context);
    let create = move |creation: &CreationContext<'_>| -> Result<Box<dyn App>, _> {
        // It is made once.
        let _ = asked.set(creation.egui_ctx.clone());
        creation
            .egui_ctx
            .options_mut(|options| options.zoom_with_keyboard = false);
        Ok(Box::new(window))
    };
    let (counted, measures) = (Rc::clone(&keyboard), start.measure.is_some());
    let inner = eframe::create_native("ullage", options(size), Box::new(create), &events);
    let mut listening = Listening {
        inner,
        keyboard,
        session: watched,
        context,
        next_look: Instant::now(),
        next_frame: Instant::now(),
        is_owed: false,
    };
    let ended = events.run_app(&mut listening);
    if measures {
        let (played, passed_over) = counted.borrow().counted();
        let _ = writeln!(
            std::io::stderr(),
            "keys played {played}, repeats passed over {passed_over}"
        );
    }
    ended.map_err(|error| AppError::NoWindow {
        because: one_line(&error.to_string()),
    })
}

fn options(size: [f32; 2]) -> NativeOptions {
    let viewport = eframe::egui::ViewportBuilder::default()
        .with_title("ullage")
        .with_inner_size(size)
        .with_min_inner_size(LEAST_SIZE)
        .with_drag_and_drop(true);
    let mut options = NativeOptions {
        viewport,
        // Shapes are smoothed as they are drawn. Without a graphics card, four samples a pixel would cost four times as
        // much time on the thread that the keys come on.
        multisampling: 0,
        ..NativeOptions::default()
    };
    // The wait for the screen would hold up the keys, which come on the same thread.
    options.glow_options.vsync = false;
    options
}

/// A toolkit's error in one line, without the place in its own source that it names.
fn one_line(error: &str) -> String {
    let line = error.replace('\n', " ");
    let said = match line.split_once(".rs:") {
        // The number of the line and a colon come next.
        Some((_, behind)) => behind.split_once(": ").map_or(behind, |(_, said)| said),
        None => &line,
    };
    said.trim().trim_end_matches('.').to_owned()
}

impl App for Window {
    fn logic(&mut self, context: &eframe::egui::Context, _frame: &mut Frame) {
        // The second frame begins when the first is on the screen.
        if self.has_drawn
            && let Some(since) = self.measure.take()
        {
            let ms = since.elapsed().as_secs_f64() * 1e3;
            let _ = writeln!(std::io::stderr(), "first frame after {ms:.0} ms");
        }
        let left = self
            .closes_at
            .map(|at| at.saturating_duration_since(Instant::now()));
        if left == Some(Duration::ZERO) {
            self.closes_at = None;
            context.send_viewport_cmd(eframe::egui::ViewportCommand::Close);
        }
        let mut session = self.session.borrow_mut();
        session.keep_playing();
        // While nothing moves, nothing is drawn: `Listening` looks whether something has changed.
        let soon = if session.is_lively() {
            Some(LIVELY)
        } else if session.state.tuner.listens() || session.state.tuner.looking {
            Some(HEARING)
        } else {
            session.next_change()
        };
        if let Some(soon) = soon.into_iter().chain(left).min() {
            context.request_repaint_after(soon);
        }
    }

    fn ui(&mut self, ui: &mut eframe::egui::Ui, _frame: &mut Frame) {
        draw(ui, &mut self.session.borrow_mut());
        self.has_drawn = true;
        if self.measure.is_some() {
            ui.ctx().request_repaint();
        }
    }

    fn clear_color(&self, visuals: &eframe::egui::Visuals) -> [f32; 4] {
        visuals.panel_fill.to_normalized_gamma_f32()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_toolkit_says_is_told_without_its_source() {
        let told =
            "os error at /somewhere/linux/mod.rs:765: neither WAYLAND_DISPLAY nor DISPLAY is set.";
        assert_eq!(one_line(told), "neither WAYLAND_DISPLAY nor DISPLAY is set");
        assert_eq!(one_line("no GL\ncontext"), "no GL context");
    }
}
