//! The closed line around what mirrors itself about an axis.
//!
//! Over the rows of the picture the outline is the cheapest way from no width to no width again: a row is paid for where it
//! ends at no edge, an edge on both sides earns more than one on either, what mirrors itself further out is paid for too, so
//! that the line is the outermost of several; moving outwards or inwards costs by the pixel, less along an edge that lies
//! level: a lip, a base, a flat shoulder. It is found exactly, by going through the rows once.

use super::ridges::Ridges;

/// What a row costs in which nothing is seen.
const ROW: f32 = 0.3;
/// What edges earn: both sides, and the better one.
const BOTH: f32 = 0.75;
const ONE: f32 = 0.25;
/// What is left out beyond the line: from which sharpness it counts, what all of it costs at most.
const LEFT_OUT: f32 = 0.45;
const BEYOND: f32 = 0.3;
/// What a pixel of width costs from row to row, and within a row; the share of the latter that a level edge saves.
const SLANT: f32 = 0.1;
const LEVEL: f32 = 0.13;
const SAVED: f32 = 0.85;
/// A level edge that runs on beyond the line on both sides is a table's and saves nothing: so far is looked, and so much of it
/// at least, pixels.
const RUNS_ON: usize = 60;
const LEAST_RUN: usize = 15;
/// What stands out on one side only beyond it, near by: from which sharpness, and what each side costs at most.
const STANDS_OUT: f32 = 0.45;
const BESIDE: f32 = 0.25;
/// What it costs to begin or end at the picture's edge.
const CUT: f32 = 6.0;
/// A whole line this much as good as one that is cut off is taken.
const WORTH: f64 = 0.3;
/// What it costs to be where another line is.
const TAKEN: f32 = 2.0;
/// Narrowest half width, pixels.
const NARROWEST: usize = 5;
/// Furthest change from row to row, pixels; further ones go along a row.
const FURTHEST: usize = 3;

/// A line around something, in pixels of the picture that was looked in.
#[derive(Clone, Debug)]
pub(super) struct Path {
    /// First row.
    pub top: usize,
    /// Half width of each row.
    pub widths: Vec<usize>,
    /// What it earns: half a point a row of a sharp outline.
    pub earned: f64,
    /// Whether it goes on beyond the top or the bottom of the picture.
    pub cut: (bool, bool),
}

/// How much speaks for each half width of each row.
pub(super) struct Evidence<'a> {
    ridges: &'a Ridges,
    /// Both sides alike.
    both: Vec<f32>,
    /// What each row costs at each width.
    own: Vec<f32>,
    /// What it costs to pass each width within a row.
    pass: Vec<f32>,
}

impl Path {
    /// Whether it touches the picture's edge.
    pub fn is_cut(&self) -> bool {
        self.cut.0 || self.cut.1
    }

    /// Whether a place of another line is not on this one: further off than glass is thick in a picture.
    pub fn is_elsewhere(&self, row: usize, width: usize) -> bool {
        let own = row
            .checked_sub(self.top)
            .and_then(|index| self.widths.get(index));
        own.is_none_or(|own| own.abs_diff(width) > 4 + own / 8)
    }
}

impl<'a> Evidence<'a> {
    /// `slack` is how far off the axis may be, pixels.
    pub fn of(ridges: &'a Ridges, slack: usize) -> Self {
        let widths = ridges.half + 1;
        let mut evidence = Self {
            ridges,
            both: vec![0.0; ridges.rows * widths],
            own: vec![0.0; ridges.rows * widths],
            pass: vec![LEVEL; ridges.rows * widths],
        };
        for row in 0..ridges.rows {
            evidence.fill(row, slack);
        }
        evidence
    }

    fn fill(&mut self, row: usize, slack: usize) {
        let widths = self.ridges.half + 1;
        let (left, right) = (self.ridges.across(row, 0), self.ridges.across(row, 1));
        let near = |side: &[f32], at: usize| {
            let around = &side[at.saturating_sub(slack)..(at + slack + 1).min(widths)];
            around.iter().copied().fold(0.0f32, f32::max)
        };
        let both = &mut self.both[row * widths..(row + 1) * widths];
        let mut left_out = vec![0.0f32; widths + 1];
        let mut stands_out = vec![[0.0f32; 2]; widths + 1];
        for at in 0..widths {
            let (l, r) = (left[at], right[at]);
            // Most places are no edge on either side.
            both[at] = if l.max(r) < 0.05 {
                l.min(r)
            } else {
                l.min(near(right, at)).max(r.min(near(left, at)))
            };
            left_out[at + 1] = left_out[at] + (both[at] - LEFT_OUT).max(0.0);
            let before = stands_out[at];
            stands_out[at + 1] = [
                before[0] + (l - STANDS_OUT).max(0.0),
                before[1] + (r - STANDS_OUT).max(0.0),
            ];
        }
        let own = &mut self.own[row * widths..(row + 1) * widths];
        for at in 1..widths {
            if at < NARROWEST {
                own[at] = ROW;
                continue;
            }
            let seen = BOTH * both[at] + ONE * left[at].max(right[at]);
            // Two pixels beyond an edge are still the edge.
            let from = (at + 3 + slack).min(widths);
            let (far, near) = (
                (5 * at / 2 + 15).clamp(from, widths),
                (2 * at + 20).clamp(from, widths),
            );
            let beyond = (left_out[far] - left_out[from]).min(1.0);
            let beside =
                |side: usize| (3.0 * (stands_out[near][side] - stands_out[from][side])).min(1.0);
            own[at] = ROW - seen + BEYOND * beyond + BESIDE * (beside(0) + beside(1));
        }
        let (left, right) = (self.ridges.along(row, 0), self.ridges.along(row, 1));
        let sums = [left, right].map(summed);
        let pass = &mut self.pass[row * widths..(row + 1) * widths];
        for at in 0..widths {
            let beyond = |side: usize| {
                let from = at + 6;
                let to = (from + RUNS_ON).min(self.ridges.inside[side]);
                (to >= from + LEAST_RUN)
                    .then(|| (sums[side][to] - sums[side][from]) / (to - from) as f32)
            };
            let runs_on = match (beyond(0), beyond(1)) {
                (Some(left), Some(right)) => left.min(right),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => 0.0,
            };
            // Each on its own: they lie level within a few rows where the axis leans.
            let level = 0.5 * (left[at] + right[at]) * (1.0 - runs_on);
            pass[at] = LEVEL * (1.0 - SAVED * level);
        }
    }

