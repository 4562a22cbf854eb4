//! Key presses, taken where the window system hands them out: before eframe, and not in any frame. And how often there is one.

use std::cell::{OnceCell, RefCell};
use std::rc::Rc;
use std::time::{Duration, Instant};

use eframe::egui::Context;
use eframe::{EframeWinitApplication, UserEvent};
use winit::application::ApplicationHandler;
use winit::event::{DeviceEvent, DeviceId, ElementState, StartCause, WindowEvent};
use winit::event_loop::{ActiveEventLoop, ControlFlow};
use winit::keyboard::{Key, PhysicalKey};
use winit::window::WindowId;

use super::keyboard::{Keyboard, Press};
use super::session::Session;

/// eframe's handler of events, with an ear for keys in front of it.
pub(super) struct Listening<'a> {
    /// What draws.
    pub inner: EframeWinitApplication<'a>,
    /// What plays.
    pub keyboard: Rc<RefCell<Keyboard>>,
    /// What may have changed while nothing is drawn.
    pub session: Rc<RefCell<Session>>,
    /// What asks for a frame, once there is a window.
    pub context: Rc<OnceCell<Context>>,
    /// When it is looked at next.
    pub next_look: Instant,
    /// No frame is drawn before.
    pub next_frame: Instant,
    /// One was asked for sooner.
    pub is_owed: bool,
}

/// Frames come no faster than this: a pointer that moves asks for many more.
const FASTEST: Duration = Duration::from_millis(16);
/// The part of the time that drawing may take. Without a graphics card a large window is drawn on the processor, more than
/// one core at a time; the sound needs it more.
const SHARE: f64 = 0.3;
/// However long a frame took, the next one comes within this after it.
const LONGEST: Duration = Duration::from_millis(100);

/// From the beginning of a frame that took so long to the next.
fn apart(took: Duration) -> Duration {
    took.div_f64(SHARE)
        .clamp(FASTEST, took.max(FASTEST) + LONGEST)
}

/// Devices and threads are looked at so often, without drawing anything.
const LOOK: Duration = Duration::from_millis(200);

impl Listening<'_> {
    /// Asks for a frame if something has changed by itself, and sees to it that this is asked again.
    fn watch(&mut self, events: &ActiveEventLoop) {
        let now = Instant::now();
        if now >= self.next_look {
            self.next_look = now + LOOK;
            if let (Ok(mut session), Some(context)) =
                (self.session.try_borrow_mut(), self.context.get())
                && session.wants_frame()
            {
                context.request_repaint();
            }
        }
        if self.is_owed && now >= self.next_frame {
            self.is_owed = false;
            if let Some(context) = self.context.get() {
                context.request_repaint();
            }
        }
        let mut until = match events.control_flow() {
            ControlFlow::Poll => return,
            ControlFlow::Wait => self.next_look,
            ControlFlow::WaitUntil(at) => at.min(self.next_look),
        };
        if self.is_owed {
            until = until.min(self.next_frame);
        }
        events.set_control_flow(ControlFlow::WaitUntil(until));
    }

    fn listen(&self, event: &WindowEvent) {
        // Never borrowed while events are handed out: frames borrow it only while they are drawn.
        let Ok(mut keyboard) = self.keyboard.try_borrow_mut() else {
            return;
        };
        match event {
            WindowEvent::KeyboardInput {
                event,
                is_synthetic,
                ..
            } => {
                let PhysicalKey::Code(code) = event.physical_key else {
                    return;
                };
                if let Key::Character(text) = &event.logical_key {
                    keyboard.learn(code, text);
                }
                keyboard.press(Press {
                    code,
                    down: event.state == ElementState::Pressed,
                    repeat: event.repeat,
                    synthetic: *is_synthetic,
                });
            }
            WindowEvent::ModifiersChanged(modifiers) => {
                let held = modifiers.state();
                keyboard.chord = held.control_key() || held.alt_key() || held.super_key();
            }
            WindowEvent::Focused(false) => keyboard.all_off(),
            _ => {}
        }
    }
}

impl ApplicationHandler<UserEvent> for Listening<'_> {
    fn window_event(&mut self, events: &ActiveEventLoop, window: WindowId, event: WindowEvent) {
        self.listen(&event);
        if !matches!(event, WindowEvent::RedrawRequested) {
            return self.inner.window_event(events, window, event);
        }
        let begins = Instant::now();
        if begins < self.next_frame {
            self.is_owed = true;
            return;
        }
        self.is_owed = false;
        self.inner.window_event(events, window, event);
        self.next_frame = begins + apart(begins.elapsed());
    }

    fn new_events(&mut self, events: &ActiveEventLoop, cause: StartCause) {
        self.inner.new_events(events, cause);
    }

    fn resumed(&mut self, events: &ActiveEventLoop) {
        self.inner.resumed(events);
    }

    fn user_event(&mut self, events: &ActiveEventLoop, event: UserEvent) {
        self.inner.user_event(events, event);
    }

    fn device_event(&mut self, events: &ActiveEventLoop, device: DeviceId, event: DeviceEvent) {
        self.inner.device_event(events, device, event);
    }

    fn about_to_wait(&mut self, events: &ActiveEventLoop) {
        self.inner.about_to_wait(events);
        self.watch(events);
    }

    fn suspended(&mut self, events: &ActiveEventLoop) {
        self.inner.suspended(events);
    }

    fn exiting(&mut self, events: &ActiveEventLoop) {
        self.inner.exiting(events);
    }

    fn memory_warning(&mut self, events: &ActiveEventLoop) {
        self.inner.memory_warning(events);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_come_as_often_as_drawing_takes_no_more_than_its_share() {
        let ms = |ms: u64| Duration::from_millis(ms);
        assert_eq!(apart(ms(1)), FASTEST);
        for took in [ms(6), ms(15), ms(30)] {
            let share = took.as_secs_f64() / apart(took).as_secs_f64();
            assert!((share - SHARE).abs() < 1e-3, "{took:?}: {share}");
        }
        // One that took two seconds does not make the next wait for seven.
        assert_eq!(apart(ms(2000)), ms(2100));
    }
}
