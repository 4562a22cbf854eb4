//! Keys that came in one frame, done in the order in which they came.
//!
//! A frame asks how often a key was pressed, not when, and the keys that hold in the whole window are looked at before what is drawn:
//! of a change and Ctrl+S in one frame, what was there before the change would be saved. So a frame's keys end where one of those
//! begins, or has been, and the rest are the next frame's.

use eframe::egui::{Event, Id, Modifiers, Ui};

/// Leaves to the next frame what is not this one's turn, and takes up what the last one left.
pub(super) fn take(ui: &Ui) {
    let kept = Id::unique("keys of the next frame");
    let left = ui.data_mut(|data| data.remove_temp::<Vec<Event>>(kept));
    let left = left.unwrap_or_default();
    let later = ui.input_mut(|input| {
        let was_late = !left.is_empty();
        input.events.splice(0..0, left);
        let rest = input.events.split_off(turn(&input.events));
        let (later, others): (Vec<Event>, _) = rest.into_iter().partition(is_typed);
        // What is held by now may be the next key's.
        let first = input.events.iter().find_map(pressed);
        if let Some(held) = first.filter(|_| was_late || !later.is_empty()) {
            input.modifiers = held;
        }
        input.events.extend(others);
        later
    });
    if !later.is_empty() {
        ui.data_mut(|data| data.insert_temp(kept, later));
        ui.ctx().request_repaint();
    }
}

/// How many of the events come before the second press, if one of the two is with Control.
fn turn(events: &[Event]) -> usize {
    let mut has_chord = None;
    for (place, event) in events.iter().enumerate() {
        let Some(held) = pressed(event) else { continue };
        if has_chord.is_some_and(|chord: bool| chord || held.command) {
            return place;
        }
        has_chord = Some(held.command);
    }
    events.len()
}

/// What was held when a key was pressed. One that repeats itself does what it did, and must not lag behind the hand.
fn pressed(event: &Event) -> Option<Modifiers> {
    match event {
        Event::Key {
            pressed: true,
            repeat: false,
            modifiers,
            ..
        } => Some(*modifiers),
        _ => None,
    }
}

/// What comes from a keyboard. What comes from a pointer has moved things before the frame began.
fn is_typed(event: &Event) -> bool {
    use Event::{Copy, Cut, Ime, Key, Paste, Text};
    matches!(event, Copy | Cut | Ime(_) | Key { .. } | Paste(_) | Text(_))
}
