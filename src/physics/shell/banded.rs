//! Symmetric matrices whose entries lie near the diagonal: what a chain of elements gives.

/// A symmetric matrix of which the diagonal and `below` entries to its left are kept in every row.
#[derive(Clone, Debug)]
pub(super) struct Banded {
    below: usize,
    size: usize,
    /// Row by row, `below + 1` entries each, the diagonal last.
    entries: Vec<f64>,
}

/// The lower Cholesky factor of a [`Banded`] matrix, and the inverse of its diagonal.
#[derive(Clone, Debug)]
pub(super) struct Factor {
    lower: Banded,
    inverse_diagonal: Vec<f64>,
}

impl Banded {
    pub(super) fn zeros(size: usize, below: usize) -> Self {
        Self {
            below,
            size,
            entries: vec![0.0; size * (below + 1)],
        }
    }

    fn at(&self, row: usize, column: usize) -> usize {
        row * (self.below + 1) + self.below + column - row
    }

    /// Adds to an entry of the lower half; the upper half is its mirror image and is left out.
    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        if column <= row {
            let at = self.at(row, column);
            self.entries[at] += value;
        }
    }

    /// Adds a small full matrix whose first row and column stand at `first`.
    pub(super) fn add_block<const N: usize>(&mut self, first: usize, block: &[[f64; N]; N]) {
        for (i, row) in block.iter().enumerate() {
            for (j, value) in row.iter().enumerate().take(i + 1) {
                self.add(first + i, first + j, *value);
            }
        }
    }

    /// Clears a row and its column, and puts `diagonal` where they meet: an unknown that is held.
    pub(super) fn hold(&mut self, index: usize, diagonal: f64) {
        for column in index.saturating_sub(self.below)..index {
            let at = self.at(index, column);
            self.entries[at] = 0.0;
        }
        for row in index + 1..(index + self.below + 1).min(self.size) {
            let at = self.at(row, index);
            self.entries[at] = 0.0;
        }
        let at = self.at(index, index);
        self.entries[at] = diagonal;
    }

    /// The entries of `row` up to the diagonal that lie inside the matrix, and the column of the first.
    fn row(&self, row: usize) -> (&[f64], usize) {
        let width = self.below + 1;
        let outside = self.below.saturating_sub(row);
        let entries = &self.entries[row * width + outside..(row + 1) * width];
        (entries, row + 1 - entries.len())
    }

    /// Adds the product with `vector` to `sum`.
    pub(super) fn multiply_add(&self, vector: &[f64], sum: &mut [f64]) {
        for row in 0..self.size {
            let (entries, first) = self.row(row);
            let (diagonal, left) = entries.split_last().expect("a row has its diagonal");
            let mut product = diagonal * vector[row];
            for (offset, entry) in left.iter().enumerate() {
                product += entry * vector[first + offset];
                sum[first + offset] += entry * vector[row];
            }
            sum[row] += product;
        }
    }

    /// The Cholesky factor; `None` unless the matrix is positive definite.
    pub(super) fn factor(mut self) -> Option<Factor> {
        let mut inverse_diagonal: Vec<f64> = Vec::with_capacity(self.size);
        for i in 0..self.size {
            let first = i.saturating_sub(self.below);
            for j in first..=i {
                let (row_j, first_j) = self.row(j);
                let from = first.max(first_j);
                let (row_i, first_i) = self.row(i);
                let left = &row_i[from - first_i..j - first_i];
                let right = &row_j[from - first_j..j - first_j];
                let product: f64 = left.iter().zip(right).map(|(a, b)| a * b).sum();
                let at = self.at(i, j);
                let rest = self.entries[at] - product;
                if j < i {
                    self.entries[at] = rest * inverse_diagonal[j];
                    continue;
                }
                if rest.is_nan() || rest <= 0.0 {
                    return None;
                }
                self.entries[at] = rest.sqrt();
                inverse_diagonal.push(1.0 / self.entries[at]);
            }
        }
        Some(Factor {
            lower: self,
            inverse_diagonal,
        })
    }
}

impl Factor {
    /// Replaces `vector` by the solution whose right side it was.
    pub(super) fn solve(&self, vector: &mut [f64]) {
        let lower = &self.lower;
        for row in 0..lower.size {
            let (entries, first) = lower.row(row);
            let left = &entries[..entries.len() - 1];
            let product: f64 = left
                .iter()
                .zip(&vector[first..row])
                .map(|(a, b)| a * b)
                .sum();
            vector[row] = (vector[row] - product) * self.inverse_diagonal[row];
        }
        for row in (0..lower.size).rev() {
            let (entries, first) = lower.row(row);
            let solved = vector[row] * self.inverse_diagonal[row];
            vector[row] = solved;
            let left = &entries[..entries.len() - 1];
            for (value, entry) in vector[first..row].iter_mut().zip(left) {
                *value -= entry * solved;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Size 6, two entries below the diagonal, diagonally dominant.
    fn example() -> Banded {
        let mut matrix = Banded::zeros(6, 2);
        for i in 0..6_usize {
            matrix.add(i, i, 4.0 + i as f64);
            for j in i.saturating_sub(2)..i {
                matrix.add(i, j, 0.3 + 0.1 * (i * j) as f64 / 10.0);
            }
        }
        matrix
    }

    #[test]
    fn a_solution_put_back_gives_the_right_side() {
        let matrix = example();
        let right: Vec<f64> = (0..6).map(|i| 1.0 - 0.4 * f64::from(i)).collect();
        let mut solution = right.clone();
        matrix
            .clone()
            .factor()
            .expect("it is positive definite")
            .solve(&mut solution);
        let mut back = vec![0.0; 6];
        matrix.multiply_add(&solution, &mut back);
        for (a, b) in back.iter().zip(&right) {
            assert!((a - b).abs() < 1e-13, "{a} {b}");
        }
    }

    #[test]
    fn a_matrix_with_a_negative_direction_has_no_factor() {
        let mut matrix = example();
        matrix.add(3, 3, -10.0);
        assert!(matrix.factor().is_none());
    }

    #[test]
    fn a_held_unknown_stays_zero() {
        let mut matrix = example();
        matrix.hold(2, 1.0);
        let mut solution = vec![1.0, 1.0, 0.0, 1.0, 1.0, 1.0];
        matrix
            .factor()
            .expect("it is positive definite")
            .solve(&mut solution);
        assert_eq!(solution[2], 0.0);
    }
}
