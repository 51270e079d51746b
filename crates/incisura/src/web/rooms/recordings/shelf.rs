//! The recordings that were opened last, with what was found on them.

use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash as _, Hasher as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, SystemTime};

use recording::{
    Asked, Beat, Correction, Format, Named, Recording, Remark, Signal, Source as _, correct,
    corrections, look_from,
};

use super::choices::Choices;
use super::envelope::Envelope;
use super::list::stem;
use crate::failure::Failure;
use crate::measure::{ByHand, Lab, asked, channels_said, found, table_name};
use crate::progress;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;

/// So many recordings are kept open, and more where more are being looked through.
const KEPT: usize = 3;

/// The recordings open.
#[derive(Default)]
pub(crate) struct Shelf(Mutex<Vec<Arc<Place>>>);

/// A recording on the shelf, while it is being looked through and after.
pub(crate) struct Place {
    key: Key,
    stage: Mutex<Stage>,
    changed: Condvar,
}

/// The same file, understood the same way.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Key {
    path: PathBuf,
    /// Sizes and times of its files: another recording of the same name is another.
    stamp: Vec<(u64, Option<SystemTime>)>,
    query: String,
}

/// How far the work is.
#[derive(Clone)]
pub(crate) enum Stage {
    /// It is being opened.
    Opening,
    /// The strip can be shown; beats are being looked for.
    Open(Arc<Bench>),
    /// Everything is found.
    Found(Arc<Bench>),
    /// It cannot be read.
    Failed(Fault),
}

/// Why a recording cannot be read.
#[derive(Clone, Debug)]
pub(crate) struct Fault {
    pub(crate) message: String,
    /// Whether the number of samples per second is lacking.
    pub(crate) needs_rate: bool,
}

impl From<Failure> for Fault {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Recording { error, .. } => Self {
                needs_rate: error.fault == recording::ReadFault::NeedsRate,
                message: error.to_string(),
            },
            other => Self { message: other.to_string(), needs_rate: false },
        }
    }
}

/// An open recording.
pub(crate) struct Bench {
    /// The recording's name: the file's, without its ending.
    pub(crate) name: String,
    pub(crate) format: Format,
    pub(crate) signals: Vec<Signal>,
    pub(crate) remarks: Vec<Remark>,
    pub(crate) annotations: usize,
    pub(crate) duration_s: f64,
    pub(crate) named: Vec<Named>,
    pub(crate) envelope: Envelope,
    /// Read from for the strip.
    strip: Mutex<Recording>,
    /// The beats as they were found.
    found: OnceLock<Arc<Vec<Beat>>>,
    now: Mutex<Option<Now>>,
    lab: Mutex<Option<(Now, Lab)>>,
    path: PathBuf,
}

