//! What is asked of the tuner, and what comes of it.

use crate::cli::listen::keep::{farthest_cents, heard_now};
use crate::live::EarState;
use crate::physics::conditions::Conditions;
use crate::set::{HeardPitch, Way};
use crate::units::Frequency;

use super::ask::Gesture;
use super::document::Model;
use super::files;
use super::hearing::{Opener, Told};
use super::judge::{Scene, fill_heard};
use super::session::Session;
use super::tuner::{BANDS_CENTS, Heard, TunerAsk};

/// Taken for the ± of a bottle that is not worked out yet, cents.
const UNKNOWN_CENTS: f64 = 0.0;

impl Session {
    /// Opens microphones by `open` from now on, in place of the system's.
    pub fn hear_with(&mut self, open: Opener) {
        self.hearing.open = open;
    }

    /// Does what was asked.
    pub(super) fn tuner(&mut self, ask: TunerAsk) {
        match ask {
            TunerAsk::Listen => self.listen(),
            TunerAsk::Stop => {
                self.hearing.stop();
                self.state.tuner.ear = None;
            }
            TunerAsk::Retry => {
                if let Some(microphone) = &mut self.hearing.microphone {
                    microphone.retry();
                }
            }
            TunerAsk::Input(wish) => {
                self.state.tuner.input = wish.clone();
                if let Some(microphone) = &mut self.hearing.microphone {
                    microphone.take(wish);
                }
            }
            TunerAsk::LookForInputs => {
                self.state.tuner.looking = true;
                self.inputs = Some(files::inputs());
            }
            TunerAsk::Follow(follows) => self.state.tuner.follows = follows,
            TunerAsk::Within(cents) => {
                self.state.tuner.within_cents = cents.clamp(BANDS_CENTS.0, BANDS_CENTS.1);
            }
            TunerAsk::HoldsPoured => self.keep_heard(),
            TunerAsk::HoldsOther => self.fill_as_heard(),
        }
    }

    fn listen(&mut self) {
        if self.hearing.microphone.is_some() {
            return;
        }
        match self.hearing.start(self.state.tuner.input.clone()) {
            Ok(()) => self.take_sound(),
            Err(error) => self.complain(format!("cannot listen through a microphone: {error}")),
        }
    }

    /// Passes on what the microphone has, and takes what was heard; once a frame.
    pub(super) fn poll_hearing(&mut self) {
        if let Some(found) = self.inputs.as_ref().map(|looking| looking.try_recv()) {
            use std::sync::mpsc::TryRecvError::Empty;
            if !matches!(found, Err(Empty)) {
                self.state.tuner.inputs = found.ok();
                self.state.tuner.looking = false;
                self.inputs = None;
            }
        }
        let tuner = &self.state.tuner;
        let (selected, follows, within) = (self.state.selected, tuner.follows, tuner.within_cents);
        let now = (self.derived.revision, selected, follows, within);
        if !self.hearing.is_known(now) {
            let bottles = &self.derived.bottles;
            let scene = Scene {
                model: self.document.model.clone(),
                fixed: self.document.fixed.clone(),
                ranges: bottles.iter().map(|b| b.knob.range).collect(),
                selected,
                follows,
                within_cents: within,
            };
            self.hearing.know(now, scene);
        }
        self.take_sound();
        for told in self.hearing.told() {
            self.take_told(told);
        }
    }

    fn take_sound(&mut self) {
        let Some((ear, missed)) = self.hearing.pass() else {
            return;
        };
        let tuner = &mut self.state.tuner;
        tuner.missed += missed;
        // A level that nobody could read before it is gone says nothing.
        let level_db = tuner.ear.as_ref().map_or(ear.level_db, |before| {
            ear.level_db.max(before.level_db - FALL_DB)
        });
        tuner.ear = Some(EarState { level_db, ..ear });
    }

    fn take_told(&mut self, told: Told) {
        match told {
            Told::Heard(heard, point) => {
                let index = heard.index;
                if index >= self.derived.bottles.len() {
                    return;
                }
                if let Some(point) = point {
                    self.state.tuner.note(point);
                }
                if self.state.tuner.follows {
                    self.state.selected = Some(index);
                }
                self.state.tuner.heard = Some(*heard);
            }
            Told::Silent => {
                if let Some(heard) = &mut self.state.tuner.heard {
                    heard.sounds = false;
                }
            }
            Told::Nothing => self.state.tuner.heard = None,
            Told::Clock(clock_s) => self.state.tuner.tick(clock_s),
            Told::Failed(because) => self.complain(format!("cannot listen: {because}")),
        }
    }

