//! A pass that was recorded with a microphone, laid over the piece: nobody said when it begins or how fast it goes.
//!
//! ```
//! use ullage::plan::practice::{Struck, laid_over};
//! let note = |at_s, key| Struck { at_s, key };
//! let written = [note(0.0, 60), note(0.5, 62), note(1.0, 64), note(1.5, 60)];
//! // Begun after 3 s, at four fifths of the tempo.
//! let heard = written.map(|n| note(3.0 + n.at_s / 0.8, n.key));
//! let laid = laid_over(&written, &heard).ok_or("nothing of it was heard")?;
//! assert!((laid.tempo - 0.8).abs() < 1e-6 && (laid.begins_s - 3.0).abs() < 1e-6);
//! assert!((laid.struck[3].at_s - 1.5).abs() < 1e-6);
//! # Ok::<(), &str>(())
//! ```

use super::{Struck, matched};

/// Slowest and fastest pass that is recognised, times the written tempo.
pub const TEMPOS: (f64, f64) = (0.5, 2.0);
/// From one tempo that is tried to the next, times.
const TEMPO_STEP: f64 = 1.01;
/// Notes so near to where they are written belong together while the tempo is looked for, s.
const NEAR_S: f64 = 0.12;
/// And so near while it is fitted, s.
const REACH_S: f64 = 0.3;
/// Fewest notes that say how fast a pass is, not only when it begins.
const FEWEST_FOR_TEMPO: usize = 4;

/// A recorded pass in the written piece's own time.
#[derive(Clone, Debug, PartialEq)]
pub struct LaidOver {
    /// What was played, in the written piece's time.
    pub struck: Vec<Struck>,
    /// How fast it was, times the written tempo.
    pub tempo: f64,
    /// When the piece's beginning is in the recording, s; below 0 before it.
    pub begins_s: f64,
}

/// Lays what was `heard` over what is `written`, by the tempo and the beginning that bring most notes of a pitch together; the
/// recording may begin and end anywhere. Nothing where no note of the piece was heard.
#[must_use]
pub fn laid_over(written: &[Struck], heard: &[Struck]) -> Option<LaidOver> {
    let from = coarse(written, heard)?;
    // Twice, since better times bring other notes together.
    let way = fitted(written, heard, fitted(written, heard, from));
    Some(LaidOver {
        struck: way.over(heard),
        tempo: way.tempo,
        begins_s: way.begins_s,
    })
}

/// From the time of a recording to the piece's.
#[derive(Clone, Copy, Debug)]
struct Line {
    tempo: f64,
    begins_s: f64,
}

impl Line {
    fn over(self, heard: &[Struck]) -> Vec<Struck> {
        let moved = |note: &Struck| Struck {
            at_s: (note.at_s - self.begins_s) * self.tempo,
            key: note.key,
        };
        heard.iter().map(moved).collect()
    }
}

/// Of all tempos, the one at which most pairs of a pitch are equally far apart; the one nearest to the written tempo of several.
fn coarse(written: &[Struck], heard: &[Struck]) -> Option<Line> {
    let steps = (TEMPOS.1.ln() / TEMPO_STEP.ln()).round() as i32;
    let mut best: Option<(usize, Line)> = None;
    for step in (0..=steps).flat_map(|step| [step, -step]) {
        let tempo = TEMPO_STEP.powi(step);
        let mut apart_s = Vec::new();
        for (note, other) in written
            .iter()
            .flat_map(|w| heard.iter().map(move |h| (w, h)))
        {
            if note.key == other.key {
                apart_s.push(note.at_s - other.at_s * tempo);
            }
        }
        apart_s.sort_by(f64::total_cmp);
        let mut first = 0;
        for last in 0..apart_s.len() {
            while apart_s[last] - apart_s[first] > 2.0 * NEAR_S {
                first += 1;
            }
            let count = last + 1 - first;
            if best.is_none_or(|(most, _)| count > most) {
                let middle_s = apart_s[first..=last].iter().sum::<f64>() / count as f64;
                let begins_s = -middle_s / tempo;
                best = Some((count, Line { tempo, begins_s }));
            }
        }
    }
    best.map(|(_, line)| line)
}

/// The straight line through the notes that belong together where `line` puts them.
fn fitted(written: &[Struck], heard: &[Struck], line: Line) -> Line {
    let pairs = matched(written, &line.over(heard), REACH_S);
    let both: Vec<(f64, f64)> = (written.iter().zip(&pairs))
        .filter_map(|(note, pair)| Some((heard[(*pair)?].at_s, note.at_s)))
        .collect();
    let count = both.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| both.iter().map(of).sum::<f64>() / count;
    let (mean_heard_s, mean_written_s) = (mean(|b| b.0), mean(|b| b.1));
    let squares: f64 = both.iter().map(|b| (b.0 - mean_heard_s).powi(2)).sum();
    let products: f64 = both
        .iter()
        .map(|b| (b.0 - mean_heard_s) * (b.1 - mean_written_s))
        .sum();
    let mut tempo = line.tempo;
    if both.len() >= FEWEST_FOR_TEMPO && squares > 0.0 {
        tempo = (products / squares).clamp(TEMPOS.0, TEMPOS.1);
    }
    if both.is_empty() {
        return line;
    }
    Line {
        tempo,
        begins_s: mean_heard_s - mean_written_s / tempo,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn tune() -> Vec<Struck> {
        let keys = [60, 62, 64, 60, 60, 62, 64, 60, 64, 65, 67, 64, 65, 67];
        let note = |(n, key): (usize, &u8)| Struck {
            at_s: 0.5 * n as f64 + if n > 9 { 0.5 } else { 0.0 },
            key: *key,
        };
        keys.iter().enumerate().map(note).collect()
    }

    #[test]
    fn a_pass_is_found_at_any_tempo_with_notes_missed_wrong_and_uneven() {
        for tempo in [0.6, 0.93, 1.0, 1.4, 1.8] {
            let mut heard: Vec<Struck> = tune()
                .iter()
                .enumerate()
                .map(|(n, note)| Struck {
                    at_s: 7.3 + note.at_s / tempo + 0.03 * (2.1 * n as f64).sin(),
                    key: note.key,
                })
                .collect();
            heard[5].key = 71;
            heard.remove(2);
            let laid = laid_over(&tune(), &heard).unwrap();
            assert!((laid.tempo / tempo - 1.0).abs() < 0.02, "{laid:?}");
            assert!((laid.begins_s - 7.3).abs() < 0.06, "{laid:?}");
            let pairs = matched(&tune(), &laid.struck, 0.1);
            assert_eq!(pairs.iter().flatten().count(), 12, "{tempo}");
        }
    }

    #[test]
    fn a_few_notes_lie_where_they_are_written_and_none_nowhere() {
        let few = [Struck { at_s: 9.0, key: 67 }];
        let laid = laid_over(&tune(), &few).unwrap();
        assert_eq!((laid.tempo, laid.struck[0].key), (1.0, 67));
        assert!(
            tune()
                .iter()
                .any(|n| n.key == 67 && (n.at_s - laid.struck[0].at_s).abs() < 0.13)
        );
        assert_eq!(laid_over(&tune(), &[Struck { at_s: 0.0, key: 80 }]), None);
        assert_eq!(laid_over(&tune(), &[]), None);
    }
}
