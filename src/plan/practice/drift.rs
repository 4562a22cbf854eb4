//! Whether a pass ran away from the beat or fell behind it, and from which bar on.
//!
//! ```
//! use ullage::plan::practice::{BarTally, TempoDrift, drift};
//! let bar = |bar, mean_late_ms| BarTally { bar, written: 4, fine: 4, mean_late_ms, ..BarTally::default() };
//! // Bars of two seconds; from the third on every bar is 40 ms shorter: 2 % fast.
//! let starts_s: Vec<f64> = (0..8).map(|bar| 2.0 * f64::from(bar)).collect();
//! let late_ms = |bar: u32| -20.0 * f64::from(2 * bar.saturating_sub(2)) + if bar > 2 { 20.0 } else { 0.0 };
//! let bars: Vec<BarTally> = (1..=8).map(|n| bar(u64::from(n), late_ms(n))).collect();
//! let found = drift(&bars, &starts_s, 0.05).ok_or("steady")?;
//! assert_eq!((found.from_bar, (1000.0 * found.share).round()), (3, 20.0));
//! assert_eq!(found.to_string(), "you rush from bar 3, by 2.0 % of the tempo");
//! # Ok::<(), &str>(())
//! ```

use std::fmt;

use serde::Serialize;

use super::BarTally;

/// Fewest bars with notes from the bar on: of two, one note decides.
const LEAST_BARS: usize = 3;
/// Least share of what the lateness wanders that a drift must explain. Taste.
const LEAST_EXPLAINED: f64 = 0.5;

/// A pass that runs away or falls behind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TempoDrift {
    /// The bar from which on it does, counted from 1.
    pub from_bar: u64,
    /// How much faster than written it is from there on; below 0 slower.
    pub share: f64,
}

impl fmt::Display for TempoDrift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = if self.share > 0.0 { "rush" } else { "drag" };
        let percent = 100.0 * self.share.abs();
        write!(
            f,
            "you {what} from bar {}, by {percent:.1} % of the tempo",
            self.from_bar
        )
    }
}

/// A bar in which something was played.
struct Point {
    bar: u64,
    start_s: f64,
    middle_s: f64,
    late_s: f64,
    notes: f64,
}

/// The drift of a pass: lateness that is level up to some bar and a slope from there on, fitted by least squares, each bar
/// counted by its notes. Nothing if less than `least_s` comes together, or if the notes scatter more than they drift.
///
/// `bar_starts_s` are in order, the first bar's first.
#[must_use]
pub fn drift(bars: &[BarTally], bar_starts_s: &[f64], least_s: f64) -> Option<TempoDrift> {
    let points: Vec<Point> = bars
        .iter()
        .filter_map(|tally| point(tally, bar_starts_s))
        .collect();
    let level = weighted(&points, |_| 0.0)?;
    let last_s = points.last()?.middle_s;
    let froms = points.len().checked_sub(LEAST_BARS - 1)?;
    let fits = points[..froms].iter().filter_map(|from| {
        let fit = weighted(&points, |p| (p.middle_s - from.start_s).max(0.0))?;
        Some((from, fit))
    });
    let (from, fit) = fits.min_by(|a, b| a.1.rest.total_cmp(&b.1.rest))?;
    let explained = 1.0 - fit.rest / level.rest.max(f64::MIN_POSITIVE);
    let whole_s = fit.slope.abs() * (last_s - from.start_s);
    // A pass whose notes come earlier and earlier is played faster.
    (explained >= LEAST_EXPLAINED && whole_s >= least_s).then(|| TempoDrift {
        from_bar: from.bar,
        share: -fit.slope,
    })
}

fn point(tally: &BarTally, bar_starts_s: &[f64]) -> Option<Point> {
    let played = tally.written - tally.missed;
    let index = usize::try_from(tally.bar).ok()?.checked_sub(1)?;
    let start_s = *bar_starts_s.get(index)?;
    let length_s = match (bar_starts_s.get(index + 1), index) {
        (Some(next), _) => next - start_s,
        (None, 0) => 0.0,
        (None, _) => start_s - bar_starts_s[index - 1],
    };
    (played > 0).then(|| Point {
        bar: tally.bar,
        start_s,
        middle_s: start_s + 0.5 * length_s,
        late_s: tally.mean_late_ms / 1000.0,
        notes: played as f64,
    })
}

/// A line through the lateness over `x`.
struct Line {
    slope: f64,
    /// Sum of the squares that are left.
    rest: f64,
}

fn weighted(points: &[Point], x: impl Fn(&Point) -> f64) -> Option<Line> {
    let sum = |of: &dyn Fn(&Point) -> f64| points.iter().map(|p| p.notes * of(p)).sum::<f64>();
    let all = sum(&|_| 1.0);
    if all <= 0.0 {
        return None;
    }
    let (mean_x, mean_y) = (sum(&|p| x(p)) / all, sum(&|p| p.late_s) / all);
    let xx = sum(&|p| (x(p) - mean_x).powi(2));
    let xy = sum(&|p| (x(p) - mean_x) * (p.late_s - mean_y));
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    let rest = sum(&|p| (p.late_s - mean_y - slope * (x(p) - mean_x)).powi(2));
    Some(Line { slope, rest })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    /// Eight bars of two seconds, late by so much.
    fn found(late_ms: [f64; 8]) -> Option<TempoDrift> {
        let bars: Vec<BarTally> = (1..)
            .zip(late_ms)
            .map(|(bar, mean_late_ms)| BarTally {
                bar,
                written: 4,
                fine: 4,
                mean_late_ms,
                ..BarTally::default()
            })
            .collect();
        let starts_s: Vec<f64> = (0..8).map(|bar| 2.0 * f64::from(bar)).collect();
        drift(&bars, &starts_s, 0.05)
    }

    #[test]
    fn a_pass_that_slows_down_drags_from_the_bar_where_it_begins() {
        // 30 ms a second from the fifth bar on, which on the average of its two seconds is 30 ms late.
        let slow = found([5.0, -5.0, 5.0, -5.0, 30.0, 90.0, 150.0, 210.0]).unwrap();
        assert_eq!(slow.from_bar, 5);
        assert!((slow.share + 0.03).abs() < 0.002, "{slow:?}");
        assert!(
            slow.to_string()
                .starts_with("you drag from bar 5, by 3.0 %")
        );
    }

    #[test]
    fn a_steady_pass_a_late_one_and_a_ragged_one_do_not_drift() {
        assert_eq!(found([0.0; 8]), None);
        assert_eq!(found([120.0; 8]), None);
        assert_eq!(
            found([90.0, -80.0, 85.0, -95.0, 70.0, -90.0, 95.0, -70.0]),
            None
        );
        // So little is not heard: 14 ms in all.
        assert_eq!(found([0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0]), None);
    }

    #[test]
    fn bars_without_notes_and_too_few_of_them_say_nothing() {
        let one = BarTally {
            bar: 3,
            written: 2,
            fine: 2,
            mean_late_ms: 200.0,
            ..BarTally::default()
        };
        let none = BarTally {
            bar: 4,
            written: 2,
            missed: 2,
            ..BarTally::default()
        };
        assert_eq!(drift(&[one, none], &[0.0, 1.0, 2.0, 3.0], 0.05), None);
        assert_eq!(drift(&[], &[], 0.05), None);
    }
}
