//! What is asked, and whose it is: the joint between what is edited, what sounds and what runs on other threads.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::{Duration, Instant};

use super::ask::{Ask, PlayAsk};
use super::derived::Derived;
use super::document::Document;
use super::draft::Draft;
use super::editing::{Changed, Editing};
use super::examples::{Gallery, Painting};
use super::form::BottleForm;
use super::hearing::Hearing;
use super::jobs::Jobs;
use super::keyboard::Keyboard;
use super::making::Making;
use super::paper::show;
use super::planning::Planning;
use super::playing::{Mix, Playing, Retuned, Seat, engine_of};
use super::settings::{KeptSettings, Settings};
use super::sound::Sound;
use super::state::{Note, Place, State};
use super::take::Takes;
use crate::index::PourIndex;
use crate::live::{DeskState, DeviceWish};
use crate::stage::EngineOptions;
use crate::synth::{EngineSpec, RoomSpec};

/// Good news go away by themselves after this time, and so much for each letter.
const NOTE_SHOWN: Duration = Duration::from_millis(3000);
const NOTE_LETTER: Duration = Duration::from_millis(40);
/// Bottles whose slower numbers are worked out in one frame.
const REFINED_A_FRAME: usize = 2;

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
    /// The set that is being made.
    pub making: Making,
    /// What one begins with.
    pub gallery: Gallery,
    /// The computer keyboard.
    pub keyboard: Rc<RefCell<Keyboard>>,
    /// What shows a page that was written, on a thread of its own; false if nothing here does.
    pub shows: fn(&Path) -> bool,
    /// The set, and what can be undone.
    pub(super) editing: Editing,
    /// The set as it sounds.
    pub(super) playing: Playing,
    /// What runs on threads of its own.
    pub(super) jobs: Jobs,
    /// The microphone.
    pub(super) hearing: Hearing,
    /// What is written down while it is played.
    pub(super) takes: Takes,
    /// What is kept for the next session.
    pub(super) kept: KeptSettings,
    /// A plan that is worked out.
    pub(super) planning: Option<Planning>,
    /// Until when what the program has to say is shown, if it goes away by itself.
    pub(super) note_until: Option<Instant>,
    /// What is kept of unsaved work.
    pub(super) draft: Draft,
    /// Pictures that are worked out.
    pub(super) painting: Option<Painting>,
    /// Bottles that are let go, as soon as they have been heard.
    pub(super) letting_go: Vec<(PourIndex, Instant)>,
    /// Since when bottles are blown.
    pub(super) blown_since: BTreeMap<PourIndex, Instant>,
}

/// What a document comes to at first, worked out once for the engine and for the window.
pub(super) struct WorkedOut {
    derived: Derived,
    seats: Vec<Option<Seat>>,
}

