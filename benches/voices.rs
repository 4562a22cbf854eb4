//! What a sounding bottle costs, beside a noise through a resonator in a general audio graph, beside a voice of a
//! SoundFont player, and beside the most multiplications and additions that one core can do, in one run.
//!
//! Criterion measures and keeps history; the plain lines at the end are the best of many short turns, the two sides
//! taking turns, so that a busy machine disturbs both alike.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{BenchmarkId, Criterion, Throughput};
use fundsp::prelude64::{AudioUnit, BufferRef, BufferVec, Net, noise, resonator_hz};
use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};
use ullage::file::sampler::{Holds, Instrument, Key, Layer, Take};
use ullage::file::sf2;
use ullage::index::BottleIndex;
use ullage::physics::shell::strike::Mallet;
use ullage::synth::{
    Attack, BlownBank, BlownVoice, BottleVoice, Event, EventKind, MOST_MODES, PassiveMode,
    RingingMode, Row, StruckVoice,
};
use ullage::units::{Frequency, SampleRate};

const RATE_HZ: f64 = 48_000.0;
const BLOCK_FRAMES: usize = 64;
const COUNTS: [usize; 3] = [1, 64, 1024];

fn hz(bottle: usize) -> f64 {
    110.0 + 880.0 * bottle as f64 / 1024.0
}

/// A bank in which every bottle sounds, past its attack, with `modes` passive modes each.
struct Sounding {
    bank: BlownBank,
    left: [f32; BLOCK_FRAMES],
    right: [f32; BLOCK_FRAMES],
}

impl Sounding {
    fn new(count: usize, modes: usize) -> Self {
        let mode = |k: usize| PassiveMode {
            frequency: Frequency::from_hz(1200.0 * (k + 1) as f64),
            q: 30.0,
            gain: 0.01,
        };
        let specs: Vec<BlownVoice> = (0..count)
            .map(|bottle| {
                let spec = BlownVoice::new(Frequency::from_hz(hz(bottle)), 30.0).unwrap();
                let spec = spec.with_modes((0..modes).map(mode).collect()).unwrap();
                spec.with_pan(2.0 * bottle as f64 / count as f64 - 1.0)
                    .unwrap()
            })
            .collect();
        let mut bank = BlownBank::new(&specs, SampleRate::from_hz(RATE_HZ), 7).unwrap();
        for bottle in BottleIndex::all(count) {
            let kind = EventKind::Blow {
                g: 3.0,
                attack: Attack::Tongued { strength: 1.0 },
            };
            bank.push(Event {
                at_frames: 0,
                bottle,
                kind,
            })
            .unwrap();
        }
        let mut sounding = Self {
            bank,
            left: [0.0; BLOCK_FRAMES],
            right: [0.0; BLOCK_FRAMES],
        };
        (0..100).for_each(|_| sounding.block());
        assert_eq!(sounding.bank.sounding_count(), count);
        sounding
    }

    fn block(&mut self) {
        self.left.fill(0.0);
        self.right.fill(0.0);
        self.bank.add_block(&mut self.left, &mut self.right);
        black_box(&self.left);
    }
}

/// A row in which every bottle rings, each of `modes` pairs and the air.
struct Ringing {
    row: Row,
    left: [f32; BLOCK_FRAMES],
    right: [f32; BLOCK_FRAMES],
}

impl Ringing {
    fn new(count: usize, modes: usize) -> Self {
        // So long that nothing falls silent while it is measured.
        let mode = |hz| RingingMode {
            frequency: Frequency::from_hz(hz),
            q: 20_000.0,
            level: 0.1,
        };
        let voices: Vec<BottleVoice> = (0..count)
            .map(|bottle| {
                let pairs = (0..modes).map(|k| mode(5.0 * hz(bottle) * (1.0 + 0.35 * k as f64)));
                let voice = StruckVoice::new(pairs.collect()).unwrap();
                let voice = voice.with_air_mode(mode(hz(bottle))).unwrap();
                voice.with_mallet(Mallet::Metal).into()
            })
            .collect();
        let row = Row::new(&voices, SampleRate::from_hz(RATE_HZ), 7).unwrap();
        let mut ringing = Self {
            row,
            left: [0.0; BLOCK_FRAMES],
            right: [0.0; BLOCK_FRAMES],
        };
        ringing.strike(count);
        assert_eq!(ringing.row.sounding_count(), count);
        ringing
    }

    /// Strikes every bottle, and lets the mallets leave.
    fn strike(&mut self, count: usize) {
        for bottle in BottleIndex::all(count) {
            let kind = EventKind::Strike { speed: 1.0 };
            let event = Event {
                at_frames: 0,
                bottle,
                kind,
            };
            self.row.push(event).unwrap();
        }
        (0..20).for_each(|_| self.block());
    }

