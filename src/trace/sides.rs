//! Both sides of what stands before the background, its lip and its base.
//!
//! What differs from the background at the same distance on both sides is the bottle; a shadow on one side, a table's
//! edge that does not run level, another thing beside it are not. Over the rows the outline is the path of most such
//! evidence inside, least outside, and few jumps; then each side is measured on its own, along the outline's normal, in
//! the larger picture.

use super::TraceError;
use super::axis::Mirror;
use super::background::{Difference, Frame};
use super::picture::Picture;
use super::plane::{distance, median};

/// Least difference from the background that counts, steps, and over the margins' own spread.
const LEAST_STEPS: f32 = 9.0;
const OVER_NOISE: f32 = 4.5;
/// How far off the axis may be in each round of looking for the sides, coarse pixels: each finds it better.
const SLACK: [usize; 3] = [12, 4, 2];
/// What a change of the outline costs for each pixel from row to row, and at most: a real step may be any height.
const CHANGE: f32 = 0.12;
const STEP: f32 = 3.5;
/// Radius of the circle that a bottle stands on over its widest near the table (guess: a heel of 3 to 5 mm).
const HEEL: f64 = 0.9;
/// Fewest coarse rows of a bottle.
const MIN_ROWS: usize = 100;
/// A peak of the gradient this strong beside the strongest is an edge: the outermost of them is the outline.
const PEAK: f64 = 0.45;
/// How far from the coarse outline its edge is looked for, coarse pixels, and how much further for one of slack.
const REACH: f64 = 2.0;
const REACH_OF_SLACK: f64 = 1.2;

/// One place of an outline in fine pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// Along the axis, from the top.
    pub along: f64,
    /// Away from it.
    pub across: f64,
    /// Its gradient, steps.
    pub strength: f64,
}

/// The arc of a lip or a base: `apex ∓ depth (1 − √(1 − (x/half)²))`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arc {
    pub apex: f64,
    pub depth: f64,
    pub half: f64,
    /// Mean gradient along it, steps.
    pub strength: f64,
}

/// The sides of a bottle in fine pixels.
#[derive(Clone, Debug)]
pub(super) struct Sides {
    pub left: Vec<Edge>,
    pub right: Vec<Edge>,
    pub lip: Arc,
    pub base: Arc,
    pub frame: Frame,
    /// Spread of the background, steps.
    pub noise: f64,
    /// Share of the rows in which something on one side alone stood out beside the bottle.
    pub one_sided: f64,
    /// Share of the background, beside the bottle, that is not plain.
    pub clutter: f64,
}

impl Sides {
    pub fn follow(picture: &Picture, mirror: Mirror) -> Result<Self, TraceError> {
        let mut mirror = mirror;
        let mut sides = None;
        for slack in SLACK {
            let difference = Difference::of(&picture.coarse, mirror);
            let found = Self::of(picture, &difference, slack)?;
            let turned = found.frame.mirror();
            mirror = Mirror {
                x: (turned.x + 0.5) / picture.ratio.0 - 0.5,
                y: (turned.y + 0.5) / picture.ratio.1 - 0.5,
                slope: turned.slope * picture.ratio.1 / picture.ratio.0,
            };
            sides = Some(found);
        }
        let sides = sides.ok_or(TraceError::NoBottle)?;
        let degrees = sides.frame.mirror().roll_deg();
        if degrees.abs() > 8.0 {
            return Err(TraceError::Tilted { degrees });
        }
        Ok(sides)
    }

