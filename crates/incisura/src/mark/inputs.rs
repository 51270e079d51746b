//! The files that are given, and what is known of their pages already.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use course::Course;
use scan::Limits;
use sha2::{Digest, Sha256};

use crate::chance::hex;
use crate::failure::Failure;

/// Names of files in a folder that are taken: those that can be read, and pictures of phones that
/// cannot, so that nothing is passed over in silence.
pub(crate) const KINDS: [&str; 9] =
    ["pdf", "jpg", "jpeg", "png", "tif", "tiff", "heic", "heif", "avif"];

/// A page that is given.
#[derive(Clone, Debug)]
pub(crate) struct InputPage {
    pub(crate) file: usize,
    /// The page in the file, from 1.
    pub(crate) number: u32,
    pub(crate) state: State,
}

/// What is to be done with a page.
#[derive(Clone, Debug)]
pub(crate) enum State {
    /// It was read by an earlier run.
    Known(course::Page),
    /// It is to be read.
    New,
    /// The whole file cannot be read; its contents are known all the same.
    Fault(String),
    /// The file cannot even be opened.
    Closed(String),
    /// The file's contents are those of an earlier one.
    Same(usize),
}

/// A file that is given.
#[derive(Clone, Debug)]
pub(crate) struct InputFile {
    pub(crate) path: PathBuf,
    /// What it is called in the results.
    pub(crate) name: String,
    /// A digest of its bytes; empty where they cannot be had.
    pub(crate) hash: String,
}

/// All that is given.
#[derive(Clone, Debug, Default)]
pub(crate) struct Inputs {
    pub(crate) files: Vec<InputFile>,
    pub(crate) pages: Vec<InputPage>,
    /// What else lies in folders, by name.
    pub(crate) ignored: Vec<String>,
}

/// A file that was looked into.
#[derive(Clone, Debug)]
pub(crate) struct Looked {
    pub(crate) file: InputFile,
    /// How many pages it has, or why it has none.
    pub(crate) pages: Result<u32, Unusable>,
}

/// Why a file has no pages.
#[derive(Clone, Debug)]
pub(crate) enum Unusable {
    /// It cannot even be opened.
    Closed(String),
    /// Its contents are no pages.
    Fault(String),
}

impl Looked {
    /// Looks into the file at `path`, which is called `name` in the results.
    pub(crate) fn into(path: PathBuf, name: String) -> Self {
        let mut file = InputFile { path, name, hash: String::new() };
        let pages = match fs::read(&file.path) {
            Err(reason) => {
                Err(Unusable::Closed(Failure::unreadable(&file.path, reason).to_string()))
            }
            Ok(bytes) => {
                file.hash = digest(&bytes);
                match scan::read(bytes, &file.name, Limits::default()) {
                    Err(error) => Err(Unusable::Fault(error.fault.to_string())),
                    Ok(pages) => Ok(pages.count_of_pages() as u32),
                }
            }
        };
        Self { file, pages }
    }
}

impl Inputs {
    /// Looks through everything in `given`.
    pub(crate) fn of(given: &[PathBuf], course: &Course) -> Result<Self, Failure> {
        let mut ignored = Vec::new();
        let mut paths = Vec::new();
        for path in given {
            if path.is_dir() {
                ignored.extend(in_folder(path, &mut paths)?);
            } else {
                paths.push(path.clone());
            }
        }
        let names = names(&paths);
        let looked = paths.into_iter().zip(names).map(|(path, name)| Looked::into(path, name));
        Self::known(looked.collect(), ignored, course)
    }

    /// What `course` knows of the pages of files that were looked into.
    pub(crate) fn known(
        looked: Vec<Looked>,
        ignored: Vec<String>,
        course: &Course,
    ) -> Result<Self, Failure> {
        let mut inputs = Self { ignored, ..Self::default() };
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for (index, Looked { file, pages }) in looked.into_iter().enumerate() {
            let mut page = |number, state| {
                inputs.pages.push(InputPage { file: index, number, state });
            };
            match pages {
                Err(Unusable::Closed(reason)) => page(1, State::Closed(reason)),
                Err(Unusable::Fault(reason)) => page(1, State::Fault(reason)),
                Ok(count) => {
                    let first = *seen.entry(file.hash.clone()).or_insert(index);
                    for number in 1..=count {
                        let state = if first == index {
                            known(course, &file.hash, number)?
                        } else {
                            State::Same(first)
                        };
                        page(number, state);
                    }
                }
            }
            inputs.files.push(file);
        }
        Ok(inputs)
    }
}

