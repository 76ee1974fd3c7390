//! What can go wrong in a computation.

/// Why a computation could not be carried out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StatsError {
    #[error("{what}: {found} given, at least {needed} needed")]
    TooFew {
        what: &'static str,
        needed: usize,
        found: usize,
    },
    #[error("{what}: length {found}, expected {expected}")]
    Length {
        what: &'static str,
        expected: usize,
        found: usize,
    },
    #[error("{what} is {value}; allowed is {allowed}")]
    OutOfRange {
        what: &'static str,
        value: f64,
        allowed: &'static str,
    },
    #[error("{what} holds a value that is not finite, at position {index}")]
    NotFinite { what: &'static str, index: usize },
}

/// Refuses a slice that holds NaN or infinity.
pub(crate) fn check_finite(what: &'static str, values: &[f64]) -> Result<(), StatsError> {
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(StatsError::NotFinite { what, index }),
        None => Ok(()),
    }
}

/// Refuses a slice of another length than its partner.
pub(crate) fn check_length(
    what: &'static str,
    expected: usize,
    found: usize,
) -> Result<(), StatsError> {
    if expected == found {
        Ok(())
    } else {
        Err(StatsError::Length {
            what,
            expected,
            found,
        })
    }
}
