//! Pouring by ear in the window, without a display, a card or a microphone.

use ullage::app::{Panel, PourAsk, ViewAsk};
use ullage::tuner::filling::Step;
use ullage::units::Volume;

use crate::common::pours;
use crate::tape::{RATE_HZ, rig};

#[test]
fn a_pour_is_followed_to_its_mark_and_a_note_is_asked_for() {
    let mut rig = rig();
    let index = rig.select("A4");
    rig.ask(ViewAsk::Panel(Panel::Pour));
    assert!(rig.sees("Already in it") && rig.sees("the scale and the blown note decide"));
    assert!(
        !rig.session().state.pouring.beep,
        "it beeps only if it is asked to"
    );
    let set = rig.session().document().set();
    let bottle = &set.kind_of(&set.pours[index]).bottle;
    let bore = pours::Bore::open(bottle, &set.conditions);
    let mut scene = pours::Scene::new(4, 30.0, 18.0);
    scene.to_ml = 0.95 * bore.fullest_ml();
    let poured = pours::pour(&bore, &scene);
    rig.ask(PourAsk::Begin);
    assert_eq!(rig.opened(), 1);
    // The simulator is slower than the tape by a whole number.
    let times = (RATE_HZ / pours::RATE_HZ).round() as usize;
    // When the stream has ended there is the room again, as before it began.
    let room = &poured.samples[..(pours::ROOM_S * pours::RATE_HZ) as usize];
    let after = room.iter().cycle().take(4 * room.len());
    let sound = poured
        .samples
        .iter()
        .chain(after)
        .flat_map(|x| std::iter::repeat_n(*x, times));
    let sound: Vec<f32> = sound.collect();
    let now = |rig: &crate::tape::Rig| rig.session().state.pouring.now;
    let blow = |rig: &crate::tape::Rig| now(rig).map(|now| now.step) == Some(Step::Blow);
    let mut fed_s = 0.0;
    // No faster than it is followed: what a microphone has piled up is let go.
    for piece in sound.chunks(12_000) {
        rig.tape.lock().unwrap().samples.extend(piece);
        fed_s += piece.len() as f64 / RATE_HZ;
        let heard_s = |rig: &crate::tape::Rig| now(rig)?.reading.map(|reading| reading.at.s());
        rig.until("it is followed", |rig| {
            blow(rig) || heard_s(rig).unwrap_or_default() > fed_s - 0.3
        });
    }
    assert!(blow(&rig), "a note is asked for: {:?}", now(&rig));
    let now = rig.session().state.pouring.now.unwrap();
    let reading = now.reading.unwrap();
    assert!(reading.mark.ml() > 0.0 && now.index == index);
    assert!(rig.sees("blow"));
    rig.ask(PourAsk::End);
    assert_eq!(rig.session().state.pouring.now, None);
}

#[test]
fn a_bottle_that_holds_more_than_its_mark_is_not_poured_into() {
    let mut rig = rig();
    rig.select("A4");
    rig.ask(ViewAsk::Panel(Panel::Pour));
    rig.ask(PourAsk::Start(Volume::from_ml(100_000.0)));
    rig.ask(PourAsk::Begin);
    rig.tape.lock().unwrap().samples.extend([0.0; 4_800]);
    rig.until("it is refused", |rig| {
        rig.session().state.pouring.now.is_none()
    });
    assert!(rig.sees("say what is really in it"));
}
