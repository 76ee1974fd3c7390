//! Every district: what lasts how long there, and what to do instead of the
//! rule of thumb.

use std::fmt::Write;

use super::escape::escaped;
use super::figure::{Chart, Charts};
use super::lists;
use super::page::Part;
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
) -> Result<Part, ReportError> {
    let mut body = String::new();
    for (area, file) in assessment.areas.iter().zip(&names.areas) {
        one(&mut body, assessment, area, file, charts)?;
    }
    Ok(Part::new("districts", "Districts", body))
}

fn one(
    out: &mut String,
    assessment: &Assessment,
    area: &AreaAssessment,
    file: &str,
    charts: &mut Charts,
) -> Result<(), ReportError> {
    let _ = writeln!(
        out,
        "<h3>District {}</h3>\n<p>{}.</p>",
        escaped(&area.postcode),
        escaped(&pages::area::lead(area))
    );
    lists::sentences(out, &pages::area::suggestions(assessment, area));
    let (areas, this) = (&assessment.areas, area.postcode.as_str());
    out.push_str("<div class=\"two\">\n");
    for of in [Of::Membrane, Of::Resin] {
        charts.add(
            out,
            Chart {
                title: lives_by_district::title(of, areas, this),
                alternative: lives_by_district::alternative(of, areas, this),
                size: look::DRAWING_LOW,
                table: lives_by_district::table(of, areas, this),
            },
            |c| lives_by_district::draw(c, c.page().inset(6.0), of, areas, this),
        )?;
    }
    let _ = write!(
        out,
        "</div>\n<p class=\"quiet\"><a href=\"{}\">District {} on one page, as a picture</a></p>\n",
        escaped(file),
        escaped(this)
    );
    Ok(())
}
