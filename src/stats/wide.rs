//! Elementary functions for plain loops over many numbers.
//!
//! They have no branches, so that the compiler computes several values at a
//! time, and [`widest`] lets a loop use the widest registers of the machine it
//! runs on. Every value comes out the same, bit for bit, whatever the width:
//! nothing is fused, nothing is summed in another order.

use std::f64::consts::{FRAC_1_SQRT_2, LOG2_E};

/// Numbers side by side.
pub const LANES: usize = 8;
pub type Lanes = [f64; LANES];

/// A number for each lane, worked out into memory of its own: only so can the
/// compiler tell that no lane hangs on another.
macro_rules! lanes {
    ($lane:ident => $value:expr) => {{
        let mut out = [0.0; $crate::stats::wide::LANES];
        for $lane in 0..$crate::stats::wide::LANES {
            out[$lane] = $value;
        }
        out
    }};
}
pub(crate) use lanes;

/// Loops over many numbers, with all that they need.
pub trait Loops {
    type Output;
    /// Has to be marked `#[inline(always)]`, as all that it calls in its loops:
    /// only then is it compiled anew for each width.
    fn run(self) -> Self::Output;
}

/// Runs loops with the widest registers there are.
#[inline]
pub fn widest<L: Loops>(loops: L) -> L::Output {
    pulp::Arch::new().dispatch(Call(loops))
}

struct Call<L>(L);

impl<L: Loops> pulp::NullaryFnOnce for Call<L> {
    type Output = L::Output;

    #[inline(always)]
    fn call(self) -> L::Output {
        self.0.run()
    }
}

/// 1.5·2⁵²: a number added to it is rounded to a whole one, which then stands in
/// the lowest bits.
const TO_WHOLE: f64 = 6_755_399_441_055_744.0;
/// `ln 2` in two parts, the first with zeros at its end.
const LN_2_HIGH: f64 = 6.931_471_803_691_238e-1;
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;

/// `e^x` to 1e-15; what would be below 1e-307 or above 1e307 stays there.
#[inline(always)]
pub fn exp(x: f64) -> f64 {
    let x = if x < -707.0 { -707.0 } else { x };
    let x = if x > 707.0 { 707.0 } else { x };
    // x = k·ln 2 + r, and a Taylor polynomial for |r| ≤ ln 2 / 2.
    let shifted = x * LOG2_E + TO_WHOLE;
    let k = shifted - TO_WHOLE;
    let r = (x - k * LN_2_HIGH) - k * LN_2_LOW;
    let r2 = r * r;
    let r4 = r2 * r2;
    let a = (1.0 + r) + (0.5 + r * (1.0 / 6.0)) * r2;
    let b = (1.0 / 24.0 + r * (1.0 / 120.0)) + (1.0 / 720.0 + r * (1.0 / 5_040.0)) * r2;
    let c = (1.0 / 40_320.0 + r * (1.0 / 362_880.0))
        + (1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0)) * r2;
    let series = a + b * r4 + (c + (1.0 / 479_001_600.0) * r4) * (r4 * r4);
    series * f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52)
}

/// `ln x` to 1e-15 for `x` above 1e-307 and finite; no meaning elsewhere.
///
/// # Source
/// The coefficients of the minimax polynomial are those of fdlibm's `e_log.c`
/// (from memory, held against the standard library).
#[inline(always)]
pub fn ln(x: f64) -> f64 {
    const ROOT_HALF_BITS: u64 = 0x3fe6_a09e_667f_3bcd;
    // x = 2^k·m with m between √½ and √2.
    let above = x.to_bits().wrapping_sub(ROOT_HALF_BITS);
    let m = f64::from_bits(x.to_bits().wrapping_sub(above & 0xfff0_0000_0000_0000));
    let whole = ((above as i64) >> 52) as u64;
    let k = f64::from_bits(TO_WHOLE.to_bits().wrapping_add(whole)) - TO_WHOLE;
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let odd = w
        * (3.999_999_999_940_942e-1
            + w * (2.222_219_843_214_978_4e-1 + w * 1.531_383_769_920_937_3e-1));
    let even = z
        * (6.666_666_666_666_735e-1
            + w * (2.857_142_874_366_239e-1
                + w * (1.818_357_216_161_805e-1 + w * 1.479_819_860_511_658_6e-1)));
    let half = 0.5 * f * f;
    k * LN_2_HIGH - ((half - (s * (half + (odd + even)) + k * LN_2_LOW)) - f)
}

/// `e^(x²)·erfc(x)` for two `x ≥ 0`, to 1e-14, with one division for both.
#[inline(always)]
fn scaled_erfcs(a: f64, b: f64) -> (f64, f64) {
    // As far away as the product of all bears.
    let b = if b < 1e60 { b } else { 1e60 };
    let a = if a < 1e60 { a } else { 1e60 };
    let (a_above, a_twice) = (a + 3.5, 1.0 + 2.0 * a);
    let (b_above, b_twice) = (b + 3.5, 1.0 + 2.0 * b);
    let (a_both, b_both) = (a_above * a_twice, b_above * b_twice);
    let part = 1.0 / (a_both * b_both);
    let (a_part, b_part) = (b_both * part, a_both * part);
    (
        scaled_erfc_series((a - 3.5) * (a_twice * a_part)) * (a_above * a_part),
        scaled_erfc_series((b - 3.5) * (b_twice * b_part)) * (b_above * b_part),
    )
}

