//! Scans: taking them in, and what became of those that are there.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime};

use axum::body::Body;
use course::PageId;
use http_body_util::BodyExt as _;
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::work::{SCANS, Work};
use crate::failure::Failure;
use crate::files;
use crate::mark::inputs::{InputPage, KINDS, Looked, State, Unusable};
use crate::mark::results::{PageResult, PageStatus};
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::marking as words;

/// The largest scan, in bytes.
pub(crate) const LARGEST: u64 = 512 << 20;
/// So many files may lie in `scans/`.
const MOST_FILES: usize = 2000;
/// What a file is called while it comes in: hidden, so that nobody takes it for a scan.
const INCOMING: &str = ".incoming-";
/// What came in no further for so long was given up.
const GIVEN_UP: Duration = Duration::from_secs(3600);

/// What became of a file that was sent.
#[derive(Debug, Serialize)]
pub(crate) struct Taken {
    /// What it is called now.
    pub(crate) name: String,
    /// Whether the same file was there already.
    pub(crate) known: bool,
    pub(crate) pages: u32,
    /// All of that in words.
    pub(crate) said: String,
}

/// A file that is coming in; it is gone again unless it was kept.
struct Incoming {
    path: PathBuf,
    file: File,
}

impl Incoming {
    fn begin(scans: &Path) -> Result<Self, Failure> {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = scans.join(format!("{INCOMING}{}-{number}", std::process::id()));
        let file = File::create(&path).map_err(|reason| Failure::unwritable(&path, reason))?;
        Ok(Self { path, file })
    }
}

impl Drop for Incoming {
    fn drop(&mut self) {
        // Once it was kept, it is no longer there under this name.
        let _ = fs::remove_file(&self.path);
    }
}

/// Takes in a file that somebody called `wanted`, piece by piece.
pub(crate) async fn take(
    folder: &Folder,
    wanted: &str,
    mut body: Body,
    largest: u64,
) -> Result<Taken, Refusal> {
    let name = Folder::safe_name(wanted);
    let kind = Path::new(&name).extension().map(|kind| kind.to_string_lossy().to_lowercase());
    if !kind.is_some_and(|kind| KINDS.contains(&kind.as_str())) {
        return Err(Refusal::of_all(words::no_kind(&name)));
    }
    let scans = folder.path(SCANS)?;
    files::make_folder(&scans)?;
    sweep(&scans);
    if folder.files(SCANS, &[""]).len() >= MOST_FILES {
        return Err(Refusal::of_all(words::too_many(MOST_FILES)));
    }
    let mut incoming = Incoming::begin(&scans)?;
    let (mut length, mut digest) = (0_u64, Sha256::new());
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|_| Refusal::of_all(words::broken_off(&name)))?;
        let Ok(bytes) = frame.into_data() else { continue };
        length += bytes.len() as u64;
        if length > largest {
            return Err(Refusal::too_large(words::too_large(&name, largest >> 20)));
        }
        digest.update(&bytes);
        incoming.file.write_all(&bytes).map_err(|reason| unwritable(&name, &reason))?;
    }
    let folder = folder.clone();
    let digest = digest.finalize();
    super::off_thread(move || keep(&folder, &scans, incoming, name, length, &digest)).await
}

fn unwritable(name: &str, reason: &io::Error) -> Refusal {
    let full = matches!(
        reason.kind(),
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge
    );
    Refusal::of_all(if full { words::disk_full(name) } else { words::not_kept(name, reason) })
}

/// Gives a file that came in its name, if it is one with pages.
fn keep(
    folder: &Folder,
    scans: &Path,
    incoming: Incoming,
    name: String,
    length: u64,
    digest: &[u8],
) -> Result<Taken, Refusal> {
    incoming.file.sync_all().map_err(|reason| unwritable(&name, &reason))?;
    let looked = Looked::into(incoming.path.clone(), name.clone());
    let pages = match looked.pages {
        Ok(pages) => pages,
        Err(Unusable::Closed(reason) | Unusable::Fault(reason)) => {
            return Err(Refusal::of_all(words::no_scan(&name, &reason)));
        }
    };
    // Names are given one at a time, so that none is given twice.
    static NAMING: Mutex<()> = Mutex::new(());
    let _naming = NAMING.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(same) = same(folder, scans, length, digest) {
        let said = words::same(&name, &same);
        return Ok(Taken { name: same, known: true, pages, said });
    }
    let free = free_name(scans, &name);
    let path = folder.path(&format!("{SCANS}/{free}"))?;
    fs::rename(&incoming.path, &path).map_err(|reason| Failure::unwritable(&path, reason))?;
    let said = words::taken(&name, &free, pages);
    Ok(Taken { name: free, known: false, pages, said })
}

