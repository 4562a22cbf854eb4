//! Both sides of what stands before the background, its lip and its base.
//!
//! Of several axes the one is taken about which the best outline lies. Its line, found in the small picture, is measured in
//! the large one, each side on its own along its normal; what comes of it says where the axis is, and so once more.

use super::TraceError;
use super::arcs::Arc;
use super::axis::{self, Mirror};
use super::hand::Hand;
use super::path::{Evidence, Path};
use super::picture::Picture;
use super::plane::{Colour, Plane, distance, median};
use super::ridges::{Frame, Ridges};

/// How far off the axis may be, pixels: while axes are compared, and in each round after.
const FIRST_SLACK: usize = 3;
const SLACK: [usize; 3] = [6, 3, 2];
/// Fewest rows of a bottle, coarse pixels, and what a row of it earns at least on the mean.
const MIN_ROWS: usize = 100;
const LEAST_EARNED: f64 = 0.12;
/// How far a bottle may lean, degrees.
const MAX_ROLL_DEG: f64 = 8.0;
/// An edge is a peak of the change across the outline: so many times the picture's noise, and this share of the strongest
/// around, which counts no more than a full edge, steps. The outermost of them is the outline.
const OVER_NOISE: f64 = 2.5;
const PEAK: f64 = 0.3;
const FULL: f64 = 40.0;
/// How far from the coarse outline its edge is looked for, coarse pixels, and how much further for one of slack.
const REACH: f64 = 2.0;
const REACH_OF_SLACK: f64 = 1.0;
/// Fine pixels to either side along the outline whose mean is taken.
const ALONG: i32 = 2;

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

/// The sides of a bottle in fine pixels.
#[derive(Clone, Debug)]
pub(super) struct Sides {
    pub left: Vec<Edge>,
    pub right: Vec<Edge>,
    pub lip: Arc,
    pub base: Arc,
    pub frame: Frame,
    pub seen: Seen,
}

/// What the small picture says of how sure the outline is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seen {
    /// What a row of it earns on the mean: 0.7 of a sharp one.
    pub earned: f64,
    /// Share of its rows with an edge on both sides.
    pub both: f64,
    /// What the best line that runs elsewhere earns over what this one does.
    pub rival: f64,
    /// Share of the rows beside which something stands on one side only.
    pub one_sided: f64,
    /// Share of the background that is full of edges.
    pub busy: f64,
}

impl Sides {
    pub fn follow(picture: &Picture) -> Result<Self, TraceError> {
        let mut mirror = best_axis(picture)?;
        let mut sides = None;
        for slack in SLACK {
            let ridges = Ridges::of(&picture.coarse, mirror);
            let found = Self::of(picture, &ridges, slack)?;
            mirror = found
                .frame
                .mirror()
                .scaled(1.0 / picture.ratio.0, 1.0 / picture.ratio.1);
            sides = Some(found);
        }
        let sides = sides.ok_or(TraceError::NoBottle)?;
        let degrees = sides.frame.mirror().roll_deg();
        if degrees.abs() > MAX_ROLL_DEG {
            return Err(TraceError::Tilted { degrees });
        }
        Ok(sides)
    }

    fn of(picture: &Picture, ridges: &Ridges, slack: usize) -> Result<Self, TraceError> {
        let evidence = Evidence::of(ridges, slack);
        let (path, rival) = evidence.two();
        let path = path.ok_or(TraceError::NoBottle)?;
        match path.widths.len() {
            0..20 => return Err(TraceError::NoBottle),
            pixels @ 20..MIN_ROWS => return Err(TraceError::TooFar { pixels }),
            _ => (),
        }
        check_whole(&picture.coarse, ridges, &path)?;
        let seen = Seen::of(&evidence, ridges, &path, rival.as_ref());
        if seen.earned < LEAST_EARNED {
            return Err(TraceError::NoBottle);
        }
        let ratio = picture.ratio;
        let line = Line {
            picture,
            frame: ridges.frame,
            path: &path,
            noise: f64::from(ridges.noise),
            reach: REACH + REACH_OF_SLACK * slack as f64,
        };
        let measured = |side: f64| -> Vec<(f64, f64, f64)> {
            (0..path.widths.len())
                .filter_map(|index| line.measured(index, side))
                .collect()
        };
        let (left, right) = (measured(-1.0), measured(1.0));
        if left.len().min(right.len()) < MIN_ROWS / 2 {
            return Err(TraceError::NoBottle);
        }
        let frame = straightened(&left, &right, picture, ridges.frame.mirror());
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
        let end = |row: usize| {
            let (x, y) = line.fine(row as f64, 0.0);
            frame.of(x, y).0
        };
        let edges: [&[Edge]; 2] = [&left, &right];
        let bottom = path.top + path.widths.len() - 1;
        let lip = Arc::find(picture, &frame, &edges, (end(path.top), -1.0), ratio.1);
        let base = Arc::find(picture, &frame, &edges, (end(bottom), 1.0), ratio.1);
        let beside = |edges: Vec<Edge>| -> Vec<Edge> {
            let of_side = |e: &Edge| {
                !base.runs_through(e, 1.0, ratio.1) && !lip.runs_through(e, -1.0, ratio.1)
            };
            edges.into_iter().filter(of_side).collect()
        };
        let (left, right) = (beside(left), beside(right));
        Ok(Self {
            left,
            right,
            lip,
            base,
            frame,
            seen,
        })
    }

