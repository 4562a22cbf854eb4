//! Practising a part: what was early, late, missed and wrong, in numbers for each bar.
//!
//! [`Practice`] says how the piece is run: its tempo, the bars that are looped, the count-in, the click.
//! [`Rehearsal`] runs it on the bottles of a set, for a live player and a window. [`judge`] holds what
//! was played against what is written; both are in the written piece's own time, so that a
//! slow run is judged as strictly as a quick one in beats. [`laid_over`] finds that time for a recording. It knows nothing of clocks or keyboards.

mod drift;
mod rehearsal;
mod take;

use serde::Serialize;

pub use drift::{TempoDrift, drift};
pub use rehearsal::{Deed, Due, Place, Rehearsal, Upcoming};
pub use take::{LaidOver, TEMPOS as RECORDED_TEMPOS, laid_over};

use super::programme::SAME_S;

/// Slowest and fastest run, percent of the written tempo.
pub const TEMPOS_PCT: std::ops::RangeInclusive<f64> = 25.0..=150.0;
/// Most bars that are counted in.
pub const MOST_COUNT_IN: u32 = 4;

/// A note that is to be played, or was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Struck {
    /// When it begins, s.
    pub at_s: f64,
    /// In MIDI's count.
    pub key: u8,
}

/// How a piece is run for practice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Practice {
    tempo: f64,
    /// The first bar and the last that are repeated, counted from 1; `None` runs through once.
    pub looped: Option<(u64, u64)>,
    /// Bars counted before the first note; always clicked.
    pub count_in_bars: u32,
    /// Every beat is clicked after the count-in too.
    pub click: bool,
}

impl Default for Practice {
    /// The whole piece once at its tempo, after one bar, with a click.
    fn default() -> Self {
        Self {
            tempo: 1.0,
            looped: None,
            count_in_bars: 1,
            click: true,
        }
    }
}

/// A run that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PracticeError {
    /// Too slow or too fast.
    #[error("a tempo of {tempo_pct} % is outside 25 to 150 %")]
    Tempo {
        /// What was asked, percent.
        tempo_pct: f64,
    },
    /// Bars that are not there.
    #[error("bars {first} to {last} are not in a piece of bars 1 to {count}")]
    Bars {
        /// The first asked for.
        first: u64,
        /// The last asked for.
        last: u64,
        /// Bars of the piece.
        count: u64,
    },
    /// Too long a count.
    #[error("{bars} bars of count-in are more than {MOST_COUNT_IN}")]
    CountIn {
        /// What was asked.
        bars: u32,
    },
}

impl Practice {
    /// A run at `tempo_pct` percent of the written tempo, over these bars of a piece of `bar_count`, with
    /// a click.
    ///
    /// # Errors
    /// [`PracticeError`] for a tempo outside 25 to 150 %, bars that are not there, or a count-in of
    /// more than four bars.
    pub fn new(
        tempo_pct: f64,
        looped: Option<(u64, u64)>,
        count_in_bars: u32,
        bar_count: u64,
    ) -> Result<Self, PracticeError> {
        if !TEMPOS_PCT.contains(&tempo_pct) {
            return Err(PracticeError::Tempo { tempo_pct });
        }
        if let Some((first, last)) = looped
            && !(1 <= first && first <= last && last <= bar_count)
        {
            let count = bar_count;
            return Err(PracticeError::Bars { first, last, count });
        }
        if count_in_bars > MOST_COUNT_IN {
            let bars = count_in_bars;
            return Err(PracticeError::CountIn { bars });
        }
        Ok(Self {
            tempo: tempo_pct / 100.0,
            looped,
            count_in_bars,
            click: true,
        })
    }

    /// Times the written tempo.
    #[must_use]
    pub fn tempo(&self) -> f64 {
        self.tempo
    }

