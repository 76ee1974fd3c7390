//! A few normal variables taken together: the whole covariance, factored once.

/// A covariance of a few variables as its lower factor, row by row.
#[derive(Debug, Clone, Default)]
pub struct Factor {
    n: usize,
    lower: Vec<f64>,
}

impl Factor {
    /// Factors a covariance given row by row, of which the lower half is read; `None`
    /// where it is none.
    pub fn of(covariance: &[f64], n: usize) -> Option<Factor> {
        let mut lower = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let mut sum = *covariance.get(i * n + j)?;
                let (row_i, row_j) = (lower.get(i * n..i * n + j)?, lower.get(j * n..j * n + j)?);
                for (a, b) in row_i.iter().zip(row_j) {
                    sum -= a * b;
                }
                let value = if i == j {
                    if sum <= 0.0 || sum.is_nan() {
                        return None;
                    }
                    sum.sqrt()
                } else {
                    sum / lower.get(j * n + j)?
                };
                *lower.get_mut(i * n + j)? = value;
            }
        }
        Some(Factor { n, lower })
    }

    fn row(&self, i: usize) -> &[f64] {
        self.lower.get(i * self.n..(i + 1) * self.n).unwrap_or(&[])
    }

    /// `L⁻¹ b` in place: the variables made independent.
    pub fn whiten(&self, b: &mut [f64]) {
        for i in 0..self.n.min(b.len()) {
            let row = self.row(i);
            let (before, rest) = b.split_at_mut(i);
            let sum: f64 = row.iter().zip(before.iter()).map(|(l, x)| l * x).sum();
            if let (Some(x), Some(d)) = (rest.first_mut(), row.get(i)) {
                *x = (*x - sum) / d;
            }
        }
    }

    /// `covariance⁻¹ b` in place.
    pub fn solve(&self, b: &mut [f64]) {
        self.whiten(b);
        for i in (0..self.n.min(b.len())).rev() {
            let row = self.row(i);
            let (before, rest) = b.split_at_mut(i);
            if let (Some(x), Some(d)) = (rest.first_mut(), row.get(i)) {
                *x /= d;
                for (y, l) in before.iter_mut().zip(row) {
                    *y -= l * *x;
                }
            }
        }
    }

    /// `ln` of the determinant of the covariance.
    pub fn ln_determinant(&self) -> f64 {
        let diagonal = (0..self.n).filter_map(|i| self.row(i).get(i));
        2.0 * diagonal.map(|d| d.ln()).sum::<f64>()
    }

    /// Columns of the inverse, which is symmetric.
    pub fn inverse(&self) -> Vec<f64> {
        let mut inverse = vec![0.0; self.n * self.n];
        for (i, column) in inverse.chunks_mut(self.n.max(1)).enumerate() {
            if let Some(x) = column.get_mut(i) {
                *x = 1.0;
            }
            self.solve(column);
        }
        inverse
    }

    /// The diagonal of the inverse.
    pub fn inverse_diagonal(&self) -> Vec<f64> {
        let mut column = vec![0.0; self.n];
        (0..self.n)
            .map(|i| {
                // A column of L⁻¹, which is 0 above its own place.
                let mut sum = 0.0;
                for j in i..self.n {
                    let row = self.row(j);
                    let within = row.get(i..j).unwrap_or(&[]);
                    let known = column.get(i..j).unwrap_or(&[]);
                    let one = if i == j { 1.0 } else { 0.0 };
                    let x = (one - dot(within, known)) / row.get(j).copied().unwrap_or(1.0);
                    if let Some(slot) = column.get_mut(j) {
                        *slot = x;
                    }
                    sum += x * x;
                }
                sum
            })
            .collect()
    }

    /// A draw with this covariance about 0, from as many standard normal ones.
    pub fn colour(&self, z: &[f64]) -> Vec<f64> {
        (0..self.n)
            .map(|i| self.row(i).iter().zip(z).map(|(l, z)| l * z).sum())
            .collect()
    }
}

/// Scalar product.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
#[allow(clippy::indexing_slicing)]
mod tests {
    use super::*;

    /// `numpy.linalg` (numpy 2.4.6).
    #[test]
    fn three_variables_by_numpy() {
        let covariance = [4.0, 2.0, 0.6, 2.0, 3.0, 0.4, 0.6, 0.4, 1.0];
        let factor = Factor::of(&covariance, 3).unwrap_or_default();
        let mut solved = vec![1.0, -2.0, 0.5];
        factor.solve(&mut solved);
        let expected = [0.809_392_27, -1.276_243_09, 0.524_861_88];
        for (got, expected) in solved.iter().zip(expected) {
            assert!((got - expected).abs() < 1e-8, "{got}");
        }
        assert!((factor.ln_determinant() - 1.979_621_206_397_624_8).abs() < 1e-12);
        let inverse = factor.inverse();
        for i in 0..3 {
            for j in 0..3 {
                let row = covariance.get(3 * i..3 * i + 3).unwrap_or(&[]);
                let column = inverse.get(3 * j..3 * j + 3).unwrap_or(&[]);
                let one = if i == j { 1.0 } else { 0.0 };
                assert!((dot(row, column) - one).abs() < 1e-12);
            }
            let diagonal = factor.inverse_diagonal();
            assert!((diagonal[i] - inverse[4 * i]).abs() < 1e-12);
        }
        assert!(Factor::of(&[1.0, 2.0, 2.0, 1.0], 2).is_none());
    }
}