    /// The same about the axis that a hand gives it.
    pub fn about(&self, hand: &Hand) -> Result<Self, TraceError> {
        let [mouth, base] = hand.ends(self.ends());
        let pixels = base[1] - mouth[1];
        if pixels < MIN_ROWS as f64 {
            let pixels = pixels.max(0.0) as usize;
            return Err(TraceError::TooFar { pixels });
        }
        let (slope, y) = ((base[0] - mouth[0]) / pixels, self.frame.mirror().y);
        let frame = Frame::new(Mirror {
            x: mouth[0] + slope * (y - mouth[1]),
            y,
            slope,
        });
        let degrees = frame.mirror().roll_deg();
        if degrees.abs() > MAX_ROLL_DEG {
            return Err(TraceError::Tilted { degrees });
        }
        let moved = |edges: &[Edge], side: f64| -> Vec<Edge> {
            let moved = edges.iter().map(|edge| {
                let (x, y) = self.frame.place(edge.along, side * edge.across);
                let (along, across) = frame.of(x, y);
                Edge {
                    along,
                    across: side * across,
                    ..*edge
                }
            });
            // What lies beyond the axis now is no edge of this side.
            moved.filter(|edge| edge.across > 0.0).collect()
        };
        let (left, right) = (moved(&self.left, -1.0), moved(&self.right, 1.0));
        if left.len().min(right.len()) < MIN_ROWS / 2 {
            return Err(TraceError::Outline);
        }
        let along = |[x, y]: [f64; 2]| frame.of(x, y).0;
        let (lip, base) = (along(mouth), along(base));
        Ok(Self {
            left,
            right,
            lip: Arc {
                apex: lip,
                ..self.lip
            },
            base: Arc {
                apex: base,
                ..self.base
            },
            frame,
            seen: self.seen,
        })
    }

    /// Both ends of the axis in the picture: the mouth and the base.
    pub fn ends(&self) -> [[f64; 2]; 2] {
        [self.lip.apex, self.base.apex].map(|along| self.frame.place(along, 0.0).into())
    }

    /// Height of the picture of the bottle, pixels.
    pub fn height(&self) -> f64 {
        self.base.apex - self.lip.apex
    }
}

/// The axis, in coarse pixels, about which the line lies that earns most.
fn best_axis(picture: &Picture) -> Result<Mirror, TraceError> {
    let (tiny, coarse) = (&picture.tiny, &picture.coarse);
    let ratio = (
        tiny.width as f64 / coarse.width as f64,
        tiny.height as f64 / coarse.height as f64,
    );
    // Whole ones before those that are cut off.
    let mut best: Option<((bool, f64), Mirror)> = None;
    for mirror in axis::candidates(coarse)? {
        let ridges = Ridges::of(tiny, mirror.scaled(ratio.0, ratio.1));
        let (Some(path), _) = Evidence::of(&ridges, FIRST_SLACK).two() else {
            continue;
        };
        let whole = !path.is_cut() && path.widths.len() >= tiny.height / 5;
        let worth = (whole, path.earned);
        if best.is_none_or(|(most, _)| worth > most) {
            best = Some((worth, mirror));
        }
    }
    best.map(|(_, mirror)| mirror).ok_or(TraceError::NoBottle)
}

impl Seen {
    fn of(evidence: &Evidence<'_>, ridges: &Ridges, path: &Path, rival: Option<&Path>) -> Self {
        let rows = path.widths.len() as f64;
        let (mut lopsided, mut busy, mut all) = (0usize, 0usize, 1usize);
        for (index, &width) in path.widths.iter().enumerate() {
            let row = path.top + index;
            let sharp = |side: usize, away: usize| {
                ridges.across(row, side)[away].max(ridges.along(row, side)[away]) > 0.5
            };
            let stands = |side: usize| {
                let beside = (width + 5).min(ridges.half)..(3 * width / 2 + 12).min(ridges.half);
                beside
                    .filter(|&away| ridges.across(row, side)[away] > 0.6)
                    .count()
                    > 0
            };
            lopsided += usize::from(stands(0) != stands(1));
            for away in ((width + 5).min(ridges.half)..ridges.half).step_by(3) {
                all += 2;
                busy += usize::from(sharp(0, away)) + usize::from(sharp(1, away));
            }
        }
        Self {
            earned: path.earned / rows,
            both: evidence.supported(path),
            rival: rival.map_or(0.0, |rival| rival.earned) / path.earned.max(1e-9),
            one_sided: lopsided as f64 / rows,
            busy: busy as f64 / all as f64,
        }
    }
}

