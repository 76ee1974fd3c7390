//! A small seeded generator, so that every draw can be repeated.

use super::special::normal_quantile;

/// xoshiro256++ (Blackman & Vigna 2021, ACM Trans. Math. Softw. 47:36), its
/// state filled by SplitMix64 as its authors advise.
#[derive(Debug, Clone)]
pub struct Rng {
    state: [u64; 4],
    spare_normal: Option<f64>,
}

/// One step of SplitMix64 (Steele, Lea & Flood 2014).
fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Rng {
    /// The generator that belongs to `seed`.
    pub fn seeded(seed: u64) -> Self {
        let mut s = seed;
        let state = [
            split_mix(&mut s),
            split_mix(&mut s),
            split_mix(&mut s),
            split_mix(&mut s),
        ];
        Rng {
            state,
            spare_normal: None,
        }
    }

    /// An independent generator for one named part of the work, so that adding
    /// a part leaves the draws of the others as they were. The name is hashed
    /// with FNV-1a.
    pub fn for_part(seed: u64, part: &str) -> Self {
        let hash = part.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
            (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
        });
        let mut s = seed;
        Rng::seeded(split_mix(&mut s) ^ hash)
    }

    /// 64 random bits.
    pub fn next_u64(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Uniform on the open interval (0, 1): never 0, so its logarithm is finite.
    pub fn uniform(&mut self) -> f64 {
        ((self.next_u64() >> 12) as f64 + 0.5) * (1.0 / 4_503_599_627_370_496.0)
    }

    /// Uniform between `low` and `high`.
    pub fn uniform_between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// A whole number from 0 to `count` − 1, all equally likely; 0 for `count` 0.
    pub fn index(&mut self, count: usize) -> usize {
        // the high half of a 128-bit product: its bias is below count / 2^64
        ((u128::from(self.next_u64()) * count as u128) >> 64) as usize
    }

    /// The same values in an order of which all are equally likely (Durstenfeld
    /// 1964, algorithm 235).
    pub fn shuffled<T, V: AsMut<[T]>>(&mut self, mut values: V) -> V {
        let slice = values.as_mut();
        for left in (1..slice.len()).rev() {
            slice.swap(left, self.index(left + 1));
        }
        values
    }

    /// Whether an event of the given probability happens.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform() < probability
    }

    /// Standard normal (polar method of Marsaglia & Bray 1964).
    pub fn normal(&mut self) -> f64 {
        if let Some(z) = self.spare_normal.take() {
            return z;
        }
        loop {
            let u = 2.0 * self.uniform() - 1.0;
            let v = 2.0 * self.uniform() - 1.0;
            let s = u * u + v * v;
            if s < 1.0 && s > 0.0 {
                let factor = (-2.0 * s.ln() / s).sqrt();
                self.spare_normal = Some(v * factor);
                return u * factor;
            }
        }
    }

    /// Exponential with mean 1.
    pub fn exponential(&mut self) -> f64 {
        -self.uniform().ln()
    }

    /// Gamma with the given shape (> 0) and scale 1 (Marsaglia & Tsang 2000,
    /// ACM Trans. Math. Softw. 26:363). NaN for a shape that is not positive.
    pub fn gamma(&mut self, shape: f64) -> f64 {
        if shape.is_nan() || shape <= 0.0 {
            return f64::NAN;
        }
        if shape < 1.0 {
            let boost = self.uniform().powf(1.0 / shape);
            return self.gamma(shape + 1.0) * boost;
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.uniform().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }

    /// Student t with `nu` degrees of freedom (> 0), not scaled to unit variance.
    pub fn student_t(&mut self, nu: f64) -> f64 {
        self.normal() / (2.0 * self.gamma(0.5 * nu) / nu).sqrt()
    }

    /// Inverse Gaussian with the given mean and shape (Michael, Schucany & Haas
    /// 1976, Am. Stat. 30:88): first passage of a Wiener process with drift.
    pub fn inverse_gaussian(&mut self, mean: f64, shape: f64) -> f64 {
        let z = self.normal();
        inverse_gaussian(mean, shape, z, self.uniform())
    }
}

/// As [`Rng::inverse_gaussian`], from a standard normal and a uniform draw.
pub fn inverse_gaussian(mean: f64, shape: f64, normal: f64, uniform: f64) -> f64 {
    let y = mean * normal * normal / (2.0 * shape);
    // mean·(1 + y − √(y² + 2y)), written without cancellation
    let root = mean / (1.0 + y + (y * y + 2.0 * y).sqrt());
    if uniform * (mean + root) <= mean {
        root
    } else {
        mean * mean / root
    }
}

