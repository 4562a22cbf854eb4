//! Bottles that are blown and left, the level, the walls and the sound card.

use std::time::{Duration, Instant};

use super::ask::{PlayAsk, SoundAsk};
use super::session::Session;
use crate::index::PourIndex;
use crate::synth::Command;
use crate::units::Level;

/// A tap is heard for so long at least.
const LEAST_HEARD: Duration = Duration::from_millis(120);
/// The level of what is muted, dB: under the last bit of any card.
const MUTED_DB: f64 = -200.0;
/// Lowest and highest master level, dB: what the engine takes.
pub(super) const LEVELS_DB: (f64, f64) = (-60.0, 12.0);

impl Session {
    /// Does what was asked of the bottles.
    pub(super) fn play(&mut self, ask: PlayAsk) {
        match ask {
            PlayAsk::Blow(pour, breath) => self.blow(pour, breath.clamp(0.0, 1.0)),
            PlayAsk::LetGo(pour) => self.let_go_once_heard(pour),
            PlayAsk::Tap(pour, breath) => {
                self.blow(pour, breath.clamp(0.0, 1.0));
                self.let_go_once_heard(pour);
            }
            PlayAsk::Hold(pour) => {
                let held = &mut self.state.held;
                if held.contains(&pour) {
                    held.retain(|other| *other != pour);
                } else if pour.place() < self.editing.derived.bottles.len() {
                    held.push(pour);
                }
            }
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
                let level = Level::from_db(self.heard_level_db());
                self.playing.sound.send(Command::Level(level));
            }
            SoundAsk::Mute(muted) => {
                self.state.muted = muted;
                let level = Level::from_db(self.heard_level_db());
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

    /// The level that the engine is to have, dB.
    pub(super) fn heard_level_db(&self) -> f64 {
        if self.state.muted {
            MUTED_DB
        } else {
            self.state.level_db
        }
    }

    fn quieten(&mut self, command: Command) {
        self.stop_practice();
        self.let_everything_go();
        self.state.tone = None;
        self.playing.sound.send(command);
    }

    fn blow(&mut self, pour: PourIndex, breath: f32) {
        // Blown again before it was let go: it goes on.
        self.letting_go.retain(|(waits, _)| *waits != pour);
        self.playing.now_plays(pour);
        if !self.playing.blow(pour, breath) {
            return;
        }
        self.blown_since.entry(pour).or_insert_with(Instant::now);
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

    /// Leaves a bottle, at once if it has been heard for long enough.
    fn let_go_once_heard(&mut self, pour: PourIndex) {
        let until = self
            .blown_since
            .get(&pour)
            .map(|since| *since + LEAST_HEARD);
        match until.filter(|until| *until > Instant::now()) {
            Some(until) => {
                // The hand is off it, whatever sounds on.
                self.state.blown.retain(|(blown, _)| *blown != pour);
                self.letting_go.push((pour, until));
            }
            None => self.let_go(pour),
        }
    }

    /// Leaves the bottles that have been heard for long enough; once a frame.
    pub(super) fn let_go_of_heard(&mut self) {
        let now = Instant::now();
        let due: Vec<PourIndex> = (self.letting_go.iter())
            .filter(|(_, until)| *until <= now)
            .map(|(pour, _)| *pour)
            .collect();
        self.letting_go.retain(|(_, until)| *until > now);
        for pour in due {
            self.let_go(pour);
        }
    }

    fn let_go(&mut self, pour: PourIndex) {
        self.playing.release(pour);
        let was_blown = self.blown_since.remove(&pour).is_some();
        if was_blown {
            self.state.blown.retain(|(blown, _)| *blown != pour);
            let key = self.derived().bottles[pour].note.midi();
            self.takes.write_down([0x80, key, 0]);
        }
    }
}
