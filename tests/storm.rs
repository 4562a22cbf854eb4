//! A long storm of random MIDI through the engine: nothing allocates, breaks, or passes the ceiling, and it ends in silence.
//!
//! One minute by default; `ULLAGE_STORM_S=3600` makes it an hour.
#![allow(clippy::unwrap_used, missing_docs)]

use assert_no_alloc::{AllocDisabler, assert_no_alloc};
use std::time::Instant;
use ullage::synth::{Command, Engine, EngineSpec, PlayedBottle, VoiceSpec};
use ullage::units::{Frequency, Interval, Level, SampleRate};

#[global_allocator]
static GUARD: AllocDisabler = AllocDisabler;

const RATE: SampleRate = SampleRate::from_hz(48_000.0);
const BOTTLES: u8 = 16;

fn spec() -> EngineSpec {
    let player = |step: u8| PlayedBottle {
        bend_down: Interval::from_cents(80.0),
        bend_up: Interval::from_cents(30.0),
        ..PlayedBottle::new(VoiceSpec::new(
            Frequency::from_hz(130.8 * 2f64.powf(f64::from(step) / 12.0)),
            30.0,
        )
        .unwrap(), 48 + step)
    };
    EngineSpec {
        level: Level::from_db(6.0),
        ..EngineSpec::new((0..BOTTLES).map(player).collect())
    }
}

struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }

    fn message(&mut self) -> [u8; 3] {
        let status = 0x80 + self.below(0x80) as u8;
        let first = match status & 0xf0 {
            // Mostly keys that a bottle has, and controllers that do something.
            0x80 | 0x90 | 0xa0 => 44 + self.below(24) as u8,
            0xb0 => [1, 2, 7, 11, 64, 120, 121, 123, 0, 99][self.below(10) as usize],
            _ => self.below(128) as u8,
        };
        [status, first, self.below(256) as u8]
    }
}

#[test]
fn a_storm_of_midi_breaks_nothing_and_ends_in_silence() {
    let asked_s: f64 = std::env::var("ULLAGE_STORM_S").map_or(60.0, |s| s.parse().unwrap());
    let mut engine = Engine::new(&spec(), RATE).unwrap();
    let ceiling = Level::from_db(-6.0).gain() as f32;
    let mut dice = Dice(5);
    let (mut left, mut right) = (vec![0.0f32; 64], vec![0.0f32; 64]);
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
                        bytes: dice.message(),
                    },
                );
            }
            engine.process(&mut left, &mut right);
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
