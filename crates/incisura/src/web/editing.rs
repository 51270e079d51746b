//! Editing a text of the course: saved by itself, with nothing ever lost.
//!
//! What is without fault is put in force at once. A text with faults is kept as a draft in
//! `drafts/`, step by step like everything that is saved, and the last one without stays in force.
//! What is undone is kept in `undone/`.

use std::fs;
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use convention::Fault;
use maud::Markup;
use serde::{Deserialize, Serialize};

use super::folder::{Folder, HISTORY, durably};
use super::refusal::Refusal;
use super::settings::Settings;
use crate::failure::Failure;
use crate::files;

/// Where texts with faults wait.
pub(crate) const DRAFTS: &str = "drafts";
const UNDONE: &str = "undone";

/// Texts are changed one after the other: a change begins by looking at the text, and touches more
/// than one file.
fn in_turn() -> MutexGuard<'static, ()> {
    static TURN: Mutex<()> = Mutex::new(());
    TURN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A change that a person makes.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "op", rename_all = "snake_case")]
pub(crate) enum Change {
    /// The whole text anew.
    Text {
        text: String,
    },
    /// One value.
    Set {
        at: String,
        value: Vec<String>,
    },
    /// A new item in a list, after another or last.
    Add {
        table: String,
        after: Option<usize>,
    },
    Remove {
        table: String,
        index: usize,
    },
    Move {
        table: String,
        index: usize,
        to: usize,
    },
    Undo,
    Redo,
}

/// A change, and the version of the text to which it is made.
#[derive(Debug, Deserialize)]
pub(crate) struct Request {
    pub(crate) file: String,
    pub(crate) seen: String,
    /// Whether to change what was printed already.
    #[serde(default)]
    pub(crate) anyway: bool,
    #[serde(flatten)]
    pub(crate) change: Change,
}

/// How a text is after a change.
#[derive(Debug, Serialize)]
pub(crate) struct State {
    pub(crate) version: String,
    pub(crate) text: String,
    pub(crate) title: String,
    pub(crate) in_force: bool,
    pub(crate) undoable: usize,
    pub(crate) redoable: usize,
    pub(crate) faults: Vec<Told>,
    /// The forms as a page shows them.
    pub(crate) forms: String,
}

/// A fault as a page shows it.
#[derive(Debug, Serialize)]
pub(crate) struct Told {
    pub(crate) line: usize,
    pub(crate) text: String,
    pub(crate) what: String,
}

/// What a kind of text is made of.
pub(crate) trait Kind {
    /// Everything that is wrong with `text`.
    fn faults(&self, folder: &Folder, file: &str, text: &str) -> Vec<Fault>;
    /// The text as forms.
    fn forms(&self, folder: &Folder, text: &str, faults: &[Fault]) -> Markup;
    /// Why the text in `file` is not to be changed by mistake, where it is not.
    fn locked(&self, _folder: &Folder, _file: &str) -> Option<&'static str> {
        None
    }
    /// The text with a change of one of its parts, or why it cannot be made.
    fn changed(&self, folder: &Folder, text: &str, change: &Change) -> Result<String, String>;
}

/// A text that is being edited.
pub(crate) struct Edited<'a> {
    folder: &'a Folder,
    file: &'a str,
    kind: &'a dyn Kind,
}

impl<'a> Edited<'a> {
    /// The text `file`, which must be there, or have been.
    pub(crate) fn new(
        folder: &'a Folder,
        file: &'a str,
        kind: &'a dyn Kind,
    ) -> Result<Self, Refusal> {
        let is_text = file.ends_with(".toml") && file != Settings::FILE;
        if !is_text || file.contains('/') {
            return Err(Refusal::no_such_name(file));
        }
        let edited = Self { folder, file, kind };
        if folder.path(file)?.is_file() || edited.draft()?.is_some() {
            return Ok(edited);
        }
        Err(Refusal::nothing_there())
    }

    fn draft_name(&self) -> String {
        format!("{DRAFTS}/{}", self.file)
    }

    fn draft(&self) -> Result<Option<String>, Refusal> {
        let path = self.folder.path(&self.draft_name())?;
        Ok(if path.is_file() { Some(files::read(&path)?) } else { None })
    }

