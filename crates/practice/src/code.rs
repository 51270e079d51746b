//! A short code that says what a try came to, for whoever gave out the page.
//!
//! It is signed with a key that stands in the page, so it shows typing errors and whether this page
//! or another made it. Whoever takes the page apart finds the key: it is no proof of who drew.

use std::fmt::Write as _;

use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::{Definition, Level, Practice, Request};

/// Digits that are not taken for one another.
const DIGITS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// As many digits of the check, of five bits each: one guess in a million millions fits.
const CHECK: usize = 8;

/// What a try came to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TryCode {
    /// Which texts, as [`Definition::id`] says.
    pub test: String,
    /// The level of help.
    pub level: Level,
    /// The variant.
    pub seed: u64,
    /// Points earned, in tenths.
    pub tenths: u32,
    /// What all of it is worth, in tenths.
    pub max_tenths: u32,
}

/// Why a code says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CodeFault {
    /// It is no code at all.
    #[error(
        "this is no result code; one looks like 1A2B3C-2-12345-14.5-20-ABCDEFGH, and all of it is needed"
    )]
    Malformed,
    /// The check does not belong to the rest.
    #[error(
        "this code does not fit: something in it was mistyped or changed, or a page of another test made it"
    )]
    Unfitting,
}

impl TryCode {
    /// What `points` of `max_points` came to.
    pub(crate) fn new<S>(
        definition: &Definition,
        request: &Request<S>,
        [points, max_points]: [f64; 2],
    ) -> Self {
        let tenths = |points: f64| libm::round(points * 10.0) as u32;
        Self {
            test: definition.id(),
            level: request.level,
            seed: request.seed,
            tenths: tenths(points),
            max_tenths: tenths(max_points),
        }
    }

    /// The code with its check by `key`.
    pub fn signed(&self, key: &str) -> String {
        let text = self.plain();
        let check = check(&text, key);
        format!("{text}-{check}")
    }

    /// Reads a code, however its letters were typed.
    ///
    /// # Errors
    /// [`CodeFault`] where it is none, or not one of this `key`.
    pub fn read(code: &str, key: &str) -> Result<Self, CodeFault> {
        let code: String = code.chars().filter(|c| !c.is_whitespace()).collect();
        let code = code.to_uppercase();
        let (text, signature) = code.rsplit_once('-').ok_or(CodeFault::Malformed)?;
        let read = Self::of_plain(text).ok_or(CodeFault::Malformed)?;
        // Read and written again it must be the same: nothing counts but what was signed.
        let fits = read.plain() == text && check(text, key) == signature;
        fits.then_some(read).ok_or(CodeFault::Unfitting)
    }

    fn plain(&self) -> String {
        let Self { test, level, seed, tenths, max_tenths } = self;
        let (points, most) = (points(*tenths), points(*max_tenths));
        format!("{test}-{}-{seed}-{points}-{most}", level.number())
    }

    fn of_plain(text: &str) -> Option<Self> {
        let parts: Vec<&str> = text.split('-').collect();
        let [test, level, seed, points, most] = parts[..] else { return None };
        let tenths = |text: &str| {
            let tenths = text.parse::<f64>().ok()? * 10.0;
            (0.0..=1e6).contains(&tenths).then(|| libm::round(tenths) as u32)
        };
        Some(Self {
            test: test.to_owned(),
            level: Level::try_from(level.parse::<u8>().ok()?).ok()?,
            seed: seed.parse().ok()?,
            tenths: tenths(points)?,
            max_tenths: tenths(most)?,
        })
    }

    /// Points earned, and what all of it is worth, such as `14.5` and `20`.
    pub fn points(&self) -> [String; 2] {
        [points(self.tenths), points(self.max_tenths)]
    }
}

fn points(tenths: u32) -> String {
    let mut text = (tenths / 10).to_string();
    if !tenths.is_multiple_of(10) {
        // Writing to a string does not fail.
        let _ = write!(text, ".{}", tenths % 10);
    }
    text
}

fn check(text: &str, key: &str) -> String {
    let hash = Sha256::digest(format!("{key}\n{text}"));
    let bits = hash.iter().take(8).fold(0_u64, |bits, byte| bits << 8 | u64::from(*byte));
    let digit = |place: usize| char::from(DIGITS[(bits >> (59 - 5 * place) & 31) as usize]);
    (0..CHECK).map(digit).collect()
}

impl Practice {
    /// What a judged drawing came to, signed.
    pub(crate) fn code(
        &self,
        request: &Request<Definition>,
    ) -> Result<String, crate::PracticeError> {
        let verdict = self.judge(&request.drawing)?;
        let came_to = [verdict.points, verdict.max_points];
        Ok(TryCode::new(&request.definition, request, came_to).signed(&request.key))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code() -> TryCode {
        TryCode {
            test: "0AB1CD".to_owned(),
            level: Level::Lines,
            seed: 4711,
            tenths: 145,
            max_tenths: 200,
        }
    }

    #[test]
    fn a_code_is_read_as_it_was_made() {
        let signed = code().signed("key");
        assert!(signed.starts_with("0AB1CD-2-4711-14.5-20-"), "{signed}");
        assert_eq!(TryCode::read(&signed, "key"), Ok(code()));
        assert_eq!(TryCode::read(&format!(" {} ", signed.to_lowercase()), "key"), Ok(code()));
    }

    #[test]
    fn whatever_is_changed_does_not_fit() {
        let signed = code().signed("key");
        for (from, to) in [("-2-", "-3-"), ("4711", "4712"), ("14.5", "19.5"), ("0AB", "1AB")] {
            let changed = signed.replacen(from, to, 1);
            assert_eq!(TryCode::read(&changed, "key"), Err(CodeFault::Unfitting), "{changed}");
        }
        assert_eq!(TryCode::read(&signed, "another"), Err(CodeFault::Unfitting));
        assert_eq!(
            TryCode::read(&signed.replace("14.5", "14.50"), "key"),
            Err(CodeFault::Unfitting)
        );
    }

    #[test]
    fn what_is_no_code_is_said_to_be_none() {
        for text in ["", "hello", "1-2-3", "A-9-1-1-1-X", "A-1-1-NAN-1-X", "A-1--1-1-1-X", "------"]
        {
            assert_eq!(TryCode::read(text, "key"), Err(CodeFault::Malformed), "{text}");
        }
    }
}
