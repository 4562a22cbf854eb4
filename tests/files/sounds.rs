//! Sound to be written, and its writing.

use std::path::Path;

use ullage::file::atomic::Overwrite;
use ullage::file::wav::{Bits, WavFormat, WavSink};
use ullage::units::SampleRate;

pub fn format(bits: Bits, channels: u16) -> WavFormat {
    WavFormat {
        rate: SampleRate::from_hz(44_100.0),
        bits,
        channels,
    }
}

/// Sweeps, edges and small numbers, one channel after the other within each frame.
pub fn test_sound(frames: usize, channels: u16) -> Vec<f32> {
    (0..frames * usize::from(channels))
        .map(|i| match i % 5 {
            0 => (i as f32 * 0.37).sin() * 0.9,
            1 => (i as f32 * 0.011).cos() * 0.02,
            2 => -0.999,
            3 => 1e-4,
            _ => 0.0,
        })
        .collect()
}

pub fn write(path: &Path, format: WavFormat, samples: &[f32]) {
    let mut sink = WavSink::create(path, format, Overwrite::No).unwrap();
    sink.write_frames(samples).unwrap();
    sink.finish().unwrap();
}
