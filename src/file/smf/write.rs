//! A score to the bytes of a MIDI file.

use super::SmfError;
use crate::score::Score;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

/// The most that a file's fields hold.
const MOST_TRACKS: usize = u16::MAX as usize;
const LAST_TICK: u64 = (1 << 28) - 1;
const FINEST_GRID: u16 = (1 << 15) - 1;

/// An event and its tick, and its rank among those of the same tick: ends before beginnings.
pub(super) type Timed<'a> = (u64, u8, TrackEventKind<'a>);

/// Writes a score as a file of format 1, on its own grid, with tempos and metres at the head of its
/// first track. A score that was read from ticks of a quarter note reads back the same.
///
/// # Errors
/// [`SmfError::TooMuch`] when there are more than 65,535 tracks, a grid finer than 32,767 ticks, or a
/// note later than tick 268,435,455.
pub fn to_smf(score: &Score) -> Result<Vec<u8>, SmfError> {
    let too_much = |what, found, limit| Err(SmfError::TooMuch { what, found, limit });
    let part_count = parts(score);
    if part_count > MOST_TRACKS {
        return too_much(
            "the number of tracks",
            part_count as u64,
            MOST_TRACKS as u64,
        );
    }
    let grid = score.ticks_per_quarter;
    if grid > FINEST_GRID {
        return too_much(
            "the ticks in a quarter note",
            grid.into(),
            FINEST_GRID.into(),
        );
    }
    let mut smf = Smf::new(Header::new(
        Format::Parallel,
        Timing::Metrical(u15::new(grid.max(1))),
    ));
    for index in 0..part_count.max(1) {
        let mut events = if index == 0 {
            conductor(score)
        } else {
            Vec::new()
        };
        events.extend(part(score, index));
        smf.tracks.push(in_deltas(events)?);
    }
    let mut bytes = Vec::new();
    smf.write(&mut bytes).expect("a vector takes all bytes");
    Ok(bytes)
}

/// Tracks of the score, and those that only its notes know of.
fn parts(score: &Score) -> usize {
    let by_notes = score
        .notes
        .iter()
        .map(|n| n.track.saturating_add(1))
        .max()
        .unwrap_or(0);
    by_notes.max(score.tracks.len())
}

fn tick_at(score: &Score, quarter: f64) -> u64 {
    // The cast takes a time before the beginning to the beginning.
    (quarter * f64::from(score.ticks_per_quarter.max(1))).round() as u64
}

fn conductor(score: &Score) -> Vec<Timed<'_>> {
    let tempos = score.tempos.iter().map(|t| {
        let us = u24::new(t.us_per_quarter.min(u24::max_value().as_int()));
        let tick = tick_at(score, t.start_quarter);
        (tick, 0, TrackEventKind::Meta(MetaMessage::Tempo(us)))
    });
    let metres = score.metres.iter().map(|m| {
        let power = m.unit.max(1).ilog2() as u8;
        // 24 MIDI clocks to a click and 8 thirty-seconds to a quarter note are the standard's own.
        let metre = MetaMessage::TimeSignature(m.beats, power, 24, 8);
        (
            tick_at(score, m.start_quarter),
            0,
            TrackEventKind::Meta(metre),
        )
    });
    let signature = score.signature.map(|s| {
        let key = MetaMessage::KeySignature(s.fifths, s.minor);
        (0, 0, TrackEventKind::Meta(key))
    });
    tempos.chain(metres).chain(signature).collect()
}

fn part(score: &Score, index: usize) -> Vec<Timed<'_>> {
    let mut events = Vec::new();
    if let Some(track) = score.tracks.get(index).filter(|t| !t.name.is_empty()) {
        let name = MetaMessage::TrackName(track.name.as_bytes());
        events.push((0, 0, TrackEventKind::Meta(name)));
    }
    for note in score.notes.iter().filter(|n| n.track == index) {
        let tick = |seconds: f64| tick_at(score, score.quarter_at(seconds));
        let (start, stop) = (tick(note.start_s), tick(note.stop_s));
        let channel = u4::new(note.channel);
        let key = u7::new(note.key);
        let midi = |message| TrackEventKind::Midi { channel, message };
        let vel = u7::new(note.velocity.clamp(1, 127));
        events.push((start, 2, midi(MidiMessage::NoteOn { key, vel })));
        // A note without length must not end before it begins.
        let rank = if stop > start { 1 } else { 3 };
        let vel = u7::new(64);
        events.push((
            stop.max(start),
            rank,
            midi(MidiMessage::NoteOff { key, vel }),
        ));
    }
    events
}

pub(super) fn in_deltas(mut events: Vec<Timed<'_>>) -> Result<Vec<TrackEvent<'_>>, SmfError> {
    events.sort_by_key(|&(tick, rank, _)| (tick, rank));
    let last = events.last().map_or(0, |e| e.0);
    if last > LAST_TICK {
        return Err(SmfError::TooMuch {
            what: "the last tick",
            found: last,
            limit: LAST_TICK,
        });
    }
    let mut before = 0;
    let mut track: Vec<TrackEvent<'_>> = events
        .into_iter()
        .map(|(tick, _, kind)| {
            let delta = u28::new((tick - before) as u32);
            before = tick;
            TrackEvent { delta, kind }
        })
        .collect();
    track.push(TrackEvent {
        delta: u28::new(0),
        kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
    });
    Ok(track)
}
