//! A piece run for practice: what a live player is to do at which frame, what comes next, and how a
//! round went.
//!
//! Everything here is plain data and a function of the frame: nothing counts along, so a seek, a loop
//! and a change of tempo are nothing special. Frame 0 is the first click of the count-in; whoever plays
//! adds the frame of the sound card's stream at which that was. A time in the run is worked out from its
//! place in the piece and rounded once, so that a loop never drifts.

use std::collections::BTreeMap;

use super::{BarTally, Practice, Strictness, Struck, judge};
use crate::index::PourIndex;
use crate::plan::piece::{Beat, Keyed, Missing, Playing, bars, beats, play};
use crate::plan::programme::{Breath, SAME_S};
use crate::score::Score;
use crate::units::SampleRate;

/// The most rounds that are listed at a time: a question without end has an answer too.
const MOST_ROUNDS: u64 = 1_000;

/// What a player does at a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    /// The breath on a bottle stops.
    Release {
        /// The bottle's place in the set.
        pour: PourIndex,
    },
    /// A bottle is blown.
    Blow {
        /// The bottle's place in the set.
        pour: PourIndex,
        /// Over the threshold of sounding; above 1.
        over_threshold: f64,
    },
    /// A beat is clicked.
    Click {
        /// It begins a bar.
        first: bool,
    },
}

impl Deed {
    /// At one frame breaths end before others begin.
    fn rank(self) -> (u8, usize) {
        match self {
            Self::Release { pour } => (0, pour.place()),
            Self::Blow { pour, .. } => (1, pour.place()),
            Self::Click { first } => (2, usize::from(first)),
        }
    }
}

/// A deed and its frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Due {
    /// Frames since the first click of the count-in.
    pub at_frame: u64,
    /// What is done.
    pub deed: Deed,
}

/// A note of the run, for drawing what comes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Upcoming {
    /// The bottle's place in the set.
    pub pour: PourIndex,
    /// Its key in MIDI's count.
    pub key: u8,
    /// It begins, frames since the first click.
    pub start_frame: u64,
    /// It is let go.
    pub stop_frame: u64,
    /// Over the threshold of sounding.
    pub over_threshold: f64,
    /// The bar it begins in, counted from 1.
    pub bar: u64,
    /// The round, from 0.
    pub round: u64,
    /// The bottle is left to who practises.
    pub muted: bool,
}

/// Where the run is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The bar, counted from 1; the first that is played while it is counted in.
    pub bar: u64,
    /// The beat in the bar, 1 at its beginning.
    pub beat: f64,
    /// The round, from 0.
    pub round: u64,
    /// In the written piece's own time, s; before its first bar while it is counted in.
    pub written_s: f64,
    /// It is still counted in.
    pub counting_in: bool,
    /// It has run through; a loop never does.
    pub ended: bool,
}

/// A piece on the bottles of a set, run for practice.
///
/// ```
/// use ullage::index::PourIndex;
/// use ullage::plan::piece::Keyed;
/// use ullage::plan::practice::{Deed, Practice, Rehearsal};
/// use ullage::physics::resonance::Resonance;
/// use ullage::plan::programme::Spoken;
/// use ullage::score::{Score, ScoreNote};
/// use ullage::units::{Frequency, SampleRate};
/// let note = ScoreNote { start_s: 0.5, stop_s: 1.0, key: 60, velocity: 80, track: 0, channel: 0 };
/// let score = Score { notes: vec![note], ..Score::default() };
/// let resonance = Resonance { frequency: Frequency::from_hz(261.6), quality: 50.0 };
/// let spoken = Spoken { resonance, struck: false };
/// let run = Practice::new(50.0, None, 1, 1).unwrap();
/// let rate = SampleRate::from_hz(48_000.0);
/// let rehearsal = Rehearsal::new(&score, &[Keyed { key: 60, spoken }], run, rate, 2.5);
/// // At half the tempo: a bar of 4 s counted in, and the note one beat of 1 s into the next.
/// let due = rehearsal.commands_between(240_000, 240_001);
/// assert_eq!(due[0].deed, Deed::Blow { pour: PourIndex::new(0), over_threshold: 2.5 });
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Rehearsal {
    run: Practice,
    rate_hz: f64,
    keys: Vec<u8>,
    muted: Vec<bool>,
    /// In written time, in order of their beginning.
    breaths: Vec<Breath>,
    beats: Vec<Beat>,
    missing: Vec<Missing>,
    /// The beginnings of the bars, and the end of the last; written time.
    lines_s: Vec<f64>,
    /// For each bar, the length of its first beat, s.
    beat_s: Vec<f64>,
    /// The longest breath, s.
    longest_s: f64,
}

