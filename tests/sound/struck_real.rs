//! Struck bottles beside recordings of real ones, and how strokes differ. Measured on samples alone.

use std::f64::consts::PI;

use ullage::physics::shell::strike::Mallet;
use ullage::set::{Set, read_set};
use ullage::stage::Stage;
use ullage::synth::{Balance, BottleVoice, EventKind, Row};
use ullage::units::SampleRate;

use crate::common::files::{BOTTLE_A, table};
use crate::common::measure;
use crate::common::voices::{ask, left};

const RATE_HZ: f64 = 48_000.0;
const RATE: SampleRate = SampleRate::from_hz(RATE_HZ);
/// The window of the recordings' figures, and the padded length of its transform.
const WINDOW: usize = 576;
const PADDED: usize = 4_608;
/// Length in which partials are counted.
const COUNTED: usize = 4_096;

/// Bottle A with so much in it, struck.
fn bottle_a(mallet: Mallet, fill_ml: f64) -> Set {
    let text = format!(
        "[[bottle]]\n{BOTTLE_A}\n[[pour]]\nnote = \"A6\"\nbottle = \"A\"\nway = \"struck\"\nfill_ml = {fill_ml}\n"
    );
    let mut set = read_set(&text).unwrap();
    set.striking.mallet = mallet;
    set
}

fn voice(set: &Set) -> BottleVoice {
    let stage = Stage::new(set).unwrap();
    stage.voices(Balance::Even, RATE).unwrap().remove(0)
}

/// Strokes of 1 m/s, each alone for a second.
fn strokes(set: &Set, seed: u64, count: usize) -> Vec<Vec<f32>> {
    let second = RATE_HZ as usize;
    let mut row = Row::new(&[voice(set)], RATE, seed).unwrap();
    let one = |row: &mut Row, k: usize| {
        let at_frames = row.now_frames();
        ask(row, at_frames, 0, EventKind::Strike { speed: 1.0 });
        let sound = left(row, second);
        // What still rings must not be counted to the next.
        row.silence();
        assert!(sound.iter().all(|s| s.is_finite()), "stroke {k}");
        sound
    };
    (0..count).map(|k| one(&mut row, k)).collect()
}

/// Power of a Hann window over the first `window` samples, in bins of the rate over `padded`.
fn power(sound: &[f32], window: usize, padded: usize) -> Vec<f64> {
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let fft = planner.plan_fft_forward(padded);
    let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
    for (i, (value, sample)) in input.iter_mut().zip(&sound[..window]).enumerate() {
        *value = f64::from(*sample) * (PI * (i as f64 + 0.5) / window as f64).sin().powi(2);
    }
    fft.process(&mut input, &mut output).unwrap();
    output.iter().map(|bin| bin.norm_sqr()).collect()
}

fn db(power: f64) -> f64 {
    10.0 * power.log10()
}

/// Mean level from 1 to 8 kHz, 250 Hz or more from every partial, beside the strongest bin, in the first 12 ms, dB.
fn between_db(sound: &[f32], partials_hz: &[f64]) -> f64 {
    let power = power(sound, WINDOW, PADDED);
    let strongest = power.iter().copied().fold(0.0, f64::max);
    let is_between = |hz: f64| {
        (1_000.0..8_000.0).contains(&hz) && partials_hz.iter().all(|p| (p - hz).abs() > 250.0)
    };
    let bins = power.iter().enumerate();
    let between = bins.filter(|(k, _)| is_between(*k as f64 * RATE_HZ / PADDED as f64));
    let between: Vec<f64> = between.map(|(_, p)| *p).collect();
    assert!(
        between.len() > 50,
        "{} bins between the partials",
        between.len()
    );
    db(between.iter().sum::<f64>() / between.len() as f64 / strongest)
}

/// Peaks of the spectrum after the stroke, within 10, 20 and 30 dB of the strongest.
fn partials_within(sound: &[f32]) -> [usize; 3] {
    const LONG: usize = 65_536;
    let power = power(&sound[96..], COUNTED, LONG);
    let strongest = power.iter().copied().fold(0.0, f64::max);
    // Nearer than a lobe of the window is wide two are one.
    let near = 3 * LONG / (2 * COUNTED);
    let highest = (14_000.0 / RATE_HZ * LONG as f64) as usize;
    let peaks = (near..highest).filter(|&k| {
        let around = &power[k - near..=k + near];
        around.iter().all(|p| *p <= power[k])
    });
    let below_db: Vec<f64> = peaks.map(|k| -db(power[k] / strongest)).collect();
    [10.0, 20.0, 30.0].map(|limit| below_db.iter().filter(|b| **b <= limit).count())
}