    /// Number of steps that can be undone.
    fn undoable(&self) -> Result<usize, Refusal> {
        let drafts = match self.draft()? {
            Some(_) => 1 + self.folder.undoable(&self.draft_name())?,
            None => 0,
        };
        Ok(self.folder.undoable(self.file)? + drafts)
    }

    /// The text as it was last left, and its version, which changes with the draft and with the
    /// file.
    pub(crate) fn text(&self) -> Result<(String, String), Refusal> {
        let file = self.folder.text(self.file);
        let in_force = file.as_ref().map_or("-", |file| &file.version);
        match self.draft()? {
            Some(draft) => {
                let version = super::folder::version(&draft);
                Ok((draft, format!("{version}.{in_force}")))
            }
            None => {
                let version = format!("-.{in_force}");
                Ok((file?.text, version))
            }
        }
    }

    /// Whether the text as it was last left is the one in force.
    fn in_force(&self, faults: &[Fault]) -> Result<bool, Refusal> {
        Ok(self.draft()?.is_none() && faults.is_empty())
    }

    /// How it stands.
    pub(crate) fn state(&self) -> Result<State, Refusal> {
        let (text, version) = self.text()?;
        let faults = self.kind.faults(self.folder, self.file, &text);
        let forms = self.kind.forms(self.folder, &text, &faults).into_string();
        let in_force = self.in_force(&faults)?;
        let told = |fault: Fault| Told { line: fault.line, text: fault.text, what: fault.what };
        Ok(State {
            version,
            title: title(&text).unwrap_or_else(|| self.file.to_owned()),
            in_force,
            undoable: self.undoable()?,
            redoable: self.undone()?.len(),
            faults: faults.into_iter().map(told).collect(),
            forms,
            text,
        })
    }

    /// Makes a change to the version `seen`.
    pub(crate) fn change(&self, change: &Change, seen: &str) -> Result<(), Refusal> {
        let _turn = in_turn();
        let (text, version) = self.text()?;
        if version != seen {
            return Err(Refusal::conflict(
                "this was changed elsewhere since you opened it, in another window or by another program",
            ));
        }
        match change {
            Change::Undo => self.undo(&text),
            Change::Redo => self.redo(),
            Change::Text { text: new } => self.save(&new.replace("\r\n", "\n")),
            part => {
                let new = self.kind.changed(self.folder, &text, part).map_err(Refusal::of_all)?;
                self.save(&new)
            }
        }
    }

    /// Keeps `text`, and forgets what was undone.
    fn save(&self, text: &str) -> Result<(), Refusal> {
        self.put(text)?;
        for (_, undone) in self.undone()? {
            fs::remove_file(&undone).map_err(|reason| Failure::unwritable(&undone, reason))?;
        }
        Ok(())
    }

    /// Puts `text` in force, or keeps it as a draft where it has faults.
    fn put(&self, text: &str) -> Result<(), Refusal> {
        if !self.kind.faults(self.folder, self.file, text).is_empty() {
            files::make_folder(&self.folder.path(DRAFTS)?)?;
            return self.folder.save(&self.draft_name(), text, None).map(drop);
        }
        self.folder.save(self.file, text, None)?;
        self.folder.forget(&self.draft_name())
    }

    fn undo(&self, text: &str) -> Result<(), Refusal> {
        if self.undoable()? == 0 {
            return Ok(());
        }
        self.keep_undone(text)?;
        if self.draft()?.is_some() {
            if self.folder.undo(&self.draft_name())? {
                return Ok(());
            }
            if self.folder.path(self.file)?.exists() {
                return self.folder.forget(&self.draft_name());
            }
        }
        self.folder.undo(self.file).map(drop)
    }

    fn redo(&self) -> Result<(), Refusal> {
        let Some((_, path)) = self.undone()?.pop() else { return Ok(()) };
        self.put(&files::read(&path)?)?;
        remove(&path)
    }

    fn keep_undone(&self, text: &str) -> Result<(), Refusal> {
        let last = self.undone()?.last().map_or(0, |(number, _)| *number);
        let folder = self.folder.path(&format!("{UNDONE}/{}", self.file))?;
        files::make_folder(&folder)?;
        Ok(durably(&folder.join(format!("{:06}", last + 1)), text.as_bytes())?)
    }

