//! Least squares in one or two unknowns within limits, by Gauss and Newton; the same every time.

/// Rounds before it ends where it is.
const ROUNDS: usize = 40;
/// Halvings of a step that makes things worse.
const HALVINGS: usize = 12;
/// A step this small, in steps of the derivatives, ends the search.
const SMALL: f64 = 1e-3;

/// Steps of the derivatives in either unknown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Steps(pub [f64; 2]);

/// How the residuals move with the unknowns, one row a residual; the second column is 0 if it is fixed.
#[derive(Clone, Debug)]
pub(super) struct Jacobian {
    rows: Vec<[f64; 2]>,
    free: usize,
}

/// Where the search ended.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub at: [f64; 2],
    pub off_cents: Vec<f64>,
    pub jacobian: Jacobian,
}

impl Jacobian {
    /// The derivatives of `off` at `at` in its first `free` unknowns, by central differences.
    pub(super) fn at(
        off: &impl Fn([f64; 2]) -> Option<Vec<f64>>,
        at: [f64; 2],
        steps: Steps,
        free: usize,
    ) -> Option<Self> {
        let mut rows = Vec::new();
        for unknown in 0..free {
            let (mut low, mut high) = (at, at);
            low[unknown] -= steps.0[unknown];
            high[unknown] += steps.0[unknown];
            let (low, high) = (off(low)?, off(high)?);
            rows.resize(low.len(), [0.0; 2]);
            for (row, (low, high)) in rows.iter_mut().zip(low.into_iter().zip(high)) {
                row[unknown] = (high - low) / (2.0 * steps.0[unknown]);
            }
        }
        Some(Self { rows, free })
    }

    /// JᵀJ as its three different entries.
    fn normal(&self) -> [f64; 3] {
        let sum = |i: usize, j: usize| self.rows.iter().map(|r| r[i] * r[j]).sum::<f64>();
        [sum(0, 0), sum(0, 1), sum(1, 1)]
    }

    /// The change of the unknowns that changes the residuals most nearly by `by`; `None` if they say nothing.
    pub(super) fn solve(&self, by: &[f64]) -> Option<[f64; 2]> {
        let [aa, ab, bb] = self.normal();
        let sum = |i: usize| {
            self.rows
                .iter()
                .zip(by)
                .map(|(r, by)| r[i] * by)
                .sum::<f64>()
        };
        let (a, b) = (sum(0), sum(1));
        if self.free == 1 {
            return (aa > 0.0).then(|| [a / aa, 0.0]);
        }
        let determinant = aa * bb - ab * ab;
        // Rounding alone leaves some 1e-12 of the product.
        let solvable = determinant > 1e-9 * aa * bb;
        solvable.then(|| {
            [
                (bb * a - ab * b) / determinant,
                (aa * b - ab * a) / determinant,
            ]
        })
    }

    /// Two independent changes of the unknowns, whose squares add to what residuals that are each off by
    /// `each` do to them: columns of a root of each² (JᵀJ)⁻¹.
    pub(super) fn spread(&self, each: f64) -> Option<[[f64; 2]; 2]> {
        let [aa, ab, bb] = self.normal();
        if aa <= 0.0 {
            return None;
        }
        if self.free == 1 {
            return Some([[each / aa.sqrt(), 0.0], [0.0, 0.0]]);
        }
        let determinant = aa * bb - ab * ab;
        if determinant <= 1e-9 * aa * bb {
            return None;
        }
        // The inverse is [bb, -ab; -ab, aa] / determinant; its Cholesky root by columns.
        let first = (bb / determinant).sqrt();
        let across = -ab / determinant / first;
        let second = (aa / determinant - across * across).max(0.0).sqrt();
        Some([[each * first, each * across], [0.0, each * second]])
    }
}

/// The least sum of squares of `off` near `start` in its first `free` unknowns, within `limits`.
///
/// `None` if `off` has no value at the start, or its derivatives none there.
pub(super) fn least_squares(
    off: &impl Fn([f64; 2]) -> Option<Vec<f64>>,
    start: [f64; 2],
    limits: [[f64; 2]; 2],
    steps: Steps,
    free: usize,
) -> Option<Solved> {
    let within = |at: [f64; 2]| [0, 1].map(|i| at[i].clamp(limits[i][0], limits[i][1]));
    let cost = |off: &[f64]| off.iter().map(|o| o * o).sum::<f64>();
    let mut at = within(start);
    let mut now = off(at)?;
    let mut jacobian = Jacobian::at(off, at, steps, free)?;
    for _ in 0..ROUNDS {
        let Some(step) = jacobian.solve(&now) else {
            break;
        };
        let mut share = 1.0;
        let better = (0..HALVINGS).find_map(|_| {
            let there = within([at[0] - share * step[0], at[1] - share * step[1]]);
            share *= 0.5;
            let then = off(there).filter(|then| cost(then) < cost(&now))?;
            Some((there, then))
        });
        let Some((there, then)) = better else { break };
        let moved = [0, 1].map(|i| ((there[i] - at[i]) / steps.0[i]).abs());
        (at, now) = (there, then);
        if moved.into_iter().all(|m| m < SMALL) {
            break;
        }
        // At the edge of where there is a value: that far and no farther.
        let Some(here) = Jacobian::at(off, at, steps, free) else {
            break;
        };
        jacobian = here;
    }
    Some(Solved {
        at,
        off_cents: now,
        jacobian,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_unknowns_of_a_curved_function_are_found_within_limits() {
        // Residuals ln x - ln 3 and ln(x y) - ln 6, whose zero is x = 3, y = 2.
        let off = |[x, y]: [f64; 2]| {
            (x > 0.0 && y > 0.0).then(|| vec![x.ln() - 3f64.ln(), (x * y).ln() - 6f64.ln()])
        };
        let steps = Steps([1e-4, 1e-4]);
        let free = least_squares(&off, [1.0, 1.0], [[0.1, 10.0]; 2], steps, 2).expect("solvable");
        assert!(
            (free.at[0] - 3.0).abs() < 1e-6 && (free.at[1] - 2.0).abs() < 1e-6,
            "{:?}",
            free.at
        );
        // With y held at 1 the two residuals share what is left: x = 3 √2.
        let held = least_squares(&off, [1.0, 1.0], [[0.1, 10.0]; 2], steps, 1).expect("solvable");
        assert!((held.at[0] - 18f64.sqrt()).abs() < 1e-6, "{:?}", held.at);
    }

    #[test]
    fn the_spread_of_one_unknown_falls_with_the_root_of_the_count() {
        let off = |[x, _]: [f64; 2]| Some(vec![2.0 * x; 9]);
        let jacobian = Jacobian::at(&off, [0.0; 2], Steps([1e-3; 2]), 1).expect("defined");
        let spread = jacobian.spread(20.0).expect("solvable");
        // 20 over √9 over the slope of 2.
        assert!((spread[0][0] - 20.0 / 6.0).abs() < 1e-9);
    }
}
