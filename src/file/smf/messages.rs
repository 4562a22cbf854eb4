//! Channel messages as they were played, to the bytes of a MIDI file.

use super::SmfError;
use super::write::in_deltas;
use midly::live::LiveEvent;
use midly::num::{u15, u24};
use midly::{Format, Header, MetaMessage, Smf, Timing, TrackEventKind};

/// Ticks in a quarter note; at [`QUARTER_US`] a tick is about a millisecond.
const GRID: u16 = 480;
/// A quarter note, µs: 120 a minute, so that a second is two of them.
const QUARTER_US: u32 = 500_000;
/// Ticks in a second.
const TICKS_PER_S: f64 = GRID as f64 * 1e6 / QUARTER_US as f64;

/// Writes messages and their times, s, as a file of one track at 120 quarter notes a minute, to the nearest tick of
/// 1/960 s. What is no channel message is left out, and a time before the beginning is the beginning.
///
/// ```
/// use ullage::file::smf::{Percussion, from_smf, messages_to_smf};
/// let bytes = messages_to_smf(&[(0.5, [0x90, 60, 100]), (1.5, [0x80, 60, 0])])?;
/// let score = from_smf(&bytes, Percussion::Skip)?;
/// assert_eq!((score.notes[0].key, score.notes[0].start_s), (60, 0.5));
/// # Ok::<(), ullage::file::smf::SmfError>(())
/// ```
///
/// # Errors
/// [`SmfError::TooMuch`] for a message after three days.
pub fn messages_to_smf(messages: &[(f64, [u8; 3])]) -> Result<Vec<u8>, SmfError> {
    let tempo = TrackEventKind::Meta(MetaMessage::Tempo(u24::new(QUARTER_US)));
    let mut events = vec![(0, 0, tempo)];
    for (at_s, bytes) in messages {
        let length = match bytes[0] {
            0xC0..=0xDF => 2,
            _ => 3,
        };
        let Ok(LiveEvent::Midi { channel, message }) = LiveEvent::parse(&bytes[..length]) else {
            continue;
        };
        let tick = (at_s.max(0.0) * TICKS_PER_S).round() as u64;
        events.push((tick, 1, TrackEventKind::Midi { channel, message }));
    }
    let timing = Timing::Metrical(u15::new(GRID));
    let mut smf = Smf::new(Header::new(Format::SingleTrack, timing));
    smf.tracks.push(in_deltas(events)?);
    let mut out = Vec::new();
    smf.write(&mut out).expect("a vector takes all bytes");
    Ok(out)
}