    fn block(&mut self) {
        self.left.fill(0.0);
        self.right.fill(0.0);
        self.row.add_block(&mut self.left, &mut self.right);
        black_box(&self.left);
    }
}

/// As many noises through resonators, summed: the general graph.
struct Graph {
    net: Net,
    output: BufferVec,
}

impl Graph {
    fn new(count: usize) -> Self {
        let voice = |bottle| {
            Net::wrap(Box::new(
                noise().seed(splitmix(bottle as u64)) >> resonator_hz(hz(bottle) as f32, 30.0),
            ))
        };
        let mut net = (1..count).fold(voice(0), |sum, bottle| sum + voice(bottle));
        net.set_sample_rate(RATE_HZ);
        net.allocate();
        Self {
            net,
            output: BufferVec::new(1),
        }
    }

    fn block(&mut self) {
        self.net.process(
            BLOCK_FRAMES,
            &BufferRef::empty(),
            &mut self.output.buffer_mut(),
        );
        black_box(self.output.channel_f32(0));
    }
}

/// A general SoundFont, where Debian's `timgm6mb-soundfont` is installed, and its programme of blown bottles.
const GENERAL: (&str, i32) = ("/usr/share/sounds/sf2/TimGM6mb.sf2", 76);

/// As many voices of a SoundFont player, without its effects: of a general SoundFont if there is one, else of one looped
/// recording a key.
struct Player {
    player: Synthesizer,
    left: [f32; BLOCK_FRAMES],
    right: [f32; BLOCK_FRAMES],
}

impl Player {
    /// Nothing if the player has not that many voices.
    fn new(count: usize) -> Option<Self> {
        const MOST: usize = 256;
        let general = std::fs::read(GENERAL.0).ok();
        let bytes = general.unwrap_or_else(plain_font);
        let font = Arc::new(SoundFont::new(&mut bytes.as_slice()).unwrap());
        let mut settings = SynthesizerSettings::new(RATE_HZ as i32);
        settings.enable_reverb_and_chorus = false;
        settings.maximum_polyphony = MOST;
        let mut player = Synthesizer::new(&font, &settings).unwrap();
        if count > MOST {
            return None;
        }
        // Channel 10 has the drums: left out.
        let channels: Vec<i32> = (0..16).filter(|channel| *channel != 9).collect();
        for channel in &channels {
            player.process_midi_message(*channel, 0xc0, GENERAL.1, 0);
        }
        for voice in 0..count {
            player.note_on(channels[voice / 64], 24 + (voice % 64) as i32, 100);
        }
        let mut player = Self {
            player,
            left: [0.0; BLOCK_FRAMES],
            right: [0.0; BLOCK_FRAMES],
        };
        (0..100).for_each(|_| player.block());
        assert!(player.left.iter().any(|s| s.abs() > 1e-4));
        Some(player)
    }

    fn block(&mut self) {
        self.player.render(&mut self.left, &mut self.right);
        black_box(&self.left);
    }
}

/// A SoundFont of one looped recording a key.
fn plain_font() -> Vec<u8> {
    let frames = 4800;
    let key = |key: u8| Key {
        key,
        name: format!("key {key}"),
        layers: vec![Layer {
            name: "all".to_owned(),
            holds: Holds::Tone,
            take: Take::ONLY,
            velocities: (1, 127),
            release_60_db_s: 0.5,
            samples: (0..frames)
                .map(|i| (0.5 * (0.02 * f64::from(i)).sin()) as f32)
                .collect(),
            loop_start: 16,
            loop_end: frames as usize - 16,
        }],
    };
    let instrument = Instrument {
        name: "bench".to_owned(),
        rate_hz: RATE_HZ as u32,
        keys: (24..88).map(key).collect(),
    };
    sf2::bytes(&instrument).unwrap()
}

/// Twelve independent sums of products, eight numbers wide: all that the core can do.
#[multiversion::multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn sums_of_products(sums: &mut [[f32; 8]; 12], rounds: usize) {
    let mut here = *sums;
    for _ in 0..rounds {
        for sum in &mut here {
            for number in sum {
                *number = number.mul_add(0.9999, 1e-4);
            }
        }
    }
    *sums = here;
}

/// The least time of a sum of products, ns.
fn best_product_ns(best: f64) -> f64 {
    const ROUNDS: usize = 20_000;
    let mut sums = [[1.0; 8]; 12];
    let start = Instant::now();
    sums_of_products(black_box(&mut sums), ROUNDS);
    best.min(start.elapsed().as_secs_f64() * 1e9 / (ROUNDS * 12 * 8) as f64)
}

/// Products, with or without a sum, in one sample of a bottle without air modes: `synth/blown_kernel.rs`, counted by hand.
const PRODUCTS: f64 = 10.75;

