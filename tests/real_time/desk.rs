//! The desk with no sound card and no MIDI: it comes up, says so, and goes on working.

use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

use ullage::index::BottleIndex;
use ullage::live::{Desk, DeskState, DeviceWish, MidiWish, OutputState};
use ullage::synth::{BlownVoice, Command, EngineSpec, PlayedBottle};
use ullage::units::{Frequency, Interval, Level};

fn spec(hz: f64) -> EngineSpec {
    EngineSpec::new(vec![PlayedBottle {
        bend_down: Interval::from_cents(80.0),
        bend_up: Interval::from_cents(30.0),
        ..PlayedBottle::new(BlownVoice::new(Frequency::from_hz(hz), 25.0).unwrap(), 57)
    }])
}

/// A desk whose device is nowhere, on this machine as on every other.
fn nowhere() -> Desk {
    let output = DeviceWish {
        device: Some("a card that nobody has".to_owned()),
        ..DeviceWish::default()
    };
    let midi = MidiWish {
        ports: vec!["a keyboard that nobody has".to_owned()],
        virtual_port: false,
    };
    Desk::start(spec(220.0), output, midi)
}

/// Polls until `done`, for 10 s at most: the machine may be busy.
fn until(desk: &mut Desk, what: &str, mut done: impl FnMut(&DeskState) -> bool) {
    let end = Instant::now() + Duration::from_secs(10);
    while !done(desk.poll()) {
        assert!(
            Instant::now() < end,
            "{what} did not happen in 10 s: {:?}",
            desk.poll()
        );
        sleep(Duration::from_millis(5));
    }
}

fn silent(desk: &mut Desk) {
    until(desk, "the desk says why it is silent", |s| {
        matches!(s.output, OutputState::Silent { .. })
    });
}

#[test]
fn a_desk_without_a_card_comes_up_at_once_and_says_why_in_one_line() {
    let start = Instant::now();
    let mut desk = nowhere();
    // It only starts threads; half a second is what a very busy machine may take for that.
    assert!(
        start.elapsed() < Duration::from_millis(500),
        "{:?}",
        start.elapsed()
    );
    silent(&mut desk);
    let OutputState::Silent { because } = &desk.poll().output else {
        panic!("it was silent a moment ago");
    };
    assert!(!because.is_empty() && !because.contains('\n'), "{because}");
}

#[test]
fn a_silent_desk_empties_its_queues_and_its_lights_follow() {
    let mut desk = nowhere();
    silent(&mut desk);
    for _ in 0..40 {
        for _ in 0..200 {
            let bottle = BottleIndex::new(0);
            desk.send(Command::Release { bottle });
        }
        sleep(Duration::from_millis(30));
    }
    let full = desk.poll().queue_full;
    assert!(full < 4000, "half of 8000 commands found no room: {full}");
    desk.send(Command::Blow {
        bottle: BottleIndex::new(0),
        breath: 0.8,
    });
    until(&mut desk, "the bottle lights up", |s| {
        s.swings[0] > 0.5 && s.meters.sounding == 1
    });
    let before = desk.poll().now_frames;
    until(&mut desk, "time goes on", |s| {
        s.now_frames > before + 24_000
    });
    desk.send(Command::AllOff);
    until(&mut desk, "it rings down", |s| s.meters.sounding == 0);
}

#[test]
fn another_set_and_the_level_asked_for_reach_a_silent_desk() {
    let mut desk = nowhere();
    silent(&mut desk);
    desk.send(Command::Blow {
        bottle: BottleIndex::new(0),
        breath: 0.8,
    });
    until(&mut desk, "the first set sounds", |s| {
        s.meters.sounding == 1
    });
    desk.replace(spec(330.0));
    until(&mut desk, "the second set is silent", |s| {
        s.meters.sounding == 0
    });
    desk.send(Command::Level(Level::from_db(-60.0)));
    desk.send(Command::Blow {
        bottle: BottleIndex::new(0),
        breath: 0.8,
    });
    until(&mut desk, "the second set sounds", |s| s.swings[0] > 0.5);
    sleep(Duration::from_millis(200));
    desk.poll();
    sleep(Duration::from_millis(200));
    let peak = desk.poll().meters.peak_left;
    assert!(peak > 0.0 && peak < 0.003, "−60 dB: {peak}");
}

#[test]
fn a_recording_holds_what_was_played_and_its_sink_is_dropped_at_the_end() {
    let mut desk = nowhere();
    silent(&mut desk);
    let sound = Arc::new(Mutex::new(Vec::new()));
    let sink = Arc::clone(&sound);
    desk.record(Box::new(move |left, right| {
        assert_eq!(left.len(), right.len());
        sink.lock().unwrap().extend_from_slice(left);
    }))
    .unwrap();
    assert!(desk.record(Box::new(|_, _| {})).is_err(), "one at a time");
    desk.send(Command::Blow {
        bottle: BottleIndex::new(0),
        breath: 0.8,
    });
    let start = desk.poll().now_frames;
    until(&mut desk, "a second passes", |s| {
        s.now_frames > start + 48_000
    });
    let recorded = desk.stop_record().unwrap();
    assert_eq!(Arc::strong_count(&sound), 1, "the sink was dropped");
    let sound = sound.lock().unwrap();
    assert_eq!(recorded.frames as usize, sound.len());
    assert_eq!(recorded.lost_frames, 0);
    assert!(sound.len() >= 48_000 - 9_600, "{} frames", sound.len());
    let peak = sound.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(peak > 0.02, "{peak}");
    assert!(desk.stop_record().is_none());
}

#[test]
fn keys_have_one_queue_of_their_own_that_plays() {
    let mut desk = nowhere();
    let mut keys = desk.keys().unwrap();
    assert!(desk.keys().is_none());
    silent(&mut desk);
    std::thread::spawn(move || {
        keys.send(Command::Midi {
            bytes: [0x90, 57, 100],
        })
    })
    .join()
    .unwrap();
    until(&mut desk, "the key sounds", |s| s.meters.sounding == 1);
}
