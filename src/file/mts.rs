//! MIDI Tuning Standard: the pitch of all 128 keys as one system-exclusive message.
//!
//! ```
//! use ullage::file::mts::bulk_dump;
//! // A just third above C4: its ratio is 5:4.
//! let just = 60.0 + 12.0 * 1.25_f64.log2();
//! let message = bulk_dump("just third", &[(64, just)]);
//! // As a synthesiser reads it: three bytes a key, semitones and 1/16384 of them, after 22 bytes of heading.
//! let hz = |key: usize| {
//!     let [semitones, high, low] = [0, 1, 2].map(|byte| f64::from(message[22 + 3 * key + byte]));
//!     440.0 * 2f64.powf((semitones + (128.0 * high + low) / 16_384.0 - 69.0) / 12.0)
//! };
//! // The fifth harmonic of C4 and the fourth of E4 do not beat; in equal temperament they beat ten times a second.
//! // Half a step is 0.003 cents: 0.0023 Hz up there.
//! assert!((5.0 * hz(60) - 4.0 * hz(64)).abs() < 0.0024);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

/// Steps of a semitone in the message.
const STEPS: f64 = 16_384.0;
/// The highest pitch: the value above it means "no change".
const HIGHEST: u32 = 128 * 16_384 - 2;
/// Bytes of the message.
const LENGTH: usize = 408;

/// The bulk dump (MIDI 1.0, MIDI Tuning: universal non-real-time, sub-IDs 08 01) for any device, programme 0.
///
/// `keys` are MIDI keys and their pitches in semitones above key 0 of equal temperament (A4 = 69 at 440 Hz), kept to
/// 1/16384 semitone and within 0 to 128; keys that are not in it stay equal-tempered. `name` is cut to 16 letters.
#[must_use]
pub fn bulk_dump(name: &str, keys: &[(u8, f64)]) -> Vec<u8> {
    let mut message = Vec::with_capacity(LENGTH);
    message.extend([0xF0, 0x7E, 0x7F, 0x08, 0x01, 0x00]);
    let plain = |c: char| {
        if matches!(c, ' '..='~') {
            c as u8
        } else {
            b'?'
        }
    };
    let letters = name.chars().map(plain).chain(std::iter::repeat(b' '));
    message.extend(letters.take(16));
    for key in 0..128u8 {
        let own = keys
            .iter()
            .find(|(k, _)| *k == key)
            .map(|(_, pitch)| *pitch);
        let pitch = own.unwrap_or(f64::from(key));
        // `as` saturates at 0 for what is below.
        let steps = ((pitch * STEPS).round() as u32).min(HIGHEST);
        message.extend([14, 7, 0].map(|shift| (steps >> shift & 0x7F) as u8));
    }
    // All between the status byte and itself.
    let checksum = message[1..].iter().fold(0, |sum, byte| sum ^ byte) & 0x7F;
    message.extend([checksum, 0xF7]);
    message
}
