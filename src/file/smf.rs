//! Standard MIDI Files: bytes to a [`Score`] and back.
//!
//! Reads formats 0, 1 and 2, in ticks of a quarter note or of an SMPTE frame, bare or wrapped in RIFF.
//! Any bytes give a score or an error that names the place; none makes it panic. What bottles cannot
//! play (controllers, pitch bend, program changes, the sustain pedal) is passed over.
//!
//! The standard leaves open what happens to notes that overlap on one key. Here the first to begin is
//! the first to end. A note that is never let go ends with its track. The tracks of format 2 are pieces
//! of their own and are laid end to end, each with its own tempo.
//!
//! *Standard MIDI Files 1.0*, MIDI Manufacturers Association, 1996.

mod chunks;
mod clock;
mod messages;
mod write;

pub use messages::messages_to_smf;
pub use write::to_smf;

use crate::score::{Score, ScoreNote, Track};
use chunks::{Chunks, TrackBytes};
use clock::{Clock, Division};
use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};
use std::collections::{HashMap, VecDeque};

/// Channel 10 of those who count from 1: percussion by General MIDI 1.
const PERCUSSION_CHANNEL: u8 = 9;

/// Bytes that are no MIDI file, or a score that cannot be one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SmfError {
    /// The first bytes are not those of a MIDI file.
    #[error("not a MIDI file: it begins with {found:?} where \"MThd\" is expected")]
    NotMidi {
        /// The first bytes, as text.
        found: String,
    },
    /// The file stops inside something.
    #[error(
        "the file ends at byte {length} inside {what}, which begins at byte {start} and needs {needed} bytes"
    )]
    Truncated {
        /// What is cut off.
        what: &'static str,
        /// Where it begins.
        start: usize,
        /// How many bytes it needs.
        needed: u64,
        /// Bytes in the file.
        length: usize,
    },
    /// A header field has a value that means nothing.
    #[error("{what} at byte {at} is {found}, and must be {expected}")]
    Header {
        /// The field.
        what: &'static str,
        /// Where it is.
        at: usize,
        /// What it holds.
        found: i64,
        /// What it may hold.
        expected: &'static str,
    },
    /// Fewer tracks than the header promises.
    #[error("the header at byte {at} promises {promised} tracks and the file has {found}")]
    TrackCount {
        /// Where the header is.
        at: usize,
        /// Tracks by the header.
        promised: u16,
        /// Tracks in the file.
        found: usize,
    },
    /// Bytes inside a track that are no event.
    #[error("byte {at}, in track {track}, does not begin a MIDI event")]
    Event {
        /// Where it is.
        at: usize,
        /// Which track, counted from 1.
        track: usize,
    },
    /// A score that does not fit the format.
    #[error("{what} is {found}, and a MIDI file holds at most {limit}")]
    TooMuch {
        /// What is too many or too late.
        what: &'static str,
        /// How many or how late.
        found: u64,
        /// The most that fits.
        limit: u64,
    },
}

/// Whether to read what is on the percussion channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Percussion {
    /// Leave it out: its keys are drums, not pitches.
    #[default]
    Skip,
    /// Read it like any other channel.
    Read,
}

/// Reads a file.
///
/// # Errors
/// [`SmfError`] names the byte and what is wrong there.
///
/// ```
/// use ullage::file::smf::{Percussion, from_smf};
/// let error = from_smf(b"RIFF....", Percussion::Skip).unwrap_err();
/// assert!(error.to_string().starts_with("not a MIDI file"));
/// ```
pub fn from_smf(bytes: &[u8], percussion: Percussion) -> Result<Score, SmfError> {
    let (score, broken) = from_smf_to_the_break(bytes, percussion)?;
    broken.map_or(Ok(score), Err)
}

/// Reads what can be read of a file, and says where it is broken if it is. Of a track, what stands before
/// the break; notes that were held there end there. Tracks before and after it are read whole.
///
/// # Errors
/// [`SmfError`] if the header cannot be read, so that nothing means anything.
pub fn from_smf_to_the_break(
    bytes: &[u8],
    percussion: Percussion,
) -> Result<(Score, Option<SmfError>), SmfError> {
    let chunks = Chunks::read(bytes)?;
    let mut reading = Reading::new(percussion);
    let (mut start_tick, mut broken) = (0, None);
    for (index, track) in chunks.tracks.iter().enumerate() {
        if chunks.sequential {
            reading.clock.restart(start_tick);
        }
        let (end_tick, stopped) = reading.track(index, track, start_tick);
        broken = broken.or(stopped);
        if chunks.sequential {
            start_tick = end_tick;
        }
    }
    // Where the file is cut off, its last event is cut too; the cut is the reason.
    let broken = chunks.broken.or(broken);
    Ok((reading.into_score(chunks.division), broken))
}

