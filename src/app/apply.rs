//! Each ask, and what comes of it.

use super::ask::{Ask, BoardAsk, Gesture, RoomAsk};
use super::document::Model;
use super::files::{self, Answer, Dialog, Purpose};
use super::practice::PracticeAsk;
use super::session::{Seat, Session};
use super::state::{Drift, Leaving, Naming, Taking};
use super::take::{SmfTake, WavTake};
use crate::physics::conditions::Conditions;
use crate::physics::mouth::MIN_OPEN_SHARE;
use crate::synth::Command;
use crate::tuning::{NoteName, Tuning};
use crate::units::Level;

/// Lowest and highest master level, dB: what the engine takes.
pub(super) const LEVELS_DB: (f64, f64) = (-60.0, 12.0);
/// Smallest and largest size of everything.
pub(super) const ZOOMS: (f32, f32) = (0.5, 4.0);

impl Session {
    /// Does what was asked.
    pub fn apply(&mut self, ask: Ask) {
        match ask {
            Ask::Blow(index, breath) => self.blow(index, breath),
            Ask::LetGo(index) => self.let_go(index),
            Ask::Select(index) => {
                if index < self.derived.bottles.len() {
                    self.state.selected = Some(index);
                }
            }
            Ask::Fill(index, fill, gesture) => self.set(index, fill.ml(), gesture),
            Ask::Set(index, value, gesture) => self.set(index, value, gesture),
            Ask::Tune(index) => self.tune(index),
            Ask::TuneAll => self.tune_all(),
            Ask::Note(index, text) => self.rename(index, &text),
            Ask::Room(room, gesture) => self.room(&room, gesture),
            Ask::Drift(drift) => self.drift(drift),
            Ask::Equal(equal) => {
                self.state.equal = equal;
                self.retune();
            }
            Ask::Tone(index) => self.set_tone(index),
            Ask::Level(db) => {
                self.state.level_db = db.clamp(LEVELS_DB.0, LEVELS_DB.1);
                let level = Level::from_db(self.state.level_db);
                self.sound.send(Command::Level(level));
            }
            Ask::Wet(wet) => {
                self.state.wet = wet.clamp(0.0, 1.0);
                self.sound.send(Command::Wet(self.state.wet));
            }
            Ask::AllOff => {
                self.stop_practice();
                self.let_everything_go();
                self.state.tone = None;
                self.sound.send(Command::AllOff);
            }
            Ask::Silence => {
                self.stop_practice();
                self.let_everything_go();
                self.state.tone = None;
                self.sound.send(Command::Silence);
            }
            Ask::Output(wish) => {
                self.output = wish.clone();
                self.sound.choose_output(wish);
            }
            Ask::Retry => self.sound.retry(),
            Ask::LookForOutputs => {
                self.state.looking = true;
                self.looking = Some(files::outputs());
            }
            Ask::Undo => self.step(true),
            Ask::Redo => self.step(false),
            Ask::Board(board) => self.board(board),
            Ask::Practice(ask) => self.practise(ask),
            Ask::Tuner(ask) => self.tuner(ask),
            Ask::Panel(panel) => self.state.panel = panel,
            Ask::Looks(looks) => {
                self.state.looks = looks;
                self.keep_settings();
            }
            Ask::Zoom(zoom) => {
                self.state.zoom = zoom.clamp(ZOOMS.0, ZOOMS.1);
                self.keep_settings();
            }
            Ask::Dismiss => self.state.note = None,
            other => self.apply_to_files(other),
        }
    }

    fn apply_to_files(&mut self, ask: Ask) {
        match ask {
            Ask::Open => self.ask_for(Purpose::Open),
            Ask::OpenFile(path) if files::is_piece(&path) => {
                self.practise(PracticeAsk::Open(path));
            }
            Ask::OpenFile(path) => {
                self.state.leaving = Some(Leaving::For(path));
                if !self.document.is_changed() {
                    self.leave();
                }
            }
            Ask::Save => {
                self.save();
            }
            Ask::SaveAs => self.ask_for(Purpose::SaveAs),
            Ask::RecordWav => self.ask_for(Purpose::Wav),
            Ask::RecordSmf => self.ask_for(Purpose::Smf),
            Ask::StopRecording => self.stop_recording(),
            Ask::Named(text) => self.named(&text),
            Ask::Unnamed => self.state.naming = None,
            Ask::Close => {
                self.state.leaving = Some(Leaving::Window);
                if !self.document.is_changed() {
                    self.leave();
                }
            }
            Ask::LeaveAnyway => self.leave(),
            Ask::SaveAndLeave => self.save_and_leave(),
            Ask::Stay => self.state.leaving = None,
            _ => {}
        }
    }