    fn of(picture: &Picture, difference: &Difference, slack: usize) -> Result<Self, TraceError> {
        let evidence = Evidence::of(difference, slack);
        let (top, bottom) = evidence.rows()?;
        check_whole(difference, top, bottom)?;
        let path = evidence.path(top, bottom);
        check_width(difference, &path, top)?;
        let fine = |row: f64, across: f64| {
            let (x, y) = difference.frame.place(row, across);
            // The middles of pixels are whole numbers in both.
            let scaled = |place: f64, ratio: f64| (place + 0.5) * ratio - 0.5;
            (scaled(x, picture.ratio.0), scaled(y, picture.ratio.1))
        };
        let mut found = [Vec::new(), Vec::new()];
        for (side, found) in [-1.0, 1.0].into_iter().zip(&mut found) {
            for index in 0..path.len() {
                if let Some(edge) = refine(picture, &fine, &path, (index, top), (side, slack)) {
                    found.push(edge);
                }
            }
        }
        let [left, right] = found;
        if left.len().min(right.len()) < MIN_ROWS / 2 {
            return Err(TraceError::NoBottle);
        }
        let ratio = picture.ratio.1;
        let frame = straightened(&left, &right, picture, difference.frame.mirror());
        let turned = |points: &[(f64, f64, f64)], side: f64| -> Vec<Edge> {
            let edge = |&(x, y, strength): &(f64, f64, f64)| {
                let (along, across) = frame.of(x, y);
                Edge {
                    along,
                    across: side * across,
                    strength,
                }
            };
            points.iter().map(edge).collect()
        };
        let (left, right) = (turned(&left, -1.0), turned(&right, 1.0));
        let ends = |row: usize| {
            let (x, y) = fine(row as f64, 0.0);
            frame.of(x, y).0
        };
        let lip = Arc::find(picture, &frame, &[&left, &right], (ends(top), -1.0), ratio);
        let base = Arc::find(
            picture,
            &frame,
            &[&left, &right],
            (ends(bottom), 1.0),
            ratio,
        );
        let beside = |edges: Vec<Edge>| -> Vec<Edge> {
            let of_side =
                |e: &Edge| !base.runs_through(e, 1.0, ratio) && !lip.runs_through(e, -1.0, ratio);
            edges.into_iter().filter(of_side).collect()
        };
        let (left, right) = (beside(left), beside(right));
        Ok(Self {
            left,
            right,
            lip,
            base,
            frame,
            noise: f64::from(difference.noise),
            one_sided: evidence.one_sided(difference, &path, top),
            clutter: evidence.clutter(difference, &path, top),
        })
    }

    /// Height of the picture of the bottle, pixels.
    pub fn height(&self) -> f64 {
        self.base.apex - self.lip.apex
    }
}

/// What differs on both sides alike, 0 to 1, in coarse pixels.
struct Evidence {
    rows: usize,
    half: usize,
    both: Vec<f32>,
    changing: Vec<bool>,
    least: f32,
}

impl Evidence {
    fn of(difference: &Difference, slack: usize) -> Self {
        let (rows, half) = (difference.rows, difference.half);
        let least = LEAST_STEPS.max(OVER_NOISE * difference.noise);
        let mut both = vec![0.0; rows * (half + 1)];
        for row in 0..rows {
            if difference.changing[row] {
                continue;
            }
            let near = |away: usize, side: i64| {
                let around = away.saturating_sub(slack)..=(away + slack).min(half);
                around.fold(0.0f32, |most, at| most.max(difference.at(row, at, side)))
            };
            for away in 0..=half {
                let (left, right) = (difference.at(row, away, -1), difference.at(row, away, 1));
                let mirrored = left.min(near(away, 1)).max(right.min(near(away, -1)));
                both[row * (half + 1) + away] = mirrored / least;
            }
        }
        Self {
            rows,
            half,
            both,
            changing: difference.changing.clone(),
            least,
        }
    }

    fn row(&self, row: usize) -> &[f32] {
        &self.both[row * (self.half + 1)..(row + 1) * (self.half + 1)]
    }

    /// The longest stretch of rows in which something stands, with gaps of a fiftieth of the picture.
    fn rows(&self) -> Result<(usize, usize), TraceError> {
        let gap = self.rows / 50 + 2;
        let (mut best, mut start, mut last) = ((0usize, 0usize), None, 0usize);
        for row in 0..self.rows {
            let here = self.row(row).iter().filter(|e| **e > 1.0).count();
            // A row that says nothing keeps what stands, and begins nothing.
            if here < 3 && !(self.changing[row] && start.is_some()) {
                continue;
            }
            match start {
                Some(_) if row - last <= gap => (),
                _ => start = Some(row),
            }
            last = row;
            let from = start.unwrap_or(row);
            if row - from > best.1 - best.0 {
                best = (from, row);
            }
        }
        let pixels = best.1 - best.0;
        match pixels {
            0..20 => Err(TraceError::NoBottle),
            20..MIN_ROWS => Err(TraceError::TooFar { pixels }),
            _ => Ok(best),
        }
    }

