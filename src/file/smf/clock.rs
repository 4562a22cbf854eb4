//! What a tick is worth: the division of the header, and the tempos and metres in the tracks.

use super::SmfError;
use crate::score::{DEFAULT_US_PER_QUARTER, Metre, Score, Signature, Tempo};
use midly::MetaMessage;

/// Metres finer than this are taken for damage. A power of two.
const FINEST_UNIT_POWER: u8 = 7;

/// The grid of a score that came in SMPTE frames, ticks in a quarter note.
const GRID_OF_FRAMES: u16 = 960;

/// What the header counts in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Division {
    /// Ticks in a quarter note.
    Quarter(u16),
    /// Ticks in a second, by frames.
    Frame { ticks_per_s: f64 },
}

impl Division {
    /// Reads the field at byte `at` of the file.
    pub fn read(field: u16, at: usize) -> Result<Self, SmfError> {
        let wrong = |what, found, expected| SmfError::Header {
            what,
            at,
            found,
            expected,
        };
        if field & 0x8000 == 0 {
            return match field {
                0 => Err(wrong("the ticks in a quarter note", 0, "1 or more")),
                ticks => Ok(Self::Quarter(ticks)),
            };
        }
        let [frames, ticks] = field.to_be_bytes();
        let frames_per_s = match i16::from(frames as i8) {
            -24 => 24.0,
            -25 => 25.0,
            // Drop-frame code counts 30 and runs at the speed of colour television.
            -29 => 30_000.0 / 1001.0,
            -30 => 30.0,
            other => {
                let found = i64::from(other);
                return Err(wrong("the SMPTE frame rate", found, "-24, -25, -29 or -30"));
            }
        };
        match ticks {
            0 => Err(wrong("the ticks in an SMPTE frame", 0, "1 or more")),
            ticks => Ok(Self::Frame {
                ticks_per_s: frames_per_s * f64::from(ticks),
            }),
        }
    }

    /// Ticks in a quarter note; of frames, at the tempo that holds when none is given.
    pub fn ticks_per_quarter(self) -> f64 {
        match self {
            Self::Quarter(ticks) => f64::from(ticks),
            Self::Frame { ticks_per_s } => ticks_per_s * f64::from(DEFAULT_US_PER_QUARTER) / 1e6,
        }
    }
}

/// Tempos, metres and keys by tick, in the order of the file.
#[derive(Default)]
pub struct Clock {
    /// Tick, microseconds in a quarter note.
    tempos: Vec<(u64, u32)>,
    /// Tick, beats, unit.
    metres: Vec<(u64, u8, u8)>,
    /// Tick and key signature.
    signatures: Vec<(u64, Signature)>,
}

impl Clock {
    /// Takes a tempo, a metre or a key; anything else, and a value of 0 that would stop time, is passed over.
    pub fn meta(&mut self, tick: u64, meta: &MetaMessage<'_>) {
        match *meta {
            MetaMessage::Tempo(us) if us > 0 => self.tempos.push((tick, us.as_int())),
            MetaMessage::TimeSignature(beats, power, ..)
                if beats > 0 && power <= FINEST_UNIT_POWER =>
            {
                self.metres.push((tick, beats, 1 << power));
            }
            MetaMessage::KeySignature(fifths, minor) if (-7..=7).contains(&fifths) => {
                self.signatures.push((tick, Signature { fifths, minor }));
            }
            _ => {}
        }
    }

    /// A piece of its own begins: tempo and metre are what they are at a beginning.
    pub fn restart(&mut self, tick: u64) {
        self.tempos.push((tick, DEFAULT_US_PER_QUARTER));
        self.metres.push((tick, 4, 4));
    }

    /// A score without notes, on this clock.
    pub fn into_score(self, division: Division) -> Score {
        let mut score = Score::default();
        let ticks_per_quarter = division.ticks_per_quarter();
        match division {
            Division::Quarter(ticks) => {
                score.ticks_per_quarter = ticks;
                for (tick, us_per_quarter) in in_order(self.tempos, |t| t.0) {
                    let start_quarter = tick as f64 / ticks_per_quarter;
                    let start_s = score.seconds_at(start_quarter);
                    let tempo = Tempo {
                        start_s,
                        start_quarter,
                        us_per_quarter,
                    };
                    push(&mut score.tempos, tempo, |t| t.start_quarter);
                }
            }
            // A tempo has no say over frames.
            Division::Frame { .. } => score.ticks_per_quarter = GRID_OF_FRAMES,
        }
        for (tick, beats, unit) in in_order(self.metres, |m| m.0) {
            let metre = Metre {
                start_quarter: tick as f64 / ticks_per_quarter,
                beats,
                unit,
            };
            push(&mut score.metres, metre, |m| m.start_quarter);
        }
        let first = self.signatures.into_iter().min_by_key(|s| s.0);
        score.signature = first.map(|(_, signature)| signature);
        score
    }
}

/// By tick; at one tick, in the order of the file.
fn in_order<T>(mut list: Vec<T>, tick: impl Fn(&T) -> u64) -> Vec<T> {
    list.sort_by_key(tick);
    list
}

/// Adds a change; of several at one place the last holds.
fn push<T>(list: &mut Vec<T>, change: T, start: impl Fn(&T) -> f64) {
    if list
        .last()
        .is_some_and(|last| start(last) >= start(&change))
    {
        list.pop();
    }
    list.push(change);
}
