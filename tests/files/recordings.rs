//! Recordings of every kind that is read, of those that are not, and broken ones: a sound or an error, never a panic.

#[cfg(feature = "recordings")]
use std::fs;
#[cfg(feature = "recordings")]
use std::io::Cursor;
use std::path::PathBuf;

#[cfg(feature = "recordings")]
use ullage::file::recording::read_recording_from;
use ullage::file::recording::{RecordingError, read_recording};
#[cfg(feature = "recordings")]
use ullage::file::wav::WavError;
use ullage::file::wav::{Limits, Wav};

#[cfg(feature = "recordings")]
use crate::common::command::ullage;
#[cfg(feature = "recordings")]
use crate::common::dice::Dice;
#[cfg(feature = "recordings")]
use crate::common::files::arg;
use crate::common::files::{Folder, data};

const WAV: [&str; 1] = ["rf64.wav"];
#[cfg(feature = "recordings")]
const OTHERS: [&str; 10] = [
    "adpcm.wav",
    "alaw.wav",
    "double.wav",
    "mulaw.wav",
    "tone.aac",
    "tone.aiff",
    "tone.flac",
    "tone.m4a",
    "tone.mp3",
    "tone.ogg",
];

fn file(name: &str) -> PathBuf {
    data(&format!("recordings/{name}"))
}

fn read(name: &str) -> Result<Wav, RecordingError> {
    read_recording(&file(name), Limits::default())
}

/// How much of the sound is a tone of 196 Hz, by plain sums over its middle.
fn share_of_tone(wav: &Wav) -> f64 {
    let mono = wav.mono();
    let middle = &mono[mono.len() / 4..mono.len() * 3 / 4];
    let (mut re, mut im, mut all) = (0.0, 0.0, 0.0);
    for (n, x) in middle.iter().enumerate() {
        let (sin, cos) = (std::f64::consts::TAU * 196.0 * n as f64 / wav.rate.hz()).sin_cos();
        let x = f64::from(*x);
        re += x * cos;
        im += x * sin;
        all += x * x;
    }
    2.0 * (re * re + im * im) / (all * middle.len() as f64)
}

fn is_the_tone(name: &str) {
    let wav = read(name).unwrap();
    let seconds = wav.frames() as f64 / wav.rate.hz();
    let share = share_of_tone(&wav);
    println!(
        "{name}: {} Hz, {seconds:.3} s, {share:.5} of it the tone",
        wav.rate.hz()
    );
    // A coder's delay and its last block are a tenth of a second at most.
    assert!((0.69..0.8).contains(&seconds), "{name}: {seconds} s");
    // ADPCM is the worst of them.
    assert!(share > 0.995, "{name}: {share}");
}

#[test]
fn wav_with_long_lengths_is_read_in_every_build() {
    WAV.into_iter().for_each(is_the_tone);
}

#[cfg(feature = "recordings")]
#[test]
fn the_same_tone_is_read_from_every_kind_of_file() {
    OTHERS.into_iter().for_each(is_the_tone);
}

#[cfg(not(feature = "recordings"))]
#[test]
fn a_small_build_says_what_it_leaves_out() {
    let error = read("tone.flac").unwrap_err();
    assert!(
        matches!(error, RecordingError::LeftOut { kind: "FLAC" }),
        "{error:?}"
    );
}

#[test]
fn a_kind_that_is_not_read_is_named() {
    for (name, kind) in [("tone.opus", "Opus"), ("tone.webm", "WebM")] {
        let error = read(name).unwrap_err();
        assert!(error.to_string().starts_with(kind), "{name}: {error}");
    }
    let folder = Folder::new();
    let text = folder.write("text.mp3", b"this is no sound at all, it only says so");
    let error = read_recording(&text, Limits::default()).unwrap_err();
    assert!(matches!(error, RecordingError::Unknown), "{error:?}");
}

#[cfg(feature = "recordings")]
#[test]
fn more_sound_than_is_asked_for_is_refused() {
    let limits = Limits {
        max_seconds: 0.5,
        ..Limits::default()
    };
    for name in OTHERS {
        let read = read_recording(&file(name), limits);
        assert!(
            matches!(
                read,
                Err(RecordingError::OverLimit { .. }
                    | RecordingError::Wav(WavError::OverLimit { .. }))
            ),
            "{name}: {read:?}"
        );
    }
}

#[cfg(feature = "recordings")]
#[test]
fn broken_files_are_sounds_or_errors_and_never_a_panic() {
    let mut dice = Dice(11);
    let (mut sounds, mut errors) = (0, 0);
    for name in OTHERS {
        let whole = fs::read(file(name)).unwrap();
        for case in 0..40 {
            let mut bytes = whole.clone();
            if case % 2 == 0 {
                bytes.truncate(dice.below(whole.len() as u64) as usize);
            }
            for _ in 0..dice.below(12) {
                let at = dice.below(bytes.len().max(1) as u64) as usize;
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = dice.below(256) as u8;
                }
            }
            match read_recording_from(Cursor::new(bytes), Limits::default()) {
                Ok(wav) => {
                    assert!(wav.samples.iter().all(|x| x.is_finite()));
                    sounds += 1;
                }
                Err(_) => errors += 1,
            }
        }
    }
    println!("{sounds} sounds, {errors} errors");
    assert!(
        sounds > 40 && errors > 40,
        "{sounds} sounds, {errors} errors"
    );
}

/// Found by fuzzing: the step of this ADPCM grows threefold with every sample, over what the decoder has room for.
#[cfg(feature = "recordings")]
#[test]
fn what_a_decoder_panics_at_is_an_error_in_our_words_alone() {
    let path = data("broken/adpcm_step_overflows.wav");
    let run = ullage(&["listen", arg(&path)]);
    assert!(!run.err.contains("panicked"), "{}", run.err);
    // Where sums are not checked it goes round, and is a sound that says nothing.
    if cfg!(debug_assertions) {
        run.ended(2)
            .says("adpcm_step_overflows.wav")
            .says("its decoder gave up");
    }
}