    /// The half width at each row from `top` to `bottom`.
    fn path(&self, top: usize, bottom: usize) -> Vec<usize> {
        let widths = self.half + 1;
        let rows = bottom - top + 1;
        let mut cost = vec![0.0f32; widths];
        let mut from = vec![0u32; rows * widths];
        for index in 0..rows {
            let (cheapest, at) = least(&cost);
            let mut next = vec![0.0f32; widths];
            let own = self.costs(top + index);
            for (width, next) in next.iter_mut().enumerate() {
                let mut best = (cheapest + STEP, at);
                for near in width.saturating_sub(6)..=(width + 6).min(widths - 1) {
                    let total = cost[near] + CHANGE * near.abs_diff(width) as f32;
                    if total < best.0 {
                        best = (total, near);
                    }
                }
                from[index * widths + width] = best.1 as u32;
                *next = best.0 + own[width];
            }
            cost = next;
        }
        let mut width = least(&cost).1;
        let mut path = vec![0; rows];
        for index in (0..rows).rev() {
            path[index] = width;
            width = from[index * widths + width] as usize;
        }
        path
    }

    /// What each half width costs in a row: evidence left outside, and less for an edge where it ends.
    fn costs(&self, row: usize) -> Vec<f32> {
        let evidence = self.row(row);
        let mut costs = vec![0.0; evidence.len()];
        if self.changing[row] {
            return costs;
        }
        let mut outside = 0.0f32;
        for width in (0..evidence.len()).rev() {
            let get = |at: usize| evidence.get(at).copied().unwrap_or(0.0).min(4.0);
            let inside = 0.5 * (get(width) + get(width.saturating_sub(1)));
            let beyond = 0.5 * (get(width + 1) + get(width + 2));
            let edge = ((inside - beyond) / 2.0).clamp(0.0, 1.0);
            costs[width] = (outside / 4.0).min(1.5) - edge;
            outside += (get(width + 1) - 0.7).max(0.0).min(1.0);
        }
        costs
    }

    /// Share of rows beside which something stands out on one side only.
    fn one_sided(&self, difference: &Difference, path: &[usize], top: usize) -> f64 {
        let lopsided = |&(index, &width): &(usize, &usize)| {
            let over = |side: i64| {
                let beside = width + 3..(2 * width + 12).min(self.half);
                beside
                    .filter(|&away| difference.at(top + index, away, side) > self.least)
                    .count()
            };
            over(-1).abs_diff(over(1)) > 4
        };
        path.iter().enumerate().filter(lopsided).count() as f64 / path.len() as f64
    }

    /// Share of the background that is not plain.
    fn clutter(&self, difference: &Difference, path: &[usize], top: usize) -> f64 {
        let (mut unlike, mut all) = (0usize, 1usize);
        for (index, &width) in path.iter().enumerate() {
            for away in (width + 4..self.half).step_by(3) {
                for side in [-1, 1] {
                    all += 1;
                    unlike += usize::from(difference.at(top + index, away, side) > self.least);
                }
            }
        }
        unlike as f64 / all as f64
    }
}

fn least(costs: &[f32]) -> (f32, usize) {
    let mut best = (f32::MAX, 0);
    for (at, &cost) in costs.iter().enumerate() {
        if cost < best.0 {
            best = (cost, at);
        }
    }
    best
}

/// Refuses what goes on beyond the picture.
fn check_whole(difference: &Difference, top: usize, bottom: usize) -> Result<(), TraceError> {
    let edge = if top <= 1 {
        "top"
    } else if bottom + 2 >= difference.rows {
        "bottom"
    } else {
        return Ok(());
    };
    Err(TraceError::CutOff { edge })
}

fn check_width(difference: &Difference, path: &[usize], top: usize) -> Result<(), TraceError> {
    let frame = &difference.frame;
    let mirror = frame.mirror();
    let beyond = |side: f64| {
        path.iter()
            .enumerate()
            .filter(|(index, width)| {
                let (x, _) = frame.place((top + index) as f64, side * (**width as f64 + 2.0));
                x < 0.0 || x > mirror.x + difference.half as f64
            })
            .count()
    };
    for (side, edge) in [(-1.0, "left edge"), (1.0, "right edge")] {
        if beyond(side) > path.len() / 50 + 2 {
            return Err(TraceError::CutOff { edge });
        }
    }
    Ok(())
}

