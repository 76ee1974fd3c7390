//! Postcodes as people write them: halves, spaces, letter O, whole addresses.

/// What a cell was found to hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Postcode {
    /// Area, district, sector or full postcode: `QA`, `QA3`, `QA3 4`, `QA3 4XY`.
    Known(String),
    /// The same, after something was repaired.
    Repaired(String, &'static str),
    /// A code of another country's kind, kept as written in capitals.
    Foreign(String),
    /// A town or nothing we know.
    None,
}

/// Reads a postcode or a part of one.
pub(super) fn postcode(cell: &str) -> Postcode {
    let upper: String = cell
        .chars()
        .filter(|c| !matches!(c, '"' | '\''))
        .map(|c| {
            if c.is_ascii_punctuation() || c.is_whitespace() {
                ' '
            } else {
                c.to_ascii_uppercase()
            }
        })
        .collect();
    let words: Vec<&str> = upper.split_whitespace().collect();
    if let Some(code) = shaped(&words.concat(), &words) {
        return code;
    }
    if let Some(code) = in_address(&words) {
        return Postcode::Repaired(code, "taken out of a longer address");
    }
    let joined = words.concat();
    let digits = joined.bytes().filter(u8::is_ascii_digit).count();
    if (3..=8).contains(&joined.len()) && digits >= 3 && joined.is_ascii() {
        return Postcode::Foreign(words.join(" "));
    }
    Postcode::None
}

/// The one full postcode or district among the words of an address.
fn in_address(words: &[&str]) -> Option<String> {
    if words.len() < 2 {
        return None;
    }
    let full: Vec<String> = words
        .windows(2)
        .filter_map(|pair| match pair {
            [outward, inward] => {
                let outward = district(outward)?;
                (letters_exact(outward.as_bytes()) && is_inward(inward))
                    .then(|| format!("{outward} {inward}"))
            }
            _ => None,
        })
        .collect();
    match full.as_slice() {
        [one] => return Some(one.clone()),
        [] => {}
        _ => return None,
    }
    let districts: Vec<String> = words
        .iter()
        .filter(|w| w.bytes().next().is_some_and(|b| b.is_ascii_alphabetic()))
        .filter(|w| w.bytes().any(|b| b.is_ascii_digit()))
        .filter_map(|w| match shaped(w, &[w]) {
            Some(Postcode::Known(code)) => Some(code),
            _ => None,
        })
        .collect();
    match districts.as_slice() {
        [one] => Some(one.clone()),
        _ => None,
    }
}

fn letters_exact(outward: &[u8]) -> bool {
    outward.first().is_some_and(u8::is_ascii_uppercase)
}

fn is_inward(word: &str) -> bool {
    matches!(word.as_bytes(), [a, b, c] if a.is_ascii_digit() && b.is_ascii_uppercase() && c.is_ascii_uppercase())
}

/// A postcode or part of one with its spaces wherever they stand.
fn shaped(joined: &str, words: &[&str]) -> Option<Postcode> {
    if !joined.is_ascii() || joined.is_empty() || joined.len() > 7 {
        return None;
    }
    // the writer's own space tells a sector from a longer district
    if let [outward, inward] = words
        && matches!(inward.len(), 1 | 3)
        && let Some(code) = joined_halves(outward, inward)
    {
        return Some(told(code, joined));
    }
    if words.len() > 1 && joined.len() < 5 {
        // "QA 3": an area and a number
        return district(joined).map(|code| told(code, joined));
    }
    let full = (joined.len() >= 5)
        .then(|| joined.split_at_checked(joined.len() - 3))
        .flatten()
        .and_then(|(outward, inward)| joined_halves(outward, inward));
    let sector = || {
        let (outward, inward) = joined.split_at_checked(joined.len().checked_sub(1)?)?;
        joined_halves(outward, inward)
    };
    let area = || {
        let letters = joined.len() <= 2 && joined.bytes().all(|b| b.is_ascii_uppercase());
        letters.then(|| joined.to_owned())
    };
    full.or_else(|| district(joined))
        .or_else(sector)
        .or_else(area)
        .map(|code| told(code, joined))
}

