//! How good earlier forecasts were: what was likely, and what came.

use crate::calendar::Date;

use crate::advise::Assessment;
use crate::backtest::Backtest;
use crate::report::canvas::Canvas;
use crate::report::charts::forecast_beside;
use crate::report::charts::life_by_hardness::Of;
use crate::report::pages::{place, section, sentences, sheet};
use crate::report::rect::Rect;
use crate::report::words;

/// From how far back the fleet's past was forecast again.
pub fn lead(result: &Backtest) -> String {
    match result.looks {
        0 => "The records are too short to forecast the past again".to_owned(),
        n => format!(
            "Forecast again from {} of the past, each with only the data of that day",
            words::count(n, "month-end", "month-ends")
        ),
    }
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, result: &Backtest, month: Date) {
    let body = sheet(
        canvas,
        "How good earlier forecasts were",
        &lead(result),
        &place(month, assessment),
    );
    let (first, second) = (body.x0 + 620.0, body.x0 + 1276.0);
    let left = Rect {
        x1: first - 18.0,
        ..body
    };
    forecast_beside::draw(canvas, left, Of::Membrane, &result.membranes_beside);
    let middle = Rect {
        x0: first + 18.0,
        x1: second - 18.0,
        ..body
    };
    forecast_beside::draw(canvas, middle, Of::Resin, &result.resin_beside);
    let side = Rect {
        x0: second + 18.0,
        ..body
    };
    let y = section(canvas, side, side.y0, "In words");
    sentences(canvas, side, y, &result.words);
}
