//! Where a test's printed sheets lie, and whether they are of its text as it is now.
//!
//! A test `NAME.toml` is printed into `sheets/NAME`, with the test as it was then and its
//! convention beside the PDFs. What `incisura sheet` put into `sheets` itself counts too, for the
//! test of which its `geometry.json` is. Prints of an earlier text lie in `sheets/NAME (1)` and so
//! on, large print in `sheets/NAME large`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::folder::Folder;
use super::refusal::Refusal;
use super::rooms::marking::work::database;
use crate::failure::Failure;
use crate::files;
use crate::printed_from::{GEOMETRY, id_in};
use crate::sheet_command::SHEET_LIST;
use crate::test_file::{self, Changes, TestFile};

/// Where sheets are printed into, in a course's folder.
pub(crate) const SHEETS: &str = "sheets";
/// What the codes of a print of `text` call it.
fn id_of(folder: &Folder, test: &str, text: &str, large_print: bool) -> Option<String> {
    let path = folder.path(test).ok()?;
    let read = test_file::read(&path, text, &Changes::default(), &BTreeMap::new()).ok()?.test;
    Some(test_file::identity(text, read.forms, read.paper, large_print))
}

fn stem(test: &str) -> &str {
    test.strip_suffix(".toml").unwrap_or(test)
}

/// The folder of the test's printed sheets, if it was printed.
pub(crate) fn printed_folder(folder: &Folder, test: &str) -> Option<PathBuf> {
    let own = folder.path(&format!("{SHEETS}/{}", stem(test))).ok()?;
    if own.join(GEOMETRY).is_file() {
        return Some(own);
    }
    let shared = folder.path(SHEETS).ok()?;
    let id = id_in(&shared)?;
    let now = folder.text(test).ok()?.text;
    let texts = std::iter::once(now).chain(folder.earlier(test).unwrap_or_default());
    let mut ids = texts.filter_map(|text| id_of(folder, test, &text, false));
    ids.any(|own| own == id).then_some(shared)
}

/// The folders of all prints of the test, the latest first. Each may have a list of who has which
/// sheet, [`SHEET_LIST`].
pub(crate) fn prints(folder: &Folder, test: &str) -> Vec<PathBuf> {
    let others = std::iter::once(format!("{} large", stem(test)));
    let others = others.chain((1..MOST_PRINTS).map(|number| earlier(test, number)).rev());
    let others = others.filter_map(|name| folder.path(&format!("{SHEETS}/{name}")).ok());
    let others = others.filter(|folder| folder.join(GEOMETRY).is_file());
    printed_folder(folder, test).into_iter().chain(others).collect()
}

/// Whether the sheets that were printed are of the text as it is now.
pub(crate) fn is_as_printed(folder: &Folder, test: &str) -> bool {
    let printed = printed_folder(folder, test).and_then(|folder| id_in(&folder));
    let text = folder.text(test).ok().map(|text| text.text);
    let now = text.and_then(|text| id_of(folder, test, &text, false));
    printed.is_some() && printed == now
}

/// More prints of one test than anybody makes.
const MOST_PRINTS: usize = 100;

fn earlier(test: &str, number: usize) -> String {
    format!("{} ({number})", stem(test))
}

/// The folder that the test is now to be printed into. Sheets of an earlier text that lie there
/// are moved aside, for somebody may have drawn on them.
pub(crate) fn folder_to_print(
    folder: &Folder,
    test: &str,
    large_print: bool,
) -> Result<PathBuf, Refusal> {
    let large = if large_print { " large" } else { "" };
    let own = folder.path(&format!("{SHEETS}/{}{large}", stem(test)))?;
    let text = folder.text(test)?.text;
    let new = id_of(folder, test, &text, large_print);
    let shared = folder.path(SHEETS)?;
    if !own.exists() && new.is_some() && id_in(&shared) == new {
        return Ok(shared);
    }
    if own.join(GEOMETRY).is_file() && id_in(&own) != new {
        let free = (1..MOST_PRINTS)
            .filter_map(|number| folder.path(&format!("{SHEETS}/{}", earlier(test, number))).ok())
            .find(|path| !path.exists());
        let aside = free.ok_or_else(|| Refusal::of_all("this was printed too often; copy it"))?;
        fs::rename(&own, &aside).map_err(|reason| Failure::unwritable(&aside, reason))?;
    }
    Ok(own)
}

