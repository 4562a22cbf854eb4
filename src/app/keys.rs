//! The keys that can play, by their place on the keyboard and whatever is printed on them.

use winit::keyboard::KeyCode;
use winit::keyboard::KeyCode::*;

/// The bottom row of letters, from the left.
pub(super) const BOTTOM: [KeyCode; 10] = [
    KeyZ, KeyX, KeyC, KeyV, KeyB, KeyN, KeyM, Comma, Period, Slash,
];
/// The middle row.
pub(super) const MIDDLE: [KeyCode; 11] = [
    KeyA, KeyS, KeyD, KeyF, KeyG, KeyH, KeyJ, KeyK, KeyL, Semicolon, Quote,
];
/// The upper row.
pub(super) const UPPER: [KeyCode; 12] = [
    KeyQ,
    KeyW,
    KeyE,
    KeyR,
    KeyT,
    KeyY,
    KeyU,
    KeyI,
    KeyO,
    KeyP,
    BracketLeft,
    BracketRight,
];
/// The row of digits.
pub(super) const DIGITS: [KeyCode; 12] = [
    Digit1, Digit2, Digit3, Digit4, Digit5, Digit6, Digit7, Digit8, Digit9, Digit0, Minus, Equal,
];

/// Keys laid out as a piano's, semitones from the C under the first of the bottom row: white keys on the rows of
/// letters, black ones on the rows above them.
pub(super) const PIANO: [(KeyCode, u8); 35] = [
    (KeyZ, 0),
    (KeyS, 1),
    (KeyX, 2),
    (KeyD, 3),
    (KeyC, 4),
    (KeyV, 5),
    (KeyG, 6),
    (KeyB, 7),
    (KeyH, 8),
    (KeyN, 9),
    (KeyJ, 10),
    (KeyM, 11),
    (KeyQ, 12),
    (Digit2, 13),
    (KeyW, 14),
    (Digit3, 15),
    (KeyE, 16),
    (KeyR, 17),
    (Digit5, 18),
    (KeyT, 19),
    (Digit6, 20),
    (KeyY, 21),
    (Digit7, 22),
    (KeyU, 23),
    (KeyI, 24),
    (Digit9, 25),
    (KeyO, 26),
    (Digit0, 27),
    (KeyP, 28),
    (BracketLeft, 29),
    (Equal, 30),
    (BracketRight, 31),
    (Comma, 12),
    (KeyL, 13),
    (Period, 14),
];

/// Keys that a piano leaves over, for notes that are beyond it.
pub(super) const SPARE: [KeyCode; 10] = [
    KeyA, KeyF, KeyK, Semicolon, Quote, Slash, Digit1, Digit4, Digit8, Minus,
];

/// Every key that can play, bottom row first.
pub(super) fn all() -> impl Iterator<Item = KeyCode> {
    let rows: [&'static [KeyCode]; 4] = [&BOTTOM, &MIDDLE, &UPPER, &DIGITS];
    rows.into_iter().flatten().copied()
}

/// A key's name in the settings; positions have the names of the web's `KeyboardEvent.code`.
pub(super) fn name(code: KeyCode) -> String {
    format!("{code:?}")
}

/// The key of a name.
pub(super) fn named(name: &str) -> Option<KeyCode> {
    all().find(|&code| self::name(code) == name)
}

/// What is printed on a key of a common English keyboard.
pub(super) fn printed(code: KeyCode) -> String {
    let name = name(code);
    let sign = match code {
        Comma => ",",
        Period => ".",
        Slash => "/",
        Semicolon => ";",
        Quote => "'",
        BracketLeft => "[",
        BracketRight => "]",
        Minus => "-",
        Equal => "=",
        _ => name
            .strip_prefix("Key")
            .or_else(|| name.strip_prefix("Digit"))
            .unwrap_or(&name),
    };
    sign.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_found_by_its_name() {
        assert_eq!(all().count(), 45);
        for code in all() {
            assert_eq!(named(&name(code)), Some(code));
        }
    }

    #[test]
    fn letters_and_signs_are_shown_as_printed() {
        assert_eq!(printed(KeyZ), "Z");
        assert_eq!(printed(Digit0), "0");
        assert_eq!(printed(Semicolon), ";");
    }
}
