//! The set as it sounds: the engine that plays it, where each of its notes is in there, and how the stream runs.
//!
//! A *pour* is counted as the set's are, a *bottle* as the engine's are: only [`Seat`] knows both.

use std::collections::BTreeMap;
use std::time::Instant;

use super::derived::{Derived, Shown};
use super::document::Document;
use super::editing::Editing;
use super::pace::Pace;
use super::sound::Sound;
use crate::index::{BottleIndex, PourIndex};
use crate::live::{DeskState, DeviceWish, OutputState, When};
use crate::stage::{EngineOptions, Stage};
use crate::synth::{
    Command, EngineSpec, HIGHEST_HZ, HIGHEST_Q, HIGHEST_STRUCK_HZ, HIGHEST_STRUCK_Q, LOWEST_HZ,
};
use crate::units::{Frequency, Level};

/// A pitch or Q that moves by less than this part is not worth a command.
const SAME: f64 = 1e-6;

/// Where a pour is in the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seat {
    /// The bottle.
    pub(super) bottle: BottleIndex,
    /// The rail that it slides on, and where this note is on it, 0 to 1.
    pub(super) place: Option<(u16, f64)>,
}

/// The engine of what can sound of a set, and for each pour its seat there; nothing for one that cannot sound.
pub(super) fn engine_of(
    document: &Document,
    derived: &Derived,
    options: &EngineOptions,
) -> (EngineSpec, Vec<Option<Seat>>) {
    let mut set = document.set();
    let sounds = |bottle: &Shown| bottle.hz().is_some_and(|hz| can_sound(bottle, hz));
    let mut place = derived.bottles.iter();
    set.pours.retain(|_| place.next().is_some_and(sounds));
    match Stage::new(&set).and_then(|stage| stage.engine(options)) {
        Ok(played) => {
            let mut seats = played.player_of.iter().zip(&played.place_of);
            let seat = |bottle: &Shown| {
                let (&bottle, &place) = sounds(bottle).then(|| seats.next())??;
                Some(Seat { bottle, place })
            };
            let seats = derived.bottles.iter().map(seat).collect();
            (played.spec, seats)
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

/// Level and walls, as they are set in the window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mix {
    /// The master level, dB.
    pub(super) level_db: f64,
    /// The part from the walls, 0 to 1.
    pub(super) wet: f32,
}

/// What a change of pitches needs besides the commands that were sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Retuned {
    /// Nothing.
    Done,
    /// Another engine: what slides has its marks in there.
    Slid,
    /// Another engine, if what has no seat gets one there.
    Unseated,
}

/// The pitch and Q that a bottle was last given.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Given {
    hz: f64,
    q: f64,
}

impl Given {
    /// Near enough to `before`.
    fn is_as(self, before: Self) -> bool {
        (self.hz / before.hz - 1.0).abs() < SAME && (self.q / before.q - 1.0).abs() < SAME
    }
}

/// The set as it sounds.
pub(super) struct Playing {
    /// What sounds.
    pub(super) sound: Box<dyn Sound>,
    /// How it stands, as of this frame.
    pub(super) desk: DeskState,
    /// The output that was asked for.
    pub(super) output: DeviceWish,
    /// How the engine is set up.
    pub(super) engine: EngineOptions,
    /// For each pour its seat; nothing for one that cannot sound.
    pub(super) seats: Vec<Option<Seat>>,
    /// For each pour what its bottle was last given.
    given: Vec<Option<Given>>,
    /// For each bottle that plays several notes, by its first pour: which of them it played last.
    pub(super) active: BTreeMap<PourIndex, PourIndex>,
    /// For each pour the first one into the same bottle.
    bottle_of: Vec<PourIndex>,
    /// How the stream runs beside the clock, and when it was looked at last.
    pace: Pace,
    last_look: Instant,
}

