//! When replacing is cheapest: the cheapest age from simulated cycles.
//!
//! # Source
//! Barlow & Proschan 1965, Mathematical Theory of Reliability, chapter 4.2 (age
//! replacement, running cost).

use crate::stats::error::{StatsError, check_finite, check_length};

/// Sums over simulated cycles, for every candidate age of planned replacement.
///
/// By the renewal-reward theorem the long-run cost rate is mean cost over mean
/// length of a cycle (Ross 1996, Stochastic Processes, theorem 3.6.1).
#[derive(Debug, Clone)]
pub struct PathCosts {
    ages: Vec<f64>,
    paths: usize,
    /// Σc, Σl of the cycles' costs c and lengths l, by age.
    sums: Vec<[f64; 2]>,
}

/// The cheapest of the candidate ages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheapestAge {
    /// Position among the candidates.
    pub index: usize,
    /// Its age, moved between the neighbours to the lowest point of the parabola
    /// through the three.
    pub age: f64,
    pub cost_rate: f64,
}

impl PathCosts {
    /// From the sums of cost and length over so many cycles at each age.
    ///
    /// # Errors
    /// No ages, ages that are not positive and ascending, or not as many sums as
    /// ages.
    pub fn of_sums(
        ages: &[f64],
        paths: usize,
        sums: impl ExactSizeIterator<Item = (f64, f64)>,
    ) -> Result<Self, StatsError> {
        check_length("sums", ages.len(), sums.len())?;
        check_finite("candidate ages", ages)?;
        if ages.is_empty() {
            return Err(StatsError::TooFew {
                what: "candidate ages",
                needed: 1,
                found: 0,
            });
        }
        let before = std::iter::once(&0.0).chain(ages);
        if let Some((_, &value)) = before.zip(ages).find(|(a, b)| a >= b) {
            let allowed = "positive and above the one before";
            return Err(StatsError::OutOfRange {
                what: "candidate age",
                value,
                allowed,
            });
        }
        Ok(PathCosts {
            ages: ages.to_vec(),
            paths,
            sums: sums.map(|(cost, length)| [cost, length]).collect(),
        })
    }

    /// Long-run cost per unit of length, by age.
    pub fn cost_rates(&self) -> Vec<f64> {
        self.sums.iter().map(|s| s[0] / s[1]).collect()
    }

    /// Mean length of a cycle, by age.
    pub fn mean_lengths(&self) -> Vec<f64> {
        let n = self.paths.max(1) as f64;
        self.sums.iter().map(|s| s[1] / n).collect()
    }

    /// Mean cost less what the mean length would cost at `rate`, by age: what
    /// following each age costs over going on at `rate` at once.
    pub fn excess_over(&self, rate: f64) -> Vec<f64> {
        let n = self.paths.max(1) as f64;
        self.sums.iter().map(|s| (s[0] - rate * s[1]) / n).collect()
    }

    /// How much longer an item in use should stay, where the paths are its
    /// futures (without the price of the replacement) and everything after it
    /// costs `rate`: 0 where going on pays at no age.
    ///
    /// By the renewal argument the best age of a new item is where its excess over
    /// its own lowest cost rate is least (Dinkelbach 1967, Management Science
    /// 13:492).
    pub fn cheapest_wait(&self, rate: f64) -> f64 {
        let excess = self.excess_over(rate);
        let best = (0..excess.len()).min_by(|a, b| excess[*a].total_cmp(&excess[*b]));
        match best {
            Some(i) if excess[i] < 0.0 => self.ages[i],
            _ => 0.0,
        }
    }

    /// The candidate with the lowest cost rate; the lower age of equals.
    ///
    /// # Errors
    /// No path, or costs or lengths that give no finite rate.
    pub fn cheapest(&self) -> Result<CheapestAge, StatsError> {
        if self.paths == 0 {
            return Err(StatsError::TooFew {
                what: "simulated paths",
                needed: 1,
                found: 0,
            });
        }
        let rates = self.cost_rates();
        check_finite("cost rates", &rates)?;
        let index = (0..rates.len())
            .min_by(|a, b| rates[*a].total_cmp(&rates[*b]))
            .unwrap_or(0);
        let mut age = self.ages[index];
        if index > 0 && index + 1 < rates.len() {
            let (x0, x2) = (self.ages[index - 1] - age, self.ages[index + 1] - age);
            let (d0, d2) = (
                (rates[index - 1] - rates[index]) / x0,
                (rates[index + 1] - rates[index]) / x2,
            );
            // d0 ≤ 0 ≤ d2: the parabola's slope passes 0 between the midpoints
            if d2 > d0 {
                age += (0.5 * (x0 * d2 - x2 * d0) / (d2 - d0)).clamp(0.5 * x0, 0.5 * x2);
            }
        }
        Ok(CheapestAge {
            index,
            age,
            cost_rate: rates[index],
        })
    }
}

#[cfg(test)]
mod tests;
