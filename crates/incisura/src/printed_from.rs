//! What sheets were printed from: the test and its conventions, kept beside the sheets, so that they
//! can be read and marked after the files were changed.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Component, Path};

use cardiac::Shipped;
use serde::Deserialize;
use sheet::Paper;

use crate::failure::Failure;
use crate::{files, test_file};

/// The scanner's description of the sheets.
pub(crate) const GEOMETRY: &str = "geometry.json";
/// Most forms of a test.
const MOST_FORMS: usize = 26;

/// The part of `geometry.json` that is needed.
#[derive(Deserialize)]
struct Geometry {
    test: String,
}

/// What the codes of the sheets in `folder` call their test.
pub(crate) fn id_in(folder: &Path) -> Option<String> {
    let text = fs::read_to_string(folder.join(GEOMETRY)).ok()?;
    Some(serde_json::from_str::<Geometry>(&text).ok()?.test)
}

/// Keeps the `text` of a test called `file`, and the conventions in files that it names, in the
/// folder of its sheets. Gives the reason where they cannot be kept there: no file of a person's own
/// is written over.
pub(crate) fn keep(
    file: &str,
    text: &str,
    conventions: &BTreeMap<String, String>,
    folder: &Path,
) -> Result<Result<(), String>, Failure> {
    let own = conventions.iter().filter(|(name, _)| Shipped::find(name).is_none());
    let own = own.map(|(name, text)| (name.as_str(), text.as_str()));
    let texts: Vec<(&str, &str)> = std::iter::once((file, text)).chain(own).collect();
    let inside =
        |name: &str| Path::new(name).components().all(|part| matches!(part, Component::Normal(_)));
    if let Some((name, _)) = texts.iter().find(|(name, _)| !inside(name)) {
        return Ok(Err(format!("{name} does not lie beside the test")));
    }
    let there = |name: &str| fs::read(folder.join(name)).ok();
    let was_kept = there(file).is_some_and(|before| {
        let before = String::from_utf8_lossy(&before);
        id_in(folder).is_some_and(|id| may_be_called(&before, &id))
    });
    for (name, text) in &texts {
        match there(name) {
            Some(before) if before == text.as_bytes() => {}
            Some(_) if !was_kept => {
                return Ok(Err(format!("there is another {name} in {}", folder.display())));
            }
            _ => {}
        }
    }
    for (name, text) in texts {
        if there(name).as_deref() != Some(text.as_bytes()) {
            let path = folder.join(name);
            files::make_folder(path.parent().unwrap_or(folder))?;
            files::replace(&path, text.as_bytes())?;
        }
    }
    Ok(Ok(()))
}

/// Whether sheets that were printed from `text` may call it `id`.
fn may_be_called(text: &str, id: &str) -> bool {
    let mut kinds = (1..=MOST_FORMS).flat_map(|forms| {
        [Paper::Letter, Paper::A4]
            .into_iter()
            .flat_map(move |paper| [false, true].map(|large| (forms, paper, large)))
    });
    kinds.any(|(forms, paper, large)| test_file::identity(text, forms, paper, large) == id)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder of this test alone, empty.
    fn fresh(name: &str) -> std::path::PathBuf {
        let folder =
            std::env::temp_dir().join(format!("incisura-printed-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        folder
    }

    fn conventions(text: &str) -> BTreeMap<String, String> {
        let all = [("first_course", "shipped"), ("rules/own.toml", text)];
        all.map(|(name, text)| (name.to_owned(), text.to_owned())).into()
    }

    #[test]
    fn texts_are_kept_and_those_of_an_earlier_print_replaced() {
        let folder = fresh("kept");
        let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        assert_eq!(keep("t.toml", "one", &conventions("r1"), &folder).unwrap(), Ok(()));
        assert_eq!((read("t.toml"), read("rules/own.toml")), ("one".to_owned(), "r1".to_owned()));
        assert!(!folder.join("first_course").exists());
        let id = test_file::identity("one", 3, Paper::A4, false);
        fs::write(folder.join(GEOMETRY), format!("{{\"test\": \"{id}\"}}")).unwrap();
        assert_eq!(keep("t.toml", "two", &conventions("r2"), &folder).unwrap(), Ok(()));
        assert_eq!((read("t.toml"), read("rules/own.toml")), ("two".to_owned(), "r2".to_owned()));
        let _ = fs::remove_dir_all(folder);
    }

    #[test]
    fn nothing_of_a_person_is_written_over() {
        let folder = fresh("own");
        let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        fs::write(folder.join("t.toml"), "mine").unwrap();
        let why = keep("t.toml", "one", &conventions("r1"), &folder).unwrap().unwrap_err();
        assert!(why.contains("t.toml"), "{why}");
        // A description of other sheets does not make it one of theirs.
        let id = test_file::identity("other", 1, Paper::Letter, false);
        fs::write(folder.join(GEOMETRY), format!("{{\"test\": \"{id}\"}}")).unwrap();
        assert!(keep("t.toml", "one", &conventions("r1"), &folder).unwrap().is_err());
        assert_eq!(read("t.toml"), "mine");
        assert!(!folder.join("rules").exists(), "all or nothing");
        let outside = [("../own.toml".to_owned(), "r".to_owned())].into();
        let why = keep("new.toml", "one", &outside, &folder).unwrap().unwrap_err();
        assert!(why.contains("../own.toml") && !folder.join("new.toml").exists());
        let _ = fs::remove_dir_all(folder);
    }
}