/// The beats as they are with the corrections of now.
#[derive(Clone)]
pub(crate) struct Now {
    /// The table's version; empty where there is none.
    pub(crate) version: String,
    pub(crate) beats: Arc<Vec<Beat>>,
    pub(crate) rows: Arc<Vec<Correction>>,
    /// What is wrong with the table; then nothing is corrected.
    pub(crate) fault: Option<String>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shelf {
    /// The recording that `choices` name; work on it is begun where it is not under way or done.
    pub(crate) fn place(&self, desk: &Desk, choices: &Choices) -> Result<Arc<Place>, Refusal> {
        let folder = desk.folder();
        let path = folder.path(&choices.file)?;
        if !path.is_file() {
            return Err(Refusal::of("file", words::no_such_file(&choices.file)));
        }
        let how = asked(&choices.as_stored()?);
        let key = Key { stamp: stamp(&path), path, query: choices.query() };
        let mut all = locked(&self.0);
        if let Some(at) = all.iter().position(|place| place.key == key) {
            let place = all.remove(at);
            all.push(Arc::clone(&place));
            return Ok(place);
        }
        let place = Arc::new(Place::new(key));
        let (worker, choices) = (Arc::clone(&place), choices.clone());
        desk.jobs().begin(&place.job(), move |_| {
            let unfinished = Unfinished(&worker);
            if let Err(failure) = worker.work(&choices, &how) {
                worker.set(Stage::Failed(failure.into()));
            }
            drop(unfinished);
            Ok(String::new())
        })?;
        make_room(&mut all);
        all.push(Arc::clone(&place));
        Ok(place)
    }
}

/// Takes away the places that were not asked for longest, but none that is still worked for: it
/// could neither be shown nor begun anew.
fn make_room(all: &mut Vec<Arc<Place>>) {
    while all.len() >= KEPT {
        let Some(at) = all.iter().position(|place| place.has_ended()) else { return };
        all.remove(at);
    }
}

/// Sizes and times of the files that share a recording's name.
fn stamp(path: &Path) -> Vec<(u64, Option<SystemTime>)> {
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let common = stem(&name).to_owned();
    let entries = path.parent().and_then(|folder| std::fs::read_dir(folder).ok());
    let mut all: Vec<(String, (u64, Option<SystemTime>))> = entries
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            // Corrections are beside it and no part of it.
            let own = name.starts_with(&common) && !name.contains(".corrections.csv");
            let meta = entry.metadata().ok().filter(|meta| own && meta.is_file())?;
            Some((name, (meta.len(), meta.modified().ok())))
        })
        .collect();
    all.sort();
    all.into_iter().map(|(_, stamp)| stamp).collect()
}

/// Says so if the work ends by a panic.
struct Unfinished<'a>(&'a Place);

impl Drop for Unfinished<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            let message = Refusal::our_fault().message;
            self.0.set(Stage::Failed(Fault { message, needs_rate: false }));
        }
    }
}

impl Place {
    fn new(key: Key) -> Self {
        Self { key, stage: Mutex::new(Stage::Opening), changed: Condvar::new() }
    }

    fn has_ended(&self) -> bool {
        matches!(&*locked(&self.stage), Stage::Found(_) | Stage::Failed(_))
    }

    /// The name of the work.
    pub(crate) fn job(&self) -> String {
        let mut hasher = DefaultHasher::new();
        self.key.hash(&mut hasher);
        format!("recording-{:016x}", hasher.finish())
    }

    /// How far the work is, after waiting so long at most for its end.
    pub(crate) fn at_the_end(&self, wait: Duration) -> Stage {
        self.once(wait, |stage| matches!(stage, Stage::Found(_) | Stage::Failed(_)))
    }

    /// How far the work is, after waiting so long at most until there is something to show.
    pub(crate) fn when_open(&self, wait: Duration) -> Stage {
        self.once(wait, |stage| !matches!(stage, Stage::Opening))
    }

    fn once(&self, wait: Duration, is: impl Fn(&Stage) -> bool) -> Stage {
        let not_yet = |stage: &mut Stage| !is(stage);
        let waited = self.changed.wait_timeout_while(locked(&self.stage), wait, not_yet);
        waited.unwrap_or_else(PoisonError::into_inner).0.clone()
    }

    fn set(&self, stage: Stage) {
        *locked(&self.stage) = stage;
        self.changed.notify_all();
    }

    fn work(&self, choices: &Choices, how: &Asked) -> Result<(), Failure> {
        let bench = Arc::new(Bench::open(&self.key.path, choices, how)?);
        self.set(Stage::Open(Arc::clone(&bench)));
        bench.find(choices, how)?;
        self.set(Stage::Found(bench));
        Ok(())
    }
}

