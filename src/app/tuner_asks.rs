//! What is asked of the tuner, and what comes of it.

use crate::index::PourIndex;
use crate::live::EarState;
use crate::tuner::keep::{KeepError, keepable};
use crate::tuner::{ListenFor, Meant, Told, Tone, Verdict};
use crate::units::Interval;

use super::ask::Gesture;
use super::document::Document;
use super::hearing::{Opener, Said, Scene, SceneOf};
use super::session::Session;
use super::trouble::Trouble;
use super::tuner::{BANDS_CENTS, Point, TunerAsk};

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
                self.jobs.look_for_inputs();
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
            Err(error) => self.complain(
                Trouble::cannot("listen through a microphone", error)
                    .or_try("choose another input"),
            ),
        }
    }

    /// Passes on what the microphone has, and takes what was heard; once a frame.
    pub(super) fn poll_hearing(&mut self) {
        if let Some(inputs) = self.jobs.inputs() {
            self.state.tuner.inputs = inputs;
            self.state.tuner.looking = false;
        }
        let tuner = &self.state.tuner;
        let now = SceneOf {
            revision: self.editing.derived.revision,
            selected: self.state.selected,
            follows: tuner.follows,
            within_cents: tuner.within_cents,
        };
        let is_free = self.making.form.is_some() || self.editing.document.model.pours.is_empty();
        if is_free != self.state.tuner.is_free {
            self.state.tuner.is_free = is_free;
            self.state.tuner.tone_hz = None;
            self.hearing.forget();
        }
        if !is_free && !self.hearing.is_known(now) {
            let scene = scene(&self.editing.document, &now);
            self.hearing.know(now, scene);
        }
        self.take_sound();
        for said in self.hearing.told() {
            self.take_said(said);
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

    fn take_said(&mut self, said: Said) {
        let tuner = &mut self.state.tuner;
        match said {
            Ok(Told::Heard(heard)) => {
                if let Tone::Blown(note) = &heard.tone {
                    tuner.tone_hz = Some(note.frequency.hz());
                }
                let Some(verdict) = heard.verdict else {
                    return;
                };
                let index = verdict
                    .pour
                    .filter(|at| at.place() < self.editing.derived.bottles.len());
                let Some(index) = index else {
                    return;
                };
                if heard.is_new {
                    tuner.note(Point {
                        at_s: heard.at.s(),
                        cents: verdict.off.cents(),
                        index,
                    });
                }
                (tuner.heard, tuner.sounds) = (Some(verdict), heard.sounds);
                if tuner.follows {
                    self.state.selected = Some(index);
                }
            }
            Ok(Told::Silent) => tuner.sounds = false,
            Ok(Told::Nothing) => tuner.heard = None,
            Ok(Told::Clock(clock)) => tuner.tick(clock.s()),
            Err(error) => {
                self.complain(Trouble::cannot("listen", error).or_try("choose another input"))
            }
        }
    }

    /// What was heard of the selected bottle.
    fn heard_of_selected(&self) -> Option<(PourIndex, Verdict)> {
        let index = self.state.selected?;
        let heard = self.state.tuner.of(index)?;
        (index.place() < self.editing.derived.bottles.len()).then(|| (index, heard.clone()))
    }

    /// The bottle holds less or more than was thought: as much as its pitch says.
    fn fill_as_heard(&mut self) {
        let Some((index, heard)) = self.heard_of_selected() else {
            return self.complain(unheard("set this bottle to what was heard"));
        };
        let Some(setting) = heard.seems else {
            let because = format!("no setting gives {:.1} Hz", heard.frequency.hz());
            return self.complain(Trouble::cannot(
                "set this bottle to what was heard",
                because,
            ));
        };
        if self
            .editing
            .edit(Gesture::Single, |model| model.set(index, setting))
        {
            self.changed_one(index);
        }
    }

    /// The bottle holds what was poured: its kind is fitted to what was heard as well.
    fn keep_heard(&mut self) {
        let Some((index, heard)) = self.heard_of_selected() else {
            return self.complain(unheard("keep what was heard"));
        };
        let set = self.editing.document.set();
        let found = keepable(&set, &set.pours[index], heard.frequency);
        let found = match found {
            Ok(found) => found,
            Err(error) => return self.complain(not_kept(&error)),
        };
        let mut kept = self.editing.document.model.heard.clone();
        if let Some(pitches) = kept.get_mut(found.kind.place()) {
            pitches.push(found.pitch);
        }
        let before = self.said(index);
        if let Err(error) = self.editing.hear(kept) {
            return self.complain(Trouble::from(error));
        }
        self.rebuild();
        self.editing.refine(Some(index), 1);
        let name = &self.editing.derived.bottles[index].name;
        let text = format!(
            "{name} was predicted at {before} here, and is now at {}",
            self.said(index)
        );
        self.say(text);
    }

    fn said(&self, index: PourIndex) -> String {
        let shown = &self.editing.derived.bottles[index];
        let sure = shown.more.as_ref();
        let sure = sure.map_or(String::new(), |m| {
            format!(" ±{:.0} cents", m.plus_minus_cents)
        });
        shown
            .hz()
            .map_or("nothing".to_owned(), |hz| format!("{hz:.2} Hz{sure}"))
    }
}

/// Nothing was heard that could be used.
fn unheard(what: &str) -> Trouble {
    Trouble::cannot(what, "nothing was heard of this bottle yet").or_try("blow or tap it")
}

/// A pitch that is not kept.
fn not_kept(error: &KeepError) -> Trouble {
    let trouble = Trouble::cannot("keep what was heard", error);
    match error {
        KeepError::Far { .. } => {
            trouble.or_try("say first what is really in it, or select the right bottle")
        }
        KeepError::Sliding
        | KeepError::Joined
        | KeepError::Gas
        | KeepError::Fill
        | KeepError::Gauge
        | KeepError::Silent(_) => trouble,
    }
}

/// The meter falls by at most so much a frame, dB.
const FALL_DB: f64 = 1.5;

/// What is listened for: the selected bottle, or whatever is near of those that are sounded alike.
fn scene(document: &Document, of: &SceneOf) -> Scene {
    let set = document.set();
    let selected = of.selected.filter(|index| index.place() < set.pours.len());
    let meant = if of.follows {
        let is_struck = |index: PourIndex| set.pours[index].way.is_struck();
        let by_mallet = selected.is_some_and(is_struck);
        let alike = PourIndex::all(set.pours.len()).filter(|index| is_struck(*index) == by_mallet);
        Meant::NearPours(alike.collect())
    } else {
        Meant::Pours(selected.into_iter().collect())
    };
    Scene {
        set,
        listen_for: ListenFor {
            within: Interval::from_cents(of.within_cents),
            ..ListenFor::new(meant)
        },
    }
}
