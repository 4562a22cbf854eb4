//! From what was asked to what changes and what is heard.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::mpsc::Receiver;

use super::ask::{Ask, Gesture};
use super::derived::{Derived, Shown};
use super::document::{Document, Model};
use super::files::Dialog;
use super::hearing::Hearing;
use super::history::History;
use super::keyboard::Keyboard;
use super::practice::{Pace, PracticeAsk};
use super::settings::Settings;
use super::sound::Sound;
use super::state::{Leaving, Note, State};
use super::take::{SmfTake, WavTake};
use crate::live::{DeskState, DeviceWish, HostInfo};
use crate::stage::{EngineOptions, played};
use crate::synth::{
    Command, EngineSpec, HIGHEST_HZ, HIGHEST_Q, HIGHEST_STRUCK_HZ, HIGHEST_STRUCK_Q, LOWEST_HZ,
};
use crate::units::{Frequency, Level};

/// Bottles whose slower numbers are worked out in one frame.
const REFINED_A_FRAME: usize = 2;
/// A pitch or Q that moves by less than this part is not worth a command.
const SAME: f64 = 1e-6;

/// What a session begins with.
pub struct Setup {
    /// The set.
    pub document: Document,
    /// How the engine is set up.
    pub engine: EngineOptions,
    /// The output that was asked for.
    pub output: DeviceWish,
    /// What sounds.
    pub sound: Box<dyn Sound>,
    /// Of the last session.
    pub settings: Settings,
    /// Where they are kept; nowhere if nothing.
    pub settings_place: Option<PathBuf>,
}

/// A set that is being played and changed.
pub struct Session {
    /// What there is to see besides the set.
    pub state: State,
    /// The set and its file.
    pub document: Document,
    /// What the models say about it.
    pub derived: Derived,
    /// How the sound stands, as of this frame.
    pub desk: DeskState,
    /// The output that was asked for.
    pub output: DeviceWish,
    /// The computer keyboard.
    pub keyboard: Rc<RefCell<Keyboard>>,
    pub(super) sound: Box<dyn Sound>,
    pub(super) history: History,
    pub(super) engine: EngineOptions,
    /// How the stream runs beside the clock, and when it was looked at last.
    pub(super) pace: Pace,
    pub(super) last_look: std::time::Instant,
    /// Where each note is in the engine; nothing for one that cannot sound.
    pub(super) voices: Vec<Option<Seat>>,
    /// Pitch and Q that each bottle was last given.
    sent: Vec<(f64, f64)>,
    pub(super) dialog: Option<Dialog>,
    pub(super) looking: Option<Receiver<Vec<HostInfo>>>,
    pub(super) inputs: Option<Receiver<Vec<HostInfo>>>,
    pub(super) hearing: Hearing,
    pub(super) wav: Option<WavTake>,
    pub(super) smf: Option<SmfTake>,
    pub(super) writing: Vec<Receiver<Result<String, String>>>,
    settings: Settings,
    settings_place: Option<PathBuf>,
}

/// Where a bottle is in the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seat {
    /// Its number.
    pub(super) bottle: u16,
    /// The rail that it slides on, and where this note is on it, 0 to 1.
    pub(super) place: Option<(u16, f64)>,
}

/// The engine of what can sound of a set, and where each of its notes is in it.
pub(super) fn engine_of(
    document: &Document,
    derived: &Derived,
    options: &EngineOptions,
) -> (EngineSpec, Vec<Option<Seat>>) {
    let mut set = document.set();
    let sounds = |bottle: &Shown| bottle.hz().is_some_and(|hz| can_sound(bottle, hz));
    let mut place = derived.bottles.iter();
    set.pours.retain(|_| place.next().is_some_and(sounds));
    match played(&set, options) {
        Ok(played) => {
            let mut seats = played.player_of.iter().zip(&played.place_of);
            let seat = |bottle: &Shown| {
                let (player, place) = sounds(bottle).then(|| seats.next())??;
                let bottle = u16::try_from(*player).ok()?;
                Some(Seat {
                    bottle,
                    place: *place,
                })
            };
            let voices = derived.bottles.iter().map(seat).collect();
            (played.spec, voices)
        }
        // What sounds has a voice, but for a bottle at the very edge of what rings: then nothing plays, and is shown.
        Err(_) => (
            EngineSpec::new(Vec::new()),
            vec![None; derived.bottles.len()],
        ),
    }
}