impl Playing {
    /// An engine set up as `engine` that plays through `sound`, the set in it as `seats` say.
    pub(super) fn new(
        mut sound: Box<dyn Sound>,
        engine: EngineOptions,
        output: DeviceWish,
        seats: Vec<Option<Seat>>,
    ) -> Self {
        let desk = sound.poll().clone();
        Self {
            sound,
            desk,
            output,
            engine,
            given: vec![None; seats.len()],
            seats,
            active: BTreeMap::new(),
            bottle_of: Vec::new(),
            pace: Pace::default(),
            last_look: Instant::now(),
        }
    }

    /// A bottle that plays several notes plays this one now.
    pub(super) fn now_plays(&mut self, pour: PourIndex) {
        if let Some(first) = self.bottle_of.get(pour.place()) {
            self.active.insert(*first, pour);
        }
    }

    /// The same of whatever has the key of a note.
    pub(super) fn now_plays_key(&mut self, derived: &Derived, key: u8) {
        for pour in PourIndex::all(derived.bottles.len()) {
            if derived.bottles[pour].note.midi() == key {
                self.now_plays(pour);
            }
        }
    }

    /// For each pour the first one into the same bottle.
    pub(super) fn bottle_of(&self) -> &[PourIndex] {
        &self.bottle_of
    }

    /// The bottles of a set, of which nothing has played yet.
    pub(super) fn know_bottles(&mut self, document: &Document) {
        self.bottle_of = document.set().bottle_of_pours();
        self.active.clear();
    }

    /// Whether the sound stands otherwise than in the last frame, in what is shown of it.
    pub(super) fn has_changed(&mut self) -> bool {
        let (now, before) = (self.sound.poll(), &self.desk);
        now.output != before.output
            || now.midi != before.midi
            || now.midi_because != before.midi_because
            || now.meters.missing_key != before.meters.missing_key
            || now.meters.sounding > 0
            || now.dropouts != before.dropouts
            || now.queue_full != before.queue_full
            || !now.heard.is_empty()
    }

    /// Looks how the sound stands.
    pub(super) fn poll(&mut self) {
        self.desk = self.sound.poll().clone();
    }

    /// How far each pour's air swings, 0 to 1 and a little above.
    pub(super) fn swings(&self) -> Vec<f32> {
        let swing = |seat: &Option<Seat>| {
            let bottle = seat.as_ref()?.bottle;
            self.desk.swings.get(bottle.place()).copied()
        };
        let swings = self.seats.iter().map(|seat| swing(seat).unwrap_or(0.0));
        swings.collect()
    }

    /// Blows a pour's bottle, 0 to 1, where its note is; false if it has no seat.
    pub(super) fn blow(&mut self, pour: PourIndex, breath: f32) -> bool {
        let Some(Seat { bottle, place }) = self.seat(pour) else {
            return false;
        };
        if let Some((rail, position)) = place {
            let position = position as f32;
            self.sound.send(Command::Slide { rail, position });
        }
        self.sound.send(Command::Blow { bottle, breath });
        true
    }

    /// Leaves a pour's bottle.
    pub(super) fn release(&mut self, pour: PourIndex) {
        if let Some(Seat { bottle, .. }) = self.seat(pour) {
            self.sound.send(Command::Release { bottle });
        }
    }

    fn seat(&self, pour: PourIndex) -> Option<Seat> {
        self.seats.get(pour.place()).copied().flatten()
    }

    /// Plays the bottles of a set that has changed.
    pub(super) fn replace(&mut self, set: &Editing, mix: Mix) {
        let (mut spec, seats) = engine_of(&set.document, &set.derived, &self.engine);
        spec.level = Level::from_db(mix.level_db);
        if let Some(room) = &mut spec.room {
            room.wet = Some(f64::from(mix.wet));
        }
        self.sound.replace(spec);
        self.know_bottles(&set.document);
        self.given = vec![None; seats.len()];
        self.seats = seats;
    }

    /// Whether the pours of a set that has changed have other seats than these.
    pub(super) fn seats_change(&self, set: &Editing) -> bool {
        let (_, seats) = engine_of(&set.document, &set.derived, &self.engine);
        seats != self.seats
    }

