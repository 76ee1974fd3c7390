//! Sentences, lists and tables.

use maud::{Markup, html};

use crate::advise::Assessment;
use crate::report::charts::intervals as chart;
use crate::report::table::Table;

/// An answer: the first sentence stands out, the others follow as a list.
pub fn answer(said: &[String]) -> Markup {
    let (first, rest) = said.split_at(said.len().min(1));
    html! {
        @for sentence in first { p.first { (sentence) } }
        (sentences(rest))
    }
}

/// Sentences as a list; none, no list.
pub fn sentences<T: AsRef<str>>(said: &[T]) -> Markup {
    html! {
        @if !said.is_empty() {
            ul { @for sentence in said { li { (sentence.as_ref()) } } }
        }
    }
}

/// Names with what they stand for.
pub fn named<A: AsRef<str>, B: AsRef<str>>(list: &[(A, B)]) -> Markup {
    html! {
        dl { @for (name, text) in list { dt { (name.as_ref()) } dd { (text.as_ref()) } } }
    }
}

/// A table that can be scrolled where it is wider than the screen.
pub fn table(table: &Table) -> Markup {
    rows(
        &table.caption,
        &table.heads,
        table.rows.iter().map(Vec::as_slice),
    )
}

/// Suggested intervals per district, and the usual ones.
pub fn intervals(assessment: &Assessment) -> Markup {
    let currency = assessment.fleet.currency.as_deref();
    let areas = assessment.areas.iter();
    let mut cells: Vec<_> = areas.map(|area| chart::cells(area, currency)).collect();
    cells.push(chart::usual_cells(assessment));
    rows(
        "Suggested intervals per district beside the usual ones; DI resin in litres of water a refill; saving per van per year",
        &chart::HEADS,
        cells.iter().map(<[String; 6]>::as_slice),
    )
}

fn rows<'a>(caption: &str, heads: &[&str], rows: impl Iterator<Item = &'a [String]>) -> Markup {
    html! {
        div.wide role="group" aria-label=(caption) tabindex="0" {
            table {
                caption { (caption) }
                thead { tr { @for head in heads { th scope="col" { (head) } } } }
                tbody {
                    @for row in rows {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