/// Whether a voice reaches `hz`.
fn can_sound(bottle: &Shown, hz: f64) -> bool {
    let highest = if bottle.way.is_struck() {
        HIGHEST_STRUCK_HZ
    } else {
        HIGHEST_HZ
    };
    (LOWEST_HZ..=highest).contains(&hz)
}

/// What a document comes to at first, worked out once for the engine and for the window.
pub(super) struct WorkedOut {
    derived: Derived,
    voices: Vec<Option<Seat>>,
}

impl WorkedOut {
    /// With the engine that the document begins with.
    pub(super) fn new(document: &Document, options: &EngineOptions) -> (EngineSpec, Self) {
        let derived = Derived::new(&document.model, &document.fixed);
        let (spec, voices) = engine_of(document, &derived, options);
        (spec, Self { derived, voices })
    }
}

impl Session {
    /// A session.
    #[must_use]
    pub fn new(setup: Setup) -> Self {
        let (_, worked_out) = WorkedOut::new(&setup.document, &setup.engine);
        Self::begin(setup, worked_out)
    }

    /// A session of a document that has been worked out.
    pub(super) fn begin(setup: Setup, WorkedOut { derived, voices }: WorkedOut) -> Self {
        let Setup {
            document,
            engine,
            output,
            mut sound,
            settings,
            settings_place,
        } = setup;
        let mut keyboard = Keyboard::new(settings.board(), sound.keys());
        keyboard.velocity = settings.velocity.clamp(1, 127);
        keyboard.channel = engine.channels.trailing_zeros().min(15) as u8;
        let desk = sound.poll().clone();
        let mut session = Self {
            state: State {
                selected: derived.order.first().copied(),
                level_db: engine.level.db(),
                wet: if engine.dry {
                    0.0
                } else {
                    State::default().wet
                },
                dry: engine.dry,
                looks: settings.looks(),
                zoom: settings.zoom.clamp(0.5, 4.0),
                ..State::default()
            },
            document,
            derived,
            desk,
            output,
            keyboard: Rc::new(RefCell::new(keyboard)),
            sound,
            history: History::default(),
            engine,
            pace: Pace::default(),
            last_look: std::time::Instant::now(),
            voices,
            sent: Vec::new(),
            dialog: None,
            looking: None,
            inputs: None,
            hearing: Hearing::default(),
            wav: None,
            smf: None,
            writing: Vec::new(),
            settings,
            settings_place,
        };
        session.opened();
        session
    }

    /// After another set was opened or its notes have changed.
    fn opened(&mut self) {
        self.sent = vec![(0.0, 0.0); self.voices.len()];
        let mut notes: Vec<u8> = self.derived.bottles.iter().map(|b| b.note.midi()).collect();
        notes.sort_unstable();
        notes.dedup();
        let mut keyboard = self.keyboard.borrow_mut();
        let is_new = keyboard.board.notes != notes;
        keyboard.board.notes = notes;
        if is_new && keyboard.board.layout == super::keyboard::Layout::Piano {
            keyboard.board.shift = keyboard.board.best_shift();
        }
    }

    /// Brings everything up to date; once a frame, before it is drawn.
    pub fn poll(&mut self) {
        self.desk = self.sound.poll().clone();
        let heard = self.sound.heard();
        let pressed = self.keyboard.borrow_mut().take_log();
        for &(at_s, bytes) in &heard {
            self.heard_key(at_s, bytes);
        }
        for &(at, bytes) in &pressed {
            self.heard_key(self.clock_at(at), bytes);
        }
        self.keep_time();
        if let Some(take) = &mut self.smf {
            heard
                .into_iter()
                .for_each(|(at_s, bytes)| take.at_s(at_s, bytes));
            pressed
                .into_iter()
                .for_each(|(at, bytes)| take.at(at, bytes));
        }
        self.poll_jobs();
        self.poll_hearing();
        self.take_wanted_key();
        let document = &self.document;
        self.derived.refine(
            self.state.selected,
            REFINED_A_FRAME,
            &document.model,
            &document.fixed,
        );
    }