/// Refuses a print in which a sheet would belong to somebody else than in the one before.
pub(crate) fn same_people(into: &Path, list: &str) -> Result<(), String> {
    let Ok(before) = fs::read_to_string(into.join(SHEET_LIST)) else { return Ok(()) };
    let rows = |text: &str| -> BTreeMap<String, [String; 2]> {
        let mut table = csv::Reader::from_reader(text.as_bytes());
        let records = table.records().flatten();
        let field = |row: &csv::StringRecord, at: usize| row.get(at).unwrap_or("").to_owned();
        records.map(|row| (field(&row, 0), [field(&row, 2), field(&row, 3)])).collect()
    };
    let (before, now) = (rows(&before), rows(list));
    let other = before.iter().find(|(sheet, whose)| now.get(*sheet) != Some(whose));
    other.map_or(Ok(()), |(sheet, [name, id])| {
        let whose = if name.is_empty() { id } else { name };
        let whose = if whose.is_empty() { "a spare one" } else { whose };
        Err(format!(
            "this test is printed already, and sheet {sheet} is {whose} there; with this class list or number of spare sheets it would be another's. Put the earlier class list back and print at least as many spare sheets, or copy the test and print the copy"
        ))
    })
}

/// A print's test and its conventions, as they lie beside the sheets.
pub(crate) struct Kept {
    /// What the sheets' codes call the test.
    pub(crate) id: String,
    pub(crate) text: String,
    pub(crate) printed: TestFile,
}

impl Kept {
    /// What the sheets in `print` were printed from; none where it was not kept.
    fn read(print: &Path, test: &str) -> Option<Self> {
        let path = print.join(test);
        let text = fs::read_to_string(&path).ok()?;
        let printed = test_file::read(&path, &text, &Changes::default(), &BTreeMap::new()).ok()?;
        let (forms, paper) = (printed.test.forms, printed.test.paper);
        let ids = [false, true].map(|large| test_file::identity(&text, forms, paper, large));
        let id = id_in(print).filter(|id| ids.contains(id))?;
        Some(Self { id, text, printed })
    }
}

/// What the prints of the test were printed from, the latest first.
pub(crate) fn kept(folder: &Folder, test: &str) -> Vec<Kept> {
    prints(folder, test).iter().filter_map(|print| Kept::read(print, test)).collect()
}

/// Refuses a print by other rules than those of an earlier one whose sheets have the same codes:
/// sheets of the one would be read as if they were of the other. Where nothing was kept beside the
/// earlier one, it was printed by what the course has known since its sheets were first read.
pub(crate) fn same_rules(folder: &Folder, test: &str, large_print: bool) -> Result<(), Refusal> {
    let path = folder.path(test)?;
    let text = files::read(&path)?;
    let now = test_file::read(&path, &text, &Changes::default(), &BTreeMap::new())?;
    let id = test_file::identity(&text, now.test.forms, now.test.paper, large_print);
    let before = match kept(folder, test).into_iter().find(|kept| kept.id == id) {
        Some(kept) => kept.printed.conventions,
        None => match database(folder)?.test(&id).map_err(Failure::from)? {
            Some(known) => known.conventions.to().map_err(Failure::kept)?,
            None => BTreeMap::new(),
        },
    };
    let other = before.into_iter().find(|(name, text)| now.conventions.get(name) != Some(text));
    other.map_or(Ok(()), |(name, _)| {
        Err(Refusal::of_all(format!(
            "this test is printed already, and the rules in {name} were changed since; sheets by the new rules would have the codes of those that are printed. Undo the changes to the rules, or copy the test and print the copy"
        )))
    })
}

/// The texts that lie beside printed sheets, of all tests.
pub(crate) fn kept_files(folder: &Folder) -> Vec<PathBuf> {
    let sheets = folder.root().join(SHEETS);
    let within = |folder: &Path| -> Vec<PathBuf> {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        entries.map(|entry| entry.path()).collect()
    };
    let mut all = within(&sheets);
    let deeper: Vec<PathBuf> = all.iter().flat_map(|path| within(path)).collect();
    all.extend(deeper);
    all.retain(|path| path.extension().is_some_and(|kind| kind == "toml"));
    all.sort();
    all
}
