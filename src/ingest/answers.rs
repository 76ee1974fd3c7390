//! What the user said of a file that could not tell itself, kept for files whose
//! header is the same: nobody is asked twice.

use serde::{Deserialize, Serialize};

use super::dates::DateOrder;
use super::mend_file::is_ours;
use super::text::{folded, plain};
use super::{Options, TankFills};

/// What was said of files of a shape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// The headings, folded.
    pub shape: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub date_order: Option<DateOrder>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<(String, String)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tank_fills: Option<TankFills>,
    /// Of one file, whose name is the shape.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub van: Option<String>,
}

/// All that was ever said; the later answer of a shape takes the earlier one's
/// place, as far as it says anything.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Answers(Vec<Answer>);

impl Answers {
    pub(super) fn of(&self, shape: &str) -> Option<&Answer> {
        self.0.iter().find(|answer| answer.shape == shape)
    }

    /// The van of a file that names none.
    pub(super) fn van_of(&self, file: &str) -> Option<String> {
        self.of(&shape_of_file(file))?.van.clone()
    }

    /// Keeps whose all rows of a file are; says whether that is anything new.
    pub fn keep_van(&mut self, file: &str, van: &str) -> bool {
        if self.van_of(file).as_deref() == Some(van) {
            return false;
        }
        let shape = shape_of_file(file);
        self.0.retain(|known| known.shape != shape);
        self.0.push(Answer {
            shape,
            date_order: None,
            columns: Vec::new(),
            tank_fills: None,
            van: Some(van.to_owned()),
        });
        true
    }

    /// Keeps what the options say for files of this shape; says whether that is
    /// anything new.
    pub fn keep(&mut self, shape: &str, options: &Options) -> bool {
        let before = self.of(shape).cloned();
        let mut answer = before.clone().unwrap_or_else(|| Answer {
            shape: shape.to_owned(),
            date_order: None,
            columns: Vec::new(),
            tank_fills: None,
            van: None,
        });
        answer.date_order = options.date_order.or(answer.date_order);
        answer.tank_fills = options.tank_fills.or(answer.tank_fills);
        let headings: Vec<&str> = shape.split('|').collect();
        for (heading, column) in &options.columns {
            if headings.contains(&folded(heading).as_str()) {
                answer
                    .columns
                    .retain(|(known, _)| folded(known) != folded(heading));
                answer.columns.push((heading.clone(), column.clone()));
            }
        }
        let says_nothing =
            answer.date_order.is_none() && answer.tank_fills.is_none() && answer.columns.is_empty();
        if says_nothing || before.as_ref() == Some(&answer) {
            return false;
        }
        self.0.retain(|known| known.shape != shape);
        self.0.push(answer);
        true
    }
}

/// What is known of one file is kept under its name, which is no heading.
fn shape_of_file(file: &str) -> String {
    format!("file {file}")
}

/// The headings of a file, folded.
pub(super) fn shape_of(headers: &[String]) -> String {
    let own = headers.iter().filter(|header| !is_ours(header));
    let folded: Vec<String> = own.map(|header| folded(plain(header))).collect();
    folded.join("|")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_is_kept_for_the_shape_it_was_given_for() {
        let zone = crate::calendar::TimeZone::UTC;
        let mut options = Options::new(zone, crate::calendar::date(2026, 11, 25));
        let mut answers = Answers::default();
        assert!(!answers.keep("date|van", &options));
        options.date_order = Some(DateOrder::DayFirst);
        options.columns = vec![
            ("Van".to_owned(), "van".to_owned()),
            ("X".to_owned(), "van".to_owned()),
        ];
        assert!(answers.keep("date|van", &options));
        assert!(!answers.keep("date|van", &options));
        let kept = answers.of("date|van");
        assert_eq!(kept.map(|answer| answer.columns.len()), Some(1));
        assert_eq!(answers.of("date|reg"), None);
    }
}
