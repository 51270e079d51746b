//! Bytes that nobody can foresee, and bytes as text.

use std::fmt::Write as _;

use crate::failure::Failure;

/// Bytes of chance from the system.
pub(crate) fn random<const N: usize>() -> Result<[u8; N], Failure> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| {
        Failure::Other(format!("this computer gives no random numbers: {error}"))
    })?;
    Ok(bytes)
}

/// Bytes as hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
