//! A long storm of random MIDI through the engine: nothing allocates, breaks, or passes the ceiling, and it ends in silence.
//!
//! One minute by default; `ULLAGE_STORM_S=3600` makes it an hour.

use std::time::Instant;

use assert_no_alloc::assert_no_alloc;
use ullage::synth::{
    BlownVoice, Command, Engine, EngineSpec, OnRail, PlayedBottle, RailCurve, RingingMode,
    StruckVoice,
};
use ullage::units::{Frequency, Interval, Level, SampleRate};

use crate::common::dice::Dice;

const RATE: SampleRate = SampleRate::from_hz(48_000.0);
const BOTTLES: u8 = 16;

/// Twelve blown bottles, two struck ones, and a joined pair on a rail.
fn spec() -> EngineSpec {
    let hz = |step: u8| Frequency::from_hz(130.8 * 2f64.powf(f64::from(step) / 12.0));
    let blown = |step: u8| BlownVoice::new(hz(step), 30.0).unwrap();
    let player = |step: u8| match step {
        3 | 9 => {
            let mode = |m: u8| RingingMode {
                frequency: Frequency::from_hz(
                    900.0 + 700.0 * f64::from(m) + 50.0 * f64::from(step),
                ),
                q: 300.0,
                level: 0.4,
            };
            let voice = StruckVoice::new((0..6).map(mode).collect()).unwrap();
            PlayedBottle::new(voice.with_damp_on_release(step == 9), 48 + step)
        }
        14 | 15 => {
            let ends = [(hz(step), 30.0), (hz(29 - step), 25.0)];
            let curve = RailCurve::new(&ends).unwrap();
            let marks = vec![(50 + step, 0.1), (52 + step, 0.8)];
            let on = OnRail {
                rail: 0,
                curve,
                marks,
            };
            PlayedBottle {
                rail: Some(on),
                ..PlayedBottle::new(blown(step), 48 + step)
            }
        }
        _ => PlayedBottle {
            bend_down: Interval::from_cents(80.0),
            bend_up: Interval::from_cents(30.0),
            ..PlayedBottle::new(blown(step), 48 + step)
        },
    };
    EngineSpec {
        level: Level::from_db(6.0),
        ..EngineSpec::new((0..BOTTLES).map(player).collect())
    }
}

fn message(dice: &mut Dice) -> [u8; 3] {
    let status = 0x80 + dice.below(0x80) as u8;
    let first = match status & 0xf0 {
        // Mostly keys that a bottle has, and controllers that do something.
        0x80 | 0x90 | 0xa0 => 44 + dice.below(26) as u8,
        0xb0 => [1, 2, 7, 11, 16, 64, 120, 121, 123, 0, 99][dice.below(11) as usize],
        _ => dice.below(128) as u8,
    };
    [status, first, dice.below(256) as u8]
}

#[test]
fn a_storm_of_midi_breaks_nothing_and_ends_in_silence() {
    let asked_s: f64 = std::env::var("ULLAGE_STORM_S").map_or(60.0, |s| s.parse().unwrap());
    let mut engine = Engine::new(&spec(), RATE).unwrap();
    let ceiling = Level::from_db(-6.0).gain() as f32;
    let mut dice = Dice(5);
    let (mut left, mut right) = (vec![0.0f32; 64], vec![0.0f32; 64]);
    let (mut swings, mut most_swings) = ([0.0f32; BOTTLES as usize], [0.0f32; BOTTLES as usize]);
    let (mut loudest, mut sound_blocks) = (0.0f32, 0u64);
    let blocks = (asked_s * RATE.hz() / 64.0) as u64;
    let begun = Instant::now();
    assert_no_alloc(|| {
        for _ in 0..blocks {
            // Some 190 messages a second, three in four blocks none.
            if dice.below(4) == 0 {
                let at = engine.now_frames() + dice.below(64);
                let _ = engine.push(
                    at,
                    Command::Midi {
                        bytes: message(&mut dice),
                    },
                );
            }
            if dice.below(200) == 0 {
                let (rail, position) = (dice.below(2) as u16, dice.below(100) as f32 / 99.0);
                let _ = engine.push(engine.now_frames(), Command::Slide { rail, position });
            }
            engine.process(&mut left, &mut right);
            engine.swings(&mut swings);
            for (most, swing) in most_swings.iter_mut().zip(swings) {
                *most = most.max(swing);
            }
            let most = left.iter().chain(&right).fold(0.0f32, |m, s| {
                if s.is_finite() {
                    m.max(s.abs())
                } else {
                    f32::INFINITY
                }
            });
            loudest = loudest.max(most);
            sound_blocks += u64::from(most > 1e-3);
        }
    });
    let took_s = begun.elapsed().as_secs_f64();
    println!(
        "{asked_s} s of storm in {took_s:.2} s: {:.0} times real time",
        asked_s / took_s
    );
    assert!(loudest <= ceiling, "{loudest}");
    assert!(
        sound_blocks > blocks / 10,
        "the storm was not heard: {sound_blocks}"
    );
    assert!(
        most_swings.iter().all(|swing| *swing > 0.1),
        "a bottle was never heard: {most_swings:?}"
    );
    let _ = engine.push(engine.now_frames(), Command::AllOff);
    // Bottles ring for 0.3 s, the room for 0.9 s to −60 dB: 24 s are more than 20 times that, below the least f32.
    for _ in 0..24 * 750 {
        engine.process(&mut left, &mut right);
    }
    let rest = left
        .iter()
        .chain(&right)
        .fold(0.0f32, |m, s| m.max(s.abs()));
    assert!(rest < 1e-9, "{rest}");
    assert_eq!(engine.meters().sounding, 0);
}