/// `(1 + 2x)·e^(x²)·erfc(x)` at `t = (x − 3.5)/(x + 3.5)`.
///
/// # Source
/// Own Chebyshev fit.
#[inline(always)]
fn scaled_erfc_series(t: f64) -> f64 {
    let t2 = t * t;
    let t4 = t2 * t2;
    let t8 = t4 * t4;
    let four = |a: f64, b: f64, c: f64, d: f64| (a + b * t) + (c + d * t) * t2;
    let low = four(
        1.242_349_244_871_154_4,
        -0.140_009_180_137_764_73,
        -0.010_555_596_332_228_639,
        0.097_519_095_164_015_4,
    ) + t4
        * four(
            -0.115_089_598_159_751_95,
            0.087_983_153_589_829_76,
            -0.048_823_325_835_233_47,
            0.019_099_333_303_679_068,
        );
    let middle = four(
        -0.004_215_019_844_978_531,
        -0.000_302_280_964_600_178_36,
        0.000_564_384_104_490_785_2,
        -0.000_121_468_602_912_192_47,
    ) + t4
        * four(
            -4.278_126_758_215_800_6e-5,
            2.416_834_525_691_816e-5,
            2.326_448_490_538_066_5e-6,
            -3.689_685_583_487_931e-6,
        );
    let high = four(
        -4.203_341_809_387_559_4e-8,
        4.958_400_678_460_463e-7,
        -9.400_597_527_840_396e-9,
        -4.330_423_845_106_11e-8,
    ) + t4 * 9.974_108_937_015_176e-10;
    low + t8 * (middle + t8 * high)
}

/// P(Z ≤ z) and the tail beyond `far` (not negative) as it would be if its density
/// were that at `z`, together.
#[inline(always)]
pub fn normal_cdf_and_tail(z: f64, far: f64) -> f64 {
    let density = 0.5 * exp(-0.5 * z * z);
    let (near, beyond) = scaled_erfcs(z.abs() * FRAC_1_SQRT_2, far * FRAC_1_SQRT_2);
    let (near, beyond) = (near * density, beyond * density);
    (if z > 0.0 { 1.0 - near } else { near }) + beyond
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worst(from: f64, to: f64, ours: impl Fn(f64) -> f64, theirs: impl Fn(f64) -> f64) -> f64 {
        let n = 20_001;
        (0..n)
            .map(|i| from + (to - from) * f64::from(i) / f64::from(n))
            .map(|x| (ours(x) - theirs(x)).abs() / theirs(x).abs().max(1e-300))
            .fold(0.0, f64::max)
    }

    #[test]
    fn exp_and_ln_are_those_of_the_standard_library() {
        assert!(worst(-706.0, 706.0, exp, f64::exp) < 2e-15);
        assert!(worst(-1.0, 1.0, exp, f64::exp) < 1e-15);
        assert!(worst(1e-3, 0.99, ln, f64::ln) < 1e-15);
        assert!(worst(1.01, 1e6, ln, f64::ln) < 1e-15);
        assert!(worst(-600.0, 600.0, |x| ln(exp(x)), |x| x) < 1e-12);
        assert_eq!((exp(0.0), ln(1.0)), (1.0, 0.0));
        assert!(exp(-1e9) < 1e-300 && exp(1e9) > 1e300 && exp(f64::NAN).is_nan());
    }

    #[test]
    fn normal_probabilities_are_those_of_the_exact_functions() {
        use crate::stats::special;
        // So far away there is no tail.
        let cdf = |z: f64| normal_cdf_and_tail(z, 1e50);
        assert!(worst(-37.0, 9.0, cdf, special::normal_cdf) < 1e-12);
        // Both tails together are the whole where they meet.
        let whole = normal_cdf_and_tail(1.5, 1.5);
        assert!((whole - 1.0).abs() < 1e-12, "{whole}");
    }

    struct All<'a, F>(&'a mut [f64], F);

    impl<F: Fn(f64) -> f64> Loops for All<'_, F> {
        type Output = ();

        #[inline(always)]
        fn run(self) {
            self.0.iter_mut().for_each(|x| *x = (self.1)(*x));
        }
    }

    #[test]
    fn the_width_changes_no_bit() {
        let values: Vec<f64> = (0..1003).map(|i| f64::from(i) * 0.013 - 6.0).collect();
        let one = |f: fn(f64) -> f64| -> Vec<f64> {
            values.iter().map(|&x| f(std::hint::black_box(x))).collect()
        };
        let mut wide = values.clone();
        widest(All(&mut wide, exp));
        assert_eq!(wide, one(exp));
        wide.copy_from_slice(&values);
        let cdf: fn(f64) -> f64 = |z| normal_cdf_and_tail(z, 2.0);
        widest(All(&mut wide, cdf));
        assert_eq!(wide, one(cdf));
    }
}
