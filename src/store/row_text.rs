//! A row's text as it goes out and as it is known again.

use std::borrow::Cow;

use sha2::{Digest, Sha256};

/// A text that a spreadsheet would take for a formula gets an apostrophe in
/// front, and so does one that begins with such an apostrophe already, so
/// that taking one away always gives the text back.
pub fn harmless(text: &str) -> Cow<'_, str> {
    let is_formula = text
        .trim_start_matches('\'')
        .starts_with(['=', '+', '-', '@', '\t', '\r']);
    if is_formula {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// First bytes of the SHA-256 of a row's text, by which a row that comes back
/// from mending names the one it replaces.
pub fn print_of(text: &str) -> u32 {
    let hash = Sha256::digest(text.as_bytes());
    hash.iter()
        .take(4)
        .fold(0, |n, byte| n << 8 | u32::from(*byte))
}