    fn voice(&self, index: usize) -> Option<Seat> {
        self.voices.get(index).copied().flatten()
    }

    fn blow(&mut self, index: usize, breath: f32) {
        let Some(Seat { bottle, place }) = self.voice(index) else {
            return;
        };
        let breath = breath.clamp(0.0, 1.0);
        if let Some((rail, position)) = place {
            let position = position as f32;
            self.sound.send(Command::Slide { rail, position });
        }
        self.sound.send(Command::Blow { bottle, breath });
        let held = self
            .state
            .blown
            .iter_mut()
            .find(|(blown, _)| *blown == index);
        if let Some((_, before)) = held {
            *before = breath;
        } else {
            self.state.blown.push((index, breath));
            let key = self.derived.bottles[index].note.midi();
            self.heard_note(self.sound.clock_s(), key);
            // A velocity of 0 would be an end.
            let velocity = (127.0 * breath).clamp(1.0, 127.0) as u8;
            self.write_down([0x90, key, velocity]);
        }
    }

    fn let_go(&mut self, index: usize) {
        if let Some(Seat { bottle, .. }) = self.voice(index) {
            self.sound.send(Command::Release { bottle });
        }
        if self.state.blown.iter().any(|(blown, _)| *blown == index) {
            self.state.blown.retain(|(blown, _)| *blown != index);
            let key = self.derived.bottles[index].note.midi();
            self.write_down([0x80, key, 0]);
        }
    }

    fn write_down(&mut self, bytes: [u8; 3]) {
        if let Some(take) = &mut self.smf {
            take.at(std::time::Instant::now(), bytes);
        }
    }

    fn set(&mut self, index: usize, value: f64, gesture: Gesture) {
        let Some(bottle) = self.derived.bottles.get(index) else {
            return;
        };
        if !value.is_finite() {
            return;
        }
        let setting = bottle.knob.turned_to(value);
        self.state.selected = Some(index);
        if self.edit(gesture, |model| model.set(index, setting)) {
            self.rethink_one(index);
        }
    }

    fn tune(&mut self, index: usize) {
        if index >= self.derived.bottles.len() {
            return;
        }
        let fixed = self.document.fixed.clone();
        let Some(setting) = self.document.model.solved(index, &fixed) else {
            let bottle = &self.derived.bottles[index];
            let text = format!("{} cannot give {}: out of reach", bottle.name, bottle.note);
            return self.complain(text);
        };
        if self.edit(Gesture::Single, |model| model.set(index, setting)) {
            self.rethink_one(index);
        }
    }

    fn tune_all(&mut self) {
        let fixed = self.document.fixed.clone();
        if self.edit(Gesture::Single, |model| model.pour_again(&fixed)) {
            self.rethink();
        }
    }

    fn rename(&mut self, index: usize, text: &str) {
        let note: NoteName = match text.parse() {
            Ok(note) => note,
            Err(error) => return self.complain(format!("{text:?} is no note: {error}")),
        };
        let changes = |model: &mut Model| {
            if let Some(pour) = model.pours.get_mut(index) {
                pour.note = note;
            }
        };
        if self.edit(Gesture::Single, changes) {
            self.rebuild();
        }
    }

    fn room(&mut self, ask: &RoomAsk, gesture: Gesture) {
        let changed = match changed(&self.document.model, ask) {
            Ok(model) => model,
            Err(because) => return self.complain(because),
        };
        let fixed = self.document.fixed.clone();
        let again = self.state.drift == Drift::PourAgain;
        let edited = self.edit(gesture, |model| {
            *model = changed;
            if again {
                model.pour_again(&fixed);
            }
        });
        if !edited {
            return;
        }
        // Other gases have other air modes, which only a new engine gets.
        match ask {
            RoomAsk::Gas(_) | RoomAsk::Liquid(_) | RoomAsk::Headspace(_) => self.rebuild(),
            _ => self.rethink(),
        }
        if self.state.tone.is_some() {
            self.set_tone(self.state.tone);
        }
    }

