//! Any text as a shelf: its bottles or an error, never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let _ = ullage::set::read_shelf(text);
});