/// A note in ticks.
struct TickNote {
    start_tick: u64,
    stop_tick: u64,
    note: ScoreNote,
}

/// What has been read so far.
struct Reading {
    percussion: Percussion,
    clock: Clock,
    notes: Vec<TickNote>,
    tracks: Vec<Track>,
}

/// Notes that are held, by channel and key: where they are in the list.
type Held = HashMap<(u8, u8), VecDeque<usize>>;

impl Reading {
    fn new(percussion: Percussion) -> Self {
        Self {
            percussion,
            clock: Clock::default(),
            notes: Vec::new(),
            tracks: Vec::new(),
        }
    }

    /// Reads one track that begins at `tick`, and returns the tick of its end, and why it ends before
    /// its bytes do.
    fn track(
        &mut self,
        index: usize,
        track: &TrackBytes<'_>,
        mut tick: u64,
    ) -> (u64, Option<SmfError>) {
        let mut held = Held::new();
        let mut read_to = 0;
        let mut name = String::new();
        let mut ended = false;
        for event in EventIter::new(track.bytes).bytemapped().flatten() {
            let (bytes, event) = event;
            read_to = bytes.as_ptr() as usize - track.bytes.as_ptr() as usize + bytes.len();
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Midi { channel, message } => {
                    self.message(&mut held, index, tick, (channel.as_int(), message));
                }
                TrackEventKind::Meta(MetaMessage::EndOfTrack) => {
                    ended = true;
                    break;
                }
                TrackEventKind::Meta(MetaMessage::TrackName(text)) if name.is_empty() => {
                    name = String::from_utf8_lossy(text).trim().to_owned();
                }
                TrackEventKind::Meta(meta) => self.clock.meta(tick, &meta),
                _ => {}
            }
        }
        // The library stops at bytes that are no event and does not say so.
        let broken = (!ended && read_to < track.bytes.len()).then_some(SmfError::Event {
            at: track.offset + read_to,
            track: index + 1,
        });
        for note in held.into_values().flatten() {
            self.notes[note].stop_tick = tick;
        }
        self.tracks.push(Track { name });
        (tick, broken)
    }

    fn message(&mut self, held: &mut Held, track: usize, tick: u64, from: (u8, MidiMessage)) {
        let (channel, message) = from;
        if channel == PERCUSSION_CHANNEL && self.percussion == Percussion::Skip {
            return;
        }
        match message {
            MidiMessage::NoteOn { key, vel } if vel > 0 => {
                let held = held.entry((channel, key.as_int())).or_default();
                held.push_back(self.notes.len());
                self.notes.push(TickNote {
                    start_tick: tick,
                    stop_tick: tick,
                    note: ScoreNote {
                        start_s: 0.0,
                        stop_s: 0.0,
                        key: key.as_int(),
                        velocity: vel.as_int(),
                        track,
                        channel,
                    },
                });
            }
            MidiMessage::NoteOn { key, .. } | MidiMessage::NoteOff { key, .. } => {
                let first = held
                    .get_mut(&(channel, key.as_int()))
                    .and_then(VecDeque::pop_front);
                if let Some(first) = first {
                    self.notes[first].stop_tick = tick;
                }
            }
            _ => {}
        }
    }

    fn into_score(self, division: Division) -> Score {
        let mut score = self.clock.into_score(division);
        score.tracks = self.tracks;
        let ticks_per_quarter = division.ticks_per_quarter();
        let seconds = |tick: u64| match division {
            Division::Quarter(_) => score.seconds_at(tick as f64 / ticks_per_quarter),
            // A tick of a frame is a time, whatever the tempo.
            Division::Frame { ticks_per_s } => tick as f64 / ticks_per_s,
        };
        score.notes = self
            .notes
            .into_iter()
            .map(|n| ScoreNote {
                start_s: seconds(n.start_tick),
                stop_s: seconds(n.stop_tick),
                ..n.note
            })
            .collect();
        score.sort();
        score
    }
}
