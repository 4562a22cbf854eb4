//! Any bytes as a recording: finite samples or an error, within the limits asked for, and never a panic of ours. What the decoders
//! panic at is an error by the time it is out of our hands, and nothing to be told here.
#![no_main]

use std::io::Cursor;
use std::panic::{set_hook, take_hook};

use libfuzzer_sys::fuzz_target;
use ullage::file::recording::read_recording_from;
use ullage::file::wav::Limits;

/// Where the decoders' code is.
const DECODERS: &str = "/symphonia-";

/// The fuzzer ends at every panic, caught or not, before it unwinds.
fn pass_over_the_decoders() {
    let fuzzers = take_hook();
    set_hook(Box::new(move |panic| {
        if panic.location().is_none_or(|at| !at.file().contains(DECODERS)) {
            fuzzers(panic);
        }
    }));
}

fuzz_target!(init: pass_over_the_decoders(), |bytes: &[u8]| {
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