    /// Whether something changes by itself, so that the next frame should come soon.
    #[must_use]
    pub fn is_lively(&self) -> bool {
        let waits = self
            .derived
            .bottles
            .iter()
            .any(|b| b.more.is_none() && b.pitch.is_ok());
        let runs = (self.state.practice.as_ref()).is_some_and(|p| p.clock.is_some());
        waits
            || runs
            || self.desk.meters.sounding > 0
            || self.dialog.is_some()
            || self.looking.is_some()
    }

    /// Says something.
    pub(super) fn say(&mut self, text: impl Into<String>) {
        let text = text.into();
        self.state.note = Some(Note {
            text,
            is_bad: false,
        });
    }

    /// Says that something went wrong.
    pub(super) fn complain(&mut self, text: impl Into<String>) {
        let text = text.into();
        self.state.note = Some(Note { text, is_bad: true });
    }

    /// Whether there is something to undo, and to redo.
    #[must_use]
    pub fn can_undo_redo(&self) -> (bool, bool) {
        self.history.can()
    }

    /// Changes the model by `change`, keeping what was before; tells whether anything changed.
    pub(super) fn edit(&mut self, gesture: Gesture, change: impl FnOnce(&mut Model)) -> bool {
        let before = self.document.model.clone();
        change(&mut self.document.model);
        if self.document.model == before {
            return false;
        }
        let drag = match gesture {
            Gesture::Single => None,
            Gesture::Drag(number) => Some(number),
        };
        self.history.keep(&before, drag);
        true
    }

    /// Works out everything anew and sounds it: other pitches of the same bottles.
    pub(super) fn rethink(&mut self) {
        self.derived
            .update(&self.document.model, &self.document.fixed);
        self.retune();
    }

    /// The same for one bottle.
    pub(super) fn rethink_one(&mut self, index: usize) {
        self.derived
            .update_one(index, &self.document.model, &self.document.fixed);
        self.retune();
    }

    /// Works out everything anew and gives the engine other bottles: notes, gases or whole sets that change.
    pub(super) fn rebuild(&mut self) {
        self.derived
            .update(&self.document.model, &self.document.fixed);
        self.stop_practice();
        self.let_everything_go();
        let (mut spec, voices) = engine_of(&self.document, &self.derived, &self.engine);
        spec.level = Level::from_db(self.state.level_db);
        if let Some(room) = &mut spec.room {
            room.wet = f64::from(self.state.wet);
        }
        self.sound.replace(spec);
        self.voices = voices;
        self.repractise();
        self.opened();
        self.retune();
        if let Some(index) = self.state.tone {
            self.set_tone(Some(index));
        }
    }

    /// The pitch that a bottle is to sound at.
    fn heard(&self, index: usize) -> Option<(f64, f64)> {
        let bottle = self.derived.bottles.get(index)?;
        let pitch = bottle.pitch.as_ref().ok()?;
        let slides = self.voices[index].is_some_and(|seat| seat.place.is_some());
        let frequency = if self.state.equal && !slides {
            bottle.equal
        } else {
            pitch.frequency
        };
        let highest_q = if bottle.way.is_struck() {
            HIGHEST_STRUCK_Q
        } else {
            HIGHEST_Q
        };
        Some((frequency.hz(), pitch.q.clamp(1.0, highest_q)))
    }