impl Bench {
    fn open(path: &Path, choices: &Choices, how: &Asked) -> Result<Self, Failure> {
        let wrong = |error| Failure::recording(path, error);
        let mut recording =
            progress::during(words::OPENING, || Recording::open(path, how)).map_err(wrong)?;
        let signals = recording.signals().to_vec();
        let mut named = channels_said(&signals, &choices.said);
        let from_s = choices.part[0].unwrap_or(0.0);
        look_from(&mut recording, &mut named, choices.turn, from_s).map_err(wrong)?;
        let envelope = Envelope::of(&mut recording).map_err(wrong)?;
        Ok(Self {
            name: recording.name.clone(),
            format: recording.format,
            signals,
            remarks: recording.remarks.clone(),
            annotations: recording.annotations.len(),
            duration_s: recording.duration_s(),
            named,
            envelope,
            strip: Mutex::new(recording),
            found: OnceLock::new(),
            now: Mutex::new(None),
            lab: Mutex::new(None),
            path: path.to_owned(),
        })
    }

    /// Finds the beats, and what follows from them. The strip is read meanwhile, so the file is
    /// opened once more.
    fn find(&self, choices: &Choices, how: &Asked) -> Result<(), Failure> {
        let wrong = |error| Failure::recording(&self.path, error);
        let mut recording = Recording::open(&self.path, how).map_err(wrong)?;
        let [from, to] = choices.part;
        let to_s = to.unwrap_or(f64::INFINITY).min(self.duration_s);
        let span_s = [from.unwrap_or(0.0).min(to_s), to_s];
        let beats = Arc::new(found(&mut recording, &self.named, span_s).map_err(wrong)?);
        let beats = self.found.get_or_init(|| beats);
        let lab = Lab::of(recording, self.named.clone(), &self.path, Arc::clone(beats), None)?;
        *locked(&self.lab) = Some((Now::untouched(beats), lab));
        Ok(())
    }

    /// What reads a stretch for the strip.
    pub(crate) fn reading(&self) -> MutexGuard<'_, Recording> {
        locked(&self.strip)
    }

    /// Where this recording's corrections are kept in the course folder.
    pub(crate) fn table(&self) -> String {
        table_name(&self.name)
    }

    /// The beats as they were found; none before that.
    pub(crate) fn found(&self) -> Option<&Arc<Vec<Beat>>> {
        self.found.get()
    }

    /// The beats as they are now; nothing before any were found.
    pub(crate) fn now(&self, folder: &Folder) -> Result<Option<Now>, Refusal> {
        let Some(found) = self.found.get() else { return Ok(None) };
        let table = self.table();
        let text = folder.path(&table)?.exists().then(|| folder.text(&table)).transpose()?;
        let version = text.as_ref().map_or("", |text| &text.version);
        let mut now = locked(&self.now);
        if let Some(now) = now.as_ref().filter(|now| now.version == version) {
            return Ok(Some(now.clone()));
        }
        let new = text.as_ref().map_or_else(
            || Now::untouched(found),
            |text| self.corrected(found, &text.text, version.to_owned()),
        );
        *now = Some(new.clone());
        Ok(Some(new))
    }

    fn corrected(&self, found: &Arc<Vec<Beat>>, table: &str, version: String) -> Now {
        let untouched = Now { version, ..Now::untouched(found) };
        let made = corrections(table).and_then(|rows| {
            let mut beats = Vec::clone(found);
            correct(&mut *self.reading(), &self.named, &mut beats, &rows)?;
            Ok((beats, rows))
        });
        match made {
            Ok((beats, rows)) => Now { beats: Arc::new(beats), rows: Arc::new(rows), ..untouched },
            Err(error) => Now { fault: Some(error.to_string()), ..untouched },
        }
    }

    /// Does `work` with everything that follows from the beats as they are now.
    pub(crate) fn with_lab<T>(
        &self,
        folder: &Folder,
        work: impl FnOnce(&mut Lab) -> Result<T, Refusal>,
    ) -> Result<T, Refusal> {
        let still = || Refusal::of_all(words::STILL);
        let now = self.now(folder)?.ok_or_else(still)?;
        let mut lab = locked(&self.lab);
        let (known, lab) = lab.as_mut().ok_or_else(still)?;
        if !Arc::ptr_eq(&known.beats, &now.beats) {
            let path = folder.path(&self.table())?;
            let corrections = now.rows.to_vec();
            let by_hand =
                (!corrections.is_empty()).then_some(ByHand { path, corrections, added: 0 });
            lab.take(Arc::clone(&now.beats), by_hand)?;
            *known = now;
        }
        work(lab)
    }
}

