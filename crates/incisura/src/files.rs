//! Reading, writing and telling: the only place that touches files and the terminal.

use std::fs;
use std::io::{self, Write as _};
use std::path::Path;

use cycle::Cycle;

use crate::failure::Failure;

pub(crate) fn read(path: &Path) -> Result<String, Failure> {
    fs::read_to_string(path).map_err(|reason| Failure::unreadable(path, reason))
}

/// Reads a cycle in JSON.
pub(crate) fn read_cycle(path: &Path) -> Result<Cycle, Failure> {
    Cycle::from_json(&read(path)?).map_err(|error| Failure::file(path, error.to_string()))
}

/// Makes a folder, and those above it, where they are not there yet.
pub(crate) fn make_folder(path: &Path) -> Result<(), Failure> {
    fs::create_dir_all(path).map_err(|reason| Failure::unwritable(path, reason))
}

pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    fs::write(path, bytes).map_err(|reason| Failure::unwritable(path, reason))
}

/// Writes the whole file or leaves what is there: under another name first.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".new");
    let new = path.with_file_name(name);
    write(&new, bytes)?;
    fs::rename(&new, path).map_err(|reason| Failure::unwritable(path, reason))
}

/// Writes to the file, or to standard output where there is none.
pub(crate) fn write_or_print(path: Option<&Path>, bytes: &[u8]) -> Result<(), Failure> {
    path.map_or_else(|| print(bytes), |path| write(path, bytes))
}

fn print(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        // Whoever reads our output may stop early, as `head` does; that is no failure.
        Err(reason) if reason.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => other.map_err(Failure::Output),
    }
}

/// Tells the person at the terminal; never mixed with the output of a command.
pub(crate) fn tell(message: &str) {
    // Nobody is left to be told if standard error is closed.
    let _ = writeln!(io::stderr(), "{message}");
}

/// Says a line on standard output.
pub(crate) fn say(message: &str) -> Result<(), Failure> {
    print(format!("{message}\n").as_bytes())
}
