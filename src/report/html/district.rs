//! Every district: what lasts how long there, and what to do instead of the
//! usual intervals.

use maud::{Markup, html};

use super::figure::{Chart, Charts};
use super::lists;
use crate::advise::{AreaAssessment, Assessment};
use crate::report::book::Names;
use crate::report::charts::life_by_hardness::Of;
use crate::report::charts::lives_by_district;
use crate::report::error::ReportError;
use crate::report::look;
use crate::report::pages;

/// All districts, in order of postcode.
pub fn all(
    assessment: &Assessment,
    names: &Names,
    charts: &mut Charts,
) -> Result<Markup, ReportError> {
    let areas = assessment.areas.iter().zip(&names.areas);
    let each = areas.map(|(area, file)| one(assessment, area, file, charts));
    let each = each.collect::<Result<Vec<_>, _>>()?;
    Ok(html! { @for district in each { (district) } })
}

fn one(
    assessment: &Assessment,
    area: &AreaAssessment,
    file: &str,
    charts: &mut Charts,
) -> Result<Markup, ReportError> {
    let (areas, this) = (&assessment.areas, area.postcode.as_str());
    let mut life = |of: Of| {
        charts.figure(
            Chart {
                title: lives_by_district::title(of, areas, this),
                alternative: lives_by_district::alternative(of, areas, this),
                size: look::DRAWING_LOW,
                table: lives_by_district::table(of, areas, this),
            },
            |c| lives_by_district::draw(c, c.page().inset(6.0), of, areas, this),
        )
    };
    let (membrane, resin) = (life(Of::Membrane)?, life(Of::Resin)?);
    Ok(html! {
        h3 { "District " (this) }
        p { (pages::area::lead(area)) "." }
        (lists::sentences(&pages::area::suggestions(assessment, area)))
        div.two { (membrane) (resin) }
        p.quiet { a href=(file) { "District " (this) " on one page, as a picture" } }
    })
}