/// The file that has these bytes already.
fn same(folder: &Folder, scans: &Path, length: u64, digest: &[u8]) -> Option<String> {
    folder.files(SCANS, &[""]).into_iter().find(|name| {
        let path = scans.join(name);
        let as_long = fs::metadata(&path).is_ok_and(|about| about.len() == length);
        as_long && fs::read(&path).is_ok_and(|bytes| Sha256::digest(bytes)[..] == *digest)
    })
}

/// `a.pdf`, or `a-2.pdf` where there is one, and so on.
fn free_name(scans: &Path, name: &str) -> String {
    let (stem, kind) = name.rsplit_once('.').unwrap_or((name, ""));
    let numbered = (2..).map(|number: u32| format!("{stem}-{number}.{kind}"));
    let mut names = std::iter::once(name.to_owned()).chain(numbered);
    let free = names.find(|name| fs::symlink_metadata(scans.join(name)).is_err());
    free.unwrap_or_else(|| name.to_owned())
}

/// Removes what came in only in part before the program was stopped.
fn sweep(scans: &Path) {
    let given_up = |path: &Path| {
        let changed = fs::metadata(path).and_then(|about| about.modified());
        changed.is_ok_and(|at| {
            SystemTime::now().duration_since(at).is_ok_and(|since| since > GIVEN_UP)
        })
    };
    for entry in fs::read_dir(scans).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with(INCOMING) && given_up(&entry.path()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// What is known of a page of a scan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Known {
    /// It was not read yet.
    Waiting,
    /// It is a page of this sheet.
    Read(u32),
    /// It is there already, or could not be read, for a reason.
    Duplicate(String),
    Unreadable(String),
    /// A person set it aside, for a reason.
    Aside(String),
    /// It is of another test of the course.
    Other,
}

/// A file in `scans/`.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scan {
    pub(crate) name: String,
    pub(crate) pages: Vec<(u32, Known)>,
    /// The readings of its pages that can be set aside, and those that are.
    pub(crate) there: Vec<PageId>,
    pub(crate) aside: Vec<PageId>,
}

impl Scan {
    pub(crate) fn count(&self, wanted: impl Fn(&Known) -> bool) -> usize {
        self.pages.iter().filter(|(_, known)| wanted(known)).count()
    }
}

/// All files that lie in `scans/`, as far as `work` knows them.
pub(crate) fn listed(work: &Work) -> Vec<Scan> {
    let mut scans: Vec<Scan> = work
        .inputs
        .files
        .iter()
        .map(|file| Scan { name: file.name.clone(), ..Scan::default() })
        .collect();
    for (page, result) in work.inputs.pages.iter().zip(&work.class.pages) {
        let scan = &mut scans[page.file];
        let known = known(work, page, result);
        if let State::Known(page) = &page.state {
            match known {
                Known::Read(_) | Known::Duplicate(_) => scan.there.push(page.id),
                Known::Aside(_) => scan.aside.push(page.id),
                _ => {}
            }
        }
        scan.pages.push((page.number, known));
    }
    scans
}

fn known(work: &Work, page: &InputPage, result: &PageResult) -> Known {
    let reason = || result.reason.clone().unwrap_or_default();
    match (&page.state, result.status) {
        (_, PageStatus::Duplicate) => Known::Duplicate(reason()),
        (_, PageStatus::Aside) => Known::Aside(reason()),
        (_, PageStatus::Read) => Known::Read(result.sheet.unwrap_or_default()),
        (State::New, PageStatus::Unreadable) if result.reason.is_none() => Known::Waiting,
        (State::Known(known), PageStatus::Unreadable) => {
            let of = known.place.as_ref().map(|place| place.test.as_str());
            let own = of.is_some_and(|of| work.editions().knows(of));
            if own { Known::Waiting } else { Known::Other }
        }
        (State::Fault(why) | State::Closed(why), _) => Known::Unreadable(why.clone()),
        _ => Known::Unreadable(reason()),
    }
}