/// The lowest and the highest that recordings have of each quantity.
fn real() -> Vec<(String, f64, f64)> {
    table("real_struck.csv")
        .deserialize()
        .map(|row| row.unwrap())
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn a_tapped_bottle_has_the_rustle_and_the_partials_of_a_real_one() {
    // The recordings do not say how full their bottle was. Ours is half full; empty it has five partials within 30 dB.
    // Medians of strokes, as the recordings' figures are.
    let (mut between, mut within) = (Vec::new(), [const { Vec::new() }; 3]);
    for fill_ml in [350.0] {
        let set = bottle_a(Mallet::Wood, fill_ml);
        let modes = Stage::new(&set).unwrap().sounded()[0].modes().to_vec();
        let hz: Vec<f64> = modes.iter().map(|mode| mode.frequency.hz()).collect();
        for sound in strokes(&set, 1, 25) {
            between.push(between_db(&sound, &hz));
            for (all, count) in within.iter_mut().zip(partials_within(&sound)) {
                all.push(count as f64);
            }
        }
    }
    let [ten, twenty, thirty] = within.map(median);
    let ours = [median(between), ten, twenty, thirty];
    // 25 taps of one bottle are known by their medians: 4 dB, and a partial or two, are what the bottle and the window make of it.
    let tolerances = [4.0, 1.0, 1.0, 2.0];
    println!("{:14} {:>12} {:>6}", "", "real", "ours");
    for (((quantity, low, high), ours), tolerance) in real().iter().zip(ours).zip(tolerances) {
        println!("{quantity:14} {:>12} {ours:6.1}", format!("{low}..{high}"));
        assert!(
            (low - tolerance..=high + tolerance).contains(&ours),
            "{quantity}: {ours}"
        );
    }
}

#[test]
fn soft_mallets_sound_the_glass_and_not_the_air() {
    for mallet in [Mallet::Felt, Mallet::Rubber, Mallet::Wood] {
        let set = bottle_a(mallet, 0.0);
        let sounds = strokes(&set, 3, 9);
        let low_over_high = |sound: &Vec<f32>| {
            let power = power(sound, 12_000, 16_384);
            let bin_hz = RATE_HZ / 16_384.0;
            let [low, high] = [(30.0, 1_000.0), (1_000.0, 20_000.0)].map(|(from, to)| {
                let bins = (from / bin_hz) as usize..(to / bin_hz) as usize;
                power[bins].iter().sum::<f64>()
            });
            db(low / high)
        };
        let ours = median(sounds.iter().map(low_over_high).collect());
        println!("{mallet:?}: below 1 kHz over above: {ours:+.1} dB");
        // The air has a fiftieth of the note's swing, −34 dB, and a rustle or a thud beside it; before it passed the mallet it stood
        // at +21 dB under rubber and +37 dB under felt.
        assert!(ours < -10.0, "{mallet:?}: {ours} dB");
    }
}

#[test]
fn no_two_strokes_are_alike_unless_they_are_steady() {
    let set = bottle_a(Mallet::Wood, 350.0);
    let level = |sound: &Vec<f32>| 20.0 * measure::rms(&sound[960..]).log10();
    let spread = |sounds: &[Vec<f32>]| {
        let levels: Vec<f64> = sounds.iter().map(level).collect();
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        (levels.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / levels.len() as f64).sqrt()
    };
    let sounds = strokes(&set, 5, 12);
    let mut worst = 0.0f64;
    for (k, one) in sounds.iter().enumerate() {
        for other in &sounds[..k] {
            worst = worst.max(measure::correlation(&one[..4_800], &other[..4_800]));
        }
    }
    let scattered = spread(&sounds);
    println!(
        "12 strokes: levels scatter by {scattered:.2} dB, the most alike correlate by {worst:.4}"
    );
    assert!(worst < 0.9995, "{worst}");
    // The speed alone makes 10 %, 0.9 dB; height and angle add to it.
    assert!((0.5..3.0).contains(&scattered), "{scattered} dB");
    // The same seed, the same strokes; another, others.
    assert!(strokes(&set, 5, 2) == sounds[..2]);
    assert!(strokes(&set, 6, 1)[0] != sounds[0]);
    let mut row = Row::new(&[voice(&set)], RATE, 5).unwrap().steady();
    let mut steady = Vec::new();
    for _ in 0..2 {
        let at_frames = row.now_frames();
        ask(&mut row, at_frames, 0, EventKind::Strike { speed: 1.0 });
        steady.push(left(&mut row, 9_600));
        row.silence();
    }
    assert!(steady[0] == steady[1]);
}

#[test]
fn a_stroke_a_little_way_round_shares_each_pair_anew() {
    // The two of a pair beat; how deep says how the stroke shares them. Of one bottle it changes from stroke to stroke.
    let mut set = bottle_a(Mallet::Wood, 350.0);
    set.striking.doublet_share = 0.008;
    let note = Stage::new(&set).unwrap().sounded()[0].note();
    let (note_hz, q) = (note.frequency.hz(), note.quality);
    let depth = |sound: &Vec<f32>| {
        let tone = measure::demodulate(&sound[480..12_480], RATE_HZ, note_hz, 16.0 / note_hz);
        let sizes = tone.value.iter().zip(&tone.time_s).map(|((re, im), t)| {
            // What it would be if it did not ring down.
            re.hypot(*im) * (PI * note_hz * t / q).exp()
        });
        let (least, most) = sizes.fold((f64::INFINITY, 0.0f64), |(least, most), size| {
            (least.min(size), most.max(size))
        });
        least / most
    };
    let depths: Vec<f64> = strokes(&set, 2, 12).iter().map(depth).collect();
    let (least, most) = depths
        .iter()
        .fold((f64::INFINITY, 0.0f64), |(least, most), d| {
            (least.min(*d), most.max(*d))
        });
    println!("depths {depths:.3?}");
    assert!(most > 2.0 * least, "{least} to {most}");
}
