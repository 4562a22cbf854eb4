//! Notes by name, and the pitch that each temperament gives them.

use proptest::prelude::*;
use ullage::tuning::{NoteName, PitchClass, Temperament, Tuning};
use ullage::units::{Frequency, Interval};

use crate::close;

fn note(text: &str) -> NoteName {
    text.parse().unwrap()
}

fn tuned(temperament: &str, tonic: &str) -> Tuning {
    Tuning::new(
        Frequency::from_hz(440.0),
        temperament.parse().unwrap(),
        tonic.parse().unwrap(),
    )
    .unwrap()
}

/// Cents from one note up to another.
fn span(tuning: &Tuning, lower: &str, upper: &str) -> f64 {
    tuning
        .frequency(&note(upper))
        .interval_above(tuning.frequency(&note(lower)))
        .cents()
}

#[test]
fn a_note_prints_as_it_was_written_in_plain_characters() {
    for (written, printed) in [
        ("C4", "C4"),
        ("f#4", "F#4"),
        ("Bb3", "Bb3"),
        ("bb3", "Bb3"),
        ("F♯4-14c", "F#4-14c"),
        ("A4+3.5c", "A4+3.5c"),
        ("A4 +3.5 cents", "A4+3.5c"),
        ("B♭♭3", "Bbb3"),
        ("𝄫", ""),
        ("E𝄫4", "Ebb4"),
        ("F𝄪4", "F##4"),
        ("Fx4", "F##4"),
        ("C-1", "C-1"),
        ("C−1−2c", "C-1-2c"),
        (" G9 ", "G9"),
    ] {
        let read: Result<NoteName, _> = written.parse();
        let found = read.map(|n| n.to_string()).unwrap_or_default();
        assert_eq!(found, printed, "{written}");
    }
}

/// MIDI 1.0: middle C is key 60; C4 for its name is common practice of scientific pitch notation.
#[test]
fn keys_are_counted_as_midi_counts_them() {
    for (name, key) in [
        ("C-1", 0),
        ("C4", 60),
        ("B#3", 60),
        ("Dbb4", 60),
        ("Cb4", 59),
        ("A4", 69),
        ("F#4-14c", 66),
        ("Gb4", 66),
        ("G9", 127),
    ] {
        assert_eq!(note(name).midi(), key, "{name}");
    }
    for key in 0..=127 {
        let there = NoteName::from_midi(key);
        assert_eq!(there.midi(), key);
        assert_eq!(note(&there.to_string()), there);
    }
}

#[test]
fn what_is_no_note_is_refused_with_an_example_of_one() {
    for (text, reason) in [
        ("H4", "letter from A to G"),
        ("", "letter from A to G"),
        ("C", "has no octave"),
        ("F#", "has no octave"),
        ("C#b4", "accidentals"),
        ("C###4", "accidentals"),
        ("C4-14", "\"-14\" in \"C4-14\" is not a number of cents"),
        ("C4 14c", "not a number of cents"),
        ("C4+infc", "not a number of cents"),
        ("C4+1e1c", "not a number of cents"),
        ("C4-140c", "-140 cents in \"C4-140c\" is more than 100"),
        ("C10", "outside C-1 to G9"),
        ("Cb-1", "outside C-1 to G9"),
        ("G#9", "outside C-1 to G9"),
        ("A999", "outside C-1 to G9"),
    ] {
        let message = text.parse::<NoteName>().unwrap_err().to_string();
        assert!(message.contains(reason), "{text}: {message}");
    }
    let message = "Q".parse::<PitchClass>().unwrap_err().to_string();
    assert!(message.contains("letter"), "{message}");
    let message = "D4".parse::<PitchClass>().unwrap_err().to_string();
    assert!(message.contains("without an octave"), "{message}");
}

/// Hertz to four decimals from Wikipedia, "Piano key frequencies" (C8 there to two decimals in some
/// versions; to three from memory). Tolerance: half of the last printed digit.
#[test]
fn equal_temperament_gives_the_pitches_of_the_piano() {
    let piano = Tuning::default();
    for (name, hz) in [
        ("A0", 27.5),
        ("G3", 195.9977),
        ("C4", 261.6256),
        ("F#4", 369.9944),
        ("A4", 440.0),
        ("E5", 659.2551),
        ("C8", 4186.009),
    ] {
        let tolerance = if name == "C8" { 5e-4 } else { 5e-5 };
        close(piano.frequency(&note(name)).hz(), hz, tolerance);
    }
}