    /// What was heard of the selected bottle.
    fn heard_of_selected(&self) -> Option<Heard> {
        let heard = self.state.tuner.of(self.state.selected?)?;
        (heard.index < self.derived.bottles.len()).then(|| heard.clone())
    }

    /// The bottle holds less or more than was thought: as much as its pitch says.
    fn fill_as_heard(&mut self) {
        let Some(heard) = self.heard_of_selected() else {
            return self.complain("nothing was heard of this bottle yet");
        };
        let Some(setting) = heard.seems else {
            let hz = heard.frequency.hz();
            return self.complain(format!("nothing that it can be set to gives {hz:.1} Hz"));
        };
        if self.edit(Gesture::Single, |model| model.set(heard.index, setting)) {
            self.rethink_one(heard.index);
        }
    }

    /// The bottle holds what was poured: its kind is fitted to what was heard as well.
    fn keep_heard(&mut self) {
        let Some(heard) = self.heard_of_selected() else {
            return self.complain("nothing was heard of this bottle yet");
        };
        let pitch = match self.kept_pitch(&heard) {
            Ok(pitch) => pitch,
            Err(because) => return self.complain(because),
        };
        let index = heard.index;
        let kind = self.document.model.pours[index].kind;
        let mut kept = self.document.model.heard.clone();
        if let Some(pitches) = kept.get_mut(kind) {
            pitches.push(pitch);
        }
        let fixed = match self.document.refitted(&kept) {
            Ok(fixed) => fixed,
            Err(failure) => return self.complain(failure.to_string()),
        };
        let before = self.said(index);
        self.edit(Gesture::Single, |model| model.heard = kept);
        self.document.fixed = fixed;
        self.rebuild();
        let model = &self.document.model;
        self.derived
            .refine(Some(index), 1, model, &self.document.fixed);
        let name = &self.derived.bottles[index].name;
        let text = format!(
            "{name} was predicted at {before} here, and is now at {}",
            self.said(index)
        );
        self.say(text);
    }

    /// Fits the kinds of bottle to what was heard by `model`; tells whether that is something else than now.
    pub(super) fn refit(&mut self, model: &Model) -> bool {
        if model.heard == self.document.model.heard {
            return false;
        }
        match self.document.refitted(&model.heard) {
            Ok(fixed) => self.document.fixed = fixed,
            Err(failure) => self.complain(failure.to_string()),
        }
        true
    }

    fn said(&self, index: usize) -> String {
        let shown = &self.derived.bottles[index];
        let sure = shown.more.as_ref();
        let sure = sure.map_or(String::new(), |m| {
            format!(" ±{:.0} cents", m.plus_minus_cents)
        });
        shown
            .hz()
            .map_or("nothing".to_owned(), |hz| format!("{hz:.2} Hz{sure}"))
    }

    /// What is kept of what was heard, or why it is not.
    fn kept_pitch(&self, heard: &Heard) -> Result<HeardPitch, String> {
        let (model, index) = (&self.document.model, heard.index);
        let (pour, shown) = (&model.pours[index], &self.derived.bottles[index]);
        if let Some(because) = not_kept(pour.way, &model.conditions) {
            return Err(because.to_owned());
        }
        let hz = heard.frequency.hz();
        let plus_minus = shown
            .more
            .as_ref()
            .map_or(UNKNOWN_CENTS, |m| m.plus_minus_cents);
        let limit_cents = farthest_cents(plus_minus);
        let before = shown.hz().ok_or("this bottle does not sound as it is")?;
        let off_cents = heard
            .frequency
            .interval_above(Frequency::from_hz(before))
            .cents();
        if off_cents.abs() > limit_cents {
            return Err(format!(
                "{hz:.2} Hz is {off_cents:+.0} cents from what {} gives as it is filled; the limit is {limit_cents:.0} cents: \
                 say first what is really in it, or select the right bottle",
                shown.name
            ));
        }
        let fill = fill_heard(model, index);
        let mut pitch = heard_now(fill, heard.frequency, &model.conditions, pour.way);
        if pour.way == Way::Pressurised {
            pitch.gauge = pour.gauge.unwrap_or_default();
        }
        Ok(pitch)
    }
}

/// The meter falls by at most so much a frame, dB.
const FALL_DB: f64 = 1.5;

/// Why nothing that is heard from such a bottle is kept.
pub(super) fn not_kept(way: Way, now: &Conditions) -> Option<&'static str> {
    match way {
        Way::Sliding => {
            Some("what a bottle with a sliding floor gives is not kept: mark where its notes are")
        }
        Way::Joined => Some("what a joined pair gives is not kept: mark where its notes are"),
        Way::Blown if now.gas != Conditions::default().gas => {
            Some("what is kept must be heard with the room's air in the bottle")
        }
        _ => None,
    }
}
