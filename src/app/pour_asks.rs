//! What is asked of a pour that is followed by ear, and what comes of it.

use crate::synth::Command;
use crate::tuner::filling::{COARSE, FillingError, HowFilled, Step};
use crate::units::Volume;

use super::hearing::{PourOrder, PourSaid};
use super::pouring::{PourAsk, PourNow};
use super::session::Session;
use super::trouble::Trouble;
use super::tuner::TunerAsk;

impl Session {
    /// Does what was asked.
    pub(super) fn pour_by_ear(&mut self, ask: PourAsk) {
        let pouring = &mut self.state.pouring;
        match ask {
            PourAsk::Begin => self.begin_pour(),
            PourAsk::End => {
                pouring.now = None;
                self.hearing.pour(None);
            }
            PourAsk::Start(fill) => pouring.how.start = Some(fill.max(Volume::default())),
            PourAsk::Funnel(funnel) => pouring.how.funnel = funnel,
            PourAsk::ByMl(by_ml) => pouring.how.by_ml = by_ml,
            PourAsk::Beep(beep) => pouring.beep = beep,
        }
    }

    fn begin_pour(&mut self) {
        let Some(index) = self.state.selected else {
            return self.complain(
                Trouble::cannot("follow a pour", "no bottle is selected")
                    .or_try("press one on the shelf"),
            );
        };
        self.tuner(TunerAsk::Listen);
        if self.hearing.microphone.is_none() {
            return;
        }
        let set = self.editing.document.set();
        let pour = set.pours[index].clone();
        let pouring = &mut self.state.pouring;
        let how = HowFilled {
            learnt: pouring.learnt.get(&pour.kind).copied(),
            ..pouring.how
        };
        pouring.now = Some(PourNow {
            index,
            step: Step::Quiet,
            reading: None,
            learnt: None,
        });
        self.state.tuner.heard = None;
        let order = PourOrder {
            index,
            set,
            pour,
            how,
        };
        self.hearing.pour(Some(order));
    }

    /// Takes what was heard of the pour; once a frame.
    pub(super) fn poll_pour(&mut self) {
        for said in self.hearing.poured() {
            match said {
                PourSaid::Now(now) => self.take_pour(now),
                PourSaid::Failed(error) => {
                    self.state.pouring.now = None;
                    self.complain(refused(&error));
                }
            }
        }
    }

    fn take_pour(&mut self, now: PourNow) {
        let pouring = &mut self.state.pouring;
        let Some(before) = pouring.now.filter(|before| before.index == now.index) else {
            return;
        };
        pouring.now = Some(now);
        if let Some(learnt) = now.learnt {
            let set = self.editing.document.set();
            if let Some(pour) = set.pours.get(now.index.place()) {
                pouring.learnt.insert(pour.kind, learnt);
            }
        }
        if now.step != before.step {
            let calls = matches!(now.step, Step::Slower | Step::Stop);
            if calls && pouring.beep {
                let first = now.step == Step::Stop;
                self.playing.sound.send(Command::Click { first });
            }
            if now.step == Step::Blow {
                self.say(format!("Blow it. What was heard of the pour is {COARSE}."));
            }
        }
    }
}

fn refused(error: &FillingError) -> Trouble {
    let trouble = Trouble::cannot("follow this pour", error);
    match error {
        FillingError::Over { .. } => trouble.or_try("say what is really in it"),
        FillingError::Way { .. } => trouble.or_try("choose another bottle"),
        FillingError::NoFill
        | FillingError::Sounded(_)
        | FillingError::Modes(_)
        | FillingError::Pouring(_) => trouble,
    }
}
