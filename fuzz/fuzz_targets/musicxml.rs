//! Any bytes as MusicXML, packed or not: a score in order or an error.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ullage::file::musicxml::from_musicxml;
use ullage::file::smf::{Percussion, to_smf};

fuzz_target!(|bytes: &[u8]| {
    let Ok(read) = from_musicxml(bytes, Percussion::Read) else {
        return;
    };
    let score = read.score;
    for note in &score.notes {
        assert!(note.start_s.is_finite() && note.start_s >= 0.0 && note.start_s <= note.stop_s);
        assert!(note.key < 128 && (1..128).contains(&note.velocity));
        assert!(note.track < score.tracks.len());
    }
    assert!(
        score
            .tempos
            .windows(2)
            .all(|w| w[0].start_quarter < w[1].start_quarter)
    );
    assert!(
        score
            .metres
            .windows(2)
            .all(|w| w[0].start_quarter < w[1].start_quarter)
    );
    let _ = to_smf(&score);
});
