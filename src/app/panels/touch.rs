//! Who blows which bottle: the pointer, any number of fingers, and the key on the bottle that has the focus.

use std::collections::BTreeMap;

use eframe::egui::{Event, Id, Pos2, Rect, TouchPhase, Ui};

use crate::app::ask::{Ask, PlayAsk};
use crate::index::PourIndex;

/// Breath at the foot of a bottle and at its mouth, 0 to 1: it just speaks there, and is as loud as it goes here.
const BREATHS: (f32, f32) = (0.25, 1.0);
/// Breath of the focus.
pub(super) const FOCUS_BREATH: f32 = 0.6;
/// A change of breath that is worth a command.
const BREATH_STEP: f32 = 0.01;

/// The breath of a hand at `y` in the rectangle of a bottle.
pub(super) fn breath(rect: Rect, y: f32) -> f32 {
    let up = ((rect.bottom() - y) / rect.height().max(1.0)).clamp(0.0, 1.0);
    BREATHS.0 + (BREATHS.1 - BREATHS.0) * up
}

/// Where every finger is that came down in `area`; a finger that lifts or leaves the window is gone.
pub(super) fn fingers(ui: &Ui, area: Rect) -> Vec<Pos2> {
    let id = Id::unique("fingers on the shelf");
    let mut down: BTreeMap<u64, Pos2> = ui.data(|data| data.get_temp(id)).unwrap_or_default();
    ui.input(|input| {
        for event in &input.events {
            let Event::Touch { id, phase, pos, .. } = event else {
                continue;
            };
            match phase {
                TouchPhase::Start if area.contains(*pos) => {
                    down.insert(id.0, *pos);
                }
                TouchPhase::Move => {
                    if let Some(at) = down.get_mut(&id.0) {
                        *at = *pos;
                    }
                }
                TouchPhase::Start => {}
                TouchPhase::End | TouchPhase::Cancel => {
                    down.remove(&id.0);
                }
            }
        }
        if !input.focused {
            down.clear();
        }
    });
    let at = down.values().copied().collect();
    ui.data_mut(|data| data.insert_temp(id, down));
    at
}

/// A bottle is pressed in another part of the window, such as on a key of the strip; holds for this frame.
pub(super) fn press_elsewhere(ui: &Ui, pour: PourIndex, breath: f32) {
    let id = elsewhere_id();
    let mut pressed: Vec<(PourIndex, f32)> = ui.data(|data| data.get_temp(id)).unwrap_or_default();
    pressed.push((pour, breath));
    ui.data_mut(|data| data.insert_temp(id, pressed));
}

/// The bottles that are pressed in other parts of the window, once.
pub(super) fn elsewhere(ui: &Ui) -> Vec<(PourIndex, f32)> {
    let id = elsewhere_id();
    let pressed: Option<Vec<(PourIndex, f32)>> = ui.data(|data| data.get_temp(id));
    ui.data_mut(|data| data.remove::<Vec<(PourIndex, f32)>>(id));
    pressed.unwrap_or_default()
}

fn elsewhere_id() -> Id {
    Id::unique("bottles pressed elsewhere")
}

/// What has to be asked for `now` to be blown where `before` was.
pub(super) fn changes(
    before: &[(PourIndex, f32)],
    now: &BTreeMap<PourIndex, f32>,
    asks: &mut Vec<Ask>,
) {
    for &(index, _) in before {
        if !now.contains_key(&index) {
            asks.push(PlayAsk::LetGo(index).into());
        }
    }
    for (&index, &breath) in now {
        let held = before.iter().find(|(blown, _)| *blown == index);
        if held.is_none_or(|(_, before)| (before - breath).abs() > BREATH_STEP) {
            asks.push(PlayAsk::Blow(index, breath).into());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use eframe::egui::pos2;

    #[test]
    fn the_higher_the_hand_the_harder_the_breath() {
        let rect = Rect::from_min_max(pos2(0.0, 100.0), pos2(50.0, 300.0));
        let (foot, middle, mouth) = (
            breath(rect, 300.0),
            breath(rect, 200.0),
            breath(rect, 100.0),
        );
        assert!(foot < middle && middle < mouth);
        // From 0.22 on a bottle speaks.
        assert!(foot > 0.22 && mouth <= 1.0);
    }

    #[test]
    fn only_what_changes_is_asked_for() {
        let mut asks = Vec::new();
        let at = PourIndex::new;
        let now = BTreeMap::from([(at(1), 0.5), (at(2), 0.7), (at(3), 0.4)]);
        changes(&[(at(0), 0.5), (at(1), 0.5), (at(2), 0.5)], &now, &mut asks);
        let wanted = [
            PlayAsk::LetGo(at(0)),
            PlayAsk::Blow(at(2), 0.7),
            PlayAsk::Blow(at(3), 0.4),
        ];
        assert_eq!(asks, wanted.map(Ask::from));
    }
}
