//! Postcodes: area, district, sector.

/// The parts of a postcode that water is published by, as far as they are told.
///
/// `QA1 2CD` has area `QA`, district `QA1` and sector `QA1 2`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Postcode {
    /// Leading letters; `None` where the text has another country's shape.
    pub area: Option<String>,
    /// First half; `None` where only the area is told.
    pub district: Option<String>,
    /// First half and the first digit of the second.
    pub sector: Option<String>,
}

impl Postcode {
    /// Reads a full postcode, its first half, a sector or an area, in any case,
    /// with or without the space. What has another shape counts as a district
    /// of its own. `None` for an empty text.
    pub(crate) fn read(text: &str) -> Option<Postcode> {
        let text = text.trim().to_ascii_uppercase();
        let mut halves = text.split_whitespace();
        let first = halves.next()?;
        let second = halves.next();
        if halves.next().is_some() {
            return Some(Postcode::whole(&text));
        }
        if let Some(second) = second {
            if is_outward(first) && is_start_of_inward(second) {
                return Some(Postcode::of_halves(first, second));
            }
            return Some(Postcode::whole(&text));
        }
        if is_area(first) {
            return Some(Postcode {
                area: Some(first.to_owned()),
                district: None,
                sector: None,
            });
        }
        if is_outward(first) {
            return Some(Postcode::of_halves(first, ""));
        }
        // A full postcode without its space: the second half has three characters.
        let split = first.len().saturating_sub(3);
        if let Some((outward, inward)) = first.split_at_checked(split)
            && is_outward(outward)
            && inward.len() == 3
            && is_start_of_inward(inward)
        {
            return Some(Postcode::of_halves(outward, inward));
        }
        Some(Postcode::whole(&text))
    }

    /// District, or the area where only that is told.
    pub(crate) fn district_or_area(&self) -> Option<&str> {
        self.district.as_deref().or(self.area.as_deref())
    }

    /// The finest part that is told.
    pub(crate) fn finest(&self) -> Option<&str> {
        self.sector.as_deref().or_else(|| self.district_or_area())
    }

    fn of_halves(outward: &str, inward: &str) -> Postcode {
        let letters = outward.bytes().take_while(u8::is_ascii_alphabetic).count();
        Postcode {
            area: outward.get(..letters).map(str::to_owned),
            district: Some(outward.to_owned()),
            sector: inward
                .chars()
                .next()
                .map(|digit| format!("{outward} {digit}")),
        }
    }

    fn whole(text: &str) -> Postcode {
        let words: Vec<&str> = text.split_whitespace().collect();
        Postcode {
            area: None,
            district: Some(words.join(" ")),
            sector: None,
        }
    }
}

/// One or two letters.
fn is_area(text: &str) -> bool {
    (1..=2).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphabetic())
}

/// One or two letters, then a digit, then at most one more letter or digit.
fn is_outward(text: &str) -> bool {
    let letters = text.bytes().take_while(u8::is_ascii_alphabetic).count();
    let rest = text.as_bytes().get(letters..).unwrap_or_default();
    (1..=2).contains(&letters)
        && match rest {
            [digit] => digit.is_ascii_digit(),
            [digit, last] => digit.is_ascii_digit() && last.is_ascii_alphanumeric(),
            _ => false,
        }
}

/// A digit and up to two letters, written as far as known.
fn is_start_of_inward(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() <= 3
        && bytes.first().is_some_and(u8::is_ascii_digit)
        && bytes.iter().skip(1).all(u8::is_ascii_alphabetic)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn parts(text: &str) -> (Option<String>, Option<String>, Option<String>) {
        let read = Postcode::read(text).unwrap();
        (read.area, read.district, read.sector)
    }

    fn some(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn full_and_half_postcodes_have_the_same_district() {
        let full = (some("QA"), some("QA1"), some("QA1 2"));
        assert_eq!(parts("QA1 2CD"), full);
        assert_eq!(parts("qa12cd"), full);
        assert_eq!(parts(" QA1  2cd "), full);
        assert_eq!(parts("QA1 2"), full);
        assert_eq!(parts("QA1"), (some("QA"), some("QA1"), None));
        assert_eq!(parts("QA"), (some("QA"), None, None));
        assert_eq!(parts("Q1A 9ZZ"), (some("Q"), some("Q1A"), some("Q1A 9")));
    }

    #[test]
    fn qa1_is_not_qa12() {
        assert_eq!(parts("QA12"), (some("QA"), some("QA12"), None));
        assert_eq!(parts("QA122CD"), (some("QA"), some("QA12"), some("QA12 2")));
        assert_ne!(parts("QA12").1, parts("QA1 2").1);
    }

    #[test]
    fn a_postcode_of_another_shape_is_a_district_of_its_own() {
        assert_eq!(parts("99 123"), (None, some("99 123"), None));
        assert_eq!(Postcode::read("   "), None);
        // Not plain letters: must not be cut in the middle of a character.
        assert_eq!(parts("é€"), (None, some("é€"), None));
    }
}
