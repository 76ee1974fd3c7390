//! The index's only script, and the policy that lets nothing else run.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// Sorts and filters the vans, prints the whole.
pub const TEXT: &str = include_str!("index.js");

/// What the page may do: show its own styles, run its own script, load nothing.
/// The script is named by its hash, so that no text of a record could ever run.
pub fn policy() -> String {
    let hash = STANDARD.encode(Sha256::digest(TEXT.as_bytes()));
    format!(
        "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'"
    )
}