/// So many standard normal values, ascending: the middle of each of as many
/// equally likely strata.
pub fn even_normals(count: usize) -> Vec<f64> {
    (0..count)
        .map(|i| normal_quantile((i as f64 + 0.5) / count as f64))
        .collect()
}

/// Standard normal draws for blocks of so many, spread evenly over all of them, in
/// which every second block has the opposite of the one before: whatever goes with
/// the place in a block goes with no draw. `blocks`: an even number.
pub fn mirrored_normals(rng: &mut Rng, blocks: usize, each: usize) -> Vec<f64> {
    let half: Vec<f64> = even_normals(blocks * each)
        .into_iter()
        .take(blocks * each / 2)
        .map(|z| if rng.chance(0.5) { z } else { -z })
        .collect();
    let half = rng.shuffled(half);
    half.chunks(each.max(1))
        .flat_map(|block| {
            let mirrored = block.iter().map(|z| -z);
            block.iter().copied().chain(mirrored)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn split_mix_gives_its_reference_stream() {
        // seed 1234567: the reference stream of the authors' C code (from memory)
        let mut s = 1_234_567;
        let got: Vec<u64> = (0..5).map(|_| split_mix(&mut s)).collect();
        let expected = [
            6457827717110365317,
            3203168211198807973,
            9817491932198370423,
            4593380528125082431,
            16408922859458223821,
        ];
        assert_eq!(got, expected);
    }

    #[test]
    fn generator_gives_its_reference_stream() {
        // state 1, 2, 3, 4: the test vector of the rand_xoshiro crate (from memory)
        let mut rng = Rng {
            state: [1, 2, 3, 4],
            spare_normal: None,
        };
        let got: Vec<u64> = (0..6).map(|_| rng.next_u64()).collect();
        let expected = [
            41943041,
            58720359,
            3588806011781223,
            3591011842654386,
            9228616714210784205,
            9973669472204895162,
        ];
        assert_eq!(got, expected);
    }

    #[test]
    fn same_seed_same_draws_and_parts_differ() {
        let mut a = Rng::for_part(7, "QV-001");
        let mut b = Rng::for_part(7, "QV-001");
        let mut c = Rng::for_part(7, "QV-002");
        let left: Vec<u64> = (0..9).map(|_| a.next_u64()).collect();
        let right: Vec<u64> = (0..9).map(|_| b.next_u64()).collect();
        assert_eq!(left, right);
        assert_ne!(left[0], c.next_u64());
    }

    fn mean_and_variance(mut draw: impl FnMut() -> f64) -> (f64, f64) {
        let n = 200_000;
        let values: Vec<f64> = (0..n).map(|_| draw()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(n);
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / f64::from(n - 1);
        (mean, variance)
    }

    #[test]
    fn draws_have_the_moments_of_their_distribution() {
        let mut rng = Rng::seeded(11);
        let near = |got: (f64, f64), mean: f64, variance: f64| {
            let se = (variance / 200_000.0).sqrt();
            assert!(
                (got.0 - mean).abs() < 4.5 * se,
                "mean {} against {mean}",
                got.0
            );
            assert!(
                (got.1 / variance - 1.0).abs() < 0.05,
                "variance {} against {variance}",
                got.1
            );
        };
        near(mean_and_variance(|| rng.uniform()), 0.5, 1.0 / 12.0);
        near(mean_and_variance(|| rng.normal()), 0.0, 1.0);
        near(mean_and_variance(|| rng.exponential()), 1.0, 1.0);
        near(mean_and_variance(|| rng.gamma(0.4)), 0.4, 0.4);
        near(mean_and_variance(|| rng.gamma(7.5)), 7.5, 7.5);
        near(mean_and_variance(|| rng.student_t(9.0)), 0.0, 9.0 / 7.0);
        near(
            mean_and_variance(|| rng.inverse_gaussian(2.0, 5.0)),
            2.0,
            8.0 / 5.0,
        );
    }

    #[test]
    fn index_reaches_every_place_and_no_other() {
        let mut rng = Rng::seeded(3);
        let mut counts = [0_u32; 5];
        (0..5000).for_each(|_| counts[rng.index(5)] += 1);
        assert!(counts.iter().all(|c| (850..1150).contains(c)), "{counts:?}");
        assert_eq!(rng.index(0), 0);
    }
}