    /// Where the run is in the written piece, s, and in which round from 0, when `run_s` have gone by
    /// since the first click. Below the first bar's time while it is counted in. `bar_starts_s` are the
    /// beginnings of the bars in written time and the end of the last.
    #[must_use]
    pub fn written_s(&self, run_s: f64, bar_starts_s: &[f64]) -> (f64, u64) {
        let line = |number: u64| {
            let index = usize::try_from(number).unwrap_or(usize::MAX);
            let last = bar_starts_s.len().saturating_sub(1);
            bar_starts_s.get(index.min(last)).copied().unwrap_or(0.0)
        };
        let (first, last) = self.looped.unwrap_or((1, u64::MAX));
        let (from_s, to_s) = (line(first - 1), line(last));
        let bar_s = line(first) - from_s;
        let on_s = run_s * self.tempo - f64::from(self.count_in_bars) * bar_s;
        let length_s = to_s - from_s;
        if self.looped.is_none() || on_s < length_s || length_s <= 0.0 {
            return (from_s + on_s, 0);
        }
        let rounds = (on_s / length_s).floor();
        (from_s + on_s - rounds * length_s, rounds as u64)
    }
}

/// How far off a note may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strictness {
    /// A note that is farther off than this is early or late, s.
    pub fine_s: f64,
    /// A note that is farther off than this is another note, s.
    pub reach_s: f64,
}

impl Default for Strictness {
    /// 50 ms, about what listeners take for together in slow music, and 300 ms. Common practice, no
    /// source.
    fn default() -> Self {
        Self {
            fine_s: 0.05,
            reach_s: 0.3,
        }
    }
}

/// One bar of a pass.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct BarTally {
    /// Counted from 1.
    pub bar: u64,
    /// Notes that are written.
    pub written: usize,
    /// Played in time.
    pub fine: usize,
    /// Played too soon.
    pub early: usize,
    /// Played too late.
    pub late: usize,
    /// Not played.
    pub missed: usize,
    /// Played where nothing of that pitch is written.
    pub wrong: usize,
    /// How late the notes were that were played, on the average, ms; below 0 is early.
    pub mean_late_ms: f64,
}

impl BarTally {
    /// All of `bars` together; its own bar is 0.
    #[must_use]
    pub fn sum(bars: &[Self]) -> Self {
        let mut all = Self::default();
        for b in bars {
            all.mean_late_ms += b.mean_late_ms * (b.written - b.missed) as f64;
            all.written += b.written;
            all.fine += b.fine;
            all.early += b.early;
            all.late += b.late;
            all.missed += b.missed;
            all.wrong += b.wrong;
        }
        all.mean_late_ms /= ((all.written - all.missed) as f64).max(1.0);
        all
    }
}

/// Holds what was played against what is written, for each bar in which there is either.
///
/// Of a pitch, the played note and the written one that lie closest belong together, then the next
/// closest, as long as they are within reach; each belongs to one. `bar_starts_s` are in order.
///
/// ```
/// use ullage::plan::practice::{Strictness, Struck, judge};
/// let note = |at_s, key| Struck { at_s, key };
/// let bars = judge(&[note(0.0, 60), note(1.0, 62)], &[note(0.12, 60)], &[0.0], Strictness::default());
/// assert_eq!((bars[0].late, bars[0].missed), (1, 1));
/// ```
#[must_use]
pub fn judge(
    written: &[Struck],
    played: &[Struck],
    bar_starts_s: &[f64],
    strictness: Strictness,
) -> Vec<BarTally> {
    let pairs = matched(written, played, strictness.reach_s);
    let bar_of = |at_s: f64| bar_starts_s.partition_point(|s| *s <= at_s + SAME_S).max(1) as u64;
    let mut bars: std::collections::BTreeMap<u64, (BarTally, f64)> = Default::default();
    for (index, note) in written.iter().enumerate() {
        let (tally, late_s) = bars.entry(bar_of(note.at_s)).or_default();
        tally.written += 1;
        let Some(other) = pairs[index] else {
            tally.missed += 1;
            continue;
        };
        let off_s = played[other].at_s - note.at_s;
        *late_s += off_s;
        if off_s.abs() <= strictness.fine_s + SAME_S {
            tally.fine += 1;
        } else if off_s < 0.0 {
            tally.early += 1;
        } else {
            tally.late += 1;
        }
    }
    let mut taken = vec![false; played.len()];
    pairs.iter().flatten().for_each(|&p| taken[p] = true);
    for (index, note) in played.iter().enumerate() {
        if !taken[index] {
            bars.entry(bar_of(note.at_s)).or_default().0.wrong += 1;
        }
    }
    let row = |(bar, (tally, late_s)): (u64, (BarTally, f64))| {
        let heard = tally.written - tally.missed;
        let mean_late_ms = if heard > 0 {
            1000.0 * late_s / heard as f64
        } else {
            0.0
        };
        BarTally {
            bar,
            mean_late_ms,
            ..tally
        }
    };
    bars.into_iter().map(row).collect()
}

