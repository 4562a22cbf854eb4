//! Recordings of bottles.

use std::f64::consts::TAU;

use super::*;

pub const RATE_HZ: f64 = 48_000.0;

/// A bottle that is blown for a second.
pub fn blown(hz: f64) -> Vec<f32> {
    let mut dice = 1u64;
    let sample = |n: usize| {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let noise = (dice >> 33) as f64 / f64::from(1u32 << 30) - 1.0;
        let t_s = n as f64 / RATE_HZ - 0.4;
        let swell = (t_s / 0.08).min((1.0 - t_s) / 0.05).clamp(0.0, 1.0);
        (0.3 * (swell * (TAU * hz * t_s).sin() + 0.01 * noise)) as f32
    };
    (0..(1.8 * RATE_HZ) as usize).map(sample).collect()
}

/// A bottle that is tapped, by the partials that `predict` has for it.
#[cfg(feature = "window")]
pub fn tapped(row: &Value) -> Vec<f32> {
    let mut sound = vec![0.0f64; (1.8 * RATE_HZ) as usize];
    let partials = row["partials"].as_array().unwrap();
    assert!(partials.len() > 3, "{row}");
    for partial in partials {
        let of = |key: &str| partial[key].as_f64().unwrap();
        let strength = 0.3 * 10f64.powf(of("level_db") / 20.0);
        for (n, x) in sound[(0.3 * RATE_HZ) as usize..].iter_mut().enumerate() {
            let t_s = n as f64 / RATE_HZ;
            let fall = (-6.907_755 * t_s / of("t60_s")).exp();
            *x += strength * fall * (TAU * of("hz") * t_s).sin();
        }
    }
    sound.into_iter().map(|x| x as f32).collect()
}

pub fn recording(samples: &[f32]) -> (Folder, PathBuf) {
    let (folder, path) = file("heard.wav", "");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    samples
        .iter()
        .for_each(|x| writer.write_sample(*x).unwrap());
    writer.finalize().unwrap();
    (folder, path)
}
