//! What was asked of the engine and still holds, so that the next engine can be told.

use std::collections::BTreeMap;

use crate::index::BottleIndex;
use crate::synth::Command;

/// The last of each kind of command that lasts.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Memory {
    level: Option<Command>,
    wet: Option<Command>,
    tone: Option<Command>,
    tunes: BTreeMap<BottleIndex, Command>,
    /// Where a pointer left each rail.
    slides: BTreeMap<u16, Command>,
}

impl Memory {
    /// Keeps `command` if it lasts.
    pub(super) fn note(&mut self, command: Command) {
        match command {
            Command::Level(_) => self.level = Some(command),
            Command::Wet(_) => self.wet = Some(command),
            Command::Tone { .. } => self.tone = Some(command),
            Command::Tune { bottle, .. } => {
                self.tunes.insert(bottle, command);
            }
            Command::Slide { rail, .. } => {
                self.slides.insert(rail, command);
            }
            Command::AllOff | Command::Silence => self.tone = None,
            Command::Midi { .. }
            | Command::Blow { .. }
            | Command::Release { .. }
            | Command::Click { .. }
            | Command::Forget => {}
        }
    }

    /// What there is to tell, in any order.
    pub(super) fn commands(&self) -> impl Iterator<Item = Command> + '_ {
        let single = [self.level, self.wet, self.tone];
        single
            .into_iter()
            .flatten()
            .chain(self.tunes.values().copied())
            .chain(self.slides.values().copied())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Frequency, Level};

    #[test]
    fn the_last_of_each_kind_is_told_and_notes_are_not() {
        let mut memory = Memory::default();
        let tune = |bottle, hz| Command::Tune {
            bottle: BottleIndex::new(bottle),
            frequency: Frequency::from_hz(hz),
            q: 20.0,
        };
        let blow = Command::Blow {
            bottle: BottleIndex::new(1),
            breath: 0.5,
        };
        let slide = Command::Slide {
            rail: 0,
            position: 0.7,
        };
        let (soft, loud) = (Level::from_db(-20.0), Level::from_db(-10.0));
        for command in [
            Command::Level(soft),
            tune(1, 200.0),
            blow,
            Command::Slide {
                rail: 0,
                position: 0.1,
            },
            tune(2, 300.0),
            tune(1, 210.0),
            Command::Level(loud),
            slide,
        ] {
            memory.note(command);
        }
        let told: Vec<Command> = memory.commands().collect();
        assert_eq!(
            told,
            [Command::Level(loud), tune(1, 210.0), tune(2, 300.0), slide]
        );
    }

    #[test]
    fn a_tone_that_everything_off_has_stopped_does_not_come_back() {
        let mut memory = Memory::default();
        let frequency = Some(Frequency::from_hz(440.0));
        memory.note(Command::Tone { frequency });
        memory.note(Command::AllOff);
        assert_eq!(memory.commands().count(), 0);
    }
}
