//! The index's only script, and the policy that lets nothing else run.

use sha2::{Digest, Sha256};

/// Sorts and filters the vans.
pub const TEXT: &str = include_str!("index.js");

/// What the page may do: show its own styles, run its own script, load nothing.
/// The script is named by its hash, so that no text of a record could ever run.
pub fn policy() -> String {
    let digest = Sha256::digest(TEXT.as_bytes());
    format!(
        "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        base64(&digest)
    )
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let at = |i: usize| group.get(i).copied().map_or(0, u32::from);
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for place in 0..4 {
            let index = (bits >> (18 - 6 * place)) & 63;
            match LETTERS.get(index as usize) {
                Some(letter) if place <= group.len() => out.push(char::from(*letter)),
                _ => out.push('='),
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