impl Now {
    fn untouched(found: &Arc<Vec<Beat>>) -> Self {
        Self { version: String::new(), beats: Arc::clone(found), rows: Arc::default(), fault: None }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::channel;

    use super::*;
    use crate::web::jobs::JobState;
    use crate::web::tests::desk;

    const LONG: Duration = Duration::from_secs(60);

    fn choices(file: &str) -> Choices {
        Choices::read(&[("file".to_owned(), file.to_owned())]).unwrap()
    }

    /// A place that is still worked for.
    fn working(name: &str) -> Arc<Place> {
        let (path, query) = (PathBuf::from(name), String::new());
        Arc::new(Place::new(Key { path, stamp: Vec::new(), query }))
    }

    #[test]
    fn only_what_has_ended_makes_room() {
        let mut all: Vec<Arc<Place>> = ["a", "b", "c", "d"].map(working).to_vec();
        make_room(&mut all);
        assert_eq!(all.len(), 4);
        let fault = Fault { message: String::new(), needs_rate: false };
        for place in &all[1..] {
            place.set(Stage::Failed(fault.clone()));
        }
        make_room(&mut all);
        let left: Vec<&Path> = all.iter().map(|place| place.key.path.as_path()).collect();
        assert_eq!(left, [Path::new("a"), Path::new("d")]);
    }

    #[test]
    fn what_cannot_be_begun_is_told_and_leaves_no_place_behind() {
        let desk = desk();
        let path = desk.folder().path("lab.csv").unwrap();
        std::fs::write(&path, "a,b\n1,2\n3,4\n5,6\n").unwrap();
        let choices = choices("lab.csv");
        let key = Key { stamp: stamp(&path), path, query: choices.query() };
        let (end, ended) = channel::<()>();
        let name = Place::new(key).job();
        desk.jobs()
            .begin(&name, move |_| {
                let _ = ended.recv();
                Ok(String::new())
            })
            .unwrap();
        let refused = desk.recordings().place(&desk, &choices).err().unwrap();
        assert!(refused.message.contains("under way already"), "{}", refused.message);
        drop(end);
        while desk.jobs().progress(&name).unwrap().state == JobState::Running {
            std::thread::yield_now();
        }
        let place = desk.recordings().place(&desk, &choices).unwrap();
        assert!(matches!(place.at_the_end(LONG), Stage::Failed(_)), "it asks for a rate");
    }

    #[test]
    fn a_file_that_ends_too_soon_is_told_without_a_path_of_this_computer() {
        let desk = desk();
        let folder = desk.folder();
        let path = folder.path("lab.csv").unwrap();
        std::fs::write(&path, crate::demo_recording::csv().unwrap()).unwrap();
        let choices = choices("lab.csv");
        let place = desk.recordings().place(&desk, &choices).unwrap();
        let Stage::Found(bench) = place.at_the_end(LONG) else { panic!("it is not found") };
        let beat = bench.found().unwrap()[1].anchor_s;
        let row = format!("ecg,r_peak,{beat},{beat},removed,R,now,x");
        let table = format!("{}\n{row}\n", Correction::HEADER.join(","));
        folder.save(&bench.table(), &table, None).unwrap();
        std::fs::write(&path, "").unwrap();
        let root = folder.root().to_string_lossy().into_owned();
        let refused = bench.with_lab(&folder, |_| Ok(())).err().unwrap().message;
        let how = asked(&choices.as_stored().unwrap());
        let fault = Fault::from(bench.find(&choices, &how).err().unwrap()).message;
        for told in [refused, fault] {
            assert!(told.contains("lab.csv") && !told.contains(&root), "{told}");
        }
    }
}
