//! Sound files that are broken, foreign or too long: an error that says what and where, never a panic.

use std::fs;
use std::io::{Cursor, Write};

use proptest::prelude::*;
use ullage::file::wav::{Bits, Limits, WavError, read_wav, read_wav_from};

use crate::common::files::Folder;
use crate::sounds::{format, test_sound, write};

/// A WAV file in memory, to break. Made once: putting it on the disk is slow.
fn good_bytes() -> Vec<u8> {
    static BYTES: std::sync::LazyLock<Vec<u8>> = std::sync::LazyLock::new(make_good_bytes);
    BYTES.clone()
}

fn make_good_bytes() -> Vec<u8> {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    write(&path, format(Bits::Int24, 2), &test_sound(200, 2));
    fs::read(path).unwrap()
}

fn read_bytes(bytes: &[u8]) -> Result<ullage::file::wav::Wav, WavError> {
    read_wav_from(Cursor::new(bytes), Limits::default())
}

#[test]
fn a_file_cut_anywhere_is_an_error_and_says_how_much_is_left() {
    let bytes = good_bytes();
    for len in 0..bytes.len() {
        let error = read_bytes(&bytes[..len]).expect_err("cut short");
        if len > 100 {
            let wanted = format!("announces 1200 bytes of sound and has {}", len - 68);
            assert!(error.to_string().ends_with(&wanted), "{len}: {error}");
        } else if len < 12 {
            assert!(
                error
                    .to_string()
                    .contains("the file ends in its first 12 bytes")
            );
        }
    }
    assert!(read_bytes(&bytes).is_ok());
}

#[test]
fn chunks_of_odd_length_before_the_sound_are_stepped_over() {
    let bytes = good_bytes();
    let mut odd = bytes[..12].to_vec();
    odd.write_all(b"LIST\x05\0\0\0INFOx\0").unwrap();
    odd.extend_from_slice(&bytes[12..]);
    assert_eq!(read_bytes(&odd).unwrap(), read_bytes(&bytes).unwrap());
}

#[test]
fn a_recording_whose_length_was_never_filled_in_is_read_to_its_end() {
    let mut bytes = good_bytes();
    let whole = read_bytes(&bytes).unwrap();
    bytes[64..68].copy_from_slice(&u32::MAX.to_le_bytes());
    bytes.truncate(bytes.len() - 2);
    let read = read_bytes(&bytes).unwrap();
    assert_eq!(read.frames(), whole.frames() - 1);
    assert_eq!(read.samples[..], whole.samples[..2 * read.frames()]);
}

#[test]
fn what_is_not_plain_samples_or_too_much_of_them_is_told() {
    let says = |bytes: &[u8], words: &str| {
        let error = read_bytes(bytes).expect_err("not to be read").to_string();
        assert!(error.contains(words), "{error}");
    };
    says(b"RIFX\0\0\0\0WAVEfmt ", "a RIFX file is not read");
    says(
        b"RF64\0\0\0\0WAVEds64\x1C\0\0\0\0\0",
        "the file ends in its long lengths",
    );
    says(
        b"OggS, or anything else",
        "does not begin with RIFF and WAVE, at byte 0",
    );
    says(
        b"RIFF\0\0\0\0WAVEdata\0\0\0\0",
        "sound before its format, at byte 12",
    );
    let mut law = good_bytes();
    law[20] = 7;
    law[21] = 0;
    says(&law, "is not read");
    let mut float = good_bytes();
    float[44] = 3;
    says(&float, "is not read");
    let limits = Limits {
        max_seconds: 0.001,
        ..Limits::default()
    };
    let error = read_wav_from(Cursor::new(good_bytes()), limits).expect_err("over the limit");
    assert!(matches!(error, WavError::OverLimit { .. }));
    let folder = Folder::new();
    for path in [folder.path(), &folder.at("missing.wav")] {
        assert!(matches!(read_wav(path), Err(WavError::Open { .. })));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_are_an_error_and_never_a_panic(mut bytes in proptest::collection::vec(any::<u8>(), 0..400), dressed: bool) {
        if dressed && bytes.len() > 16 {
            bytes[..4].copy_from_slice(b"RIFF");
            bytes[8..16].copy_from_slice(b"WAVEfmt ");
        }
        let _ = read_bytes(&bytes);
    }

    #[test]
    fn a_good_file_with_any_bytes_changed_never_panics(changes in proptest::collection::vec((0..140usize, any::<u8>()), 1..6), cut in 0..1_300usize) {
        let mut bytes = good_bytes();
        for (at, value) in changes {
            bytes[at] = value;
        }
        let _ = read_bytes(&bytes[..cut.min(bytes.len())]);
        if let Ok(wav) = read_bytes(&bytes) {
            prop_assert!(wav.samples.iter().all(|x| x.is_finite()));
            prop_assert_eq!(wav.samples.len(), wav.frames() * usize::from(wav.channels));
        }
    }
}
