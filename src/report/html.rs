//! The index: one HTML file that shows every page of the report and says the
//! same in text, without network, script or tracker.

use std::fmt::Write;

use jiff::civil::Date;

use crate::advise::{AlarmAssessment, AreaAssessment, Assessment, State, VanAssessment};

use super::cautions;
use super::charts::life_by_hardness::{self, Of};
use super::charts::{
    fleet_passage, intervals, lives_by_district, van_evidence, van_passage, van_product, van_weeks,
};
use super::pages;
use super::parts::{VanLine, finding, parts};
use super::words;

const STYLE: &str = include_str!("style.css");

/// Which file shows what.
#[derive(Debug, Clone, Default)]
pub struct Names {
    pub fleet: Vec<String>,
    /// In the order of the assessment's vans.
    pub vans: Vec<String>,
    /// The same; written only for membranes that give cause for a claim.
    pub claims: Vec<String>,
    /// In the order of the assessment's districts.
    pub areas: Vec<String>,
}

/// Text made safe to stand in HTML, in attributes too. Control characters
/// that HTML does not know are left out.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() && c != '\n' && c != '\t' => {}
            c => out.push(c),
        }
    }
    out
}

/// A shape beside the state's word, for eyes that tell shapes sooner.
fn shape(state: State) -> &'static str {
    match state {
        State::FailingEarly => "✖",
        State::Overdue => "■",
        State::Due => "▲",
        State::Watch => "◆",
        State::Unknown => "◎",
        State::OnCourse => "●",
    }
}