/// Sizes of intervals in cents to two decimals, as Barbour, *Tuning and Temperament* (1951), prints
/// them; from memory. The meantone fifth is also in Wikipedia, "Quarter-comma meantone": 696.578. Tolerance: half of the last digit and a little for its rounding.
#[test]
fn each_temperament_has_the_intervals_that_tables_give_it() {
    let just = tuned("just", "C");
    close(span(&just, "C4", "E4"), 386.31, 0.006);
    close(span(&just, "C4", "Eb4"), 315.64, 0.006);
    close(span(&just, "C4", "G4"), 701.96, 0.006);
    close(span(&just, "C4", "F#4"), 590.22, 0.006);
    close(span(&just, "C4", "B4"), 1088.27, 0.006);
    // On the second degree the fifth is short by a syntonic comma of 21.51 cents.
    close(span(&just, "D4", "A4"), 701.955 - 21.506, 0.006);
    let pythagorean = tuned("pythagorean", "C");
    close(span(&pythagorean, "C4", "E4"), 407.82, 0.006);
    close(span(&pythagorean, "C4", "Eb4"), 294.13, 0.006);
    close(span(&pythagorean, "C4", "F#4"), 611.73, 0.006);
    // The wolf is short by the Pythagorean comma, 23.46 cents.
    close(span(&pythagorean, "G#3", "Eb4"), 701.955 - 23.46, 0.006);
    let meantone = tuned("meantone", "C");
    close(span(&meantone, "C4", "E4"), 386.31, 0.006);
    close(span(&meantone, "C4", "G4"), 696.58, 0.006);
    close(span(&meantone, "C4", "F4"), 503.42, 0.006);
    close(span(&meantone, "C4", "D4"), 193.16, 0.006);
    close(span(&meantone, "C4", "Bb4"), 1006.84, 0.006);
    close(span(&meantone, "G#3", "Eb4"), 737.64, 0.006);
}

#[test]
fn a4_keeps_its_pitch_in_every_temperament_and_key() {
    for temperament in ["equal", "just", "pythagorean", "meantone"] {
        for number in 0..12 {
            let tuning = Tuning::new(
                Frequency::from_hz(432.0),
                temperament.parse().unwrap(),
                PitchClass::from_number(number, true),
            )
            .unwrap();
            close(tuning.frequency(&note("A4")).hz(), 432.0, 1e-9);
        }
    }
}

#[test]
fn the_pure_chord_moves_with_the_tonic() {
    let in_d = tuned("just", "D");
    close(span(&in_d, "D4", "F#4"), 386.31, 0.006);
    close(span(&in_d, "D3", "A4"), 1200.0 + 701.96, 0.006);
    // C in D major is a minor seventh, 9/5, below the next D.
    close(span(&in_d, "D4", "C5"), 1017.60, 0.006);
}

#[test]
fn cents_behind_a_note_bend_it_by_as_much() {
    for temperament in ["equal", "meantone"] {
        let tuning = tuned(temperament, "Eb");
        close(span(&tuning, "F#4", "F#4-14c"), -14.0, 1e-9);
        close(span(&tuning, "F#4", "F#4+3.5c"), 3.5, 1e-9);
    }
}

#[test]
fn the_nearest_note_is_spelled_for_the_key_and_bounded_by_midi() {
    let piano = Tuning::default();
    let (name, off) = piano.nearest(Frequency::from_hz(451.0));
    assert_eq!(name.to_string(), "A4");
    close(off.cents(), 42.75, 0.01); // 1200 log2(451/440)
    let spelled = |tonic: &str, hz: f64| {
        let (name, _) = tuned("equal", tonic).nearest(Frequency::from_hz(hz));
        name.to_string()
    };
    assert_eq!(spelled("Eb", 233.08), "Bb3");
    assert_eq!(spelled("F", 233.08), "Bb3");
    assert_eq!(spelled("E", 233.08), "A#3");
    let (name, off) = piano.nearest(Frequency::from_hz(20_000.0));
    assert_eq!(name.to_string(), "G9");
    assert!(off.cents() > 800.0);
    for hz in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
        let _ = piano.nearest(Frequency::from_hz(hz));
    }
}