impl Rehearsal {
    /// Gives every note its bottle, as [`play`] does; `breath` is that at the usual velocity, over the
    /// threshold. Nothing is muted.
    #[must_use]
    pub fn new(
        score: &Score,
        bottles: &[Keyed],
        run: Practice,
        rate: SampleRate,
        breath: f64,
    ) -> Self {
        let playing = Playing {
            tempo: 1.0,
            bars: None,
            tracks: Vec::new(),
            silent: Vec::new(),
            breath,
        };
        let played = play(score, "", bottles, &playing);
        let breaths: Vec<Breath> = played.programme.breaths().copied().collect();
        let bars = bars(score);
        let mut lines_s: Vec<f64> = bars.iter().map(|bar| bar.start_s).collect();
        let after = score.bars().nth(bars.len()).map(|bar| bar.start_s);
        lines_s.push(after.unwrap_or_else(|| score.duration_s()));
        let beat_s = bars.iter().map(|bar| {
            let quarter = score.quarter_at(bar.start_s) + 4.0 / f64::from(bar.metre.unit);
            score.seconds_at(quarter) - bar.start_s
        });
        Self {
            run,
            rate_hz: rate.hz(),
            keys: bottles.iter().map(|b| b.key).collect(),
            muted: vec![false; bottles.len()],
            longest_s: breaths
                .iter()
                .map(|b| b.stop_s - b.start_s)
                .fold(0.0, f64::max),
            beat_s: beat_s.collect(),
            breaths,
            beats: beats(score, &bars),
            missing: played.missing,
            lines_s,
        }
    }

    /// How it is run.
    #[must_use]
    pub fn run(&self) -> Practice {
        self.run
    }

    /// The same piece run otherwise. To go on from the same place, seek to [`Self::frame_of`] what
    /// [`Self::place`] said before.
    #[must_use]
    pub fn with_run(mut self, run: Practice) -> Self {
        self.run = run;
        self
    }

    /// Leaves a bottle to who practises, or takes it back; a bottle that is not there is passed over.
    pub fn set_muted(&mut self, pour: PourIndex, muted: bool) {
        if let Some(place) = self.muted.get_mut(pour.place()) {
            *place = muted;
        }
    }

    /// For each bottle, whether it is left to who practises.
    #[must_use]
    pub fn muted(&self) -> &[bool] {
        &self.muted
    }

    /// Notes that no bottle has.
    #[must_use]
    pub fn missing(&self) -> &[Missing] {
        &self.missing
    }

    /// Bars of the piece.
    #[must_use]
    pub fn bar_count(&self) -> u64 {
        (self.lines_s.len() - 1) as u64
    }

    /// When a run that is not looped has come to its last bar line, in frames.
    #[must_use]
    pub fn length_frames(&self) -> Option<u64> {
        let whole = self.run.looped.is_none();
        whole.then(|| self.frame_of(self.span_s().1, 0))
    }

    /// The frame at which a place of the written piece is played, in a round from 0.
    #[must_use]
    pub fn frame_of(&self, written_s: f64, round: u64) -> u64 {
        let (from_s, to_s) = self.span_s();
        let before_s = round as f64 * (to_s - from_s) + written_s - from_s;
        let run_s = self.count_in_s() + before_s / self.run.tempo();
        (run_s * self.rate_hz).round().max(0.0) as u64
    }

    /// The frame at which a bar begins, in a round from 0; nothing if it is not in the run.
    #[must_use]
    pub fn frame_of_bar(&self, bar: u64, round: u64) -> Option<u64> {
        let (first, last) = self.run.looped.unwrap_or((1, self.bar_count()));
        let index = usize::try_from(bar.checked_sub(1)?).ok()?;
        let inside = (first..=last).contains(&bar) && (round == 0 || self.run.looped.is_some());
        inside.then(|| self.frame_of(self.lines_s[index], round))
    }

    /// Where the run is at a frame.
    #[must_use]
    pub fn place(&self, frame: u64) -> Place {
        // Nearly half a frame on: the frame of a bar line, rounded down, is in the bar that it begins,
        // and the frame of what is returned is still this one.
        let run_s = (frame as f64 + 0.4999) / self.rate_hz;
        let (written_s, round) = self.run.written_s(run_s, &self.lines_s);
        let (from_s, to_s) = self.span_s();
        let index = self
            .lines_s
            .partition_point(|line| *line <= written_s + SAME_S);
        let index = index
            .max(self.first_index() + 1)
            .min(self.lines_s.len() - 1)
            - 1;
        let beat_s = self.beat_s.get(index).copied().unwrap_or(1.0);
        Place {
            bar: index as u64 + 1,
            beat: 1.0 + (written_s - self.lines_s[index]) / beat_s,
            round,
            written_s,
            counting_in: written_s < from_s - SAME_S,
            ended: self.run.looped.is_none() && written_s >= to_s - SAME_S,
        }
    }