/// The whole index.
pub fn index(assessment: &Assessment, lines: &[VanLine<'_>], month: Date, names: &Names) -> String {
    let title = format!("Fleet report, {}", words::month(month));
    let mut out = String::with_capacity(64 * 1024);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#todo\">Skip to what needs doing</a>\n<header>\n\
         <h1>{title}</h1>\n<p class=\"lead\">{}. <span class=\"quiet\">As of {}.</span></p>\n</header>\n",
        escaped(&finding(lines)),
        words::day(assessment.as_of),
    );
    navigation(&mut out);
    out.push_str("<main>\n");
    to_do(&mut out, assessment, lines);
    fleet(&mut out, assessment, names);
    out.push_str("<h2 id=\"districts\">Districts</h2>\n");
    interval_table(&mut out, assessment);
    for (area, file) in assessment.areas.iter().zip(&names.areas) {
        district(&mut out, assessment, area, file);
    }
    out.push_str("<h2 id=\"vans\">Vans</h2>\n");
    let files = names.vans.iter().zip(&names.claims);
    for (i, (van, (file, claim))) in assessment.vans.iter().zip(files).enumerate() {
        one_van(&mut out, assessment, van, (file, claim), i, month);
    }
    records(&mut out, assessment);
    caution_list(&mut out);
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

fn navigation(out: &mut String) {
    out.push_str("<nav aria-label=\"Parts of the report\">\n<ul>\n");
    for (id, name) in [
        ("todo", "What needs doing"),
        ("fleet", "Fleet"),
        ("districts", "Districts"),
        ("vans", "Vans"),
        ("records", "Records"),
        ("cautions", "Cautions"),
    ] {
        let _ = writeln!(out, "<li><a href=\"#{id}\">{name}</a></li>");
    }
    out.push_str(
        "<li><a href=\"due.csv\">Jobs as a table (due.csv)</a></li>\n\
         <li><a href=\"assessment.json\">Everything as data (assessment.json)</a></li>\n</ul>\n</nav>\n",
    );
}

fn to_do(out: &mut String, assessment: &Assessment, lines: &[VanLine<'_>]) {
    out.push_str("<h2 id=\"todo\">What needs doing first</h2>\n");
    if lines.is_empty() {
        out.push_str("<p>No vans yet: nothing has been read in.</p>\n");
        return;
    }
    out.push_str(
        "<div class=\"wide\" role=\"region\" aria-label=\"What needs doing first\" tabindex=\"0\">\n<table>\n\
         <caption>Every van, most urgent first</caption>\n<thead>\n<tr><th scope=\"col\">Van</th>\
         <th scope=\"col\">Base</th><th scope=\"col\">State</th><th scope=\"col\">To do</th>\
         <th scope=\"col\">Membrane</th></tr>\n</thead>\n<tbody>\n",
    );
    for line in lines {
        let place = line.place;
        let holds_back = words::holds_back(&line.van.membrane.salt_passage);
        let name = escaped(&line.van.van);
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\"><a href=\"#van-{place}\">{name}</a></th><td>{}</td>\
             <td class=\"state\"><span aria-hidden=\"true\">{}</span> {}</td><td>{}</td><td>{}</td></tr>",
            escaped(line.van.postcode.as_deref().unwrap_or("–")),
            shape(line.state),
            words::state(line.state),
            escaped(&line.to_do_beside_state(assessment.as_of)),
            holds_back.as_deref().unwrap_or("–"),
        );
    }
    out.push_str("</tbody>\n</table>\n</div>\n");
    if let Some(text) = pages::fleet::not_read(assessment) {
        let _ = writeln!(out, "<p>{}.</p>", escaped(&text));
    }
}

fn figure(out: &mut String, file: &str, alternative: &str, caption: &str) {
    let (width, height) = super::look::PAGE;
    let _ = writeln!(
        out,
        "<figure>\n<a href=\"{file}\"><img src=\"{file}\" width=\"{width}\" height=\"{height}\" loading=\"lazy\" alt=\"{}\"></a>\n\
         <figcaption>{}</figcaption>\n</figure>",
        escaped(alternative),
        escaped(caption),
        file = escaped(file),
    );
}

fn fleet(out: &mut String, assessment: &Assessment, names: &Names) {
    out.push_str("<h2 id=\"fleet\">The fleet</h2>\n");
    let fleet = &assessment.fleet;
    let vans: Vec<&VanAssessment> = assessment
        .vans
        .iter()
        .filter(|v| v.series.has_membrane)
        .collect();
    let said = [
        "The list of what needs doing, repeated above.".to_owned(),
        fleet_passage::alternative(&vans, assessment.limits.salt_passage),
        life_by_hardness::alternative(
            Of::Membrane,
            &fleet.membrane_dots,
            &fleet.membrane_life_by_hardness,
        ),
        life_by_hardness::alternative(Of::Resin, &fleet.resin_dots, &fleet.resin_life_by_hardness),
        intervals::alternative(assessment),
    ]
    .join(" ");
    for (i, file) in names.fleet.iter().enumerate() {
        if i == 0 {
            figure(out, file, &said, "The fleet on one page");
        } else {
            figure(
                out,
                file,
                "The list of what needs doing, continued; repeated above.",
                "What needs doing, continued",
            );
        }
    }
}

fn interval_table(out: &mut String, assessment: &Assessment) {
    let currency = assessment.fleet.currency.as_deref();
    out.push_str(
        "<div class=\"wide\" role=\"region\" aria-label=\"Suggested intervals\" tabindex=\"0\">\n<table>\n\
         <caption>Suggested intervals per district beside the rule of thumb; resin in litres of water a filling</caption>\n<thead>\n<tr>",
    );
    for head in intervals::HEADS {
        let _ = write!(out, "<th scope=\"col\">{head}</th>");
    }
    out.push_str("</tr>\n</thead>\n<tbody>\n");
    let rows = assessment
        .areas
        .iter()
        .map(|a| intervals::cells(a, currency));
    for cells in rows.chain([intervals::rule_cells(assessment)]) {
        let [first, rest @ ..] = cells;
        let _ = write!(out, "<tr><th scope=\"row\">{}</th>", escaped(&first));
        for cell in rest {
            let _ = write!(out, "<td>{}</td>", escaped(&cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n</div>\n");
}

fn district(out: &mut String, assessment: &Assessment, area: &AreaAssessment, file: &str) {
    let _ = writeln!(
        out,
        "<h3>District {}</h3>\n<p>{}.</p>",
        escaped(&area.postcode),
        escaped(&pages::area::lead(area))
    );
    out.push_str("<ul>\n");
    for said in pages::area::suggestions(assessment, area) {
        let _ = writeln!(out, "<li>{}</li>", escaped(&said));
    }
    out.push_str("</ul>\n");
    let areas = &assessment.areas;
    let said = [
        lives_by_district::alternative(Of::Membrane, areas, &area.postcode),
        lives_by_district::alternative(Of::Resin, areas, &area.postcode),
    ]
    .join(" ");
    figure(out, file, &said, &format!("District {}", area.postcode));
}

fn one_van(
    out: &mut String,
    assessment: &Assessment,
    van: &VanAssessment,
    (file, claim): (&str, &str),
    place: usize,
    month: Date,
) {
    let (as_of, limits) = (assessment.as_of, assessment.limits);
    let _ = writeln!(
        out,
        "<h3 id=\"van-{place}\">{}</h3>\n<p>{}.</p>\n<ul>",
        escaped(&van.van),
        escaped(&pages::van::lead(van))
    );
    for part in parts(van) {
        let _ = writeln!(
            out,
            "<li><strong><span aria-hidden=\"true\">{}</span> {}.</strong> {}</li>",
            shape(part.state),
            escaped(&part.headline(as_of)),
            escaped(part.reason)
        );
    }
    out.push_str("</ul>\n");
    if let Some(alarm) = &van.membrane.alarm {
        causes(out, alarm);
    }
    if pages::claim::has_one(van, as_of) {
        let _ = writeln!(
            out,
            "<p><a href=\"{0}\">A page to send with a claim</a>: dates, litres and readings of this membrane.</p>",
            escaped(claim)
        );
    }
    out.push_str("<details>\n<summary>Numbers and work done</summary>\n<ul>\n");
    let done = pages::van::done_in(van, month).into_iter();
    let done = done.map(|d| format!("Done in {}: {d}", words::month(month)));
    for said in pages::van::known(van).into_iter().chain(done) {
        let _ = writeln!(out, "<li>{}</li>", escaped(&said));
    }
    for habit in &van.habits {
        let _ = writeln!(out, "<li>A habit: {}</li>", escaped(&habit.text));
    }
    for remark in &van.records {
        let when = remark
            .date
            .map_or(String::new(), |d| format!("{}: ", words::day(d)));
        let _ = writeln!(
            out,
            "<li>To put right in the records: {}{}</li>",
            when,
            escaped(&remark.text)
        );
    }
    out.push_str("</ul>\n</details>\n");
    let mut said = Vec::new();
    if van.series.has_membrane {
        said.push(van_passage::alternative(van, as_of, limits.salt_passage));
    }
    if van.series.has_resin {
        said.push(van_product::alternative(van, as_of, limits.product_ppm));
    }
    said.push(match van.membrane.alarm {
        Some(_) => van_evidence::alternative(van),
        None => van_weeks::alternative(van),
    });
    figure(out, file, &said.join(" "), &van.van);
}

/// What could be behind an alarm, with the facts and what to look at first.
fn causes(out: &mut String, alarm: &AlarmAssessment) {
    out.push_str("<p>What could be behind it, and what to look at first:</p>\n<ol>\n");
    // Below a twentieth a cause only distracts.
    for cause in alarm.causes.iter().filter(|c| c.probability >= 0.05) {
        let _ = writeln!(
            out,
            "<li>{} ({:.0} %): {}. {}</li>",
            words::cause(cause.suspect),
            100.0 * cause.probability,
            escaped(&cause.facts.join("; ")),
            escaped(cause.check_first)
        );
    }
    out.push_str("</ol>\n");
}

fn records(out: &mut String, assessment: &Assessment) {
    let rows = &assessment.rows;
    let n = |v: u64| words::thousands(v as f64);
    let _ = writeln!(
        out,
        "<h2 id=\"records\">Records</h2>\n<p>{} rows read: {} stored, {} already stored, {} set aside.</p>",
        n(rows.read),
        n(rows.stored),
        n(rows.already_stored),
        n(rows.set_aside)
    );
    if !assessment.fleet.remarks.is_empty() {
        out.push_str("<ul>\n");
        for remark in &assessment.fleet.remarks {
            let _ = writeln!(out, "<li>{}</li>", escaped(remark));
        }
        out.push_str("</ul>\n");
    }
}

fn caution_list(out: &mut String) {
    let _ = writeln!(
        out,
        "<h2 id=\"cautions\">Cautions</h2>\n<p>{}</p>\n<dl>",
        escaped(cautions::FOOT)
    );
    for (what, text) in cautions::LIST {
        let _ = writeln!(out, "<dt>{}</dt><dd>{}</dd>", escaped(what), escaped(text));
    }
    out.push_str("</dl>\n");
}
