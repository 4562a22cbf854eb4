//! Lip and base: circles that are seen as arcs.

use super::picture::Picture;
use super::plane::distance;
use super::ridges::Frame;
use super::sides::Edge;

/// Share of the widest near the table over which a base is looked for: a heel is rounded.
const HEEL: f64 = 0.9;
/// Where it is looked whether a level line runs on beyond both sides, as shares of half the width: a table's edge is no base.
const BEYOND: [f64; 2] = [1.3, 1.6];
/// Less than this of it is noise, steps.
const NOISE: f64 = 10.0;
/// Depths at which an arc is nearly as strong as the best are as likely.
const AS_LIKELY: f64 = 0.85;

/// The arc of a lip or a base: `apex ∓ depth (1 − √(1 − (x/half)²))`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arc {
    pub apex: f64,
    pub depth: f64,
    pub half: f64,
    /// How sure the depth is.
    pub depth_spread: f64,
    /// Mean gradient along it, steps.
    pub strength: f64,
}

impl Arc {
    /// Whether an edge belongs to the arc and not to a side.
    pub fn runs_through(&self, edge: &Edge, outwards: f64, ratio: f64) -> bool {
        let x = (edge.across / self.half).clamp(0.0, 1.0);
        let along = self.apex - outwards * self.depth * (1.0 - (1.0 - x * x).sqrt());
        x < 0.97 && outwards * (edge.along - along) > -1.5 * ratio.max(1.0)
    }

    /// The outermost arc near an end, outwards being −1 at the lip and 1 at the base.
    pub fn find(
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
        let columns: Vec<f64> = (-16..=16).map(|k| f64::from(k) / 20.0).collect();
        let gradient = |x: f64, along: f64| {
            let tap = |by: f64| {
                let (px, py) = frame.place(along + by, x * half);
                picture.fine.between(px, py)
            };
            f64::from(distance(tap(-1.0), tap(1.0))).min(40.0)
        };
        let reach = (8.0 * ratio).max(0.35 * half).min(0.6 * half + 8.0 * ratio);
        // What runs on at each height beyond both sides.
        let first = end - 2.0 * reach - 0.5 * half - 8.0 * ratio;
        let rows_of_it = (2.0 * (end - first)) as usize;
        let runs_on: Vec<f64> = (0..=rows_of_it)
            .map(|row| {
                let along = first + row as f64;
                let side = |by: f64| BEYOND.map(|x| gradient(by * x, along)).iter().sum::<f64>();
                (0.5 * side(-1.0).min(side(1.0)) - NOISE).max(0.0)
            })
            .collect();
        let of_its_own = |x: f64, along: f64| {
            let row = ((along - first).round().max(0.0) as usize).min(rows_of_it);
            (gradient(x, along) - runs_on[row]).max(0.0)
        };
        let mean = |apex: f64, depth: f64| {
            let along = |x: f64| apex - outwards * depth * (1.0 - (1.0 - x * x).sqrt());
            let strengths: Vec<f64> = columns.iter().map(|&x| of_its_own(x, along(x))).collect();
            strengths.iter().sum::<f64>() / columns.len() as f64
        };
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
        let step = (0.02 * half).max(0.5);
        let likely = |by: &i32| {
            let depth = depth + f64::from(*by) * step;
            // Where the arc bends more its apex lies further out.
            let apexes = (-8..=8).map(|k| apex + 0.5 * f64::from(k));
            depth >= 0.0
                && apexes.fold(0.0, |most: f64, apex| most.max(mean(apex, depth)))
                    > AS_LIKELY * strength
        };
        let (more, less) = (
            (1..12).take_while(likely),
            (1..12).map(|by| -by).take_while(likely),
        );
        Self {
            apex,
            depth,
            half,
            depth_spread: 0.5 * step * (more.count() + less.count()).max(1) as f64,
            strength,
        }
    }
}