/// Refuses what goes on beyond the picture.
fn check_whole(picture: &Plane, ridges: &Ridges, path: &Path) -> Result<(), TraceError> {
    let beyond = |side: f64| {
        let rows = path.widths.iter().enumerate();
        let out = rows.filter(|(index, width)| {
            let (row, across) = ((path.top + index) as f64, side * (**width as f64 + 2.0));
            let (x, _) = ridges.frame.place(row, across);
            !(0.0..picture.width as f64).contains(&x)
        });
        out.count() > path.widths.len() / 50 + 2
    };
    let edge = match path.cut {
        (true, _) => "top",
        (_, true) => "bottom",
        _ if beyond(-1.0) => "left edge",
        _ if beyond(1.0) => "right edge",
        _ => return Ok(()),
    };
    Err(TraceError::CutOff { edge })
}

/// A line in the small picture that is measured in the large one.
struct Line<'a> {
    picture: &'a Picture,
    frame: Frame,
    path: &'a Path,
    /// Spread of the picture, steps.
    noise: f64,
    /// How far from the line, coarse pixels.
    reach: f64,
}

impl Line<'_> {
    /// A place of the frame in fine pixels: the middles of pixels are whole numbers in both pictures.
    fn fine(&self, along: f64, across: f64) -> (f64, f64) {
        let (x, y) = self.frame.place(along, across);
        let scaled = |place: f64, ratio: f64| (place + 0.5) * ratio - 0.5;
        (
            scaled(x, self.picture.ratio.0),
            scaled(y, self.picture.ratio.1),
        )
    }

    /// The edge of one side near a row of the line, in fine pixels with its strength.
    fn measured(&self, index: usize, side: f64) -> Option<(f64, f64, f64)> {
        let widths = &self.path.widths;
        let around = |by: isize| {
            let at = (index as isize + by).clamp(0, widths.len() as isize - 1);
            widths[at as usize] as f64
        };
        let slope = ((around(3) - around(-3)) / 6.0).clamp(-3.0, 3.0);
        let length = slope.hypot(1.0);
        let (row, width) = ((self.path.top + index) as f64, widths[index] as f64);
        let place = |away: f64, on: f64| {
            let (out, down) = ((away + on * slope) / length, (on - away * slope) / length);
            self.fine(row + down, side * (width + out))
        };
        let fine_px = 1.0 / self.picture.ratio.0.max(1.0);
        let step = 0.5 * fine_px;
        let taps = (self.reach / step) as i32;
        let mean = |tap: i32| -> Colour {
            let mut sum = [0.0f32; 3];
            for on in -ALONG..=ALONG {
                let (x, y) = place(f64::from(tap) * step, f64::from(on) * fine_px);
                let colour = self.picture.fine.between(x, y);
                for (sum, part) in sum.iter_mut().zip(colour) {
                    *sum += part / (2 * ALONG + 1) as f32;
                }
            }
            sum
        };
        let colours: Vec<Colour> = (-taps - 2..=taps + 2).map(mean).collect();
        let changes: Vec<f64> = colours
            .windows(5)
            .map(|w| f64::from(distance(w[4], w[0])))
            .collect();
        let most = changes.iter().copied().fold(0.0, f64::max);
        let least = (PEAK * most.min(FULL))
            .max(OVER_NOISE * self.noise)
            .max(2.0);
        // From outside inwards.
        let peak = (1..changes.len() - 1).rev().find(|&at| {
            changes[at] >= least && changes[at] >= changes[at - 1] && changes[at] >= changes[at + 1]
        })?;
        let (before, here, after) = (changes[peak - 1], changes[peak], changes[peak + 1]);
        let bend = before - 2.0 * here + after;
        let shift = if bend < 0.0 {
            (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
        } else {
            0.0
        };
        let (x, y) = place((peak as f64 + shift - f64::from(taps)) * step, 0.0);
        self.picture.fine.holds(x, y).then_some((x, y, here))
    }
}

/// The axis between two sides in fine pixels: a line through the middles of what lies across from each other.
fn straightened(
    left: &[(f64, f64, f64)],
    right: &[(f64, f64, f64)],
    picture: &Picture,
    mirror: Mirror,
) -> Frame {
    let start = Frame::new(mirror.scaled(picture.ratio.0, picture.ratio.1));
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
