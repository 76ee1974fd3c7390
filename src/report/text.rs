//! The assessment for the terminal, in plain words, as wide as it is.

use crate::advise::{Assessment, State, visits};

use super::DUE_WEEKS;
use super::parts::{by_urgency, finding_and_visits, in_state};
use super::words;

/// What the terminal can show.
#[derive(Debug, Clone, Copy)]
pub struct Screen {
    /// Columns.
    pub width: usize,
    pub paint: Paint,
}

/// Letters of the longest state.
const STATE_WIDTH: usize = 13;

/// Whether states are written in colour (ANSI, ECMA-48): only where a terminal
/// shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    Plain,
    Colour,
}

impl Paint {
    /// The state's word, as wide as it was; the word tells it without colour too.
    fn state(self, padded: &str, state: State) -> String {
        let code = match state {
            State::FailingEarly => "1;35",
            State::Overdue => "1;31",
            State::Due => "33",
            // Bright blue: dark blue is hard to read on black.
            State::Watch => "94",
            State::Unknown => "2",
            State::OnCourse => "32",
        };
        match self {
            Paint::Plain => padded.to_owned(),
            Paint::Colour => format!("\x1b[{code}m{padded}\x1b[0m"),
        }
    }
}

/// What the records lack, and how old they are, where that is much; to stand
/// before anything that rests on them.
pub fn reservations(assessment: &Assessment, screen: Screen) -> String {
    let mut out = String::new();
    for said in words::missing(assessment) {
        push_wrapped(&mut out, &said, ("", "  "), screen);
    }
    out
}

/// Which vans need what, most urgent first; [`reservations`] belong before it.
pub fn summary(assessment: &Assessment, screen: Screen) -> String {
    let lines = by_urgency(assessment, &visits(assessment, DUE_WEEKS));
    let mut out = String::new();
    push_wrapped(
        &mut out,
        &format!("{}.", finding_and_visits(&lines)),
        ("", ""),
        screen,
    );
    for line in lines.iter().filter(|l| l.state != State::OnCourse) {
        let base = line
            .van
            .postcode
            .as_deref()
            .map_or(String::new(), |p| format!(" ({p})"));
        let said = format!("{}{base}: {}", line.van.van, line.to_do(assessment.as_of));
        push_wrapped(&mut out, &said, ("  ", "      "), screen);
    }
    let calm = in_state(&lines, State::OnCourse);
    if calm > 0 {
        let (vans, are) = (
            words::count(calm, "van", "vans"),
            if calm == 1 { "is" } else { "are" },
        );
        let next = lines
            .iter()
            .filter(|l| l.state == State::OnCourse)
            .flat_map(|l| {
                l.parts
                    .iter()
                    .filter_map(move |p| Some((p.replace_on?, l, p)))
            })
            .min_by(|a, b| (a.0, &a.1.van.van).cmp(&(b.0, &b.1.van.van)));
        let said = match next {
            Some((_, line, part)) => format!(
                "{vans} {are} on course; next is {}: {}.",
                line.van.van,
                part.phrase(assessment.as_of)
            ),
            None => format!("{vans} {are} on course."),
        };
        push_wrapped(&mut out, &said, ("", ""), screen);
    }
    out
}

/// One line per van: its state, its membrane and what comes next.
pub fn table(assessment: &Assessment, screen: Screen) -> String {
    let lines = by_urgency(assessment, &visits(assessment, DUE_WEEKS));
    if lines.is_empty() {
        return "No vans yet.\n".to_owned();
    }
    let name_width = lines
        .iter()
        .map(|l| l.van.van.chars().count())
        .max()
        .unwrap_or(3)
        .clamp(3, 14);
    let mut out = format!(
        "{:name_width$}  {:<6}  {:<STATE_WIDTH$}  to do\n",
        "van", "base", "state"
    );
    let left = name_width + 2 + 8 + 15;
    for line in &lines {
        let head = format!(
            "{:name_width$}  {:<6}  {:<STATE_WIDTH$}  ",
            shortened(&line.van.van, name_width),
            shortened(line.van.postcode.as_deref().unwrap_or("–"), 6),
            words::state(line.state)
        );
        let to_do = line.to_do(assessment.as_of);
        // wrapped by the width of what is seen, painted afterwards
        let mut row = String::new();
        push_wrapped(&mut row, &to_do, (&head, &" ".repeat(left)), screen);
        let padded = format!("{:<STATE_WIDTH$}", words::state(line.state));
        out.push_str(&row.replacen(&padded, &screen.paint.state(&padded, line.state), 1));
    }
    out
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars()
        .take(most.saturating_sub(1))
        .chain(['…'])
        .collect()
}

/// Appends `text` in lines as wide as the screen; `first` and `next` start the
/// first line and the others. A longer word keeps its line.
pub(super) fn push_wrapped(out: &mut String, text: &str, (first, next): (&str, &str), at: Screen) {
    let options = textwrap::Options::new(at.width)
        .initial_indent(first)
        .subsequent_indent(next)
        .break_words(false)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        // Names of vans stay whole.
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit);
    out.push_str(textwrap::fill(text, options).trim_end());
    out.push('\n');
}

/// Sentences, one paragraph each, wrapped for a terminal.
pub fn sentences(list: &[String], screen: Screen) -> String {
    let mut out = String::new();
    for sentence in list {
        push_wrapped(&mut out, sentence, ("", "  "), screen);
    }
    out
}

/// A unit as it stands behind a figure; some figures have none.
fn unit_behind(unit: &str) -> String {
    if unit.is_empty() {
        String::new()
    } else {
        format!(" {unit}")
    }
}

/// What drove each forecast, and what the fleet shares.
pub fn explained(assessment: &Assessment, screen: Screen) -> String {
    let mut out = String::new();
    for van in &assessment.vans {
        for (title, reason, list) in [
            ("membrane", &van.membrane.reason, &van.explained.membrane),
            ("resin", &van.resin.reason, &van.explained.resin),
        ] {
            out.push_str(&format!("{}  {title}\n", van.van));
            push_wrapped(&mut out, reason, ("  ", "  "), screen);
            for e in list {
                let unit = unit_behind(e.unit);
                let value = if e.p10 == e.p90 {
                    format!("{}{unit}", words::figures(e.p50))
                } else {
                    format!(
                        "{}{unit}, likely {} to {}",
                        words::figures(e.p50),
                        words::figures(e.p10),
                        words::figures(e.p90)
                    )
                };
                let usual = e
                    .usual
                    .map(|u| format!(" (usual here: {})", words::figures(u)))
                    .unwrap_or_default();
                push_wrapped(
                    &mut out,
                    &format!("{}: {value}{usual}", e.name),
                    ("    ", "      "),
                    screen,
                );
            }
        }
    }
    out.push_str("Shared by the fleet\n");
    for s in &assessment.fleet.shared {
        let unit = unit_behind(s.unit);
        let known = |value: f64, sd: f64| {
            let value = words::figures(value);
            if sd > 0.0 {
                format!("{value} ± {}", words::figures(sd))
            } else {
                value
            }
        };
        push_wrapped(
            &mut out,
            &format!(
                "{}: {}{unit} (assumed before any readings: {})",
                s.name,
                known(s.value, s.sd),
                known(s.prior, s.prior_sd)
            ),
            ("    ", "      "),
            screen,
        );
    }
    out
}
