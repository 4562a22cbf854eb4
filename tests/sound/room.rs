//! The room and the ceiling, and the bank inside a graph.

use std::f32::consts::FRAC_1_SQRT_2;

use fundsp::audiounit::AudioUnit;
use ullage::index::BottleIndex;
use ullage::physics::reverberation::{Listening, RoomKind, Walls};
use ullage::synth::{
    Attack, BlownBank, BlownVoice, BottleUnit, Ceiling, Event, EventKind, Room, RoomError, RoomSpec,
};
use ullage::units::{Duration, Frequency, Length, Level, SampleRate};

const RATE: SampleRate = SampleRate::from_hz(48_000.0);

fn small() -> Walls {
    RoomKind::Small.walls().unwrap()
}

/// Both sides of what a room makes of an impulse in the middle of energy 1.
fn response(spec: RoomSpec, frames: usize) -> [Vec<f32>; 2] {
    let mut room = Room::new(spec, RATE).unwrap();
    let mut sides = [vec![0.0; frames], vec![0.0; frames]];
    sides.iter_mut().for_each(|side| side[0] = FRAC_1_SQRT_2);
    let [left, right] = &mut sides;
    room.process(left, right);
    sides
}

/// Energy of both sides from 250 to 2000 Hz.
fn middle_energy(sides: &[Vec<f32>; 2]) -> f64 {
    let frames = sides[0].len();
    let fft = realfft::RealFftPlanner::<f64>::new().plan_fft_forward(frames);
    let bin_hz = RATE.hz() / frames as f64;
    let bins = (250.0 / bin_hz) as usize..(2_000.0 / bin_hz) as usize;
    let energy = |side: &Vec<f32>| {
        let mut input: Vec<f64> = side.iter().map(|s| f64::from(*s)).collect();
        let mut output = fft.make_output_vec();
        fft.process(&mut input, &mut output).unwrap();
        output[bins.clone()]
            .iter()
            .map(|bin| bin.norm_sqr())
            .sum::<f64>()
    };
    sides.iter().map(energy).sum()
}

#[test]
fn walls_are_as_loud_beside_the_bottles_as_the_distance_has_it() {
    for (kind, distances_m) in [
        (RoomKind::Small, [0.4, 0.8, 2.0]),
        (RoomKind::Hall, [1.0, 3.0, 10.0]),
    ] {
        let walls = kind.walls().unwrap();
        let volume_m3 = walls.length.m() * walls.width.m() * walls.height.m();
        for distance_m in distances_m {
            let listening = Listening::new(kind, Some(Length::from_m(distance_m))).unwrap();
            let frames = (2.0 * walls.decay.s() * RATE.hz()) as usize;
            let mut sides = response(listening.into(), frames);
            let mut direct = [vec![0.0; frames], vec![0.0; frames]];
            for (direct, side) in direct.iter_mut().zip(&mut sides) {
                direct[0] = std::mem::take(&mut side[0]);
            }
            let ratio_db = 10.0 * (middle_energy(&direct) / middle_energy(&sides)).log10();
            let critical_m = 0.057 * (volume_m3 / walls.decay.s()).sqrt();
            let asked_db = 20.0 * (critical_m / distance_m).log10();
            println!("{kind:?} at {distance_m} m: {ratio_db:+.2} dB, asked {asked_db:+.2} dB");
            // A few reflections fall together in some bins and apart in others: 1 dB.
            assert!((ratio_db - asked_db).abs() < 1.0, "{kind:?} {distance_m} m");
        }
    }
}

/// Delays after the direct sound (s) and amplitudes beside it, from a plain list of mirrors: every way with one or two of
/// the six walls, each way once.
fn mirrored(walls: &Walls, distance_m: f64) -> Vec<(f64, f64)> {
    let size = [walls.length.m(), walls.width.m(), walls.height.m()];
    // A fifth of the length before the wall behind, a third of the width (0.33) beside the left one, sitting.
    let source = [0.2 * size[0], 0.33 * size[1], 1.2];
    let ear = [source[0] + distance_m, source[1], source[2]];
    let mirror = |at: [f64; 3], wall: usize| {
        let (axis, far) = (wall / 2, wall % 2 == 1);
        let mut seen = at;
        seen[axis] = if far {
            2.0 * size[axis] - at[axis]
        } else {
            -at[axis]
        };
        seen
    };
    let mut images: Vec<([f64; 3], i32)> = Vec::new();
    for first in 0..6 {
        let once = mirror(source, first);
        images.push((once, 1));
        for second in (0..6).filter(|second| *second != first) {
            let twice = mirror(once, second);
            let is_new =
                |(at, _): &([f64; 3], i32)| at.iter().zip(twice).any(|(a, b)| (a - b).abs() > 1e-9);
            if images.iter().all(is_new) {
                images.push((twice, 2));
            }
        }
    }
    // Sabine: 0.161 V / T60 of absorbing surface, of all of it.
    let surface = 2.0 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0]);
    let absorbed = 0.161 * size.iter().product::<f64>() / walls.decay.s() / surface;
    let mut all: Vec<(f64, f64)> = images
        .iter()
        .map(|(at, bounces)| {
            let path_m = (0..3).map(|i| (at[i] - ear[i]).powi(2)).sum::<f64>().sqrt();
            let gain = (1.0 - absorbed).sqrt().powi(*bounces) * distance_m / path_m;
            ((path_m - distance_m) / 343.2, gain)
        })
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

