//! The normal distribution, far tails included.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// P(Z ≤ z).
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// P(Z > z), exact in the upper tail.
pub fn normal_sf(z: f64) -> f64 {
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// Mills' ratio, upper tail over density, for z ≥ 5: Laplace's continued fraction.
fn mills_ratio(z: f64) -> f64 {
    let mut tail = z;
    for k in (1..=60).rev() {
        tail = z + f64::from(k) / tail;
    }
    1.0 / tail
}

/// ln P(Z > z), finite for every finite `z`.
pub fn ln_normal_sf(z: f64) -> f64 {
    if z > 5.0 {
        mills_ratio(z).ln() - 0.5 * z * z - 0.5 * (2.0 * PI).ln()
    } else if z < -1.0 {
        (-normal_cdf(z)).ln_1p()
    } else {
        normal_sf(z).ln()
    }
}

/// ln P(Z ≤ z), finite for every finite `z`.
pub fn ln_normal_cdf(z: f64) -> f64 {
    ln_normal_sf(-z)
}

fn ratio(x: f64, upper: &[f64; 8], lower: &[f64; 7]) -> f64 {
    let horner = |c: &[f64]| c.iter().rev().fold(0.0, |acc, c| acc * x + c);
    horner(upper) / (1.0 + x * horner(lower))
}

/// The value below which a standard normal falls with probability `p`.
///
/// −∞ and ∞ at 0 and 1, NaN outside.
///
/// # Source
/// Wichura 1988, algorithm AS 241, Applied Statistics 37:477.
pub fn normal_quantile(p: f64) -> f64 {
    if p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 {
            f64::NEG_INFINITY
        } else {
            f64::INFINITY
        };
    }
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return q * ratio(0.180625 - q * q, &CENTRE_UPPER, &CENTRE_LOWER);
    }
    let r = (-p.min(1.0 - p).ln()).sqrt();
    let z = if r <= 5.0 {
        ratio(r - 1.6, &TAIL_UPPER, &TAIL_LOWER)
    } else {
        ratio(r - 5.0, &FAR_UPPER, &FAR_LOWER)
    };
    if q < 0.0 { -z } else { z }
}

const CENTRE_UPPER: [f64; 8] = [
    3.387_132_872_796_366_6,
    1.331_416_678_917_843_8e2,
    1.971_590_950_306_551_4e3,
    1.373_169_376_550_946e4,
    4.592_195_393_154_987e4,
    6.726_577_092_700_87e4,
    3.343_057_558_358_813e4,
    2.509_080_928_730_122_7e3,
];
const CENTRE_LOWER: [f64; 7] = [
    4.231_333_070_160_091e1,
    6.871_870_074_920_579e2,
    5.394_196_021_424_751e3,
    2.121_379_430_158_659_7e4,
    3.930_789_580_009_271e4,
    2.872_908_573_572_194_3e4,
    5.226_495_278_852_854e3,
];
const TAIL_UPPER: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    2.417_807_251_774_506e-1,
    2.272_384_498_926_918_4e-2,
    7.745_450_142_783_414e-4,
];
const TAIL_LOWER: [f64; 7] = [
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    6.897_673_349_851e-1,
    1.481_039_764_274_800_8e-1,
    1.519_866_656_361_645_7e-2,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const FAR_UPPER: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    2.965_605_718_285_048_7e-1,
    2.653_218_952_657_612_4e-2,
    1.242_660_947_388_078_4e-3,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288_1e-7,
];
const FAR_LOWER: [f64; 7] = [
    5.998_322_065_558_88e-1,
    1.369_298_809_227_358e-1,
    1.487_536_129_085_061_5e-2,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_8e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];
