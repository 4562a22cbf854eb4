//! Any bytes as a MIDI file: a score in order or an error; and what is read and written reads back.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ullage::file::smf::{Percussion, from_smf, from_smf_to_the_break, to_smf};
use ullage::plan::piece::bars;

fuzz_target!(|bytes: &[u8]| {
    let Ok((score, broken)) = from_smf_to_the_break(bytes, Percussion::Read) else {
        assert!(from_smf(bytes, Percussion::Read).is_err());
        return;
    };
    assert_eq!(broken.is_some(), from_smf(bytes, Percussion::Read).is_err());
    for note in &score.notes {
        assert!(note.start_s.is_finite() && note.start_s <= note.stop_s);
        assert!(note.key < 128 && (1..128).contains(&note.velocity));
        assert!(note.track < score.tracks.len());
    }
    assert!(score.notes.windows(2).all(|w| w[0].start_s <= w[1].start_s));
    if score.duration_s() < 36_000.0 {
        assert!(!bars(&score).is_empty());
    }
    if let Ok(written) = to_smf(&score) {
        let again = from_smf(&written, Percussion::Read).expect("what was written reads back");
        assert_eq!(again.notes.len(), score.notes.len());
    }
});