    /// Tells the engine every pitch that has moved.
    pub(super) fn retune(&mut self) {
        let (mut is_new, mut has_moved) = (false, false);
        for index in 0..self.voices.len() {
            let Some((hz, q)) = self.heard(index) else {
                continue;
            };
            if !can_sound(&self.derived.bottles[index], hz) {
                continue;
            }
            let Some(seat) = self.voices[index] else {
                is_new = true;
                continue;
            };
            let before = self.sent[index];
            if (hz / before.0 - 1.0).abs() < SAME && (q / before.1 - 1.0).abs() < SAME {
                continue;
            }
            if seat.place.is_some() {
                // The marks of what slides are in the engine itself.
                has_moved |= before.0 > 0.0;
                self.sent[index] = (hz, q);
                continue;
            }
            let (bottle, frequency) = (seat.bottle, Frequency::from_hz(hz));
            // Not sent means not remembered: the next frame tries again.
            if self.sound.send(Command::Tune {
                bottle,
                frequency,
                q,
            }) {
                self.sent[index] = (hz, q);
            }
        }
        if has_moved {
            self.rebuild();
        } else if is_new {
            self.rebuild_once();
        }
    }

    /// A bottle that gave nothing before sounds now.
    fn rebuild_once(&mut self) {
        let (_, voices) = engine_of(&self.document, &self.derived, &self.engine);
        if voices != self.voices {
            self.rebuild();
        }
    }

    pub(super) fn let_everything_go(&mut self) {
        self.state.blown.clear();
        self.keyboard.borrow_mut().all_off();
    }

    pub(super) fn set_tone(&mut self, index: Option<usize>) {
        let target = index.and_then(|index| self.derived.bottles.get(index));
        let frequency = target.map(|bottle| bottle.target);
        self.state.tone = index.filter(|_| frequency.is_some());
        self.sound.send(Command::Tone { frequency });
    }

    /// Opens another set in place of this one; the old one stays if that fails.
    pub(super) fn open(&mut self, path: &Path) {
        match Document::open(path) {
            Ok(document) => {
                self.document = document;
                self.state.tuner.forget();
                self.hearing.forget();
                self.history.clear();
                self.state.leaving = None;
                self.state.tone = None;
                self.sound.send(Command::Tone { frequency: None });
                self.practise(PracticeAsk::Player(None));
                self.rebuild();
                self.state.selected = self.derived.order.first().copied();
                self.say(format!("opened {}", path.display()));
            }
            Err(failure) => self.complain(failure.to_string()),
        }
    }

    /// Does what leaving was for.
    pub(super) fn leave(&mut self) {
        match self.state.leaving.take() {
            Some(Leaving::Window) => self.state.quit = true,
            Some(Leaving::For(path)) => self.open(&path),
            None => {}
        }
    }

    /// Keeps the settings if they have changed.
    pub(super) fn keep_settings(&mut self) {
        let keyboard = self.keyboard.borrow();
        let settings = Settings::of(
            &keyboard.board,
            keyboard.velocity,
            self.state.looks,
            self.state.zoom,
        );
        drop(keyboard);
        if settings == self.settings {
            return;
        }
        self.settings = settings.clone();
        let Some(place) = self.settings_place.clone() else {
            return;
        };
        let (tell, told) = std::sync::mpsc::channel();
        let write = move || {
            if let Err(because) = settings.write(&place) {
                let _ = tell.send(Err(format!("cannot keep the settings: {because}")));
            }
        };
        let _ = std::thread::Builder::new()
            .name("ullage-settings".to_owned())
            .spawn(write);
        self.writing.push(told);
    }

    /// Does everything in `asks`, in order.
    pub fn apply_all(&mut self, asks: impl IntoIterator<Item = Ask>) {
        for ask in asks {
            self.apply(ask);
        }
    }
}

impl Session {
    /// How far each bottle's air swings, 0 to 1 and a little above, in the order of the pours.
    #[must_use]
    pub fn swings(&self) -> Vec<f32> {
        let swing = |seat: &Option<Seat>| {
            let voice = usize::from(seat.as_ref()?.bottle);
            self.desk.swings.get(voice).copied()
        };
        self.voices
            .iter()
            .map(|voice| swing(voice).unwrap_or(0.0))
            .collect()
    }
}
