//! Newton's method kept inside a bracket, for distribution functions.

/// The `x` in (`low`, `high`) at which the increasing function `excess` is zero.
///
/// `excess` gives value and derivative. Steps that leave the bracket, or shrink
/// too little, are replaced by bisection, so it always ends.
pub(super) fn increasing_root(
    excess: impl Fn(f64) -> (f64, f64),
    start: f64,
    mut low: f64,
    mut high: f64,
) -> f64 {
    let mut x = start.clamp(low, high);
    let mut last_move = f64::INFINITY;
    for _ in 0..2000 {
        let (value, slope) = excess(x);
        if value == 0.0 || value.is_nan() {
            return if value == 0.0 { x } else { f64::NAN };
        }
        if value < 0.0 {
            low = x
        } else {
            high = x
        }
        let newton = x - value / slope;
        let inside = newton > low && newton < high && (newton - x).abs() < 0.5 * last_move;
        let next = if inside { newton } else { 0.5 * (low + high) };
        last_move = (next - x).abs();
        x = next;
        if last_move <= 1e-16 * x.abs() || last_move == 0.0 {
            break;
        }
    }
    x
}

/// As [`increasing_root`] for a positive `x` of unknown size: the bracket grows
/// by doubling and halving from `start`.
pub(super) fn positive_root(excess: impl Fn(f64) -> (f64, f64), start: f64) -> f64 {
    let start = if start.is_finite() && start > 1e-280 {
        start
    } else {
        1e-280
    };
    let (mut low, mut high) = (start, start);
    let mut factor = 2.0;
    while excess(low).0 > 0.0 && low > 1e-300 {
        low /= factor;
        factor *= 2.0;
    }
    factor = 2.0;
    while excess(high).0 < 0.0 && high < 1e300 {
        high *= factor;
        factor *= 2.0;
    }
    increasing_root(excess, start, low, high)
}