    fn drift(&mut self, drift: Drift) {
        self.state.drift = drift;
        if drift == Drift::PourAgain {
            self.tune_all();
        }
    }

    fn step(&mut self, back: bool) {
        let now = &self.document.model;
        let found = if back {
            self.history.undo(now)
        } else {
            self.history.redo(now)
        };
        let Some(model) = found else { return };
        let notes = |model: &Model| model.pours.iter().map(|p| p.note).collect::<Vec<_>>();
        let other_gas = model.conditions.gas != now.conditions.gas
            || model.conditions.liquid != now.conditions.liquid
            || model.conditions.headspace != now.conditions.headspace;
        let other_notes = notes(&model) != notes(now);
        let other_heard = self.refit(&model);
        self.document.model = model;
        if other_gas || other_notes || other_heard {
            self.rebuild();
        } else {
            self.rethink();
        }
    }

    fn board(&mut self, ask: BoardAsk) {
        self.keyboard.borrow_mut().all_off();
        if let BoardAsk::WaitFor(note) = ask {
            self.keyboard.borrow_mut().take_asked();
            self.state.wants_key = note;
            return;
        }
        let mut keyboard = self.keyboard.borrow_mut();
        match ask {
            BoardAsk::Layout(layout) => {
                keyboard.board.layout = layout;
                keyboard.board.shift = 0;
                keyboard.board.shift = keyboard.board.best_shift();
            }
            BoardAsk::Shift(shift) => keyboard.board.shift = shift.clamp(-3, 5),
            BoardAsk::Velocity(velocity) => keyboard.velocity = velocity.clamp(1, 127),
            BoardAsk::Latch(latch) => keyboard.latch = latch,
            BoardAsk::Forget => keyboard.board.own.clear(),
            BoardAsk::WaitFor(_) => {}
        }
        drop(keyboard);
        self.keep_settings();
    }

    /// Gives the note that waits the key that was pressed.
    pub(super) fn take_wanted_key(&mut self) {
        let mut keyboard = self.keyboard.borrow_mut();
        let asked = keyboard.take_asked();
        let (Some(note), Some(code)) = (self.state.wants_key, asked) else {
            return;
        };
        keyboard.board.own.retain(|_, own| *own != note);
        keyboard.board.own.insert(code, note);
        drop(keyboard);
        self.state.wants_key = None;
        self.keep_settings();
    }

    pub(super) fn ask_for(&mut self, purpose: Purpose) {
        if self.dialog.is_some() {
            return;
        }
        self.dialog = Dialog::open(purpose, self.document.path.clone());
        self.state.asking = self.dialog.is_some();
    }

    /// Asks for a file in the window itself.
    fn ask_here(&mut self, purpose: Purpose) {
        let suggested = purpose.suggested(&self.document.path);
        self.state.naming = Some(Naming {
            purpose,
            suggested: suggested.display().to_string(),
            exists: None,
        });
    }

    fn named(&mut self, text: &str) {
        let Some(naming) = &mut self.state.naming else {
            return;
        };
        let path = std::path::PathBuf::from(text.trim());
        let purpose = naming.purpose;
        let replaces = !purpose.is_read() && path.exists();
        if replaces && naming.exists.as_ref() != Some(&path) {
            naming.exists = Some(path);
            return;
        }
        self.state.naming = None;
        self.chosen(purpose, path);
    }

    fn save(&mut self) -> bool {
        match self.document.save() {
            Ok(()) => {
                self.say(format!("saved {}", self.document.path.display()));
                true
            }
            Err(error) => {
                self.complain(error.told());
                self.state.leaving = None;
                false
            }
        }
    }

    fn save_and_leave(&mut self) {
        if self.save() {
            self.leave();
        }
    }