#[test]
fn a_tuning_reads_and_writes_as_toml() {
    let text = "a4_hz = 442.0\ntemperament = \"just\"\ntonic = \"D\"\n";
    let tuning: Tuning = toml::from_str(text).unwrap();
    close(tuning.a4().hz(), 442.0, 0.0);
    assert_eq!(toml::to_string(&tuning).unwrap(), text);
    assert_eq!(toml::from_str::<Tuning>("").unwrap(), Tuning::default());
    let list = "temperament = [0, 100, 200, 300, 386.31, 500, 600, 700, 800, 900, 1000, 1100]";
    let tuning: Tuning = toml::from_str(list).unwrap();
    close(span(&tuning, "C4", "E4"), 386.31, 1e-9);
    let again: Tuning = toml::from_str(&toml::to_string(&tuning).unwrap()).unwrap();
    assert_eq!(again, tuning);
}

#[test]
fn a_wrong_tuning_says_what_is_wrong_and_where() {
    for (text, reason) in [
        (
            "temperament = \"pythagorian\"",
            "the nearest is \"pythagorean\"",
        ),
        ("temperament = \"mean-tone\"", "the nearest is \"meantone\""),
        ("temperament = [0, 100]", "this list has 2"),
        ("temperament = 12", "the name of a temperament, or a list"),
        (
            "temperament = [5, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100]",
            "must be 0 cents, not 5",
        ),
        (
            "temperament = [0, 2, -3, 0, 0, 0, 0, 0, 0, 0, 0, 0]",
            "step 2 of -3 cents is not above the step before, 2 cents",
        ),
        (
            "temperament = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]",
            "step 2 of 2 cents is more than 100 cents from its key at 200 cents",
        ),
        ("a4_hz = 44", "a4_hz = 44 is outside 380 to 500 Hz"),
        ("a4_hz = nan", "outside 380 to 500 Hz"),
        ("tonic = \"H\"", "letter from A to G"),
        ("pitch_hz = 440", "unknown field `pitch_hz`"),
    ] {
        let message = toml::from_str::<Tuning>(text).unwrap_err().to_string();
        assert!(message.contains(reason), "{text}: {message}");
    }
}

#[test]
fn the_schema_knows_the_three_keys_and_no_others() {
    let schema = serde_json::to_value(schemars::schema_for!(Tuning)).unwrap();
    let keys: Vec<&String> = schema["properties"].as_object().unwrap().keys().collect();
    assert_eq!(keys, ["a4_hz", "temperament", "tonic"]);
    assert_eq!(schema["additionalProperties"], false);
    let note = serde_json::to_value(schemars::schema_for!(NoteName)).unwrap();
    assert_eq!(note["type"], "string");
}

proptest! {
    #[test]
    fn any_text_is_a_note_or_an_error(text in "\\PC{0,12}") {
        if let Ok(note) = text.parse::<NoteName>() {
            prop_assert_eq!(note.to_string().parse::<NoteName>(), Ok(note));
        }
    }

    #[test]
    fn the_nearest_note_of_a_notes_own_pitch_is_that_note(
        key in 0u8..=127, bend in -20.0..20.0f64, tonic in 0u8..12,
        temperament in prop::sample::select(vec![
            Temperament::Equal, Temperament::Just, Temperament::Pythagorean, Temperament::Meantone,
        ]),
    ) {
        let a4 = Frequency::from_hz(443.0);
        let tuning = Tuning::new(a4, temperament, PitchClass::from_number(tonic, false)).unwrap();
        let pitch = tuning
            .frequency(&NoteName::from_midi(key))
            .raised_by(Interval::from_cents(bend));
        let (name, off) = tuning.nearest(pitch);
        prop_assert_eq!(name.midi(), key);
        prop_assert!((off.cents() - bend).abs() < 1e-6);
    }
}