    /// The pitch that a pour is to sound at, `equal` or as it stands.
    fn wanted(&self, pour: PourIndex, derived: &Derived, equal: bool) -> Option<Given> {
        let bottle = derived.bottles.get(pour.place())?;
        let pitch = bottle.pitch.as_ref().ok()?;
        let slides = self.seats[pour].is_some_and(|seat| seat.place.is_some());
        let frequency = if equal && !slides {
            bottle.equal
        } else {
            pitch.frequency
        };
        let highest_q = if bottle.way.is_struck() {
            HIGHEST_STRUCK_Q
        } else {
            HIGHEST_Q
        };
        let (hz, q) = (frequency.hz(), pitch.q.clamp(1.0, highest_q));
        can_sound(bottle, hz).then_some(Given { hz, q })
    }

    /// Gives the engine every pitch that has moved.
    pub(super) fn retune(&mut self, derived: &Derived, equal: bool) -> Retuned {
        let (mut unseated, mut slid) = (false, false);
        for pour in PourIndex::all(self.seats.len()) {
            let Some(wanted) = self.wanted(pour, derived, equal) else {
                continue;
            };
            let Some(seat) = self.seats[pour] else {
                unseated = true;
                continue;
            };
            let before = self.given[pour];
            if before.is_some_and(|before| wanted.is_as(before)) {
                continue;
            }
            if seat.place.is_some() {
                // The marks of what slides are in the engine itself.
                slid |= before.is_some();
                self.given[pour] = Some(wanted);
                continue;
            }
            let tune = Command::Tune {
                bottle: seat.bottle,
                frequency: Frequency::from_hz(wanted.hz),
                q: wanted.q,
            };
            // Not sent means not remembered: the next frame tries again.
            if self.sound.send(tune) {
                self.given[pour] = Some(wanted);
            }
        }
        match (slid, unseated) {
            (true, _) => Retuned::Slid,
            (false, true) => Retuned::Unseated,
            (false, false) => Retuned::Done,
        }
    }

    /// Sends commands for frames that are counted from `origin`, a frame of the stream.
    pub(super) fn send_run(&mut self, origin: i64, sent: &[(u64, Command)]) {
        for (frame, command) in sent {
            let frame = (origin + *frame as i64).max(0) as u64;
            self.sound.send_at(When::Frame(frame), *command);
        }
    }

    /// Looks how the stream runs beside the clock; gives the clock, s.
    pub(super) fn keep_pace(&mut self) -> f64 {
        let clock_s = self.sound.clock_s();
        let (made, rate_hz) = (self.desk.now_frames, self.desk.rate_hz);
        self.pace.see(clock_s, made, rate_hz);
        self.last_look = Instant::now();
        clock_s
    }

    /// How long ago that was, s.
    pub(super) fn unseen_s(&self) -> f64 {
        self.last_look.elapsed().as_secs_f64()
    }

    /// The frame of the stream that is made at a time of the clock, s.
    pub(super) fn made_frame(&self, clock_s: f64) -> i64 {
        self.pace.frame_at(clock_s)
    }

    /// The frame of the stream that is heard at a time of the clock, s.
    pub(super) fn heard_frame(&self, clock_s: f64) -> i64 {
        self.made_frame(clock_s) - self.latency_frames()
    }

    /// From a command to the ear, frames.
    fn latency_frames(&self) -> i64 {
        match &self.desk.output {
            OutputState::Playing { latency_ms, .. } => {
                (latency_ms / 1e3 * f64::from(self.desk.rate_hz)).round() as i64
            }
            OutputState::Opening | OutputState::Silent { .. } => 0,
        }
    }

    /// The clock at an instant, s.
    pub(super) fn clock_at(&self, at: Instant) -> f64 {
        self.sound.clock_s() - at.elapsed().as_secs_f64()
    }

    /// Whether a message of MIDI is on a channel that is listened to.
    pub(super) fn listens_to(&self, status: u8) -> bool {
        self.engine.channels & (1 << (status & 0x0f)) != 0
    }
}