impl WorkedOut {
    /// With the engine that the document begins with.
    pub(super) fn new(document: &Document, options: &EngineOptions) -> (EngineSpec, Self) {
        let derived = Derived::new(&document.model, &document.fixed);
        let (spec, seats) = engine_of(document, &derived, options);
        (spec, Self { derived, seats })
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
    pub(super) fn begin(setup: Setup, WorkedOut { derived, seats }: WorkedOut) -> Self {
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
        keyboard.board.set_notes(derived.keys());
        let usual = State::default();
        let wet = RoomSpec::from(document.fixed.listening).wet_part() as f32;
        let place = match (
            document.model.pours.is_empty(),
            document.fixed.kinds.is_empty(),
        ) {
            (true, true) => Place::Start,
            (true, false) => Place::Crate,
            (false, _) => Place::Play,
        };
        let state = State {
            place,
            selected: derived.order.first().copied(),
            level_db: engine.level.db(),
            wet: if engine.dry { 0.0 } else { wet },
            dry: engine.dry,
            panel: settings.side(),
            looks: settings.looks(),
            zoom: settings.zoom.clamp(0.5, 4.0),
            ..usual
        };
        let draft = Draft::new(settings_place.as_deref());
        let mut session = Self {
            state,
            making: Making::default(),
            gallery: Gallery::default(),
            planning: None,
            painting: None,
            note_until: None,
            draft,
            letting_go: Vec::new(),
            blown_since: BTreeMap::new(),
            keyboard: Rc::new(RefCell::new(keyboard)),
            shows: show,
            editing: Editing::new(document, derived),
            playing: Playing::new(sound, engine, output, seats),
            jobs: Jobs::default(),
            hearing: Hearing::default(),
            takes: Takes::default(),
            kept: KeptSettings::new(settings, settings_place),
        };
        session.playing.know_bottles(&session.editing.document);
        session.remember_file();
        if place == Place::Start {
            session.hang_pictures();
        }
        session
    }

    /// The set and its file.
    #[must_use]
    pub fn document(&self) -> &Document {
        &self.editing.document
    }

    /// What the models say about the set.
    #[must_use]
    pub fn derived(&self) -> &Derived {
        &self.editing.derived
    }

    /// How the sound stands, as of this frame.
    #[must_use]
    pub fn desk(&self) -> &DeskState {
        &self.playing.desk
    }

    /// The output that was asked for.
    #[must_use]
    pub fn output(&self) -> &DeviceWish {
        &self.playing.output
    }

    /// How far each bottle's air swings, 0 to 1 and a little above, in the order of the pours.
    #[must_use]
    pub fn swings(&self) -> Vec<f32> {
        self.playing.swings()
    }

    /// Whether there is something to undo, and to redo.
    #[must_use]
    pub fn can_undo_redo(&self) -> (bool, bool) {
        let form = self.making.form.as_ref();
        let hand = form.filter(|_| self.state.place == Place::Crate);
        let hand = hand.and_then(BottleForm::hand_steps);
        hand.unwrap_or_else(|| self.editing.can_undo_redo())
    }

    /// The note that each bottle plays now, of those that play several: by their first pour.
    #[must_use]
    pub fn active(&self) -> &BTreeMap<PourIndex, PourIndex> {
        &self.playing.active
    }

    /// For each pour the first one into the same bottle.
    #[must_use]
    pub fn bottle_of(&self) -> &[PourIndex] {
        self.playing.bottle_of()
    }

    /// Whether something changes by itself, so that the next frame should come soon.
    #[must_use]
    pub fn is_lively(&self) -> bool {
        self.derived().is_waiting()
            || self.planning.is_some()
            || self.painting.is_some()
            || self.is_reaching()
            || !self.letting_go.is_empty()
            || self.practice_runs()
            || self.state.pouring.now.is_some()
            || self.desk().meters.sounding > 0
            || self.jobs.is_asking()
            || self.jobs.is_looking_for_outputs()
            || self.jobs.is_tracing()
            || self.is_thinking()
    }

    /// Whether something has changed since the last frame that nobody in the window did: a device, a key of MIDI, a file
    /// that was written. Cheap, and draws nothing.
    pub fn wants_frame(&mut self) -> bool {
        self.keep_draft();
        self.playing.has_changed() || self.jobs.has_news()
    }

    /// When something changes by itself though nothing moves: words that go away.
    #[must_use]
    pub fn next_change(&self) -> Option<Duration> {
        let note = self.note_until.filter(|_| self.state.note.is_some());
        note.map(|until| until.saturating_duration_since(Instant::now()))
    }

    /// Brings everything up to date; once a frame, before it is drawn.
    pub fn poll(&mut self) {
        if self.note_until.is_some_and(|until| until <= Instant::now()) {
            self.note_until = None;
            self.state.note = None;
        }
        self.keep_draft();
        self.playing.poll();
        let heard = self.playing.sound.heard();
        let pressed = self.keyboard.borrow_mut().take_log();
        for &(at_s, bytes) in &heard {
            self.heard_key(at_s, bytes);
        }
        for &(at, bytes) in &pressed {
            self.heard_key(self.playing.clock_at(at), bytes);
        }
        self.keep_time();
        self.takes.hear(&heard, &pressed);
        self.poll_files();
        self.poll_hearing();
        self.poll_pour();
        self.poll_plan();
        self.poll_pictures();
        self.poll_picture();
        self.reach_on();
        self.let_go_of_heard();
        self.take_wanted_key();
        self.editing.refine(self.state.selected, REFINED_A_FRAME);
    }

    /// Does what was asked.
    pub fn apply(&mut self, ask: impl Into<Ask>) {
        match ask.into() {
            Ask::Edit(ask) => self.edit(ask),
            Ask::Play(ask) => self.play(ask),
            Ask::Sound(ask) => self.sound(ask),
            Ask::File(ask) => self.file(ask),
            Ask::Leave(ask) => self.leave(ask),
            Ask::Take(ask) => self.take(ask),
            Ask::View(ask) => self.view(ask),
            Ask::Board(ask) => self.board(ask),
            Ask::Practice(ask) => self.practise(ask),
            Ask::Tuner(ask) => self.tuner(ask),
            Ask::Pour(ask) => self.pour_by_ear(ask),
            Ask::Crate(ask) => self.crate_of_bottles(ask),
            Ask::Plan(ask) => self.plan(ask),
        }
    }

    /// Does everything in `asks`, in order.
    pub fn apply_all(&mut self, asks: impl IntoIterator<Item = Ask>) {
        for ask in asks {
            self.apply(ask);
        }
    }

    /// Says something.
    pub(super) fn say(&mut self, text: impl Display) {
        let text = text.to_string();
        // Longer words take longer to read.
        let shown = NOTE_SHOWN + NOTE_LETTER * text.chars().count().min(400) as u32;
        self.note_until = Some(Instant::now() + shown);
        self.state.note = Some(Note {
            text,
            is_bad: false,
        });
    }

    /// Says that something went wrong.
    pub(super) fn complain(&mut self, text: impl Display) {
        let text = text.to_string();
        self.note_until = None;
        self.state.note = Some(Note { text, is_bad: true });
    }

    /// After a change of the set: works out what it gives now, and sounds it.
    pub(super) fn changed(&mut self, changed: Changed) {
        match changed {
            Changed::Pitches => {
                self.editing.rethink();
                self.retune();
            }
            Changed::Bottles => self.rebuild(),
        }
    }

    /// After a change of one bottle's setting.
    pub(super) fn changed_one(&mut self, pour: PourIndex) {
        self.editing.rethink_one(pour);
        self.retune();
    }

    /// Works out everything anew and gives the engine other bottles: notes, gases or whole sets that change.
    pub(super) fn rebuild(&mut self) {
        self.editing.rethink();
        self.stop_practice();
        self.let_everything_go();
        let mix = Mix {
            level_db: self.heard_level_db(),
            wet: self.state.wet,
        };
        self.playing.replace(&self.editing, mix);
        self.repractise();
        let keys = self.derived().keys();
        self.keyboard.borrow_mut().board.set_notes(keys);
        self.retune();
        if let Some(pour) = self.state.tone {
            self.play(PlayAsk::Tone(Some(pour)));
        }
    }

    /// Gives the engine every pitch that has moved.
    pub(super) fn retune(&mut self) {
        let equal = self.state.equal;
        match self.playing.retune(&self.editing.derived, equal) {
            Retuned::Done => {}
            Retuned::Slid => self.rebuild(),
            Retuned::Unseated => {
                if self.playing.seats_change(&self.editing) {
                    self.rebuild();
                }
            }
        }
    }

    pub(super) fn let_everything_go(&mut self) {
        self.state.blown.clear();
        self.state.held.clear();
        self.letting_go.clear();
        self.blown_since.clear();
        self.keyboard.borrow_mut().all_off();
    }
}
