//! Files that are brought into the course: streamed to disk, never held in memory.

use std::fs;
use std::future::poll_fn;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};

use axum::Json;
use axum::body::{Body, HttpBody as _};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, header};
use serde::{Deserialize, Serialize};

use super::list::{INSIDE, TAKEN, recordings, stem};
use crate::failure::Failure;
use crate::files;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;

/// The largest file taken, in bytes.
pub(crate) const LARGEST: u64 = 2 << 30;
/// So many names are tried for a file whose name is taken.
const TRIED: usize = 1_000;

#[derive(Deserialize)]
pub(crate) struct Wanted {
    name: String,
}

/// Under which name a file was put, and whether it is one that a recording is opened by.
#[derive(Serialize)]
pub(crate) struct Put {
    file: String,
    opens: bool,
}

/// `PUT /recordings/file?name=NAME`
pub(crate) async fn put(
    State(desk): State<Desk>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
    mut body: Body,
) -> Result<Json<Put>, Refusal> {
    let folder = desk.folder();
    let announced = headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok());
    if announced.and_then(|text| text.parse::<u64>().ok()).is_some_and(|bytes| bytes > LARGEST) {
        return Err(Refusal::of("file", words::TOO_LARGE));
    }
    let name = free_name(&folder, &wanted.name)?;
    let file = format!("{INSIDE}/{name}");
    let path = folder.path(&file)?;
    files::make_folder(&folder.root().join(INSIDE))?;
    // The folder may have been a link that leads elsewhere.
    folder.path(&file)?;
    let mut part = Part::begin(&path)?;
    while let Some(frame) = poll_fn(|context| Pin::new(&mut body).poll_frame(context)).await {
        let frame = frame.map_err(|_| Refusal::of("file", words::CUT_OFF))?;
        if let Ok(bytes) = frame.into_data() {
            tokio::task::block_in_place(|| part.add(&bytes))?;
        }
    }
    tokio::task::block_in_place(|| part.finish(&path))?;
    let opens = recordings(&folder).iter().any(|one| one.file == file);
    Ok(Json(Put { file, opens }))
}

/// The name that a file gets. A record of several files keeps its names, since its header says
/// them; anything else gets a number where a recording has its name.
fn free_name(folder: &Folder, wanted: &str) -> Result<String, Refusal> {
    let safe = Folder::safe_name(wanted);
    let small = safe.to_lowercase();
    let Some(ending) = TAKEN.iter().find(|ending| small.ends_with(**ending)) else {
        let what = words::not_taken(&safe);
        return Err(Refusal::of("file", what));
    };
    if small.ends_with(".corrections.csv") {
        return Err(Refusal::of("file", words::CORRECTIONS_NOT_TAKEN));
    }
    let base = &safe[..safe.len() - ending.len()];
    if base.is_empty() {
        return Err(Refusal::of("file", words::not_taken(&safe)));
    }
    let alone = [".edf", ".bdf", ".csv", ".tsv", ".txt", ".wav"].contains(ending);
    // Corrections are kept by a recording's name, so no two may share one.
    let known = recordings(folder);
    let called =
        |base: &str| known.iter().find(|one| stem(&one.file).to_lowercase() == base.to_lowercase());
    if !alone {
        if folder.path(&format!("{INSIDE}/{safe}"))?.exists() {
            return Err(Refusal::conflict(words::already(&safe)));
        }
        return match called(base).filter(|_| *ending == ".hea") {
            Some(other) => Err(Refusal::conflict(words::name_taken(&safe, &other.file))),
            None => Ok(safe),
        };
    }
    let numbered = (2..TRIED).map(|number| format!("{base}-{number}"));
    let mut names = std::iter::once(base.to_owned()).chain(numbered);
    let free = names.find(|base| called(base).is_none());
    let free = free.ok_or_else(|| Refusal::conflict(words::already(&safe)))?;
    Ok(format!("{free}{}", &safe[base.len()..]))
}

/// A file that is not whole yet; it is gone unless it is finished.
struct Part {
    path: PathBuf,
    file: fs::File,
    bytes: u64,
    finished: bool,
}

impl Part {
    fn begin(whole: &Path) -> Result<Self, Refusal> {
        // Two may bring a file of one name at once.
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = whole.file_name().unwrap_or_default().to_string_lossy();
        let path = whole.with_file_name(format!(".{name}.{count}.part"));
        // What another run left behind is begun anew; a link is never followed.
        let _ = fs::remove_file(&path);
        let file = fs::OpenOptions::new().write(true).create_new(true).open(&path);
        let file = file.map_err(|reason| Failure::unwritable(&path, reason))?;
        Ok(Self { path, file, bytes: 0, finished: false })
    }

    fn add(&mut self, bytes: &[u8]) -> Result<(), Refusal> {
        self.bytes += bytes.len() as u64;
        if self.bytes > LARGEST {
            return Err(Refusal::of("file", words::TOO_LARGE));
        }
        let written = self.file.write_all(bytes);
        Ok(written.map_err(|reason| Failure::unwritable(&self.path, reason))?)
    }

    fn finish(&mut self, whole: &Path) -> Result<(), Refusal> {
        if self.bytes == 0 {
            return Err(Refusal::of("file", words::EMPTY_FILE));
        }
        let unwritable = |reason| Failure::unwritable(whole, reason);
        self.file.sync_all().map_err(unwritable)?;
        // Unlike a renaming this never puts it in another's place.
        if fs::hard_link(&self.path, whole).is_err() {
            if whole.exists() {
                let name = whole.file_name().unwrap_or_default().to_string_lossy();
                return Err(Refusal::conflict(words::already(&name)));
            }
            fs::rename(&self.path, whole).map_err(unwritable)?;
        }
        self.finished = true;
        let _ = fs::remove_file(&self.path);
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.finished {
            let _ = fs::remove_file(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::tests::desk;

    #[test]
    fn two_at_once_of_one_name_do_not_write_into_one_another() {
        let whole = desk().folder().path("walk.csv").unwrap();
        let mut parts = [Part::begin(&whole).unwrap(), Part::begin(&whole).unwrap()];
        for round in 0..2 {
            for (index, part) in parts.iter_mut().enumerate() {
                part.add(format!("{index}{round}\n").as_bytes()).unwrap();
            }
        }
        let [mut first, mut second] = parts;
        second.finish(&whole).unwrap();
        let refused = first.finish(&whole).unwrap_err();
        assert!(refused.message.contains("“walk.csv”"), "{}", refused.message);
        drop((first, second));
        assert_eq!(fs::read_to_string(&whole).unwrap(), "10\n11\n");
        let hidden = fs::read_dir(whole.parent().unwrap()).unwrap().flatten();
        let left = hidden.filter(|entry| entry.file_name().to_string_lossy().starts_with('.'));
        assert_eq!(left.count(), 0, "nothing half stays");
    }
}
