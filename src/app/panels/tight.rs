//! Whether there is room for everything at once, for text of the size that was chosen.

use eframe::egui::Context;

/// A window narrower than this shows the shelf or a panel, and not both; points.
const NARROW: f32 = 640.0;
/// A lower one does without what can be reached otherwise; points.
const LOW: f32 = 430.0;

/// Where room is short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::app) struct Tight {
    /// From side to side.
    pub(in crate::app) narrow: bool,
    /// From top to bottom.
    pub(in crate::app) low: bool,
}

impl Tight {
    /// In the window as it is.
    pub(in crate::app) fn of(context: &Context) -> Self {
        let size = context.content_rect().size();
        Self {
            narrow: size.x < NARROW,
            low: size.y < LOW,
        }
    }

    /// Anywhere.
    pub(in crate::app) fn any(self) -> bool {
        self.narrow || self.low
    }
}
