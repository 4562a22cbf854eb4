//! What it costs to render the demo set to a WAV file, in units of a plain noise-through-resonator graph of as many
//! voices that is only run, not written, in the same turn.
#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use criterion::Criterion;
use fundsp::prelude64::{AudioUnit, BufferRef, BufferVec, Net, noise, resonator_hz};
use ullage::file::atomic::Overwrite;
use ullage::file::master::{MasterSpec, Mastering};
use ullage::file::wav::WavFormat;
use ullage::index::{BottleIndex, PourIndex};
use ullage::plan::programme::{Breath, Part, Programme};
use ullage::set::read_set;
use ullage::sounding::Poured;
use ullage::stage::{Performance, Stage, StemsBy};
use ullage::synth::{
    Attack, Balance, BlownBank, BlownVoice, Event, EventKind, Room, RoomSpec, Row, USUAL_TONGUE,
};
use ullage::units::SampleRate;

const RATE_HZ: f64 = 48_000.0;
const BLOCK_FRAMES: usize = 1_024;
const SECONDS: f64 = 10.0;

/// The voices of the demo set, planned.
fn voices() -> Vec<BlownVoice> {
    let text = include_str!("../presets/quay/set.toml");
    let set = read_set(text).unwrap();
    let voice = |pour| {
        let bottle = &set.kind_of(pour).bottle;
        let note = Poured::solved(bottle, set.target(pour), &set.conditions)
            .unwrap()
            .prediction
            .note();
        BlownVoice::new(note.frequency, note.quality).unwrap()
    };
    set.pours.iter().map(voice).collect()
}

/// Every bottle blown for the whole time, to a 24-bit stereo file.
fn render(specs: &[BlownVoice], wet: bool, path: &Path) -> u64 {
    let rate = SampleRate::from_hz(RATE_HZ);
    let mut bank = BlownBank::new(specs, rate, 1).unwrap();
    for bottle in BottleIndex::all(specs.len()) {
        let kind = EventKind::Blow {
            g: 2.5,
            attack: Attack::Natural,
        };
        bank.push(Event {
            at_frames: 0,
            bottle,
            kind,
        })
        .unwrap();
    }
    let mut room = wet.then(|| Room::new(RoomSpec::default(), rate).unwrap());
    let mut mastering = Mastering::begin(
        path,
        MasterSpec::new(WavFormat::stereo(rate)),
        Overwrite::Yes,
    )
    .unwrap();
    for _ in 0..(SECONDS * RATE_HZ) as usize / BLOCK_FRAMES {
        let (mut left, mut right) = ([0.0; BLOCK_FRAMES], [0.0; BLOCK_FRAMES]);
        bank.add_block(&mut left, &mut right);
        if let Some(room) = &mut room {
            room.process(&mut left, &mut right);
        }
        mastering.push(&left, &right).unwrap();
    }
    mastering.finish().unwrap().frames
}

/// The reference: as many voices of a general audio graph, summed.
fn graph(specs: &[BlownVoice]) -> f32 {
    let voice = |spec: &BlownVoice| {
        Net::wrap(Box::new(
            noise() >> resonator_hz(spec.frequency().hz() as f32, spec.q() as f32),
        ))
    };
    let mut net = voice(&specs[0]);
    for spec in &specs[1..] {
        net = net + voice(spec);
    }
    net.set_sample_rate(RATE_HZ);
    let mut buffer = BufferVec::new(1);
    let mut last = 0.0;
    for _ in 0..(SECONDS * RATE_HZ) as usize / 64 {
        net.process(64, &BufferRef::empty(), &mut buffer.buffer_mut());
        last = buffer.at_f32(0, 63);
    }
    last
}

/// The demo set twice over, every bottle blown once a second for so long.
fn thirty(seconds: u32) -> (Stage, Performance) {
    let mut set = ullage::set::open("presets/quay/set.toml").unwrap();
    set.pours.extend(set.pours.clone());
    let stage = Stage::new(&set).unwrap();
    let all = PourIndex::all(set.pours.len());
    let breaths = all.flat_map(|pour| {
        (0..seconds).map(move |second| {
            let start_s = f64::from(second) + 0.03 * pour.place() as f64;
            Breath {
                pour,
                start_s,
                stop_s: start_s + 0.8,
                end_s: start_s + 1.5,
                tongued: true,
                over_threshold: 2.5,
            }
        })
    });
    let part = Part {
        title: String::new(),
        start_s: 0.0,
        end_s: f64::from(seconds) + 1.5,
        breaths: breaths.collect(),
        glides: Vec::new(),
    };
    (stage, Programme { parts: vec![part] }.into())
}

