//! An element's readings gathered into a few cells, which tell as much as all of them
//! where neighbouring readings err alike.

use crate::calendar::{Date, DateExt};

use crate::lives::{LitresByLevel, PassagePoint, ROUNDING_PPM, in_whole_ppm};

/// Cells of one element at most, but for what must not be mixed.
const MOST_CELLS: usize = 14;
/// Degrees of freedom of the heavy-tailed noise.
const NU: f64 = 4.0;

/// Some readings that follow each other, as one.
#[derive(Debug, Clone)]
pub struct Cell {
    /// Day of the middle reading, and days since the element's first one.
    pub date: Date,
    pub days: f64,
    /// Mean litres by level of hardness, and behind late pre-filters.
    pub litres: LitresByLevel,
    pub late: f64,
    /// Mean `ln` salt passage at the prior mean of `theta`, its lever, °C, and the
    /// variance that goes with how many readings there are.
    pub ln_passage: f64,
    pub lever: f64,
    pub variance: f64,
    /// Changes where readings do not compare: another base, another probe.
    pub regime: u32,
    /// Variance of a jump of the level before it.
    pub jump: f64,
}

/// Gathers `points`, oldest first; `ln`: `ln` salt passage of each and its own variance.
/// `jump`: before which one the level may have jumped, and by how much.
pub fn gather(points: &[PassagePoint], ln: &[(f64, f64)], jump: Option<(usize, f64)>) -> Vec<Cell> {
    let per_cell = points.len().div_ceil(MOST_CELLS).max(1);
    let whole = in_whole_ppm(points);
    let first_day = points.first().map(|p| p.date);
    let mut cells = Vec::new();
    let mut from = 0;
    while from < points.len() {
        let regime = points.get(from).map(|p| p.regime);
        let mut to = from + 1;
        while to < points.len()
            && to - from < per_cell
            && points.get(to).map(|p| p.regime) == regime
            && jump.is_none_or(|(at, _)| at != to)
        {
            to += 1;
        }
        let jump = jump.filter(|(at, _)| *at == from).map_or(0.0, |(_, v)| v);
        if let (Some(some), Some(ln), Some(first)) =
            (points.get(from..to), ln.get(from..to), first_day)
        {
            cells.extend(one(some, ln, whole, jump, first));
        }
        from = to;
    }
    cells
}

/// One cell of readings that compare.
fn one(
    points: &[PassagePoint],
    ln: &[(f64, f64)],
    whole: bool,
    jump: f64,
    first: Date,
) -> Option<Cell> {
    let middle = points.get(points.len() / 2)?;
    // Weights of Student's t about the middle, found in a few steps: one splashed
    // cup must not move the cell.
    let mut values: Vec<f64> = ln.iter().map(|(y, _)| *y).collect();
    values.sort_by(f64::total_cmp);
    let mut centre = *values.get(values.len() / 2)?;
    let (mut weight, mut sums) = (0.0, [0.0; 4]);
    let mut litres = LitresByLevel::from_elem(0.0, middle.litres_by_level.len());
    for step in 0..3 {
        (weight, sums) = (0.0, [0.0; 4]);
        litres.iter_mut().for_each(|l| *l = 0.0);
        for (p, (y, variance)) in points.iter().zip(ln) {
            let z2 = (y - centre).powi(2) / variance.max(1e-6);
            let w = if points.len() > 2 {
                ((NU + 1.0) / (NU + z2)).min(1.0)
            } else {
                1.0
            } / variance.max(1e-6);
            weight += w;
            let days = f64::from(p.date.days_since(first));
            for (sum, x) in sums
                .iter_mut()
                .zip([*y, p.theta_lever, p.late_litres, days])
            {
                *sum += w * x;
            }
            if step == 2 {
                for (to, l) in litres.iter_mut().zip(&p.litres_by_level) {
                    *to += w * l;
                }
            }
        }
        centre = sums.first()? / weight;
    }
    litres.iter_mut().for_each(|l| *l /= weight);
    let [ln_passage, lever, late, days] = sums.map(|s| s / weight);
    // Whole ppm are off by the same at each look at a steady level: only where the
    // figures change do they average out.
    let rounding = if whole {
        let mut seen: Vec<i64> = points.iter().map(|p| p.permeate_ppm as i64).collect();
        seen.sort_unstable();
        let usual = seen.get(seen.len() / 2).map_or(1.0, |p| *p as f64).max(0.5);
        seen.dedup();
        (ROUNDING_PPM / usual).powi(2) / seen.len() as f64
    } else {
        0.0
    };
    Some(Cell {
        date: middle.date,
        days,
        litres,
        late,
        ln_passage,
        lever,
        variance: 1.0 / weight + rounding,
        regime: middle.regime,
        jump,
    })
}
