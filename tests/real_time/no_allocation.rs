//! The audio path asks the allocator for nothing, whatever happens to it.
//!
//! The guard aborts the whole test process on the first allocation, so a failure here is a crash that names its size.

use assert_no_alloc::assert_no_alloc;
use fundsp::prelude64::{AudioUnit, BufferRef, BufferVec, U0, U2, lowpole_hz, unit};
use ullage::index::BottleIndex;
use ullage::synth::{
    Attack, BlownBank, BlownVoice, BottleUnit, BottleVoice, Ceiling, Event, EventKind, PassiveMode,
    RingingMode, Room, RoomSpec, Row, StruckVoice,
};
use ullage::units::{Frequency, Interval, Level, SampleRate};

use crate::common::dice::Dice;

const RATE: SampleRate = SampleRate::from_hz(48_000.0);
const BOTTLES: usize = 70;

/// A stream of numbers for the storm.
struct Storm(Dice);

impl Storm {
    fn event(&mut self, now_frames: u64) -> Event {
        let kind = match self.0.below(9) {
            0 | 1 => EventKind::Blow {
                g: self.0.below(700) as f64 / 100.0,
                attack: Attack::Tongued {
                    strength: self.0.below(100) as f64 / 100.0,
                },
            },
            2 => EventKind::Blow {
                g: self.0.below(700) as f64 / 100.0,
                attack: Attack::Natural,
            },
            3 => EventKind::Bend {
                interval: Interval::from_cents(self.0.below(400) as f64 - 200.0),
            },
            4 => EventKind::Tune {
                frequency: Frequency::from_hz(60.0 + self.0.below(900) as f64),
                q: 20.0,
            },
            5 => EventKind::Strike {
                speed: self.0.below(300) as f64 / 100.0,
            },
            6 => EventKind::Damp {
                hand: self.0.below(2) as f64,
            },
            7 => EventKind::Glide {
                frequency: Frequency::from_hz(60.0 + self.0.below(900) as f64),
                q: 20.0,
                over_s: self.0.below(100) as f64 / 1000.0,
            },
            _ => EventKind::Release,
        };
        // Some are late, some for this block, some for later ones.
        let at_frames = (now_frames + self.0.below(2000)).saturating_sub(500);
        Event {
            at_frames,
            bottle: BottleIndex::new(self.0.below(BOTTLES as u64 + 1) as usize),
            kind,
        }
    }
}

fn specs() -> Vec<BlownVoice> {
    let mode = PassiveMode {
        frequency: Frequency::from_hz(1500.0),
        q: 30.0,
        gain: 1.0,
    };
    (0..BOTTLES)
        .map(|i| {
            let spec = BlownVoice::new(Frequency::from_hz(80.0 + 10.0 * i as f64), 12.0).unwrap();
            spec.with_modes(vec![mode; i % 4]).unwrap()
        })
        .collect()
}

#[test]
fn a_storm_of_events_allocates_nothing() {
    let mut bank = BlownBank::new(&specs(), RATE, 7).unwrap();
    let mut room = Room::new(RoomSpec::default(), RATE).unwrap();
    let mut ceiling = Ceiling::new(Level::from_db(-1.0), RATE).unwrap();
    let (mut left, mut right) = (vec![0.0; 512], vec![0.0; 512]);
    let mut storm = Storm(Dice(1));
    let (mut most_sounding, mut refused, mut loudest) = (0, 0, 0.0f32);
    assert_no_alloc(|| {
        for round in 0..600 {
            for _ in 0..storm.0.below(20) {
                let event = storm.event(bank.now_frames());
                refused += usize::from(bank.push(event).is_err());
            }
            let frames = 1 + storm.0.below(512) as usize;
            let (left, right) = (&mut left[..frames], &mut right[..frames]);
            left.fill(0.0);
            right.fill(0.0);
            bank.add_block(left, right);
            room.process(left, right);
            ceiling.process(left, right);
            most_sounding = most_sounding.max(bank.sounding_count());
            loudest = left.iter().fold(loudest, |most, s| most.max(s.abs()));
            if round == 400 {
                bank.reset();
                room.reset();
            }
        }
    });
    assert!(
        most_sounding > 40,
        "the storm reached {most_sounding} bottles"
    );
    assert!(refused > 0, "no event for the bottle that does not exist");
    assert!(loudest > 0.1 && loudest <= 0.8913, "{loudest}");
}

