//! Notes in time, as plain data: what a piece of music is to the rest of the program.
//!
//! Times are seconds from the beginning, so that nobody else has to know about ticks and tempo. The
//! tempo and the metre are kept beside the notes, for drawing bar lines, for counting in, and for
//! writing the piece back to a file on the grid that it came from.

/// Microseconds in a second, the unit of a file's tempo.
const US_PER_S: f64 = 1e6;

/// Half a second a quarter note: what holds until a piece says otherwise. Standard MIDI Files 1.0.
pub const DEFAULT_US_PER_QUARTER: u32 = 500_000;

/// How hard a note is played where the music says nothing: what notation programs write. Common practice, no source.
pub const USUAL_VELOCITY: u8 = 80;

/// The most bars that are counted; a piece with more is a broken file.
const MOST_BARS: usize = 1_000_000;

/// One note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScoreNote {
    /// When it begins, seconds.
    pub start_s: f64,
    /// When it is let go, seconds; never before `start_s`.
    pub stop_s: f64,
    /// The key in MIDI's count, 0 to 127; middle C is 60.
    pub key: u8,
    /// How hard it is played, 1 to 127.
    pub velocity: u8,
    /// Which of [`Score::tracks`] it is in, counted from 0.
    pub track: usize,
    /// MIDI channel, counted from 0; percussion is 9.
    pub channel: u8,
}

impl ScoreNote {
    /// How long it is held, seconds.
    #[must_use]
    pub fn held_s(&self) -> f64 {
        self.stop_s - self.start_s
    }
}

/// From here on a quarter note lasts this long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tempo {
    /// When it begins to hold, seconds.
    pub start_s: f64,
    /// When it begins to hold, quarter notes from the beginning.
    pub start_quarter: f64,
    /// The length of a quarter note, microseconds; never 0.
    pub us_per_quarter: u32,
}

impl Default for Tempo {
    /// 120 quarter notes a minute, from the beginning.
    fn default() -> Self {
        Self {
            start_s: 0.0,
            start_quarter: 0.0,
            us_per_quarter: DEFAULT_US_PER_QUARTER,
        }
    }
}

impl Tempo {
    /// Quarter notes a minute.
    #[must_use]
    pub fn quarters_per_minute(&self) -> f64 {
        60.0 * US_PER_S / f64::from(self.us_per_quarter)
    }
}

/// From here on a bar has this many of these beats, and the first of them begins a bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Metre {
    /// When it begins to hold, quarter notes from the beginning.
    pub start_quarter: f64,
    /// Beats in a bar, never 0: the upper number.
    pub beats: u8,
    /// The note that is one beat, as a part of a whole note, 1 to 128: the lower number.
    pub unit: u8,
}

impl Default for Metre {
    /// Four four, from the beginning.
    fn default() -> Self {
        Self {
            start_quarter: 0.0,
            beats: 4,
            unit: 4,
        }
    }
}

impl Metre {
    /// The length of a bar, quarter notes.
    #[must_use]
    pub fn quarters_per_bar(&self) -> f64 {
        4.0 * f64::from(self.beats) / f64::from(self.unit)
    }
}

/// The key that a piece is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signature {
    /// Sharps; flats below 0. -7 to 7.
    pub fifths: i8,
    /// The key is minor, not major.
    pub minor: bool,
}

/// One bar of a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Counted from 1.
    pub number: u64,
    /// When it begins, seconds.
    pub start_s: f64,
    /// Its metre.
    pub metre: Metre,
}

/// A part of a piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Track {
    /// Its name, empty if it has none.
    pub name: String,
}

/// A piece: its notes in order of their beginning, and the time that they are written in.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// The notes, sorted by `start_s`, then `track`, then `key`.
    pub notes: Vec<ScoreNote>,
    /// Tempo changes in order, the first at 0.
    pub tempos: Vec<Tempo>,
    /// Metre changes in order, the first at 0.
    pub metres: Vec<Metre>,
    /// The first key signature, if there is one.
    pub signature: Option<Signature>,
    /// The parts, in the order of the file.
    pub tracks: Vec<Track>,
    /// The grid that the piece was written on, ticks in a quarter note; never 0.
    pub ticks_per_quarter: u16,
}

impl Default for Score {
    /// No notes, at 120 quarter notes a minute in four four.
    fn default() -> Self {
        Self {
            notes: Vec::new(),
            tempos: vec![Tempo::default()],
            metres: vec![Metre::default()],
            signature: None,
            tracks: Vec::new(),
            ticks_per_quarter: 480,
        }
    }
}

