//! `incisura practice-page`: a test as one file for students to practise with at home.
//!
//! The file is the page of the practice room with everything in it: style, fonts, script, texts,
//! and the core in WebAssembly. It asks nobody for anything, and its policy forbids it to.

mod bundle;
mod key;
mod scorm;

use std::io::Write as _;
use std::path::Path;
use std::sync::OnceLock;

use figure::{base64, font};
use flate2::Compression;
use flate2::write::GzEncoder;
use practice::{Definition, Level, Practice, PracticeError, Task};
use sha2::{Digest as _, Sha256};

use crate::failure::Failure;
use crate::test_file::{self, Changes};
use crate::web::practice_room::{self as room, InFile};
use crate::{args, files};
use bundle::Modules;
pub(crate) use scorm::Package;

/// How many tasks a page has to open with: a class that begins together has different hearts.
const OPENINGS: u64 = 12;

// What `build.rs` wrote.
include!(concat!(env!("OUT_DIR"), "/practice_core.rs"));

const NO_CORE: &str = "this program was built without the practice core, which goes into every practice page; \
     `cargo xtask run -- practice-page …` in its sources builds it in";

pub(crate) fn run(args: &args::PracticePage) -> Result<(), Failure> {
    if let Some(code) = &args.verify {
        return files::say(&verified(&args.test, code)?);
    }
    let Some(output) = &args.output else {
        return Err(Failure::Other("say where to write, with -o".to_owned()));
    };
    let bytes = made(&args.test, args.package, None)?;
    files::replace(output, &bytes)?;
    files::say(&format!("{} ({:.2} MB)", output.display(), bytes.len() as f64 / 1e6))
}

/// Whether pages can be made.
pub(crate) fn can_be_made() -> bool {
    CORE.is_some()
}

/// The practice page of the test in `path`, or a package with it; the electrocardiogram is called
/// as the test says, or by the word `spelling` where it says nothing.
pub(crate) fn made(
    path: &Path,
    package: Option<Package>,
    spelling: Option<&str>,
) -> Result<Vec<u8>, Failure> {
    let core = packed().ok_or_else(|| Failure::Other(NO_CORE.to_owned()))?;
    let (title, definition) = read(path)?;
    let definition = Definition { spelling: spelling.map(str::to_owned), ..definition };
    // What cannot be practised is told to whoever makes the page, not to those who get it.
    let tasks = openings(&definition).map_err(|error| Failure::file(path, error.to_string()))?;
    let key = key::made(path)?;
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    let page = page(core, &title, &name, &definition, &key, &tasks)?;
    match package {
        None => Ok(page.into_bytes()),
        Some(package) => package.archive(&page, &title, &definition.id()),
    }
}

/// What the result code of a student says.
pub(crate) fn verified(path: &Path, code: &str) -> Result<String, Failure> {
    key::verified(path, &read(path)?.1, code)
}

/// The title of a test, and its texts.
fn read(path: &Path) -> Result<(String, Definition), Failure> {
    let test = files::read(path)?;
    let read = test_file::read(path, &test, &Changes::default(), &Default::default())?;
    Ok((read.test.title, Definition { test, conventions: read.conventions, spelling: None }))
}

/// Tasks to open the page with: a telephone takes seconds to compute its first.
fn openings(definition: &Definition) -> Result<Vec<Task>, PracticeError> {
    let task = |seed| Ok(Practice::new(definition, Level::Lines, seed)?.task());
    (1..=OPENINGS).map(task).collect()
}

fn page(
    core: &str,
    title: &str,
    name: &str,
    definition: &Definition,
    key: &str,
    tasks: &[Task],
) -> Result<String, Failure> {
    let (style, script) = (style(), script()?);
    let policy = policy(&style, &script);
    let page = InFile { title, name, definition, key, core, tasks, policy: &policy };
    Ok(page.html(&style, &script).into_string())
}

/// All modules as one script, with the core's own source in place of the one that asks by address.
fn script() -> Result<String, Failure> {
    let mut modules = Modules::from(room::MODULES);
    modules.insert("source.js", room::SOURCE_IN_PAGE);
    bundle::script("page.js", &modules).map_err(Failure::Other)
}

/// The style sheets with their fonts.
fn style() -> String {
    let mut style = room::STYLES.concat();
    let fonts = [("/regular.woff2", font::REGULAR_WOFF2), ("/bold.woff2", font::BOLD_WOFF2)];
    for (address, bytes) in fonts {
        style = style.replace(address, &format!("data:font/woff2;base64,{}", base64(bytes)));
    }
    style
}

/// Only this script and this style count, and nothing is asked for anywhere.
fn policy(style: &str, script: &str) -> String {
    let hash = |text: &str| format!("'sha256-{}'", base64(&Sha256::digest(text)));
    format!(
        "default-src 'none'; script-src {} 'wasm-unsafe-eval'; style-src {}; font-src data:; \
         img-src data:; base-uri 'none'; form-action 'none'",
        hash(script),
        hash(style)
    )
}

/// The core as it stands in a page: packed, and written as letters.
fn packed() -> Option<&'static str> {
    static PACKED: OnceLock<Option<String>> = OnceLock::new();
    let pack = |core: &[u8]| {
        let mut packed = GzEncoder::new(Vec::new(), Compression::best());
        // Writing to memory does not fail.
        packed.write_all(core).ok()?;
        packed.finish().map(|bytes| base64(&bytes)).ok()
    };
    PACKED.get_or_init(|| CORE.and_then(pack)).as_deref()
}

#[cfg(test)]
mod tests;
