//! A window whose microphone plays what a test puts on its tape.

use std::f64::consts::TAU;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use ullage::app::{Ask, Panel, Session, TunerAsk, ViewAsk};
use ullage::index::PourIndex;
use ullage::physics::prediction::Blown;
use ullage::sounding::Sounded;
use ullage::tuner::Verdict;
use ullage::units::Volume;

use crate::common::files::{Folder, QUAY_SET};
use crate::common::measure::cents;
use crate::common::voices::{bank, left, seconds, spec, tongue};
use crate::common::window::{Tape, put_tape_in, silent_session};
use crate::{copied, drawn};

pub use crate::common::window::RATE_HZ;

pub struct Rig {
    pub harness: Harness<'static, Session>,
    pub tape: Arc<Mutex<Tape>>,
    pub path: PathBuf,
    played_s: f64,
    _folder: Folder,
}

pub fn rig_of(set: &str) -> Rig {
    let (folder, document) = copied(set);
    let path = document.path.clone();
    let mut session = silent_session(document);
    let tape = put_tape_in(&mut session);
    session.apply(ViewAsk::Panel(Panel::Tuner));
    // Each test says which bottle is meant.
    session.apply(TunerAsk::Follow(false));
    let mut harness = drawn(session, [1200.0, 900.0]);
    harness.run_steps(14);
    Rig {
        harness,
        tape,
        path,
        played_s: 0.0,
        _folder: folder,
    }
}

pub fn rig() -> Rig {
    rig_of(QUAY_SET)
}

impl Rig {
    pub fn session(&self) -> &Session {
        self.harness.state()
    }

    pub fn ask(&mut self, ask: impl Into<Ask>) {
        self.harness.state_mut().apply(ask);
        self.harness.run_steps(2);
    }

    pub fn index(&self, note: &str) -> PourIndex {
        crate::index(self.session(), note)
    }

    pub fn select(&mut self, note: &str) -> PourIndex {
        let index = self.index(note);
        self.ask(ViewAsk::Select(index));
        index
    }

    pub fn sees(&self, text: &str) -> bool {
        crate::sees(&self.harness, text)
    }

    pub fn click(&mut self, label: &str) {
        crate::click(&mut self.harness, label);
    }

    pub fn opened(&self) -> usize {
        self.tape.lock().unwrap().opened.len()
    }

    /// Draws frames until `is_so`, half a minute at most.
    pub fn until(&mut self, what: &str, is_so: impl Fn(&Self) -> bool) {
        let since = Instant::now();
        while !is_so(self) {
            assert!(since.elapsed() < Duration::from_secs(30), "never: {what}");
            std::thread::sleep(Duration::from_millis(2));
            self.harness.step();
        }
        self.harness.run_steps(2);
    }

    /// Plays into the microphone, a frame of the window for each of its pieces, until all of it was listened to.
    pub fn play(&mut self, samples: &[f32]) {
        self.tape.lock().unwrap().samples.extend(samples);
        self.played_s += samples.len() as f64 / RATE_HZ;
        let played_s = self.played_s;
        self.until("all of it was listened to", |rig| {
            rig.session().state.tuner.clock_s > played_s - 1e-6
        });
    }

    pub fn heard(&self) -> &Verdict {
        self.session().state.tuner.heard.as_ref().unwrap()
    }

    /// Cents from what was heard to what the model says of the same bottle.
    pub fn apart_cents(&self) -> f64 {
        let heard = self.heard();
        let says = self.session().derived().bottles[heard.pour.unwrap()]
            .hz()
            .unwrap();
        cents(says, heard.frequency.hz())
    }

    /// What a bottle of the set gives with `fill` in it, in the room as it is.
    pub fn gives(&self, index: PourIndex, fill: Volume) -> (f64, f64) {
        let document = &self.session().document();
        let kind = document.model.pours[index].kind;
        let bottle = &document.fixed.kinds[kind].bottle;
        let blown = Blown::new(bottle, &document.model.conditions).unwrap();
        let found = blown.fundamental(fill).unwrap();
        (found.frequency.hz(), found.quality)
    }

    pub fn fill(&self, index: PourIndex) -> Volume {
        self.session().document().model.fill(index).unwrap()
    }
}

/// A bottle that is blown for a second and rings down, as its voice sounds.
pub fn blown(hz: f64, q: f64) -> Vec<f32> {
    let mut bank = bank(&[spec(hz, q).with_seed(5)], RATE_HZ);
    tongue(&mut bank, 4000, 0, 2.5);
    let mut samples = left(&mut bank, seconds(RATE_HZ, 1.2));
    samples.extend(vec![0.0; seconds(RATE_HZ, 0.4)]);
    samples
}

/// The same for one that is tapped.
pub fn tapped(sounded: &Sounded) -> Vec<f32> {
    let mut sound = vec![0.0f64; seconds(RATE_HZ, 1.8)];
    for mode in sounded.modes() {
        let (hz, strength) = (mode.frequency.hz(), 0.3 * mode.level.gain());
        let fall = 6.907_755 / mode.decay().s();
        for (n, x) in sound[seconds(RATE_HZ, 0.3)..].iter_mut().enumerate() {
            let t = n as f64 / RATE_HZ;
            *x += strength * (-fall * t).exp() * (TAU * hz * t).sin();
        }
    }
    sound.into_iter().map(|x| x as f32).collect()
}
