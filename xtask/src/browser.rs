//! The page, used as a person uses it, in a real browser.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::run::{exists, need, quietly, run};
use crate::{Done, root, target};

/// What a browser is called on different systems.
const BROWSERS: [&str; 3] = ["chromium", "chromium-browser", "google-chrome"];

/// Runs the browser's test, or says why it is skipped.
pub(crate) fn check() -> Done {
    let browser = match prepare() {
        Ok(browser) => browser,
        Err(why) => {
            println!("skipped: {why}");
            return Ok(());
        }
    };
    let program = Served::start()?;
    let mut test = Command::new("node");
    test.arg("page.mjs").arg(&program.address).arg(browser).arg(target().join("screenshots"));
    run(test.current_dir(folder()))
}

/// Where the test is run: beside the packages it needs, outside the sources.
fn folder() -> PathBuf {
    target().join("browser")
}

/// Brings a browser and the packages that drive it; gives the browser's path.
fn prepare() -> Result<PathBuf, String> {
    need("node", &["nodejs", "npm"])?;
    if !BROWSERS.iter().any(|name| exists(name)) {
        need("chromium", &["chromium"])?;
    }
    let browser = BROWSERS.iter().find_map(|name| on_path(name)).ok_or("no browser was found")?;
    let sources = root().join("crates/incisura/tests/browser");
    copy(&sources, &folder())
        .map_err(|error| format!("cannot prepare {}: {error}", folder().display()))?;
    quietly(Command::new("npm").args(["ci", "--no-audit", "--no-fund"]).current_dir(folder()))?;
    Ok(browser)
}

fn on_path(program: &str) -> Option<PathBuf> {
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders).map(|folder| folder.join(program)).find(|path| path.is_file())
}

fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        if entry.file_type()?.is_file() {
            fs::copy(entry.path(), to.join(entry.file_name()))?;
        }
    }
    Ok(())
}

/// The program, serving its page until this is dropped.
struct Served {
    program: Child,
    address: String,
}

impl Served {
    fn start() -> Result<Self, String> {
        let path = target().join("debug").join(format!("incisura{}", std::env::consts::EXE_SUFFIX));
        let mut start = Command::new(&path);
        start.args(["open", "--no-browser", "--port", "0"]).stdout(Stdio::piped());
        let cannot = |error: std::io::Error| format!("cannot run {}: {error}", path.display());
        let mut program = start.spawn().map_err(cannot)?;
        let mut said = String::new();
        if let Some(output) = program.stdout.take() {
            BufReader::new(output).read_line(&mut said).map_err(cannot)?;
        }
        let address = said.split_whitespace().find(|word| word.starts_with("http://"));
        let address = address.ok_or("the program did not say its address")?.to_owned();
        Ok(Self { program, address })
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to do.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}