    /// All that is to be done from a frame on and before another, in order. Of a muted bottle nothing.
    ///
    /// A breath over the end of a loop ends there. After a seek, ask [`Self::held_at`] too. Of a loop at
    /// most 1,000 rounds are listed at a time, here and in [`Self::upcoming`].
    #[must_use]
    pub fn commands_between(&self, from_frame: u64, to_frame: u64) -> Vec<Due> {
        let within = |frame: u64| (from_frame..to_frame).contains(&frame);
        let mut due = self.clicks(from_frame, to_frame);
        for note in self.upcoming(from_frame, to_frame) {
            if note.muted {
                continue;
            }
            let pour = note.pour;
            let deeds = [
                (
                    note.start_frame,
                    Deed::Blow {
                        pour,
                        over_threshold: note.over_threshold,
                    },
                ),
                (note.stop_frame, Deed::Release { pour }),
            ];
            let deeds = deeds.into_iter().filter(|(frame, _)| within(*frame));
            due.extend(deeds.map(|(at_frame, deed)| Due { at_frame, deed }));
        }
        due.sort_by_key(|d| (d.at_frame, d.deed.rank()));
        due
    }

    /// What is being blown at a frame and began before it, muted bottles left out: to be blown anew
    /// after a seek.
    #[must_use]
    pub fn held_at(&self, frame: u64) -> Vec<Upcoming> {
        let around = self.upcoming(frame, frame.saturating_add(1)).into_iter();
        around
            .filter(|n| !n.muted && n.start_frame < frame && n.stop_frame > frame)
            .collect()
    }

    /// The notes, of muted bottles too, that begin or sound or end from a frame on and before another, in
    /// order of their beginning.
    #[must_use]
    pub fn upcoming(&self, from_frame: u64, to_frame: u64) -> Vec<Upcoming> {
        let mut notes = Vec::new();
        for round in self.rounds(from_frame, to_frame) {
            let (from_s, to_s) = self.span_s();
            // Backwards from the frames to the written times that can matter, with a frame to spare.
            let origin_frame = self.frame_of(from_s, round);
            let written_s = |frame: u64, spare: f64| {
                let since = frame as f64 - origin_frame as f64 + spare;
                from_s + since * self.run.tempo() / self.rate_hz
            };
            let earliest_s = written_s(from_frame, -2.0) - self.longest_s;
            let latest_s = written_s(to_frame, 2.0).min(to_s - SAME_S);
            let first = self
                .breaths
                .partition_point(|b| b.start_s < earliest_s.max(from_s - SAME_S));
            let own = self.breaths[first..]
                .iter()
                .take_while(|b| b.start_s < latest_s);
            let own = own.map(|b| self.note(b, round, to_s));
            notes.extend(own.filter(|n| n.start_frame < to_frame && n.stop_frame >= from_frame));
        }
        notes.sort_by_key(|n| (n.start_frame, n.pour));
        notes
    }

    /// How a round went, for each of its bars in which a note is written or was played: the notes of the
    /// muted bottles against what was played, as frames and keys. Notes played just before a loop begins
    /// anew count for what they anticipate. What was played in the count-in and belongs to nothing is not
    /// counted. The frames are those at which the player heard themselves: take the delay of the sound
    /// card off before.
    #[must_use]
    pub fn tally(&self, played: &[(u64, u8)], round: u64, strictness: Strictness) -> Vec<BarTally> {
        let (from_s, to_s) = self.span_s();
        let length_s = to_s - from_s;
        let first = self.first_index();
        let last = self.lines_s.partition_point(|line| *line < to_s - SAME_S);
        // Three rounds on one line, the one asked for from 0 on.
        let looped = self.run.looped.is_some();
        let (mut lines_s, mut written) = (Vec::new(), Vec::new());
        for turn in -1i32..=1 {
            let shift_s = f64::from(turn) * length_s - from_s;
            lines_s.extend(self.lines_s[first..last].iter().map(|line| line + shift_s));
            let is_there = turn == 0 || (looped && (turn > 0 || round > 0));
            let own = self
                .breaths
                .iter()
                .filter(|b| is_there && self.muted[b.pour]);
            let own = own.filter(|b| b.start_s > from_s - SAME_S && b.start_s < to_s - SAME_S);
            written.extend(own.map(|b| Struck {
                at_s: b.start_s + shift_s,
                key: self.keys[b.pour],
            }));
        }
        let origin_s = self.frame_of(from_s, round) as f64 / self.rate_hz;
        let played = played.iter().map(|&(frame, key)| Struck {
            at_s: (frame as f64 / self.rate_hz - origin_s) * self.run.tempo(),
            key,
        });
        let near = -length_s..2.0 * length_s;
        let played: Vec<Struck> = played.filter(|p| near.contains(&p.at_s)).collect();
        let count = (last - first) as u64;
        let bars = judge(&written, &played, &lines_s, strictness).into_iter();
        bars.filter(|b| (count + 1..=2 * count).contains(&b.bar))
            .map(|b| BarTally {
                bar: b.bar - count + first as u64,
                ..b
            })
            .collect()
    }