impl Score {
    /// When the last note is let go, seconds; 0 for a piece without notes.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.notes.iter().map(|n| n.stop_s).fold(0.0, f64::max)
    }

    /// The keys that are played, lowest first, each once.
    #[must_use]
    pub fn keys(&self) -> Vec<u8> {
        let mut keys: Vec<u8> = self.notes.iter().map(|n| n.key).collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    }

    /// The most notes that are held at one time. A note that begins when another ends does not meet it.
    #[must_use]
    pub fn most_at_once(&self) -> usize {
        let mut changes: Vec<(f64, i32)> = Vec::with_capacity(2 * self.notes.len());
        for note in self.notes.iter().filter(|n| n.held_s() > 0.0) {
            changes.extend([(note.start_s, 1), (note.stop_s, -1)]);
        }
        changes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let (mut held, mut most) = (0, 0);
        for (_, change) in changes {
            held += change;
            most = most.max(held);
        }
        usize::try_from(most).expect("a count of notes")
    }

    /// The time of a place in the piece, seconds, by its tempos.
    #[must_use]
    pub fn seconds_at(&self, quarter: f64) -> f64 {
        let tempo = last_before(&self.tempos, |t| t.start_quarter <= quarter).unwrap_or_default();
        let quarters = quarter - tempo.start_quarter;
        tempo.start_s + quarters * f64::from(tempo.us_per_quarter) / US_PER_S
    }

    /// The place in the piece at a time, quarter notes, by its tempos.
    #[must_use]
    pub fn quarter_at(&self, seconds: f64) -> f64 {
        let tempo = last_before(&self.tempos, |t| t.start_s <= seconds).unwrap_or_default();
        let us = (seconds - tempo.start_s) * US_PER_S;
        tempo.start_quarter + us / f64::from(tempo.us_per_quarter)
    }

    /// The bars from the beginning on, without end: take as many as are wanted. A new metre begins a
    /// new bar, and cuts the bar before it short if it must.
    ///
    /// ```
    /// use ullage::score::Score;
    /// let third = Score::default().bars().nth(2).unwrap();
    /// assert_eq!((third.number, third.start_s), (3, 4.0));
    /// ```
    pub fn bars(&self) -> impl Iterator<Item = Bar> + '_ {
        let mut number = 0;
        let mut later = self.metres.iter().skip(1).peekable();
        let mut metre = self.metres.first().copied().unwrap_or_default();
        let mut quarter = metre.start_quarter;
        std::iter::from_fn(move || {
            while let Some(next) = later.next_if(|next| next.start_quarter <= quarter) {
                metre = *next;
                quarter = metre.start_quarter;
            }
            number += 1;
            let start_s = self.seconds_at(quarter);
            quarter += metre.quarters_per_bar();
            if let Some(next) = later.peek() {
                quarter = quarter.min(next.start_quarter);
            }
            Some(Bar {
                number,
                start_s,
                metre,
            })
        })
    }

    /// Its bars up to the end of its last note, at least the first; of a broken file the first million.
    ///
    /// ```
    /// use ullage::score::{Score, ScoreNote};
    /// let note = ScoreNote { start_s: 2.5, stop_s: 3.0, key: 60, velocity: 80, track: 0, channel: 0 };
    /// let score = Score { notes: vec![note], ..Score::default() };
    /// assert_eq!(score.bars_to_the_end().len(), 2);
    /// ```
    #[must_use]
    pub fn bars_to_the_end(&self) -> Vec<Bar> {
        let end_s = self.duration_s();
        let within = self.bars().take(MOST_BARS);
        within
            .take_while(|bar| bar.number == 1 || bar.start_s < end_s)
            .collect()
    }

    /// Puts the notes in their order.
    pub fn sort(&mut self) {
        self.notes.sort_by(|a, b| {
            let by_start = a.start_s.total_cmp(&b.start_s);
            by_start.then(a.track.cmp(&b.track)).then(a.key.cmp(&b.key))
        });
    }
}

/// The last of a sorted list for which `begun` holds, or the first of all.
fn last_before<T: Copy>(list: &[T], begun: impl Fn(&T) -> bool) -> Option<T> {
    let after = list.partition_point(begun);
    list.get(after.saturating_sub(1)).copied()
}
