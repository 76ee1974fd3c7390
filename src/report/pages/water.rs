//! What the water does to membranes and resin, over the whole fleet.

use crate::calendar::Date;

use crate::advise::Assessment;
use crate::report::canvas::Canvas;
use crate::report::charts::life_by_hardness::{self, Of};
use crate::report::charts::lives_by_district;
use crate::report::pages::{place, sheet};
use crate::report::rect::Rect;
use crate::report::words;

/// How many districts and how hard their water is.
pub fn lead(assessment: &Assessment) -> String {
    let hardness = || {
        assessment
            .areas
            .iter()
            .filter_map(|a| a.hardness_mg_l_caco3)
    };
    let (low, high) = (
        hardness().fold(f64::INFINITY, f64::min),
        hardness().fold(f64::NEG_INFINITY, f64::max),
    );
    let districts = words::count(assessment.areas.len(), "district", "districts");
    if !low.is_finite() {
        return format!("{districts}; hardness not known");
    }
    if high - low < 1.0 {
        return format!("{districts}, hardness {low:.0} mg/L");
    }
    format!("{districts}, hardness {low:.0} to {high:.0} mg/L")
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let title = "Hardness and how long parts last";
    let body = sheet(canvas, title, &lead(assessment), &place(month, assessment));
    let (middle, split) = (body.x0 + body.width() / 2.0, body.y0 + 500.0);
    let quarter = |right: bool, low: bool| Rect {
        x0: if right { middle + 18.0 } else { body.x0 },
        x1: if right { body.x1 } else { middle - 18.0 },
        y0: if low { split + 26.0 } else { body.y0 },
        y1: if low { body.y1 } else { split },
    };
    let fleet = &assessment.fleet;
    life_by_hardness::draw(
        canvas,
        quarter(false, false),
        Of::Membrane,
        &fleet.membrane_dots,
        &fleet.membrane_life_by_hardness,
    );
    life_by_hardness::draw(
        canvas,
        quarter(true, false),
        Of::Resin,
        &fleet.resin_dots,
        &fleet.resin_life_by_hardness,
    );
    let areas = &assessment.areas;
    lives_by_district::draw(canvas, quarter(false, true), Of::Membrane, areas, "");
    lives_by_district::draw(canvas, quarter(true, true), Of::Resin, areas, "");
}