/// The same on one thread, with the room running frame by frame: what the stage's own way is measured by.
fn frame_by_frame(stage: &Stage, performance: &Performance, path: &Path) {
    let rate = SampleRate::from_hz(RATE_HZ);
    let voices = stage.voices(Balance::Even, rate).unwrap();
    let mut row = Row::new(&voices, rate, 1).unwrap();
    let mut events = Vec::new();
    for breath in performance.programme.breaths() {
        let attack = Attack::Tongued {
            strength: USUAL_TONGUE,
        };
        let g = breath.over_threshold;
        for (at_s, kind) in [
            (breath.start_s, EventKind::Blow { g, attack }),
            (breath.stop_s, EventKind::Release),
        ] {
            events.push(Event {
                at_frames: (at_s * RATE_HZ).round() as u64,
                bottle: BottleIndex::new(breath.pour.place()),
                kind,
            });
        }
    }
    events.sort_by_key(|event| event.at_frames);
    row.reserve_events(events.len());
    events
        .into_iter()
        .for_each(|event| row.push(event).unwrap());
    let mut room = Room::new(RoomSpec::default(), rate).unwrap();
    let spec = MasterSpec::new(WavFormat::stereo(rate));
    let mut mastering = Mastering::begin(path, spec, Overwrite::Yes).unwrap();
    for _ in 0..(performance.end_s() * RATE_HZ) as usize / BLOCK_FRAMES {
        let (mut left, mut right) = ([0.0; BLOCK_FRAMES], [0.0; BLOCK_FRAMES]);
        row.add_block(&mut left, &mut right);
        room.process(&mut left, &mut right);
        mastering.push(&left, &right).unwrap();
    }
    mastering.finish().unwrap();
}

/// Both ways in the same turn.
fn staged(path: &Path) {
    let seconds = 60;
    let (stage, performance) = thirty(seconds);
    let stems = path.with_extension("stems");
    let mut best = [f64::MAX; 4];
    for _ in 0..3 {
        let turns: [&dyn Fn(); 4] = [
            &|| frame_by_frame(&stage, &performance, path),
            &|| {
                let rendering = stage.render(&performance).overwrite();
                black_box(rendering.to_wav(path).unwrap());
            },
            &|| {
                let rendering = stage.render(&performance).overwrite();
                black_box(rendering.dry().to_wav(path).unwrap());
            },
            &|| {
                let rendering = stage.render(&performance).overwrite().dry();
                let rendering = rendering.stems(&stems, StemsBy::Bottle);
                black_box(rendering.to_wav(path).unwrap());
            },
        ];
        for (best, turn) in best.iter_mut().zip(turns) {
            let start = Instant::now();
            turn();
            *best = best.min(start.elapsed().as_secs_f64());
        }
    }
    let [plain, room, dry, with_stems] = best;
    println!(
        "30 bottles, {seconds} s, in their room: {room:.2} s by the stage, {plain:.2} s frame by frame on one thread (ratio {:.2}); dry \
         {dry:.2} s",
        room / plain
    );
    println!(
        "with a stem of each of 30 bottles beside the mix {with_stems:.2} s: ratio to the mix, dry {:.1}",
        with_stems / dry
    );
}

fn main() {
    let specs = voices();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("set.wav");
    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(3))
        .sample_size(10)
        .configure_from_args();
    criterion.bench_function("render the demo set, dry", |b| {
        b.iter(|| render(&specs, false, &path))
    });
    criterion.bench_function("render the demo set, in its room", |b| {
        b.iter(|| render(&specs, true, &path))
    });
    criterion.bench_function("as many voices of a graph, not written", |b| {
        b.iter(|| graph(&specs))
    });

    let mut best = [f64::MAX; 3];
    for _ in 0..3 {
        let turns: [&dyn Fn(); 3] = [
            &|| {
                black_box(render(&specs, false, &path));
            },
            &|| {
                black_box(render(&specs, true, &path));
            },
            &|| {
                black_box(graph(&specs));
            },
        ];
        for (best, turn) in best.iter_mut().zip(turns) {
            let start = Instant::now();
            turn();
            *best = best.min(start.elapsed().as_secs_f64());
        }
    }
    staged(&path);
    let [dry, wet, graph] = best;
    println!(
        "{} bottles, {SECONDS} s of sound: dry {:.0} times real time, in a room {:.0} times",
        specs.len(),
        SECONDS / dry,
        SECONDS / wet
    );
    println!(
        "ratio of the graph alone to the whole dry rendering: {:.2}; in a room {:.2}",
        graph / dry,
        graph / wet
    );
}