    fn note(&self, b: &Breath, round: u64, to_s: f64) -> Upcoming {
        let bars_s = &self.lines_s[..self.lines_s.len() - 1];
        Upcoming {
            pour: b.pour,
            key: self.keys[b.pour],
            start_frame: self.frame_of(b.start_s, round),
            stop_frame: self.frame_of(b.stop_s.min(to_s), round),
            over_threshold: b.over_threshold,
            bar: bars_s
                .partition_point(|line| *line <= b.start_s + SAME_S)
                .max(1) as u64,
            round,
            muted: self.muted[b.pour],
        }
    }

    fn clicks(&self, from_frame: u64, to_frame: u64) -> Vec<Due> {
        let (from_s, to_s) = self.span_s();
        let mut clicks: BTreeMap<u64, bool> = BTreeMap::new();
        let mut add = |frame: u64, first: bool| {
            if (from_frame..to_frame).contains(&frame) {
                *clicks.entry(frame).or_default() |= first;
            }
        };
        let bar_s = self.count_bar_s();
        for bar in (0..self.run.count_in_bars).filter(|_| from_frame < self.frame_of(from_s, 0)) {
            for beat in self.beats_within(from_s, from_s + bar_s) {
                let ahead = f64::from(self.run.count_in_bars - bar) * bar_s;
                add(self.frame_of(beat.at_s - ahead, 0), beat.first);
            }
        }
        if self.run.click {
            for round in self.rounds(from_frame, to_frame) {
                for beat in self.beats_within(from_s, to_s) {
                    add(self.frame_of(beat.at_s, round), beat.first);
                }
            }
        }
        let due = |(at_frame, first)| Due {
            at_frame,
            deed: Deed::Click { first },
        };
        clicks.into_iter().map(due).collect()
    }

    fn beats_within(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = &Beat> {
        let first = self.beats.partition_point(|b| b.at_s < from_s - SAME_S);
        let own = self.beats[first..].iter();
        own.take_while(move |b| b.at_s < to_s - SAME_S)
    }

    /// The rounds that may sound between two frames.
    fn rounds(&self, from_frame: u64, to_frame: u64) -> std::ops::RangeInclusive<u64> {
        let (from_s, to_s) = self.span_s();
        if self.run.looped.is_none() || to_s <= from_s {
            return 0..=0;
        }
        let round_frames = (to_s - from_s) / self.run.tempo() * self.rate_hz;
        let since = |frame: u64| frame as f64 - self.count_in_s() * self.rate_hz;
        // The casts take what lies in the count-in to the first round. One more on either side, for
        // what is let go on the line.
        let first = (since(from_frame) / round_frames - 1.0).floor() as u64;
        let last = (since(to_frame) / round_frames).ceil() as u64;
        first..=last.min(first.saturating_add(MOST_ROUNDS))
    }

    /// The stretch that is run, in written time.
    fn span_s(&self) -> (f64, f64) {
        let line = |number: u64| {
            let index = usize::try_from(number).unwrap_or(usize::MAX);
            self.lines_s[index.min(self.lines_s.len() - 1)]
        };
        let (first, last) = self.run.looped.unwrap_or((1, u64::MAX));
        (line(first.saturating_sub(1)), line(last))
    }

    fn first_index(&self) -> usize {
        let first = self.run.looped.map_or(1, |(first, _)| first);
        let index = usize::try_from(first.saturating_sub(1)).unwrap_or(usize::MAX);
        index.min(self.lines_s.len() - 2)
    }

    /// A bar of the count-in, written time: as long as the first that is played.
    fn count_bar_s(&self) -> f64 {
        let first = self.first_index();
        self.lines_s[first + 1] - self.lines_s[first]
    }

    fn count_in_s(&self) -> f64 {
        f64::from(self.run.count_in_bars) * self.count_bar_s() / self.run.tempo()
    }
}
