//! What is not background, for what lies beside the bottle: the picture turned so that the axis is upright, less what its
//! margins lead one to expect.

use super::axis::Mirror;
use super::plane::{Colour, Plane, distance, median};
use super::ridges::Frame;

/// Width of a margin over that of the picture.
const MARGIN: f64 = 0.05;
/// Rows above and below whose margins count for a row: so few that the edge of a table stays sharp.
const AROUND: usize = 2;

/// How unlike the background each place is, steps, in coarse pixels along the axis and across it.
#[derive(Clone, Debug)]
pub(super) struct Difference {
    pub rows: usize,
    /// Columns on each side of the axis.
    pub half: usize,
    steps: Vec<f32>,
    /// Spread of the margins about what they lead one to expect, steps.
    pub noise: f32,
}

impl Difference {
    pub fn of(picture: &Plane, mirror: Mirror) -> Self {
        let frame = Frame::new(mirror);
        let rows = picture.height;
        let half =
            (mirror.x.max(picture.width as f64 - mirror.x).max(1.0) as usize).min(picture.width);
        let margin = ((MARGIN * picture.width as f64) as usize).max(4);
        let place = |row: usize, across: i64| frame.place(row as f64, across as f64);
        let seen: Vec<(i64, i64)> = (0..rows)
            .map(|row| {
                let inside = |across: &i64| {
                    let (x, y) = place(row, *across);
                    picture.holds(x, y)
                };
                let half = half as i64;
                let first = (-half..=half).find(inside).unwrap_or(0);
                let last = (-half..=half).rev().find(inside).unwrap_or(0);
                (first, last)
            })
            .collect();
        let strip = |row: usize, from: i64, step: i64| -> Vec<Colour> {
            let at = |k: usize| {
                let (x, y) = place(row, from + step * k as i64);
                picture.between(x, y)
            };
            (1..=margin).map(at).collect()
        };
        let middle = |strip: &[Colour]| -> Colour {
            std::array::from_fn(|c| {
                median(&mut strip.iter().map(|p| f64::from(p[c])).collect::<Vec<_>>()) as f32
            })
        };
        let margins: Vec<[Vec<Colour>; 2]> = seen
            .iter()
            .enumerate()
            .map(|(row, &(first, last))| [strip(row, first, 1), strip(row, last, -1)])
            .collect();
        let plain: Vec<[Colour; 2]> = margins
            .iter()
            .map(|sides| [middle(&sides[0]), middle(&sides[1])])
            .collect();
        let smooth = |row: usize, side: usize| -> Colour {
            let around = &plain[row.saturating_sub(AROUND)..(row + AROUND + 1).min(rows)];
            middle(&around.iter().map(|sides| sides[side]).collect::<Vec<_>>())
        };
        let wide = 2 * half + 1;
        let mut steps = vec![0.0; rows * wide];
        let mut spread = Vec::new();
        for row in 0..rows {
            let (left, right) = (smooth(row, 0), smooth(row, 1));
            for (side, expected) in [left, right].into_iter().enumerate() {
                spread.extend(
                    margins[row][side]
                        .iter()
                        .step_by(3)
                        .map(|&p| f64::from(distance(p, expected))),
                );
            }
            let (first, last) = seen[row];
            let span = (last - first).max(1) as f32;
            for across in first..=last {
                let share = (across - first) as f32 / span;
                let expected = std::array::from_fn(|c| left[c] + share * (right[c] - left[c]));
                let (x, y) = place(row, across);
                steps[row * wide + (across + half as i64) as usize] =
                    distance(picture.between(x, y), expected);
            }
        }
        Self {
            rows,
            half,
            steps,
            noise: median(&mut spread) as f32,
        }
    }

    /// Steps at a row and a distance to the left (−1) or right (1).
    pub fn at(&self, row: usize, away: usize, side: i64) -> f32 {
        let wide = 2 * self.half + 1;
        self.steps[row * wide + (self.half as i64 + side * away.min(self.half) as i64) as usize]
    }
}
