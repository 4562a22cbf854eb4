//! Bottles that are blown and left, the level, the walls and the sound card.

use super::ask::{PlayAsk, SoundAsk};
use super::session::Session;
use crate::index::PourIndex;
use crate::synth::Command;
use crate::units::Level;

/// Lowest and highest master level, dB: what the engine takes.
pub(super) const LEVELS_DB: (f64, f64) = (-60.0, 12.0);

impl Session {
    /// Does what was asked of the bottles.
    pub(super) fn play(&mut self, ask: PlayAsk) {
        match ask {
            PlayAsk::Blow(pour, breath) => self.blow(pour, breath.clamp(0.0, 1.0)),
            PlayAsk::LetGo(pour) => self.let_go(pour),
            PlayAsk::Equal(equal) => {
                self.state.equal = equal;
                self.retune();
            }
            PlayAsk::Tone(pour) => {
                let target = pour.and_then(|pour| self.derived().bottles.get(pour.place()));
                let frequency = target.map(|bottle| bottle.target);
                self.state.tone = pour.filter(|_| frequency.is_some());
                self.playing.sound.send(Command::Tone { frequency });
            }
            PlayAsk::AllOff => self.quieten(Command::AllOff),
            PlayAsk::Silence => self.quieten(Command::Silence),
        }
    }

    /// Does what was asked of the sound.
    pub(super) fn sound(&mut self, ask: SoundAsk) {
        match ask {
            SoundAsk::Level(db) => {
                self.state.level_db = db.clamp(LEVELS_DB.0, LEVELS_DB.1);
                let level = Level::from_db(self.state.level_db);
                self.playing.sound.send(Command::Level(level));
            }
            SoundAsk::Wet(wet) => {
                self.state.wet = wet.clamp(0.0, 1.0);
                self.playing.sound.send(Command::Wet(self.state.wet));
            }
            SoundAsk::Output(wish) => {
                self.playing.output = wish.clone();
                self.playing.sound.choose_output(wish);
            }
            SoundAsk::Retry => self.playing.sound.retry(),
            SoundAsk::LookForOutputs => {
                self.state.looking = true;
                self.jobs.look_for_outputs();
            }
        }
    }

    fn quieten(&mut self, command: Command) {
        self.stop_practice();
        self.let_everything_go();
        self.state.tone = None;
        self.playing.sound.send(command);
    }

    fn blow(&mut self, pour: PourIndex, breath: f32) {
        if !self.playing.blow(pour, breath) {
            return;
        }
        let mut blown = self.state.blown.iter_mut();
        if let Some((_, before)) = blown.find(|(blown, _)| *blown == pour) {
            *before = breath;
            return;
        }
        self.state.blown.push((pour, breath));
        let key = self.derived().bottles[pour].note.midi();
        self.heard_note(self.playing.sound.clock_s(), key);
        // A velocity of 0 would be an end.
        let velocity = (127.0 * breath).clamp(1.0, 127.0) as u8;
        self.takes.write_down([0x90, key, velocity]);
    }

    fn let_go(&mut self, pour: PourIndex) {
        self.playing.release(pour);
        if self.state.blown.iter().any(|(blown, _)| *blown == pour) {
            self.state.blown.retain(|(blown, _)| *blown != pour);
            let key = self.derived().bottles[pour].note.midi();
            self.takes.write_down([0x80, key, 0]);
        }
    }
}
