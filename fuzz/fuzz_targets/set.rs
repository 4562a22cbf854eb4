//! Any text as a set, or as whichever it is. What reads as a set has every pour's bottle and pitch.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let _ = ullage::set::read_any(text);
    if let Ok(set) = ullage::set::read_set(text) {
        for pour in &set.pours {
            let _ = set.kind_of(pour);
            assert!(set.target(pour).hz() > 0.0);
        }
    }
});
