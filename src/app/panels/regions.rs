//! The parts of the window that F6 goes through: each says by what it takes the focus.

use eframe::egui::{Id, Key, Ui};

/// A part of the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::app) enum Region {
    /// The tabs at the top.
    Places,
    /// The bottles.
    Shelf,
    /// The tabs at the side.
    Side,
    /// The piece.
    Transport,
}

impl Region {
    const ALL: [Self; 4] = [Self::Places, Self::Shelf, Self::Side, Self::Transport];
}

/// What was said last.
type Anchor = (u64, Id);

fn key(region: Region) -> Id {
    Id::unique(("region", region as u8))
}

/// The part takes the focus by this widget, in this frame.
pub(super) fn anchor(ui: &Ui, region: Region, id: Id) {
    let frame = ui.ctx().cumulative_frame_nr();
    ui.data_mut(|data| data.insert_temp::<Anchor>(key(region), (frame, id)));
}

/// F6 goes to the next part, with Shift to the one before; at the end of a frame.
pub(in crate::app) fn step(ui: &Ui) {
    let steps = ui.input(|input| {
        let count = input.num_presses(Key::F6);
        if input.modifiers.shift {
            Region::ALL.len() - count % Region::ALL.len()
        } else {
            count
        }
    });
    if steps == 0 || steps == Region::ALL.len() {
        return;
    }
    let frame = ui.ctx().cumulative_frame_nr();
    let there: Vec<Id> = Region::ALL
        .into_iter()
        .filter_map(|region| ui.data(|data| data.get_temp::<Anchor>(key(region))))
        .filter(|(when, _)| *when == frame)
        .map(|(_, id)| id)
        .collect();
    if there.is_empty() {
        return;
    }
    let now = ui.memory(|memory| memory.focused());
    let place = now.and_then(|now| there.iter().position(|id| *id == now));
    let next = place.map_or(0, |place| (place + steps) % there.len());
    ui.memory_mut(|memory| memory.request_focus(there[next]));
}