fn told(code: String, joined: &str) -> Postcode {
    let letters: String = code.chars().filter(|c| *c != ' ').collect();
    if letters == joined {
        Postcode::Known(code)
    } else {
        Postcode::Repaired(code, "letter O and digit 0 put where a postcode has them")
    }
}

fn joined_halves(outward: &str, inward: &str) -> Option<String> {
    let outward = district(outward)?;
    let bytes = inward.as_bytes();
    let digit = as_digit(*bytes.first()?)?;
    let rest = match bytes.get(1..)? {
        [] => String::new(),
        [a, b] => [as_letter(*a)?, as_letter(*b)?]
            .iter()
            .map(|b| char::from(*b))
            .collect(),
        _ => return None,
    };
    Some(format!("{outward} {}{rest}", char::from(digit)))
}

/// A district: one or two letters, one or two digits, perhaps a letter
/// (`Q1`, `Q12`, `QA1`, `QA12`, `Q1A`, `QA1A`), O and 0 folded by their place.
fn district(text: &str) -> Option<String> {
    let bytes = text.as_bytes();
    if !(2..=4).contains(&bytes.len()) {
        return None;
    }
    let fits = |shape: &str| -> Option<String> {
        if shape.len() != bytes.len() {
            return None;
        }
        let placed = shape.bytes().zip(bytes).map(|(kind, byte)| match kind {
            b'A' => as_letter(*byte),
            _ => as_digit(*byte),
        });
        placed
            .collect::<Option<Vec<u8>>>()
            .map(|b| b.iter().map(|b| char::from(*b)).collect())
    };
    // as written first, so that nothing sound is folded
    let shapes = ["A9", "A99", "AA9", "AA99", "A9A", "AA9A"];
    let exact = shapes
        .iter()
        .find_map(|s| fits(s).filter(|code| code == text));
    exact.or_else(|| {
        let folded: Vec<String> = shapes.iter().filter_map(|s| fits(s)).collect();
        match folded.as_slice() {
            [one] => Some(one.clone()),
            _ => None,
        }
    })
}

fn as_letter(byte: u8) -> Option<u8> {
    match byte {
        b'A'..=b'Z' => Some(byte),
        b'0' => Some(b'O'),
        _ => None,
    }
}

fn as_digit(byte: u8) -> Option<u8> {
    match byte {
        b'0'..=b'9' => Some(byte),
        b'O' => Some(b'0'),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_and_whole_postcodes_are_known_however_spaced() {
        for (written, code) in [
            ("QA3 4XY", "QA3 4XY"),
            ("qa34xy", "QA3 4XY"),
            ("QA12 3AB", "QA12 3AB"),
            ("QA123AB", "QA12 3AB"),
            ("QA3", "QA3"),
            ("QA12", "QA12"),
            ("QA1 2", "QA1 2"),
            ("QA123", "QA12 3"),
            ("QA", "QA"),
            ("QC1A 2BB", "QC1A 2BB"),
            (" qa3-4xy ", "QA3 4XY"),
        ] {
            assert_eq!(postcode(written), Postcode::Known(code.into()), "{written}");
        }
    }

    #[test]
    fn letter_o_and_zero_are_put_in_their_place() {
        for (written, code) in [
            ("QA3 OXY", "QA3 0XY"),
            ("QA O3", "QA03"),
            ("Q1 2A0", "Q1 2AO"),
        ] {
            let found = postcode(written);
            assert!(
                matches!(&found, Postcode::Repaired(c, _) if c == code),
                "{written}: {found:?}"
            );
        }
        // a shape of its own is left alone
        assert_eq!(postcode("QA1O 2AB"), Postcode::Known("QA1O 2AB".into()));
    }

    #[test]
    fn an_address_gives_its_postcode_if_it_holds_one() {
        let found = postcode("12 Chalk Lane, Quarrytown QA3 4XY");
        assert!(matches!(found, Postcode::Repaired(code, _) if code == "QA3 4XY"));
        assert_eq!(postcode("Quarrytown"), Postcode::None);
        assert_eq!(postcode("QA3 4XY and QA4 1AA"), Postcode::None);
    }

    #[test]
    fn codes_of_other_countries_are_kept() {
        assert_eq!(postcode("99423"), Postcode::Foreign("99423".into()));
        assert_eq!(postcode("1012 qx"), Postcode::Foreign("1012 QX".into()));
    }
}