/// The edge of one side near a row of the coarse path, in fine pixels with its strength.
fn refine(
    picture: &Picture,
    fine: &impl Fn(f64, f64) -> (f64, f64),
    path: &[usize],
    (index, top): (usize, usize),
    (side, slack): (f64, usize),
) -> Option<(f64, f64, f64)> {
    let width = path[index];
    if width < 2 {
        return None;
    }
    let around =
        |by: isize| path[(index as isize + by).clamp(0, path.len() as isize - 1) as usize] as f64;
    let slope = ((around(3) - around(-3)) / 6.0).clamp(-3.0, 3.0);
    let length = slope.hypot(1.0);
    let (out, down) = (1.0 / length, -slope / length);
    let place = |away: f64| {
        fine(
            (top + index) as f64 + away * down,
            side * (width as f64 + 0.5 + away * out),
        )
    };
    let step = 0.5 / picture.ratio.0.max(1.0);
    let taps = ((REACH + REACH_OF_SLACK * slack as f64) / step) as i32;
    let colour = |tap: i32| {
        let (x, y) = place(f64::from(tap) * step);
        picture.fine.between(x, y)
    };
    let colours: Vec<_> = (-taps - 2..=taps + 2).map(colour).collect();
    let gradient: Vec<f64> = colours
        .windows(5)
        .map(|w| f64::from(distance(w[4], w[0])))
        .collect();
    let most = gradient.iter().copied().fold(0.0, f64::max);
    if most < 2.0 {
        return None;
    }
    // From outside inwards.
    let peak = (1..gradient.len() - 1).rev().find(|&at| {
        gradient[at] >= PEAK * most
            && gradient[at] >= gradient[at - 1]
            && gradient[at] >= gradient[at + 1]
    })?;
    let (before, here, after) = (gradient[peak - 1], gradient[peak], gradient[peak + 1]);
    let bend = before - 2.0 * here + after;
    let shift = if bend < 0.0 {
        (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    let away = (peak as f64 + shift - f64::from(taps)) * step;
    let (x, y) = place(away);
    picture.fine.holds(x, y).then_some((x, y, here))
}

/// The axis between two sides in fine pixels: a line through the middles of what lies across from each other.
fn straightened(
    left: &[(f64, f64, f64)],
    right: &[(f64, f64, f64)],
    picture: &Picture,
    mirror: Mirror,
) -> Frame {
    let start = Frame::new(Mirror {
        x: (mirror.x + 0.5) * picture.ratio.0 - 0.5,
        y: (mirror.y + 0.5) * picture.ratio.1 - 0.5,
        slope: mirror.slope * picture.ratio.0 / picture.ratio.1,
    });
    let place = |points: &[(f64, f64, f64)]| -> Vec<(f64, f64)> {
        points.iter().map(|&(x, y, _)| start.of(x, y)).collect()
    };
    let (left, right) = (place(left), place(right));
    let mut middles = Vec::new();
    let mut at = 0;
    for &(along, across) in &left {
        while at + 1 < right.len() && right[at].0 < along {
            at += 1;
        }
        if (right[at].0 - along).abs() < 3.0 * picture.ratio.1 {
            middles.push((along, 0.5 * (across + right[at].1)));
        }
    }
    let (level, slope) = robust_line(&middles, start.mirror().y);
    // Across is to the right: the axis moves there, and leans by the slope more.
    let (x, y) = start.place(start.mirror().y, level);
    let lean = start.mirror().slope.atan() + slope.atan();
    Frame::new(Mirror {
        x,
        y,
        slope: lean.tan(),
    })
}

/// Height at `pivot` and slope of a line through points, those far from it counting less.
fn robust_line(points: &[(f64, f64)], pivot: f64) -> (f64, f64) {
    let (mut level, mut slope) = (
        median(&mut points.iter().map(|p| p.1).collect::<Vec<_>>()),
        0.0,
    );
    for _ in 0..12 {
        let off = |p: &(f64, f64)| p.1 - level - slope * (p.0 - pivot);
        let spread = median(&mut points.iter().map(|p| off(p).abs()).collect::<Vec<_>>()).max(0.2);
        let mut sums = [0.0; 5];
        for p in points {
            let share = off(p) / (3.0 * spread);
            let weight = 1.0 / (1.0 + share * share).powi(2);
            let x = p.0 - pivot;
            for (sum, term) in sums.iter_mut().zip([1.0, x, x * x, p.1, x * p.1]) {
                *sum += weight * term;
            }
        }
        let [n, x, xx, y, xy] = sums;
        let det = n * xx - x * x;
        if det.abs() < 1e-9 {
            break;
        }
        (level, slope) = ((y * xx - x * xy) / det, (n * xy - x * y) / det);
    }
    (level, slope)
}

impl Arc {
    /// Whether an edge belongs to the arc and not to a side.
    fn runs_through(&self, edge: &Edge, outwards: f64, ratio: f64) -> bool {
        let x = (edge.across / self.half).clamp(0.0, 1.0);
        let along = self.apex - outwards * self.depth * (1.0 - (1.0 - x * x).sqrt());
        x < 0.97 && outwards * (edge.along - along) > -1.5 * ratio.max(1.0)
    }

    /// The outermost arc near an end, outwards being −1 at the lip and 1 at the base.
    fn find(
        picture: &Picture,
        frame: &Frame,
        sides: &[&[Edge]; 2],
        (end, outwards): (f64, f64),
        ratio: f64,
    ) -> Self {
        // A lip is as wide as its topmost rows; a heel is rounded, so that what stands on the table is less than the widest.
        let (rows, share) = if outwards < 0.0 {
            (7.0, 1.0)
        } else {
            (26.0, HEEL)
        };
        let near = |edge: &&Edge| (edge.along - end).abs() < rows * ratio;
        let mut wide: Vec<f64> = sides
            .iter()
            .flat_map(|side| side.iter().filter(near))
            .map(|e| e.across)
            .collect();
        wide.sort_by(f64::total_cmp);
        // The widest but for stray points.
        let half = share
            * wide
                .get(wide.len() * 8 / 10)
                .copied()
                .unwrap_or(10.0)
                .max(4.0);
        let columns: Vec<f64> = (-14..=14).map(|k| f64::from(k) / 20.0).collect();
        let gradient = |x: f64, along: f64| {
            let tap = |by: f64| {
                let (px, py) = frame.place(along + by, x * half);
                picture.fine.between(px, py)
            };
            f64::from(distance(tap(-1.0), tap(1.0))).min(40.0)
        };
        let mean = |apex: f64, depth: f64| {
            let along = |x: f64| apex - outwards * depth * (1.0 - (1.0 - x * x).sqrt());
            let strengths: Vec<f64> = columns.iter().map(|&x| gradient(x, along(x))).collect();
            strengths.iter().sum::<f64>() / columns.len() as f64
        };
        let reach = (8.0 * ratio).max(0.35 * half).min(0.6 * half + 8.0 * ratio);
        let apexes = (2.0 * reach / 1.0) as i32;
        let depths = 24;
        let mut tried = Vec::new();
        for k in 0..=apexes {
            let apex = end + outwards * (5.0 * ratio - f64::from(k));
            for j in 0..=depths {
                let depth = 0.45 * half * f64::from(j) / f64::from(depths);
                tried.push((mean(apex, depth), apex, depth));
            }
        }
        let most = tried.iter().map(|t| t.0).fold(0.0, f64::max);
        // The outermost that is an edge at all, and there the best.
        let outermost = tried
            .iter()
            .filter(|t| t.0 >= 0.6 * most)
            .map(|t| outwards * t.1)
            .fold(f64::MIN, f64::max);
        let close = |t: &&(f64, f64, f64)| outwards * t.1 >= outermost - 3.0 * ratio.max(1.0);
        let best = tried
            .iter()
            .filter(close)
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let (_, near_apex, near_depth) = best.copied().unwrap_or((0.0, end, 0.0));
        let mut best = (0.0, near_apex, near_depth);
        for k in -8..=8 {
            for j in -8..=8 {
                let apex = near_apex + 0.25 * f64::from(k);
                let depth = (near_depth + 0.005 * half * f64::from(j)).max(0.0);
                let strength = mean(apex, depth);
                if strength > best.0 {
                    best = (strength, apex, depth);
                }
            }
        }
        let (strength, apex, depth) = best;
        Self {
            apex,
            depth,
            half,
            strength,
        }
    }
}