    /// The line that earns most, if one earns anything.
    pub fn best(&self) -> Option<Path> {
        self.best_but(&|_, _| true)
    }

    /// The best line and the best that runs elsewhere; what goes on beyond the picture comes second to what does not.
    pub fn two(&self) -> (Option<Path>, Option<Path>) {
        let Some(first) = self.best() else {
            return (None, None);
        };
        let second = self.best_but(&|row, width| first.is_elsewhere(row, width));
        match second {
            Some(second)
                if first.is_cut() && !second.is_cut() && second.earned > WORTH * first.earned =>
            {
                (Some(second), None)
            }
            second => (Some(first), second),
        }
    }

    /// The line that earns most of those whose half widths are allowed in all rows.
    fn best_but(&self, allowed: &dyn Fn(usize, usize) -> bool) -> Option<Path> {
        let (rows, widths) = (self.ridges.rows, self.ridges.half + 1);
        let mut cost = vec![CUT; widths];
        cost[0] = 0.0;
        let mut from = vec![0i8; rows * widths];
        for row in 0..rows {
            cost = self.next(row, &cost, &mut from[row * widths..(row + 1) * widths]);
            for (width, cost) in cost.iter_mut().enumerate() {
                if width > 0 && !allowed(row, width) {
                    *cost += TAKEN;
                }
            }
        }
        let mut width = (0..widths)
            .min_by(|&a, &b| {
                let end = |at: usize| cost[at] + if at == 0 { 0.0 } else { CUT };
                end(a).total_cmp(&end(b))
            })
            .unwrap_or(0);
        let mut path = vec![0; rows];
        for row in (0..rows).rev() {
            path[row] = width;
            loop {
                match from[row * widths + width] {
                    LEFTWARDS => width -= 1,
                    RIGHTWARDS => width += 1,
                    up => {
                        width = (width as isize - isize::from(up)) as usize;
                        break;
                    }
                }
            }
        }
        self.longest(&path)
    }

    /// What the widths of a row cost, and from where they come.
    fn next(&self, row: usize, cost: &[f32], from: &mut [i8]) -> Vec<f32> {
        let widths = cost.len();
        let own = &self.own[row * widths..(row + 1) * widths];
        let pass = &self.pass[row * widths..(row + 1) * widths];
        let mut next = cost.to_vec();
        from.fill(0);
        for by in 1..=FURTHEST {
            let slant = SLANT * by as f32;
            for at in by..widths {
                // From `by` narrower, and from `by` wider.
                if cost[at - by] + slant < next[at] {
                    (next[at], from[at]) = (cost[at - by] + slant, by as i8);
                }
                let narrower = at - by;
                if cost[at] + slant < next[narrower] {
                    (next[narrower], from[narrower]) = (cost[at] + slant, -(by as i8));
                }
            }
        }
        for at in 1..widths {
            if next[at - 1] + pass[at] < next[at] {
                (next[at], from[at]) = (next[at - 1] + pass[at], LEFTWARDS);
            }
        }
        for at in (0..widths - 1).rev() {
            if next[at + 1] + pass[at + 1] < next[at] {
                (next[at], from[at]) = (next[at + 1] + pass[at + 1], RIGHTWARDS);
            }
        }
        for (next, own) in next.iter_mut().zip(own) {
            *next += own;
        }
        next
    }

    /// The longest stretch of rows that have a width.
    fn longest(&self, path: &[usize]) -> Option<Path> {
        let (mut best, mut start) = (0..0, 0);
        for row in 0..=path.len() {
            if path.get(row).is_none_or(|width| *width < NARROWEST) {
                if row - start > best.len() {
                    best = start..row;
                }
                start = row + 1;
            }
        }
        if best.is_empty() {
            return None;
        }
        let widths = self.ridges.half + 1;
        let earned = best
            .clone()
            .map(|row| -f64::from(self.own[row * widths + path[row]]));
        Some(Path {
            top: best.start,
            widths: path[best.clone()].to_vec(),
            earned: earned.sum(),
            cut: (best.start <= 3, best.end + 3 >= path.len()),
        })
    }

    /// Share of a path's rows with an edge on both sides.
    pub fn supported(&self, path: &Path) -> f64 {
        let widths = self.ridges.half + 1;
        let rows = path.widths.iter().enumerate();
        let seen = rows.filter(|(index, width)| {
            let row = &self.both[(path.top + index) * widths..(path.top + index + 1) * widths];
            let around = &row[width.saturating_sub(2)..(**width + 3).min(widths)];
            around.iter().any(|both| *both > 0.25)
        });
        seen.count() as f64 / path.widths.len() as f64
    }
}

/// The sums of the values before each place.
fn summed(values: &[f32]) -> Vec<f32> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    sums.push(0.0);
    let mut sum = 0.0;
    sums.extend(values.iter().map(|value| {
        sum += value;
        sum
    }));
    sums
}

/// Came from one narrower, or one wider, in the same row.
const LEFTWARDS: i8 = 100;
const RIGHTWARDS: i8 = 101;
