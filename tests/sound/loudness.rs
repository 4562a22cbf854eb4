//! A mastered file is as loud as was asked, measured afresh from the file, and never over its ceiling.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;

use ullage::file::atomic::Overwrite;
use ullage::file::loudness::{Loudness, Meter, measure};
use ullage::file::master::{MasterError, MasterSpec, Mastered, Mastering, master};
use ullage::file::wav::{Bits, WavError, WavFormat, read_wav};
use ullage::units::SampleRate;

use crate::common::files::Folder;

const RATE_HZ: f64 = 48_000.0;

fn spec(bits: Bits, channels: u16) -> MasterSpec {
    MasterSpec::new(WavFormat {
        rate: SampleRate::from_hz(RATE_HZ),
        bits,
        channels,
    })
}

fn sine(hz: f64, phase: f64, peak: f64, seconds: f64) -> Vec<f32> {
    (0..(seconds * RATE_HZ) as usize)
        .map(|i| ((TAU * hz * i as f64 / RATE_HZ + phase).sin() * peak) as f32)
        .collect()
}

/// White noise of the given peak from a plain linear congruence (Numerical Recipes' constants).
fn noise(peak: f32, seconds: f64) -> Vec<f32> {
    let mut state = 12_345u32;
    (0..(seconds * RATE_HZ) as usize)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state as f32 / u32::MAX as f32 - 0.5) * 2.0 * peak
        })
        .collect()
}

/// Sharp blows with long rests: high peaks, little loudness.
fn blows(seconds: f64) -> Vec<f32> {
    (0..(seconds * RATE_HZ) as usize)
        .map(|i| {
            let t_s = (i as f64 / RATE_HZ) % 1.0;
            ((-t_s * 400.0).exp() * (TAU * 1_800.0 * t_s).sin()) as f32
        })
        .collect()
}

fn run(path: &Path, spec: MasterSpec, sound: &[f32]) -> (Mastered, Loudness, f32) {
    let done = master(path, spec, Overwrite::Yes, |m: &mut Mastering| {
        sound.chunks(777).try_for_each(|block| m.push(block, block))
    })
    .unwrap();
    let wav = read_wav(path).unwrap();
    assert_eq!(wav.frames(), sound.len());
    assert_eq!(done.frames, sound.len() as u64);
    let top = wav.samples.iter().fold(0f32, |top, x| top.max(x.abs()));
    (done, measure(&wav).unwrap(), top)
}

#[test]
fn the_meter_reads_what_the_standard_says() {
    // EBU Tech 3341 case 1: a stereo sine of 1,000 Hz, -23 dBFS in each channel, is -23 LUFS within
    // 0.1 LU. BS.1770 Annex 1: 997 Hz at full scale in one channel is -3.01 LUFS; same tolerance.
    let read = |hz: f64, left: f64, right: f64| {
        let mut meter = Meter::new(SampleRate::from_hz(RATE_HZ), 2).unwrap();
        let (left, right) = (sine(hz, 0.0, left, 20.0), sine(hz, 0.0, right, 20.0));
        let both: Vec<f32> = left
            .iter()
            .zip(&right)
            .flat_map(|(&l, &r)| [l, r])
            .collect();
        meter.add_frames(&both);
        meter.finish().lufs.unwrap()
    };
    let peak = 10f64.powf(-23.0 / 20.0);
    assert!((read(1_000.0, peak, peak) - -23.0).abs() < 0.1);
    assert!((read(997.0, 1.0, 0.0) - -3.01).abs() < 0.1);
}

#[test]
fn a_peak_between_samples_is_seen() {
    // A sine at a quarter of the rate, 45 degrees off: samples at 0.707 of its height. EBU Tech 3341
    // case 16 allows +0.2 and -0.4 dB.
    let mut meter = Meter::new(SampleRate::from_hz(RATE_HZ), 1).unwrap();
    let tone = sine(RATE_HZ / 4.0, TAU / 8.0, 0.5, 1.0);
    assert!(tone.iter().all(|x| x.abs() < 0.3536));
    meter.add_frames(&tone);
    let off_db = meter.finish().true_peak_db().unwrap() - 20.0 * 0.5f64.log10();
    assert!((-0.4..=0.2).contains(&off_db), "{off_db} dB");
}

#[test]
fn the_target_is_reached_within_a_tenth_and_the_peak_stays_under_its_ceiling() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    let sounds = [
        ("sine", sine(440.0, 0.0, 0.003, 3.0)),
        ("loud sine", sine(220.0, 0.0, 4.0, 3.0)),
        ("noise", noise(0.2, 3.0)),
        ("loud noise", noise(2.0, 3.0)),
        (
            "peaks between samples",
            sine(RATE_HZ / 4.0, TAU / 8.0, 1.0, 3.0),
        ),
        ("short", sine(440.0, 0.0, 0.05, 0.15)),
    ];
    for (name, sound) in &sounds {
        for (bits, channels) in [
            (Bits::Int16, 2),
            (Bits::Int24, 2),
            (Bits::Float32, 2),
            (Bits::Int24, 1),
        ] {
            let (done, fresh, top) = run(&path, spec(bits, channels), sound);
            let lufs = fresh.lufs.unwrap();
            println!(
                "{name} {bits:?} {channels}: {lufs:.3} LUFS, {:.3} dBTP",
                fresh.true_peak_db().unwrap()
            );
            assert!(!done.held_by_peak, "{name}");
            assert!((lufs - -20.0).abs() < 0.1, "{name} {bits:?}: {lufs} LUFS");
            assert!(
                (lufs - done.lufs_after.unwrap()).abs() < 0.05,
                "{name} {bits:?}"
            );
            assert!(fresh.true_peak_db().unwrap() <= -1.0);
            assert!(f64::from(top) <= 10f64.powf(-1.0 / 20.0));
        }
    }
}

