//! Any bytes as a recording: finite samples or an error, within the limits asked for, and never a panic.
#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use ullage::file::recording::read_recording_from;
use ullage::file::wav::Limits;

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits {
        max_seconds: 60.0,
        max_samples: 1 << 20,
    };
    if let Ok(wav) = read_recording_from(Cursor::new(bytes.to_vec()), limits) {
        assert!(wav.channels > 0 && wav.samples.len() <= 1 << 20);
        assert!(wav.samples.iter().all(|s| s.is_finite()));
        let _ = (wav.frames(), wav.mono());
    }
});