/// Scattered seeds: neighbouring ones would give one noise, delayed.
fn splitmix(value: u64) -> u64 {
    let z = value.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (z ^ (z >> 31)).wrapping_mul(0x94D0_49BB_1331_11EB)
}

/// Best time of one voice and sample, ns, over turns of about 2 ms.
fn best_ns(count: usize, best: f64, mut block: impl FnMut()) -> f64 {
    let blocks = (1_000_000 / (count * BLOCK_FRAMES)).clamp(4, 2000);
    let start = Instant::now();
    (0..blocks).for_each(|_| block());
    best.min(start.elapsed().as_secs_f64() * 1e9 / (blocks * count * BLOCK_FRAMES) as f64)
}

fn print_ratios() {
    println!(
        "\nns per voice and sample (best of many turns), {RATE_HZ} Hz, blocks of {BLOCK_FRAMES}:"
    );
    for count in COUNTS {
        let mut graph = Graph::new(count);
        let mut player = Player::new(count);
        let mut banks = [0, MOST_MODES].map(|modes| Sounding::new(count, modes));
        let mut best = [f64::MAX; 5];
        let start = Instant::now();
        while start.elapsed() < Duration::from_millis(2500) {
            best[0] = best_ns(count, best[0], || graph.block());
            best[1] = best_ns(count, best[1], || banks[0].block());
            best[2] = best_ns(count, best[2], || banks[1].block());
            if let Some(player) = &mut player {
                best[3] = best_ns(count, best[3], || player.block());
            }
            best[4] = best_product_ns(best[4]);
        }
        let [graph, plain, modes, font, product] = best;
        println!(
            "{count:5} sounding: bottle {plain:.3}, {:.0} % of the {:.0} GFLOP/s of one core; graph {graph:.3} (ratio {:.1}); \
             bottle with {MOST_MODES} air modes {modes:.3} (graph {:.1})",
            100.0 * PRODUCTS * product / plain,
            2.0 / product,
            graph / plain,
            graph / modes
        );
        if font < f64::MAX {
            println!(
                "      SoundFont player {font:.3} (ratio {:.1})",
                font / plain
            );
        }
        let block_ns = 1e9 * BLOCK_FRAMES as f64 / RATE_HZ;
        println!(
            "      a block takes {:.2} % of the time that it lasts",
            100.0 * plain * (count * BLOCK_FRAMES) as f64 / block_ns
        );
    }
}

fn print_ringing() {
    println!(
        "\nns per ringing mode and sample, against one noise through a resonator of the graph:"
    );
    for (bottles, pairs) in [(1, 7), (16, 3), (16, 7), (64, 7), (64, 15)] {
        let modes = bottles * (2 * pairs + 1);
        let mut graph = Graph::new(64);
        let mut ringing = Ringing::new(bottles, pairs);
        let mut best = [f64::MAX; 2];
        for _ in 0..4 {
            ringing.strike(bottles);
            let start = Instant::now();
            while start.elapsed() < Duration::from_millis(250) {
                best[0] = best_ns(64, best[0], || graph.block());
                best[1] = best_ns(modes, best[1], || ringing.block());
            }
        }
        assert_eq!(ringing.row.sounding_count(), bottles);
        let [graph, ring] = best;
        println!(
            "{bottles:3} bottles of {pairs:2} pairs and the air: graph {graph:.3}, mode {ring:.3} (ratio {:.1}), bottle {:.2} ns a sample",
            graph / ring,
            ring * modes as f64 / bottles as f64
        );
    }
}

fn main() {
    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .sample_size(20)
        .configure_from_args();
    let mut group = criterion.benchmark_group("voices");
    for count in COUNTS {
        group.throughput(Throughput::Elements((count * BLOCK_FRAMES) as u64));
        let mut graph = Graph::new(count);
        group.bench_function(BenchmarkId::new("graph", count), |b| {
            b.iter(|| graph.block())
        });
        for modes in [0, MOST_MODES] {
            let mut bank = Sounding::new(count, modes);
            let name = if modes == 0 {
                "bottle"
            } else {
                "bottle with all its air modes"
            };
            group.bench_function(BenchmarkId::new(name, count), |b| b.iter(|| bank.block()));
        }
    }
    for (bottles, pairs) in [(16, 7), (64, 7)] {
        let modes = bottles * (2 * pairs + 1);
        group.throughput(Throughput::Elements((modes * BLOCK_FRAMES) as u64));
        let mut ringing = Ringing::new(bottles, pairs);
        let name = format!("struck, {pairs} pairs and the air");
        group.bench_function(BenchmarkId::new(name, bottles), |b| {
            b.iter(|| ringing.block());
        });
    }
    group.finish();
    criterion.final_summary();
    // `cargo test` and nextest run benches to see that they work: no need to measure then.
    if std::env::args().any(|a| a == "--bench") {
        print_ratios();
        print_ringing();
    }
}
