//! The window without a display, a sound card or a microphone.

use std::path::Path;
use std::time::{Duration, Instant};

use ullage::app::{Derived, Document, TunerAsk, ViewAsk};
use ullage::index::PourIndex;
use ullage::tuner::Verdict;
use ullage::units::Temperature;

use crate::common::window::{RATE_HZ, put_tape_in, silent_session};

/// The window in another room, as `play` opens it.
pub fn in_room(set: &Path, temp_c: f64) -> Document {
    let document = Document::open(set).unwrap();
    let mut conditions = document.model.conditions.clone();
    conditions.room.temperature = Temperature::from_c(temp_c);
    document.in_room(conditions)
}

/// What it shows of a note.
pub fn shown_hz(document: &Document, note: &str) -> f64 {
    let derived = Derived::new(&document.model, &document.fixed);
    let mut bottles = derived.bottles.iter();
    let bottle = bottles.find(|bottle| bottle.note.to_string() == note);
    bottle.and_then(|bottle| bottle.hz()).unwrap()
}

/// What the tuner says of a bottle that sounds like this.
pub fn tuner(document: Document, note: &str, samples: &[f32]) -> Verdict {
    let mut session = silent_session(document);
    put_tape_in(&mut session).lock().unwrap().samples = samples.to_vec();
    let mut notes = session.derived().bottles.iter().map(|b| b.note.to_string());
    let index = notes.position(|known| known == note).map(PourIndex::new);
    let index = index.unwrap();
    session.apply(ViewAsk::Select(index));
    session.apply(TunerAsk::Listen);
    let (since, long_s) = (Instant::now(), samples.len() as f64 / RATE_HZ);
    while session.state.tuner.clock_s < long_s - 1e-6 {
        assert!(
            since.elapsed() < Duration::from_secs(60),
            "it does not listen"
        );
        std::thread::sleep(Duration::from_millis(2));
        session.poll();
    }
    session.state.tuner.of(index).unwrap().clone()
}
