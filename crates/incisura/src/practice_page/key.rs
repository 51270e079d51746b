//! The key that a test's practice pages sign results with, kept beside the test.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use practice::{Definition, TryCode};

use crate::chance::{hex, random};
use crate::failure::Failure;
use crate::files;

/// Folder beside the tests in which their keys are.
const FOLDER: &str = "practice";

fn place(test: &Path) -> PathBuf {
    let key = test.with_extension("key");
    test.with_file_name(FOLDER).join(key.file_name().unwrap_or_default())
}

/// The key of the test in `test`, which is made where there is none yet.
pub(super) fn made(test: &Path) -> Result<String, Failure> {
    // One at a time, so that nobody reads a key that is only half written.
    static MAKING: Mutex<()> = Mutex::new(());
    let _alone = MAKING.lock().unwrap_or_else(PoisonError::into_inner);
    let place = place(test);
    if let Some(key) = kept(&place)? {
        return Ok(key);
    }
    let key = hex(&random::<16>()?);
    files::make_folder(&test.with_file_name(FOLDER))?;
    match OpenOptions::new().write(true).create_new(true).open(&place) {
        Ok(mut file) => {
            let written = writeln!(file, "{key}").and_then(|()| file.sync_all());
            written.map_err(|reason| {
                let _ = std::fs::remove_file(&place);
                Failure::unwritable(&place, reason)
            })?;
            Ok(key)
        }
        // Another program was quicker.
        Err(reason) if reason.kind() == ErrorKind::AlreadyExists => {
            kept(&place)?.ok_or_else(|| empty(&place))
        }
        Err(reason) => Err(Failure::unwritable(&place, reason)),
    }
}

fn kept(place: &Path) -> Result<Option<String>, Failure> {
    if !place.exists() {
        return Ok(None);
    }
    let key = files::read(place)?.trim().to_owned();
    if key.is_empty() { Err(empty(place)) } else { Ok(Some(key)) }
}

fn empty(place: &Path) -> Failure {
    Failure::file(
        place,
        "the key is empty; bring the file back from a copy, or remove it and give out new pages",
    )
}

/// What a result code says, in a sentence; or why it says nothing.
pub(super) fn verified(
    test: &Path,
    definition: &Definition,
    code: &str,
) -> Result<String, Failure> {
    let place = place(test);
    let key = kept(&place)?.ok_or_else(|| {
        let what = "there is no key here, so no practice page of this test was made in this folder";
        Failure::file(&place, what)
    })?;
    let read = TryCode::read(code, &key).map_err(|fault| Failure::Other(fault.to_string()))?;
    let [points, most] = read.points();
    let (level, seed) = (read.level.number(), read.seed);
    let mut said =
        format!("The code fits: {points} of {most} points, level {level}, variant {seed}.");
    if read.test != definition.id() {
        said += " The page was made when the test's text was another.";
    }
    Ok(said)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("incisura-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        folder
    }

    #[test]
    fn each_test_has_a_key_of_its_own_that_stays() {
        let folder = folder("keys");
        let [one, other] = ["a.toml", "b.toml"].map(|name| folder.join(name));
        let key = made(&one).unwrap();
        assert_eq!(key.len(), 32);
        assert_eq!(made(&one).unwrap(), key);
        assert_ne!(made(&other).unwrap(), key);
        std::fs::write(place(&one), "\n").unwrap();
        assert!(made(&one).unwrap_err().to_string().contains("the key is empty"));
    }

    #[test]
    fn only_codes_of_this_test_fit() {
        let folder = folder("codes");
        let [one, other] = ["a.1.toml", "a.2.toml"].map(|name| folder.join(name));
        let definition = Definition { test: "one".to_owned(), ..Definition::default() };
        let refused = verified(&one, &definition, "x").unwrap_err().to_string();
        assert!(refused.contains("no practice page of this test was made"), "{refused}");
        let code = TryCode {
            test: definition.id(),
            level: practice::Level::Lines,
            seed: 3,
            tenths: 45,
            max_tenths: 100,
        };
        let code = code.signed(&made(&one).unwrap());
        let said = verified(&one, &definition, &code).unwrap();
        assert_eq!(said, "The code fits: 4.5 of 10 points, level 2, variant 3.");
        let changed = Definition { test: "two".to_owned(), ..Definition::default() };
        assert!(verified(&one, &changed, &code).unwrap().contains("text was another"));
        made(&other).unwrap();
        let refused = verified(&other, &definition, &code).unwrap_err().to_string();
        assert!(refused.contains("does not fit"), "{refused}");
    }
}
