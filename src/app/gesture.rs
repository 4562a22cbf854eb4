//! What belongs together of the changes that a hand makes.

/// Whether a change is one of many that belong together, such as the steps of a drag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gesture {
    /// By itself: one step to undo.
    Single,
    /// Part of the drag of this number, which is one step in all.
    Drag(u64),
}