#[test]
fn a_storm_over_a_row_of_both_kinds_allocates_nothing() {
    let mode = |i: usize| RingingMode {
        frequency: Frequency::from_hz(500.0 + 400.0 * i as f64),
        q: 200.0,
        level: 0.3,
    };
    let voices: Vec<BottleVoice> = specs()
        .into_iter()
        .enumerate()
        .map(|(i, spec)| match i % 2 {
            0 => spec.into(),
            _ => StruckVoice::new((0..=i % 15).map(mode).collect())
                .unwrap()
                .into(),
        })
        .collect();
    let mut row = Row::new(&voices, RATE, 7).unwrap();
    let (mut left, mut right) = (vec![0.0; 512], vec![0.0; 512]);
    let mut swings = [0.0; BOTTLES];
    let mut storm = Storm(Dice(3));
    let (mut most_sounding, mut loudest) = (0, 0.0f32);
    assert_no_alloc(|| {
        for round in 0..600 {
            for _ in 0..storm.0.below(20) {
                let _ = row.push(storm.event(row.now_frames()));
            }
            let frames = 1 + storm.0.below(512) as usize;
            let (left, right) = (&mut left[..frames], &mut right[..frames]);
            left.fill(0.0);
            right.fill(0.0);
            row.add_block(left, right);
            row.swings(&mut swings);
            most_sounding = most_sounding.max(row.sounding_count());
            loudest = left.iter().fold(loudest, |most, s| most.max(s.abs()));
            match round {
                300 => row.silence(),
                400 => row.reset(),
                _ => {}
            }
        }
    });
    assert!(most_sounding > 40 && loudest > 0.1 && loudest.is_finite());
}

#[test]
fn a_full_queue_hands_the_event_back_and_allocates_nothing() {
    let mut bank = BlownBank::new(&specs(), RATE, 7).unwrap();
    let mut handed_back = 0;
    assert_no_alloc(|| {
        for at_frames in 0..5000u64 {
            let event = Event {
                at_frames: 10_000 - at_frames,
                bottle: BottleIndex::new(0),
                kind: EventKind::Release,
            };
            handed_back += u64::from(bank.push(event) == Err(event));
        }
    });
    assert_eq!(handed_back, 5000 - 4096);
}

#[test]
fn the_bank_in_a_graph_allocates_nothing() {
    let mut storm = Storm(Dice(2));
    let score = (0..500).map(|i| storm.event(i * 100)).collect();
    let bottles = BottleUnit::new(specs(), RATE, 7, score).unwrap();
    let mut graph = unit::<U0, U2>(Box::new(bottles)) >> (lowpole_hz(4000.0) | lowpole_hz(4000.0));
    graph.set_sample_rate(RATE.hz());
    graph.allocate();
    let mut output = BufferVec::new(2);
    let mut loudest = 0.0f32;
    assert_no_alloc(|| {
        for round in 0..600 {
            graph.process(64, &BufferRef::empty(), &mut output.buffer_mut());
            loudest = output.channel_f32(0).iter().fold(loudest, |most, s| {
                if s.abs() > most { s.abs() } else { most }
            });
            if round == 300 {
                graph.reset();
            }
        }
    });
    assert!(loudest > 0.05, "{loudest}");
}

#[test]
fn a_pour_that_is_followed_allocates_nothing() {
    use ullage::pouring::{Mark, Modes, PourSpec, Tracker};
    let set = ullage::set::open("presets/quay/set.toml").unwrap();
    let kind = set
        .kinds
        .iter()
        .find(|kind| kind.name == "long-neck")
        .unwrap();
    let modes = Modes::of_bottle(&kind.bottle, &set.conditions).unwrap();
    let mut tracker = Tracker::new(
        modes,
        PourSpec::new(Mark::Note(Frequency::from_hz(300.0))),
        RATE,
    )
    .unwrap();
    let mut dice = Dice(9);
    // A second and more of a quiet room, and a second of a loud stream.
    let sound: Vec<f32> = (0..120_000)
        .map(|n| dice.roll() as f32 * if n < 66_000 { 0.001 } else { 0.1 })
        .collect();
    let mut poured = 0;
    assert_no_alloc(|| {
        tracker.hear(&sound, |reading| {
            poured += usize::from(reading.flow_ml_s > 0.0)
        });
        tracker.reset();
        tracker.hear(&sound[..9_000], |_| {});
    });
    assert!(poured > 20, "{poured} readings of a pour");
}
