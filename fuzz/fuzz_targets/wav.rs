//! Any bytes as a WAV file: finite samples or an error, within the limits asked for.
#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use ullage::file::wav::{Limits, read_wav_from};

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits {
        max_seconds: 60.0,
        max_samples: 1 << 20,
    };
    if let Ok(wav) = read_wav_from(Cursor::new(bytes), limits) {
        assert!(wav.samples.len() <= 1 << 20);
        assert!(wav.samples.iter().all(|s| s.is_finite()));
        let _ = (wav.frames(), wav.mono());
    }
});