/// What could not be read is tried again: there may be other prints to compare it with.
fn known(course: &Course, hash: &str, number: u32) -> Result<State, Failure> {
    let page = course.page_of(hash, number, reader::VERSION)?;
    let read = page.filter(|page| page.unreadable.is_none());
    Ok(read.map_or(State::New, State::Known))
}

/// A digest of a file's bytes, SHA-256 in hexadecimal digits.
pub(crate) fn digest(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Adds the scans in a folder in the order of their names; gives the names of what is none.
pub(crate) fn in_folder(folder: &Path, paths: &mut Vec<PathBuf>) -> Result<Vec<String>, Failure> {
    let unreadable = |reason| Failure::unreadable(folder, reason);
    let mut found = Vec::new();
    let mut ignored = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let kind = path.extension().map(|kind| kind.to_string_lossy().to_lowercase());
        if path.is_file() && kind.is_some_and(|kind| KINDS.contains(&kind.as_str())) {
            found.push(path);
        } else {
            let name = path.file_name().unwrap_or(path.as_os_str());
            ignored.push(name.to_string_lossy().into_owned());
        }
    }
    ignored.sort_by(|a, b| natural(a, b));
    found.sort_by(|a, b| natural(&a.to_string_lossy(), &b.to_string_lossy()));
    paths.append(&mut found);
    Ok(ignored)
}

/// The order in which people count: `page 2` before `page 10`.
pub(crate) fn natural(a: &str, b: &str) -> Ordering {
    parts(a).cmp(&parts(b)).then_with(|| a.cmp(b))
}

/// Runs of digits as numbers, before other letters in small.
fn parts(text: &str) -> Vec<(u64, String)> {
    let mut parts: Vec<(u64, String)> = Vec::new();
    let mut digits = false;
    for one in text.chars().flat_map(char::to_lowercase) {
        match (one.to_digit(10), parts.last_mut()) {
            (Some(digit), Some((number, _))) if digits => {
                *number = number.saturating_mul(10).saturating_add(u64::from(digit));
            }
            (Some(digit), _) => parts.push((u64::from(digit), String::new())),
            (None, Some((_, text))) if !digits => text.push(one),
            (None, _) => parts.push((u64::MAX, one.to_string())),
        }
        digits = one.is_ascii_digit();
    }
    parts
}

/// The files' names; as they were given where two are the same.
fn names(paths: &[PathBuf]) -> Vec<String> {
    let name = |path: &PathBuf| {
        path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    let short: Vec<String> = paths.iter().map(name).collect();
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    for name in &short {
        *count.entry(name).or_default() += 1;
    }
    let own = |(path, name): (&PathBuf, &String)| {
        if count[name.as_str()] == 1 { name.clone() } else { path.display().to_string() }
    };
    paths.iter().zip(&short).map(own).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_come_in_the_order_in_which_people_count() {
        let mut names = ["page 10.jpg", "Page 2.jpg", "cover.pdf", "page 1b.jpg", "page 1.jpg"];
        names.sort_by(|a, b| natural(a, b));
        assert_eq!(names, ["cover.pdf", "page 1.jpg", "page 1b.jpg", "Page 2.jpg", "page 10.jpg"]);
    }

    /// The digest of “abc” is an example in FIPS 180-4.
    #[test]
    fn the_digest_is_the_standard_s() {
        let wanted = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(digest(b"abc"), wanted);
    }

    #[test]
    fn files_of_the_same_name_are_told_apart() {
        let paths = ["a/1.jpg", "b/1.jpg", "b/2.jpg"].map(PathBuf::from);
        assert_eq!(names(&paths), ["a/1.jpg", "b/1.jpg", "2.jpg"]);
    }
}
