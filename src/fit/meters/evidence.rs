//! A linear explanation with Gaussian priors, and what one more column would explain.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Rows to be explained, and columns that explain them, each with the variance that its
/// coefficient has before anything is seen (mean 0).
#[derive(Debug, Clone)]
pub struct Explanation {
    y: Vec<f64>,
    /// Inverse variances of the rows.
    pub weight: Vec<f64>,
    columns: Vec<Vec<f64>>,
    prior: Vec<f64>,
}

/// An explanation with its most probable coefficients.
#[derive(Debug)]
pub struct Solved {
    factor: Cholesky<f64, Dyn>,
    pub coefficients: DVector<f64>,
    /// What is left of each row, times its weight.
    left: Vec<f64>,
    /// Columns times weights, row after row.
    weighted: Vec<f64>,
    /// Columns there are.
    wide: usize,
}

/// What a candidate column gathers over some rows.
#[derive(Debug, Clone)]
pub struct Gathered {
    with_left: f64,
    with_itself: f64,
    with_columns: DVector<f64>,
}

impl Explanation {
    /// Rows with their inverse variances, and no column yet.
    pub fn of(y: Vec<f64>, weight: Vec<f64>) -> Explanation {
        Explanation {
            y,
            weight,
            columns: Vec::new(),
            prior: Vec::new(),
        }
    }

    pub fn add_column(&mut self, column: Vec<f64>, prior_variance: f64) {
        self.columns.push(column);
        self.prior.push(prior_variance.max(1e-12));
    }

    pub fn replace_column(&mut self, place: usize, column: Vec<f64>, prior_variance: f64) {
        if let (Some(old), Some(prior)) = (self.columns.get_mut(place), self.prior.get_mut(place)) {
            *old = column;
            *prior = prior_variance.max(1e-12);
        }
    }

    pub fn remove_column(&mut self, place: usize) {
        self.columns.remove(place);
        self.prior.remove(place);
    }

    pub fn wide(&self) -> usize {
        self.columns.len()
    }

    /// `None` where rows are not finite.
    pub fn solve(&self) -> Option<Solved> {
        let (n, k) = (self.y.len(), self.columns.len());
        let mut weighted = vec![0.0; n * k];
        let rows = weighted.chunks_exact_mut(k.max(1)).zip(&self.weight);
        for (i, (row, weight)) in rows.enumerate() {
            for (cell, column) in row.iter_mut().zip(&self.columns) {
                *cell = weight * column.get(i).copied().unwrap_or(0.0);
            }
        }
        let mut normal = DMatrix::zeros(k, k);
        let mut target = DVector::zeros(k);
        for (i, (row, y)) in weighted.chunks_exact(k.max(1)).zip(&self.y).enumerate() {
            for (a, value) in row.iter().enumerate() {
                if *value == 0.0 {
                    continue;
                }
                target[a] += value * y;
                for (b, column) in self.columns.iter().enumerate().take(a + 1) {
                    normal[(a, b)] += value * column.get(i).copied().unwrap_or(0.0);
                }
            }
        }
        for a in 0..k {
            for b in 0..a {
                normal[(b, a)] = normal[(a, b)];
            }
        }
        for (a, prior) in self.prior.iter().enumerate() {
            normal[(a, a)] += 1.0 / prior;
        }
        let factor = Cholesky::new(normal)?;
        let coefficients = factor.solve(&target);
        let left = (0..n)
            .map(|i| {
                let fitted: f64 = self
                    .columns
                    .iter()
                    .zip(coefficients.iter())
                    .map(|(column, c)| column.get(i).copied().unwrap_or(0.0) * c)
                    .sum();
                let y = self.y.get(i).copied().unwrap_or(0.0);
                self.weight.get(i).copied().unwrap_or(0.0) * (y - fitted)
            })
            .collect();
        Some(Solved {
            factor,
            coefficients,
            left,
            weighted,
            wide: k,
        })
    }
}

impl Solved {
    /// What a column of noughts gathers.
    pub fn nothing(&self) -> Gathered {
        Gathered {
            with_left: 0.0,
            with_itself: 0.0,
            with_columns: DVector::zeros(self.wide),
        }
    }

    /// Gives the column a value in a row.
    pub fn add(&self, to: &mut Gathered, weight: &[f64], row: usize, value: f64) {
        if value == 0.0 {
            return;
        }
        to.with_left += value * self.left.get(row).copied().unwrap_or(0.0);
        to.with_itself += value * value * weight.get(row).copied().unwrap_or(0.0);
        let cells = self.weighted.get(row * self.wide..(row + 1) * self.wide);
        for (sum, cell) in to.with_columns.iter_mut().zip(cells.unwrap_or_default()) {
            *sum += value * cell;
        }
    }

    /// `ln` of how many times likelier the rows are once a column is there whose
    /// coefficient has this variance (the Bayes factor of nested Gaussian models).
    pub fn ln_likelier(&self, gathered: &Gathered, variance: f64) -> f64 {
        let mut inner = gathered.with_columns.clone();
        if !self.factor.l_dirty().solve_lower_triangular_mut(&mut inner) {
            return f64::NEG_INFINITY;
        }
        let information = (gathered.with_itself - inner.norm_squared()).max(0.0);
        let spread = 1.0 + variance * information;
        0.5 * (variance * gathered.with_left * gathered.with_left / spread - spread.ln())
    }

    /// Mean and variance of a sum of coefficients, each times its share.
    pub fn sum(&self, shares: &DVector<f64>) -> (f64, f64) {
        let mean = shares.dot(&self.coefficients);
        let variance = shares.dot(&self.factor.solve(shares));
        (mean, variance.max(0.0))
    }
}

impl Gathered {
    /// Of two columns laid on each other, the other one times `share`.
    pub fn plus(&self, other: &Gathered, share: f64) -> Gathered {
        Gathered {
            with_left: self.with_left + share * other.with_left,
            with_itself: self.with_itself + share * share * other.with_itself,
            with_columns: &self.with_columns + &other.with_columns * share,
        }
    }
}