#[test]
fn the_first_six_reflections_come_when_mirrors_say() {
    for (kind, distance_m) in [
        (RoomKind::Small, 0.8),
        (RoomKind::Small, 2.0),
        (RoomKind::Hall, 3.0),
    ] {
        let listening = Listening::new(kind, Some(Length::from_m(distance_m))).unwrap();
        let [left, right] = response(listening.into(), 4_096);
        let direct = f64::from(left[0]).hypot(f64::from(right[0]));
        for (delay_s, gain) in mirrored(&kind.walls().unwrap(), distance_m).iter().take(6) {
            let frame = (delay_s * RATE.hz()).round() as usize;
            let heard = f64::from(left[frame]).hypot(f64::from(right[frame])) / direct;
            println!(
                "{kind:?}: {:.2} ms, {gain:.3}, heard {heard:.3}",
                1e3 * delay_s
            );
            // The reverb begins while the later ones of a hall come: 0.03 beside them.
            assert!(
                (heard - gain).abs() < 0.03,
                "{kind:?} {delay_s} s: {heard} for {gain}"
            );
        }
    }
    let [left, right] = response(
        Listening::new(RoomKind::Outdoors, None).unwrap().into(),
        4_096,
    );
    let sounding = left
        .iter()
        .zip(&right)
        .filter(|(l, r)| **l != 0.0 || **r != 0.0);
    assert_eq!(sounding.count(), 2, "the direct sound and the ground");
}

#[test]
fn a_room_takes_and_gives_the_energy_of_the_direct_sound() {
    let frames = 2 * RATE.hz() as usize;
    let dry = middle_energy(&{
        let mut sides = [vec![0.0; frames], vec![0.0; frames]];
        sides.iter_mut().for_each(|side| side[0] = FRAC_1_SQRT_2);
        sides
    });
    for kind in RoomKind::ALL {
        let spec = RoomSpec::from(Listening::new(kind, None).unwrap());
        let change_db = 10.0 * (middle_energy(&response(spec, frames)) / dry).log10();
        println!("{kind:?}: {change_db:+.2} dB");
        assert!(change_db.abs() < 1.0, "{kind:?}: {change_db} dB");
    }
}

#[test]
fn the_length_of_a_block_is_not_heard_in_a_room() {
    let said = tone(6_000, 0.5);
    let mut whole = [said.clone(), said.clone()];
    let mut pieces = whole.clone();
    let run = |sides: &mut [Vec<f32>; 2], sizes: &[usize]| {
        let mut room = Room::new(RoomSpec::default(), RATE).unwrap();
        let (mut start, mut sizes) = (0, sizes.iter().cycle());
        while start < 6_000 {
            let end = (start + sizes.next().unwrap()).min(6_000);
            let [left, right] = &mut *sides;
            room.process(&mut left[start..end], &mut right[start..end]);
            if start == 0 {
                // A turn of the wet part is on its way over the pieces that follow.
                room.set_wet(0.1);
            }
            start = end;
        }
    };
    run(&mut whole, &[64, 6_000]);
    run(&mut pieces, &[64, 1, 7, 441, 511]);
    assert!(whole == pieces);
    assert!(whole[0].iter().zip(&said).any(|(a, b)| a != b));
}

#[test]
fn a_room_without_a_sound_rests_from_a_frame_of_its_own_and_wakes_as_new() {
    let pause = (2.5 * small().decay.s() * RATE.hz()) as usize;
    let said = [tone(6_000, 0.5), vec![0.0; pause], tone(6_000, 0.5)].concat();
    let run = |sizes: &[usize]| {
        let mut room = Room::new(RoomSpec::default(), RATE).unwrap();
        let (mut left, mut right) = (said.clone(), said.clone());
        let (mut start, mut sizes) = (0, sizes.iter().cycle());
        while start < said.len() {
            let end = (start + sizes.next().unwrap()).min(said.len());
            room.process(&mut left[start..end], &mut right[start..end]);
            start = end;
        }
        left
    };
    let heard = run(&[said.len()]);
    assert!(heard == run(&[64, 1, 7, 441, 511]));
    let again = 6_000 + pause;
    assert!(heard[6_000..8_000].iter().any(|s| s.abs() > 1e-3));
    assert!(heard[again - 100..again].iter().all(|s| *s == 0.0));
    let off = heard[again..]
        .iter()
        .zip(&heard)
        .map(|(a, b)| (a - b).abs());
    let most = off.fold(0.0, f32::max);
    assert!(most < 1e-5, "{most}");
}

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
            walls: Some(Walls {
                decay: Duration::from_s(decay_s),
                softness: 0.0,
                ..small()
            }),
            wet: Some(1.0),
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
        walls: Some(Walls {
            decay: Duration::from_s(60.0),
            ..small()
        }),
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