#[test]
fn where_the_peak_decides_it_is_at_the_ceiling_and_the_result_says_so() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    // 50 ms a second of a tone whose peaks are all between the samples.
    let burst = sine(RATE_HZ / 4.0, TAU / 8.0, 1.0, 0.05);
    let between: Vec<f32> = (0..3)
        .flat_map(|_| {
            burst
                .iter()
                .copied()
                .chain(std::iter::repeat_n(0.0, 45_600))
        })
        .collect();
    for (sound, target_lufs) in [
        (blows(4.0), -20.0),
        (between, -5.0),
        (noise(0.5, 2.0), -5.0),
    ] {
        for bits in [Bits::Int16, Bits::Int24, Bits::Float32] {
            let spec = MasterSpec {
                target_lufs,
                ..spec(bits, 2)
            };
            let done = master(&path, spec, Overwrite::Yes, |m: &mut Mastering| {
                m.push(&sound, &vec![0.0; sound.len()])
            })
            .unwrap();
            let fresh = measure(&read_wav(&path).unwrap()).unwrap();
            let peak_db = fresh.true_peak_db().unwrap();
            println!("{bits:?}: {:?} LUFS, {peak_db:.4} dBTP", fresh.lufs);
            assert!(done.held_by_peak);
            assert!(done.lufs_after.unwrap() < target_lufs);
            assert!((fresh.lufs.unwrap() - done.lufs_after.unwrap()).abs() < 0.05);
            // Not over, and not needlessly under: the margin is 0.01 dB, dither and rounding as much.
            assert!(
                (-1.02..=-1.0).contains(&peak_db),
                "{bits:?}: {peak_db} dBTP"
            );
        }
    }
}

#[test]
fn a_sound_near_the_gate_of_the_standard_reaches_its_target_too() {
    // A quarter of it is near -66 LUFS, the rest near -72 and gated away until the gain brings it up.
    let mut sound = sine(1_000.0, 0.0, 0.000_5, 2.0);
    sound.extend(sine(1_000.0, 0.0, 0.000_25, 6.0));
    let folder = Folder::new();
    let (done, fresh, _) = run(&folder.at("a.wav"), spec(Bits::Float32, 2), &sound);
    let one_step_lufs = done.lufs_before.unwrap() + done.gain_db;
    assert!(
        (one_step_lufs - -20.0).abs() > 0.5,
        "the case does not test what it should: {one_step_lufs}"
    );
    assert!(
        (fresh.lufs.unwrap() - -20.0).abs() < 0.1,
        "{fresh:?} {done:?}"
    );
}

#[test]
fn silence_stays_silence_and_nothing_is_not_a_number() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    for sound in [vec![], vec![0.0; 10], vec![0.0; 48_000]] {
        for bits in [Bits::Int16, Bits::Int24, Bits::Float32] {
            let (done, _, top) = run(&path, spec(bits, 2), &sound);
            assert_eq!(top, 0.0);
            assert_eq!(
                (done.lufs_before, done.gain_db, done.lufs_after),
                (None, 0.0, None)
            );
            assert_eq!((done.true_peak_db, done.held_by_peak), (None, false));
        }
    }
    // Far below hearing: left as it is, not raised by a hundred decibels.
    let (done, _, _) = run(&path, spec(Bits::Float32, 2), &sine(440.0, 0.0, 1e-6, 1.0));
    assert_eq!(done.gain_db, 0.0);
}

#[test]
fn block_size_does_not_show_and_one_seed_is_one_file() {
    let folder = Folder::new();
    let sound = noise(0.1, 1.0);
    let written = |name: &str, block: usize| {
        let path = folder.at(name);
        let mut m = Mastering::begin(&path, spec(Bits::Int16, 2), Overwrite::No).unwrap();
        sound.chunks(block).for_each(|b| m.push(b, b).unwrap());
        m.finish().unwrap();
        fs::read(path).unwrap()
    };
    assert_eq!(written("a.wav", 48_000), written("b.wav", 61));
}

#[test]
fn a_rendering_that_fails_leaves_the_old_file_and_nothing_else() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    fs::write(&path, b"old").unwrap();
    let sound = noise(0.1, 1.0);
    let error = master(&path, spec(Bits::Int24, 2), Overwrite::Yes, |m| {
        m.push(&sound, &sound)?;
        m.push(&[0.0, f32::INFINITY], &[0.0, 0.0])
    })
    .expect_err("infinite");
    assert_eq!(
        error.to_string(),
        "sample 48001 of channel 0 is inf, not a finite number"
    );
    assert_eq!(fs::read(&path).unwrap(), b"old");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn a_target_or_a_ceiling_that_makes_no_sense_is_refused_before_rendering() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    let begin = |spec| Mastering::begin(&path, spec, Overwrite::No).expect_err("no sense");
    let base = spec(Bits::Int24, 2);
    for target_lufs in [f64::NAN, 0.0, -100.0, f64::NEG_INFINITY] {
        let error = begin(MasterSpec {
            target_lufs,
            ..base
        });
        assert!(matches!(error, MasterError::Target { .. }));
    }
    for ceiling_dbtp in [f64::NAN, 0.1, -41.0] {
        let error = begin(MasterSpec {
            ceiling_dbtp,
            ..base
        });
        assert!(matches!(error, MasterError::Ceiling { .. }));
    }
    fs::write(&path, b"old").unwrap();
    assert!(matches!(begin(base), MasterError::Wav(WavError::Write(_))));
}