    /// What was undone, the first first.
    fn undone(&self) -> Result<Vec<(u32, PathBuf)>, Refusal> {
        let folder = self.folder.path(&format!("{UNDONE}/{}", self.file))?;
        let Ok(entries) = fs::read_dir(folder) else { return Ok(Vec::new()) };
        let number = |path: PathBuf| Some((path.file_name()?.to_str()?.parse().ok()?, path));
        let mut undone: Vec<(u32, PathBuf)> =
            entries.flatten().filter_map(|entry| number(entry.path())).collect();
        undone.sort();
        Ok(undone)
    }

    /// Takes the text from the course; [`restore`] brings it back, and redo a draft of it.
    pub(crate) fn take_away(&self) -> Result<(), Refusal> {
        let _turn = in_turn();
        if let Some(draft) = self.draft()? {
            self.keep_undone(&draft)?;
            self.folder.forget(&self.draft_name())?;
        }
        if self.folder.path(self.file)?.exists() {
            self.folder.remove(self.file)?;
        }
        Ok(())
    }
}

fn remove(path: &std::path::Path) -> Result<(), Refusal> {
    if path.exists() {
        fs::remove_file(path).map_err(|reason| Failure::unwritable(path, reason))?;
    }
    Ok(())
}

/// Makes a change and gives how the text is then.
pub(crate) fn answer(
    folder: &Folder,
    kind: &dyn Kind,
    request: &Request,
) -> Result<State, Refusal> {
    if let (false, Some(why)) = (request.anyway, kind.locked(folder, &request.file)) {
        return Err(Refusal::of_all(why));
    }
    let edited = Edited::new(folder, &request.file, kind)?;
    edited.change(&request.change, &request.seen)?;
    edited.state()
}

/// Texts that were taken away and can be brought back: those of which `is` accepts what is kept.
pub(crate) fn taken_away(folder: &Folder, is: impl Fn(&str) -> bool) -> Vec<(String, String)> {
    let Ok(entries) = fs::read_dir(folder.root().join(HISTORY)) else { return Vec::new() };
    let names = entries.flatten().filter_map(|entry| entry.file_name().into_string().ok());
    let gone = |name: String| {
        let path = folder.path(&name).ok().filter(|path| !path.exists())?;
        let text = folder.earlier(path.file_name()?.to_str()?).ok()?.pop()?;
        is(&text).then(|| (title(&text).unwrap_or_else(|| name.clone()), name))
    };
    let mut all: Vec<(String, String)> = names.filter_map(gone).collect();
    all.sort();
    all
}

/// Brings back a text that was taken away.
pub(crate) fn restore(folder: &Folder, file: &str) -> Result<(), Refusal> {
    if file.contains('/') || folder.path(file)?.exists() || !folder.undo(file)? {
        return Err(Refusal::nothing_there());
    }
    Ok(())
}

/// The title that a text gives itself.
pub(crate) fn title(text: &str) -> Option<String> {
    let table = text.parse::<toml::Table>().ok()?;
    Some(table.get("title")?.as_str()?.to_owned())
}

/// A name for a new text called `title`, which no file of the folder has or had.
pub(crate) fn new_name(folder: &Folder, title: &str) -> Result<String, Refusal> {
    let plain = |c: char| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let words: String = title.chars().take(60).map(plain).collect();
    let words: Vec<&str> = words.split('-').filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        return Err(Refusal::of_all("give it a name with at least one letter or digit"));
    }
    let stem = Folder::safe_name(&words.join("-"));
    for number in 1..1000 {
        let more = if number == 1 { String::new() } else { format!("-{number}") };
        let name = format!("{stem}{more}.toml");
        let taken = folder.path(&name)?.exists()
            || folder.path(&format!("{DRAFTS}/{name}"))?.exists()
            || folder.undoable(&name)? > 0;
        if !taken && name != Settings::FILE {
            return Ok(name);
        }
    }
    Err(Refusal::of_all("there are many of this name; choose another"))
}
