//! The downhill simplex, for getting near a minimum without derivatives.

use super::{Minimum, Stop};

struct Vertex {
    x: Vec<f64>,
    value: f64,
}

/// The point `t` of the way from `from` to `to`.
fn between(from: &[f64], to: &[f64], t: f64) -> Vec<f64> {
    from.iter().zip(to).map(|(a, b)| a + t * (b - a)).collect()
}

/// Nelder & Mead 1965 with the adaptive coefficients of Gao & Han 2012,
/// Comput. Optim. Appl. 51:259.
///
/// `steps` spans the first simplex, one length a variable. A value that is not
/// a number counts as infinitely bad. Ends when the simplex's values differ by
/// no more than `tolerance`, or after about `limit` evaluations.
pub fn nelder_mead(
    mut f: impl FnMut(&[f64]) -> f64,
    start: &[f64],
    steps: &[f64],
    tolerance: f64,
    limit: usize,
) -> Minimum {
    let n = start.len();
    let mut evaluations = 0;
    let mut vertex = |x: Vec<f64>| {
        evaluations += 1;
        let value = f(&x);
        (
            Vertex {
                value: if value.is_nan() { f64::INFINITY } else { value },
                x,
            },
            evaluations,
        )
    };
    let mut simplex = vec![vertex(start.to_vec()).0];
    for (j, step) in steps.iter().enumerate().take(n) {
        let mut x = start.to_vec();
        x[j] += step;
        simplex.push(vertex(x).0);
    }
    let dims = (n as f64).max(2.0);
    let (expand, contract, shrink) = (1.0 + 2.0 / dims, 0.75 - 0.5 / dims, 1.0 - 1.0 / dims);
    let mut used = 0;
    let mut stop = Stop::IterationLimit;
    while used < limit {
        simplex.sort_by(|a, b| a.value.total_cmp(&b.value));
        let (best, worst) = (simplex[0].value, simplex[simplex.len() - 1].value);
        if n == 0 || worst - best <= tolerance {
            stop = Stop::StepSmall;
            break;
        }
        let centre: Vec<f64> = (0..n)
            .map(|j| simplex[..n].iter().map(|v| v.x[j]).sum::<f64>() / n as f64)
            .collect();
        let far_corner = simplex[n].x.clone();
        let (reflected, count) = vertex(between(&centre, &far_corner, -1.0));
        used = count;
        let replacement = if reflected.value < best {
            let expanded = vertex(between(&centre, &far_corner, -expand)).0;
            Some(if expanded.value < reflected.value {
                expanded
            } else {
                reflected
            })
        } else if reflected.value < simplex[n - 1].value {
            Some(reflected)
        } else {
            let (t, bound) = if reflected.value < worst {
                (-contract, reflected.value)
            } else {
                (contract, worst)
            };
            Some(vertex(between(&centre, &far_corner, t)).0).filter(|v| v.value < bound)
        };
        match replacement {
            Some(better) => simplex[n] = better,
            None => {
                let anchor = simplex[0].x.clone();
                for v in simplex.iter_mut().skip(1) {
                    *v = vertex(between(&anchor, &v.x, shrink)).0;
                }
            }
        }
    }
    simplex.sort_by(|a, b| a.value.total_cmp(&b.value));
    let Vertex { x, value } = simplex.swap_remove(0);
    Minimum {
        point: x,
        value,
        evaluations,
        stop,
    }
}
