//! Mangled files: whatever bytes or numbers stand in a file, reading it and predicting from it ends in an
//! answer or an error, never in a panic.
#![allow(clippy::unwrap_used, missing_docs)]

use proptest::prelude::*;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::Prediction;
use ullage::set::{ShelfOrSet, read_any};
use ullage::units::Volume;

/// Reads a text; what can be read must also be predictable or refused, without a panic.
fn read_and_predict(text: &str) {
    let Ok(preset) = read_any(text) else { return };
    let conditions = match &preset {
        ShelfOrSet::Set(set) => set.conditions.clone(),
        ShelfOrSet::Shelf(_) => Conditions::default(),
    };
    for kind in preset.kinds() {
        let _ = Prediction::new(&kind.bottle, Volume::default(), &conditions);
    }
}

/// Where the numbers of a text stand.
fn numbers(text: &str) -> Vec<std::ops::Range<usize>> {
    let mut found = Vec::new();
    let mut start = None;
    for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
        match (start, c.is_ascii_digit() || c == '.' || c == '-') {
            (None, true) => start = Some(at),
            (Some(from), false) => {
                found.push(from..at);
                start = None;
            }
            _ => {}
        }
    }
    found
}

const QUAY: &str = include_str!("../presets/quay/set.toml");

/// What a number is replaced by: the edges of what anybody writes.
const ODD_NUMBERS: &[&str] = &[
    "nan",
    "-nan",
    "inf",
    "-inf",
    "0",
    "0.0",
    "-0.0",
    "-1",
    "-17.3",
    "1",
    "1e-300",
    "1e300",
    "4.9e-324",
    "0.05",
    "5",
    "30",
    "99999",
    "2000",
    "9223372036854775807",
    "\"7\"",
    "[]",
    "{}",
    "true",
    "1e",
    "",
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 1_000, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_are_no_reason_to_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        read_and_predict(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn random_text_behind_a_bottle_is_no_reason_to_panic(text in "\\PC{0,80}") {
        read_and_predict(&format!("[[bottle]]\nname = \"x\"\n{text}"));
    }

    #[test]
    fn a_mangled_set_is_no_reason_to_panic(
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<u8>(), 0..3_u8), 1..6),
    ) {
        let mut bytes = QUAY.as_bytes().to_vec();
        for (at, to, byte, what) in edits {
            let at = at.index(bytes.len());
            let to = at + to.index((bytes.len() - at).min(60));
            match what {
                0 => bytes[at] = byte,
                1 => { bytes.drain(at..to); }
                _ => { let copy = bytes[at..to].to_vec(); bytes.splice(at..at, copy); }
            }
        }
        read_and_predict(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn odd_numbers_in_a_set_are_no_reason_to_panic(
        edits in prop::collection::vec((any::<prop::sample::Index>(), prop::sample::select(ODD_NUMBERS)), 1..4),
    ) {
        let mut text = QUAY.to_owned();
        for (at, odd) in edits {
            let places = numbers(&text);
            text.replace_range(places[at.index(places.len())].clone(), odd);
        }
        read_and_predict(&text);
    }
}
