//! The slowest modes of K x = ω² M x, by Lanczos' method on K⁻¹M.

use nalgebra::{DMatrix, SymmetricEigen};

use super::banded::Factor;

/// Most steps: a chain of some hundred points needs 10 to 20.
const MOST_STEPS: usize = 60;
/// Steps before it is first asked whether the modes are good.
const FIRST_LOOK: usize = 8;
/// What is left of a mode, as a share, where it is good; the frequency then is good to the square of it.
const SMALL: f64 = 1e-5;

/// ω² and shape of the `count` slowest modes, from `start`, a mixture of many; fewer if there are not so many.
///
/// `multiply` gives the product with M. Every new direction is made orthogonal to all before it, twice.
pub(super) fn slowest(
    stiffness: &Factor,
    multiply: impl Fn(&[f64], &mut Vec<f64>),
    start: Vec<f64>,
    count: usize,
) -> Option<Vec<(f64, Vec<f64>)>> {
    let mut directions: Vec<Vec<f64>> = Vec::new();
    let mut moved: Vec<Vec<f64>> = Vec::new();
    let (mut diagonal, mut beside) = (Vec::new(), Vec::new());
    let (mut next, mut next_moved) = (start, Vec::new());
    multiply(&next, &mut next_moved);
    let mut norm = dot(&next, &next_moved).sqrt();
    if norm.is_nan() || norm <= 0.0 {
        return None;
    }
    loop {
        next.iter_mut().for_each(|x| *x /= norm);
        next_moved.iter_mut().for_each(|x| *x /= norm);
        directions.push(next);
        moved.push(next_moved);
        let newest = directions.len() - 1;
        next = moved[newest].clone();
        stiffness.solve(&mut next);
        diagonal.push(dot(&next, &moved[newest]));
        for _ in 0..2 {
            for (direction, moved) in directions.iter().zip(&moved) {
                let share = dot(&next, moved);
                for (x, d) in next.iter_mut().zip(direction) {
                    *x -= share * d;
                }
            }
        }
        next_moved = Vec::new();
        multiply(&next, &mut next_moved);
        norm = dot(&next, &next_moved).max(0.0).sqrt();
        let steps = directions.len();
        let exhausted = norm <= 1e-14 * diagonal[0] || steps == MOST_STEPS;
        if exhausted || (steps >= FIRST_LOOK && steps.is_multiple_of(2)) {
            let (values, shapes) = projected(&diagonal, &beside);
            let left = |i: usize| norm * shapes[(steps - 1, i)].abs() / values[i];
            if exhausted || (0..count.min(steps)).all(|i| left(i) < SMALL) {
                return Some(combined(&directions, &values, &shapes, count));
            }
        }
        beside.push(norm);
    }
}

/// Values of the small matrix, largest first, and its vectors in that order.
fn projected(diagonal: &[f64], beside: &[f64]) -> (Vec<f64>, DMatrix<f64>) {
    let size = diagonal.len();
    let small = DMatrix::from_fn(size, size, |i, j| match i.abs_diff(j) {
        0 => diagonal[i],
        1 => beside[i.min(j)],
        _ => 0.0,
    });
    let solved = SymmetricEigen::new(small);
    let mut order: Vec<usize> = (0..size).collect();
    order.sort_by(|&a, &b| solved.eigenvalues[b].total_cmp(&solved.eigenvalues[a]));
    let values = order.iter().map(|&i| solved.eigenvalues[i]).collect();
    let vectors = DMatrix::from_fn(size, size, |i, j| solved.eigenvectors[(i, order[j])]);
    (values, vectors)
}

fn combined(
    directions: &[Vec<f64>],
    values: &[f64],
    shapes: &DMatrix<f64>,
    count: usize,
) -> Vec<(f64, Vec<f64>)> {
    let mode = |index: usize| {
        let mut shape = vec![0.0; directions[0].len()];
        for (step, direction) in directions.iter().enumerate() {
            let share = shapes[(step, index)];
            for (x, d) in shape.iter_mut().zip(direction) {
                *x += share * d;
            }
        }
        (1.0 / values[index], shape)
    };
    (0..count.min(values.len()))
        .filter(|&i| values[i] > 0.0)
        .map(mode)
        .collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
