//! Key presses, taken where the window system hands them out: before eframe, and not in any frame.

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
        let until = match events.control_flow() {
            ControlFlow::Poll => return,
            ControlFlow::Wait => self.next_look,
            ControlFlow::WaitUntil(at) => at.min(self.next_look),
        };
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
        self.inner.window_event(events, window, event);
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