/// For each written note, the played one that belongs to it.
fn matched(written: &[Struck], played: &[Struck], reach_s: f64) -> Vec<Option<usize>> {
    let mut order: Vec<usize> = (0..played.len()).collect();
    order.sort_by(|&a, &b| played[a].at_s.total_cmp(&played[b].at_s));
    let mut near: Vec<(f64, usize, usize)> = Vec::new();
    for (w, note) in written.iter().enumerate() {
        let first = order.partition_point(|&p| played[p].at_s < note.at_s - reach_s);
        for &p in &order[first..] {
            if played[p].at_s > note.at_s + reach_s {
                break;
            }
            if played[p].key == note.key {
                near.push(((played[p].at_s - note.at_s).abs(), w, p));
            }
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut pairs = vec![None; written.len()];
    let mut taken = vec![false; played.len()];
    for (_, w, p) in near {
        if pairs[w].is_none() && !taken[p] {
            pairs[w] = Some(p);
            taken[p] = true;
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn note(at_s: f64, key: u8) -> Struck {
        Struck { at_s, key }
    }

    #[test]
    fn early_late_missed_and_wrong_are_told_apart_in_their_bars() {
        let written = [note(0.0, 60), note(1.0, 62), note(2.0, 64), note(3.0, 65)];
        let played = [note(0.02, 60), note(0.9, 62), note(2.2, 64), note(3.0, 66)];
        let bars = judge(&written, &played, &[0.0, 2.0], Strictness::default());
        assert_eq!(bars.len(), 2);
        let (one, two) = (bars[0], bars[1]);
        assert_eq!(
            (one.fine, one.early, one.late, one.missed, one.wrong),
            (1, 1, 0, 0, 0)
        );
        assert_eq!(
            (two.fine, two.early, two.late, two.missed, two.wrong),
            (0, 0, 1, 1, 1)
        );
        assert!(
            (one.mean_late_ms + 40.0).abs() < 1e-6,
            "{}",
            one.mean_late_ms
        );
    }

    #[test]
    fn a_note_belongs_to_the_nearest_of_its_pitch_and_to_one_only() {
        let written = [note(0.0, 60), note(0.4, 60)];
        let bars = judge(&written, &[note(0.38, 60)], &[0.0], Strictness::default());
        assert_eq!((bars[0].fine, bars[0].missed, bars[0].wrong), (1, 1, 0));
        let thrice = [note(0.0, 60), note(0.01, 60), note(0.02, 60)];
        let bars = judge(&[note(0.0, 60)], &thrice, &[0.0], Strictness::default());
        assert_eq!((bars[0].fine, bars[0].wrong), (1, 2));
    }

    #[test]
    fn a_loop_comes_back_to_its_first_bar_after_the_count_in() {
        let lines: Vec<f64> = (0..9).map(|bar| 2.0 * f64::from(bar)).collect();
        let run = Practice::new(50.0, Some((3, 4)), 1, 8).unwrap();
        // Half the tempo: a bar lasts 4 s, so the first note is at 4 s and a round lasts 8 s.
        for (run_s, written) in [
            (0.0, (2.0, 0)),
            (4.0, (4.0, 0)),
            (11.0, (7.5, 0)),
            (12.0, (4.0, 1)),
            (21.0, (4.5, 2)),
        ] {
            assert_eq!(run.written_s(run_s, &lines), written, "{run_s} s");
        }
    }

    #[test]
    fn tempos_bars_and_counts_that_cannot_be_are_refused_with_their_numbers() {
        let slow = Practice::new(24.0, None, 1, 8).unwrap_err().to_string();
        assert!(
            slow.contains("24 %") && slow.contains("25 to 150"),
            "{slow}"
        );
        assert!(Practice::new(f64::NAN, None, 1, 8).is_err());
        for bars in [(0, 2), (5, 4), (1, 9)] {
            assert!(Practice::new(100.0, Some(bars), 1, 8).is_err(), "{bars:?}");
        }
        assert!(Practice::new(150.0, Some((1, 8)), 4, 8).is_ok());
        assert!(Practice::new(100.0, None, 5, 8).is_err());
    }
}
