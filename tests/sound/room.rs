//! The room and the ceiling, and the bank inside a graph.

use fundsp::audiounit::AudioUnit;
use ullage::index::BottleIndex;
use ullage::synth::{
    Attack, BlownBank, BlownVoice, BottleUnit, Ceiling, Event, EventKind, Room, RoomError, RoomSpec,
};
use ullage::units::{Duration, Frequency, Level, SampleRate};

const RATE: SampleRate = SampleRate::from_hz(48_000.0);

fn tone(frames: usize, level: f32) -> Vec<f32> {
    (0..frames)
        .map(|i| level * (i as f32 * 0.05).sin())
        .collect()
}

#[test]
fn what_is_below_the_ceiling_passes_unchanged_and_in_time() {
    let mut ceiling = Ceiling::new(Level::from_db(-1.0), RATE).unwrap();
    let before = tone(20_000, 0.3);
    let (mut left, mut right) = (before.clone(), before.clone());
    ceiling.process_whole(&mut left, &mut right);
    assert_eq!(left.len(), before.len());
    // 1e-5 of the level: the limiter's gain creeps up to 1 and stops some roundings short of it.
    assert!(left.iter().zip(&before).all(|(a, b)| (a - b).abs() < 3e-6));
}

#[test]
fn no_sample_passes_the_ceiling() {
    let mut ceiling = Ceiling::new(Level::from_db(-1.0), RATE).unwrap();
    let top = Level::from_db(-1.0).gain() as f32;
    let mut left = tone(20_000, 0.2);
    left[5000..12_000].iter_mut().for_each(|s| *s *= 40.0);
    let mut right = left.clone();
    ceiling.process_whole(&mut left, &mut right);
    let loudest = left.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(loudest <= top && loudest > 0.8 * top, "{loudest}");
}

#[test]
fn a_reset_room_is_like_new() {
    let mut room = Room::new(RoomSpec::default(), RATE).unwrap();
    let mut run = |first: bool| {
        let (mut left, mut right) = (tone(9000, 1.5), tone(9000, 0.1));
        if !first {
            room.reset();
        }
        room.process(&mut left, &mut right);
        left
    };
    let first = run(true);
    let differs = first.iter().zip(run(false)).position(|(a, b)| *a != b);
    assert_eq!(differs, None);
}

#[test]
fn a_reset_ceiling_is_like_new() {
    let mut ceiling = Ceiling::new(Level::from_db(-1.0), RATE).unwrap();
    let mut run = |first: bool| {
        let (mut left, mut right) = (tone(9000, 1.5), tone(9000, 0.1));
        if !first {
            ceiling.reset();
        }
        ceiling.process(&mut left, &mut right);
        left
    };
    let first = run(true);
    let differs = first.iter().zip(run(false)).position(|(a, b)| *a != b);
    assert_eq!(differs, None);
}

#[test]
fn the_room_dies_away_in_the_time_it_was_given() {
    for decay_s in [0.5, 1.0, 2.0] {
        let spec = RoomSpec {
            decay: Duration::from_s(decay_s),
            softness: 0.0,
            wet: 1.0,
            ..RoomSpec::default()
        };
        let mut room = Room::new(spec, RATE).unwrap();
        let frames = (1.5 * decay_s * RATE.hz()) as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        left[0] = 1.0;
        room.process(&mut left, &mut right);
        // Schroeder's backward integral, from 5 to 35 dB down, doubled to 60.
        let mut energy = vec![0.0f64; frames + 1];
        for i in (0..frames).rev() {
            energy[i] = energy[i + 1] + f64::from(left[i]).powi(2);
        }
        let below = |db: f64| {
            energy
                .iter()
                .position(|e| *e < energy[0] * 10f64.powf(-db / 10.0))
                .unwrap() as f64
        };
        let measured_s = 2.0 * (below(35.0) - below(5.0)) / RATE.hz();
        println!("room: asked {decay_s} s, measured {measured_s:.3} s");
        // 10 %: one factor for all decays, and loops of different lengths with one gain do not fall quite straight.
        assert!(
            (measured_s / decay_s - 1.0).abs() < 0.10,
            "{measured_s} s for {decay_s} s"
        );
    }
}

#[test]
fn a_room_that_cannot_be_is_refused_with_its_limits() {
    let spec = RoomSpec {
        decay: Duration::from_s(60.0),
        ..RoomSpec::default()
    };
    let message = Room::new(spec, RATE).err().map(|e| e.to_string());
    assert_eq!(
        message.as_deref(),
        Some("a decay of 60 s is outside 0.1 to 10 s")
    );
    assert_eq!(
        Ceiling::new(Level::from_db(3.0), RATE).err(),
        Some(RoomError::Ceiling { db: 3.0 })
    );
}

#[test]
fn a_graph_plays_what_the_bank_plays_and_again_after_a_reset() {
    let spec = BlownVoice::new(Frequency::from_hz(220.0), 20.0).unwrap();
    let blow = EventKind::Blow {
        g: 3.0,
        attack: Attack::Tongued { strength: 1.0 },
    };
    let event = Event {
        at_frames: 100,
        bottle: BottleIndex::new(0),
        kind: blow,
    };
    let mut bank = BlownBank::new(std::slice::from_ref(&spec), RATE, 7).unwrap();
    bank.push(event).unwrap();
    let (mut left, mut right) = (vec![0.0; 4096], vec![0.0; 4096]);
    bank.add_block(&mut left, &mut right);
    let mut unit = BottleUnit::new(vec![spec], RATE, 7, vec![event]).unwrap();
    for _ in 0..2 {
        let graph: Vec<f32> = (0..4096).map(|_| unit.get_stereo().0).collect();
        assert_eq!(graph, left);
        unit.reset();
    }
    let mut twin = unit.clone();
    twin.set_sample_rate(96_000.0);
    let faster: Vec<f32> = (0..8192).map(|_| twin.get_stereo().0).collect();
    assert!(faster[..200].iter().all(|s| *s == 0.0) && faster[200..600].iter().any(|s| *s != 0.0));
}