    /// Looks what threads have to tell.
    pub(super) fn poll_jobs(&mut self) {
        if let Some((purpose, answer)) = self
            .dialog
            .as_ref()
            .and_then(|d| Some((d.purpose, d.answer()?)))
        {
            self.dialog = None;
            self.state.asking = false;
            match answer {
                Answer::Chosen(path) => self.chosen(purpose, path),
                Answer::Nothing => {}
                Answer::NoDialog => self.ask_here(purpose),
            }
        }
        if let Some(found) = self.looking.as_ref().map(|looking| looking.try_recv()) {
            use std::sync::mpsc::TryRecvError::Empty;
            if !matches!(found, Err(Empty)) {
                self.state.outputs = found.ok();
                self.state.looking = false;
                self.looking = None;
            }
        }
        let mut told = Vec::new();
        self.writing.retain(|job| match job.try_recv() {
            Ok(how) => {
                told.push(how);
                false
            }
            Err(error) => error == std::sync::mpsc::TryRecvError::Empty,
        });
        self.sound.recorded();
        if let Some(how) = self.wav.as_ref().and_then(WavTake::told) {
            self.wav = None;
            self.state.taking.retain(|t| !matches!(t, Taking::Wav(_)));
            told.push(how);
        } else if self
            .wav
            .as_ref()
            .is_some_and(|wav| wav.rate_hz != self.desk.rate_hz)
        {
            // Another rate would sound at another pitch from here on.
            self.sound.end_record();
        }
        for how in told {
            match how {
                Ok(text) => self.say(text),
                Err(text) => self.complain(text),
            }
        }
    }

    /// A file was chosen in a dialog.
    pub(super) fn chosen(&mut self, purpose: Purpose, path: std::path::PathBuf) {
        match purpose {
            Purpose::Open => self.apply(Ask::OpenFile(path)),
            Purpose::Piece => self.practise(PracticeAsk::Open(path)),
            Purpose::SaveAs => match self.document.save_as(&path) {
                Ok(()) => self.say(format!("saved {}", path.display())),
                Err(error) => self.complain(error.told()),
            },
            Purpose::Wav => self.record_wav(&path),
            Purpose::Smf => {
                self.smf = Some(SmfTake::begin(&path, self.sound.clock_s()));
                self.state.taking.push(Taking::Smf(path));
            }
        }
    }

    fn record_wav(&mut self, path: &std::path::Path) {
        let begun = WavTake::begin(path, self.desk.rate_hz);
        let (take, sink) = match begun {
            Ok(begun) => begun,
            Err(error) => return self.complain(error.to_string()),
        };
        match self.sound.record(sink) {
            Ok(()) => {
                self.state.taking.push(Taking::Wav(take.path.clone()));
                self.wav = Some(take);
            }
            Err(error) => self.complain(error.to_string()),
        }
    }

    fn stop_recording(&mut self) {
        if self.wav.is_some() {
            self.sound.end_record();
        }
        if let Some(take) = self.smf.take() {
            self.state.taking.retain(|t| !matches!(t, Taking::Smf(_)));
            self.writing.push(take.end());
        }
    }
}

/// The model with a change of the room, or why it cannot be.
fn changed(model: &Model, ask: &RoomAsk) -> Result<Model, String> {
    let mut model = model.clone();
    let Conditions { room, .. } = &mut model.conditions;
    match ask {
        RoomAsk::Temperature(temperature) => room.temperature = *temperature,
        RoomAsk::Humidity(share) => room.humidity = share.clamp(0.0, 1.0),
        RoomAsk::Pressure(pressure) => room.pressure = *pressure,
        RoomAsk::Gas(name) => {
            model.conditions.gas = name.parse().map_err(|e| format!("{name:?}: {e}"))?;
        }
        RoomAsk::Liquid(name) => {
            model.conditions.liquid = name.parse().map_err(|e| format!("{name:?}: {e}"))?;
        }
        RoomAsk::Headspace(name) => {
            model.conditions.headspace = name.parse().map_err(|e| format!("{name:?}: {e}"))?;
        }
        RoomAsk::LipOpen(share) => {
            model.conditions.lip_open = share.clamp(MIN_OPEN_SHARE, 1.0);
        }
        RoomAsk::Breath(share) => model.conditions.neck_breath = share.clamp(0.0, 1.0),
        RoomAsk::A4(a4) => {
            let (temperament, tonic) = (model.tuning.temperament().clone(), model.tuning.tonic());
            model.tuning = Tuning::new(*a4, temperament, tonic).map_err(|e| e.to_string())?;
        }
    }
    model
        .conditions
        .gases()
        .map_err(|error| error.to_string())?;
    Ok(model)
}
