//! The course folder: what lies in it, and changing it without ever losing what was there.

use std::collections::hash_map::DefaultHasher;
use std::fs;
use std::hash::{Hash as _, Hasher as _};
use std::io::Write as _;
use std::path::{Component, Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::refusal::Refusal;
use super::settings::Settings;
use crate::failure::Failure;
use crate::files;

/// Where earlier texts of a file are kept.
pub(crate) const HISTORY: &str = "history";
/// The longest name of a file that the app makes.
const LONGEST_NAME: usize = 100;

/// A course folder. Every name is taken inside it.
#[derive(Clone, Debug)]
pub(crate) struct Folder(Arc<PathBuf>);

/// Files are changed one after the other, so that no change is made to what another has just
/// changed.
fn in_turn() -> MutexGuard<'static, ()> {
    static TURN: Mutex<()> = Mutex::new(());
    TURN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A text file of the course.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Listed {
    pub(crate) file: String,
    pub(crate) title: String,
}

/// A file's text, and the mark by which a save knows that nobody else changed it meanwhile.
#[derive(Clone, Debug)]
pub(crate) struct Text {
    pub(crate) text: String,
    pub(crate) version: String,
}

impl Text {
    /// Refuses a change to another version than `seen`, if one is given.
    fn still(&self, seen: Option<&str>) -> Result<(), Refusal> {
        match seen {
            Some(seen) if seen != self.version => Err(Refusal::conflict(
                "this was changed elsewhere since you opened it; reload the page to see how it is now",
            )),
            _ => Ok(()),
        }
    }
}

impl Folder {
    /// The folder at `root`, which is made if it is not there.
    pub(crate) fn new(root: &Path) -> Result<Self, Failure> {
        files::make_folder(root)?;
        let root = fs::canonicalize(root).map_err(|reason| Failure::unreadable(root, reason))?;
        Ok(Self(Arc::new(root)))
    }

    pub(crate) fn root(&self) -> &Path {
        &self.0
    }

    /// The path of `name` inside the folder, such as `rules.toml` or `scans/a.pdf`. Names that
    /// lead out of it, also by a link, are refused, and so are hidden ones.
    pub(crate) fn path(&self, name: &str) -> Result<PathBuf, Refusal> {
        let plain = |part: Component<'_>| match part {
            Component::Normal(part) => {
                let part = part.to_string_lossy();
                let odd = |c: char| c.is_control() || matches!(c, '\\' | ':' | '\u{202e}');
                !part.starts_with('.') && part.len() <= 255 && !part.contains(odd)
            }
            _ => false,
        };
        if name.is_empty() || !Path::new(name).components().all(plain) {
            return Err(Refusal::no_such_name(name));
        }
        let path = self.0.join(name);
        let there = path.ancestors().find(|path| path.exists());
        match there.and_then(|path| fs::canonicalize(path).ok()) {
            Some(real) if real.starts_with(self.root()) => Ok(path),
            _ => Err(Refusal::no_such_name(name)),
        }
    }

    /// A name for a new file made of what a person or another computer called it: letters,
    /// digits, `-`, `_`, `.` and spaces are kept.
    pub(crate) fn safe_name(wanted: &str) -> String {
        let last = wanted.rsplit(['/', '\\']).next().unwrap_or_default();
        let kept = |c: char| if c.is_alphanumeric() || "-_. ".contains(c) { c } else { '_' };
        let mut name: String = last.chars().map(kept).collect();
        while name.len() > LONGEST_NAME {
            // What follows the last full stop says what kind of file it is, so that stays.
            let stem = name.rfind('.').filter(|at| name.len() - at < 8).unwrap_or(name.len());
            let cut = name[..stem].char_indices().last().map_or(0, |(at, _)| at);
            name.remove(cut);
        }
        let name = name.trim_matches([' ', '.']);
        if name.is_empty() { "unnamed".to_owned() } else { name.to_owned() }
    }

    /// The text of the file `name`.
    pub(crate) fn text(&self, name: &str) -> Result<Text, Refusal> {
        let text = files::read(&self.path(name)?)?;
        let version = version(&text);
        Ok(Text { text, version })
    }

    /// Puts `text` into the file `name` and keeps what was there, for [`Folder::undo`]. Where
    /// `seen` is given, the file must still be of that version. Gives the new version.
    pub(crate) fn save(
        &self,
        name: &str,
        text: &str,
        seen: Option<&str>,
    ) -> Result<String, Refusal> {
        let _turn = in_turn();
        let path = self.path(name)?;
        let new = version(text);
        if path.exists() {
            let before = self.text(name)?;
            before.still(seen)?;
            if before.text == text {
                return Ok(new);
            }
            self.keep(name, &before.text)?;
        }
        durably(&path, text.as_bytes())?;
        Ok(new)
    }

    /// Puts back what the file `name` was before it was last saved, and forgets that save. Gives
    /// whether there was anything to put back.
    pub(crate) fn undo(&self, name: &str) -> Result<bool, Refusal> {
        self.undo_seen(name, None)
    }

    /// The same where the file is still of the version `seen`, if one is given.
    pub(crate) fn undo_seen(&self, name: &str, seen: Option<&str>) -> Result<bool, Refusal> {
        let _turn = in_turn();
        if self.path(name)?.exists() {
            self.text(name)?.still(seen)?;
        }
        let Some((_, kept)) = self.kept(name)?.pop() else { return Ok(false) };
        let text = files::read(&kept)?;
        durably(&self.path(name)?, text.as_bytes())?;
        fs::remove_file(&kept).map_err(|reason| Failure::unwritable(&kept, reason))?;
        Ok(true)
    }

    /// Takes the file `name` away and keeps what was there, so that [`Folder::undo`] brings it
    /// back.
    pub(crate) fn remove(&self, name: &str) -> Result<(), Refusal> {
        let _turn = in_turn();
        let path = self.path(name)?;
        self.keep(name, &self.text(name)?.text)?;
        fs::remove_file(&path).map_err(|reason| Failure::unwritable(&path, reason))?;
        Ok(())
    }

    /// Takes the file `name` away for good, with all that it was before.
    pub(crate) fn forget(&self, name: &str) -> Result<(), Refusal> {
        let _turn = in_turn();
        let (path, kept) = (self.path(name)?, self.0.join(HISTORY).join(name));
        if path.exists() {
            fs::remove_file(&path).map_err(|reason| Failure::unwritable(&path, reason))?;
        }
        if kept.exists() {
            fs::remove_dir_all(&kept).map_err(|reason| Failure::unwritable(&kept, reason))?;
        }
        Ok(())
    }

    /// What the file `name` was before, the oldest first.
    pub(crate) fn earlier(&self, name: &str) -> Result<Vec<String>, Refusal> {
        self.kept(name)?.iter().map(|(_, path)| Ok(files::read(path)?)).collect()
    }

    /// Number of saves that can be undone.
    pub(crate) fn undoable(&self, name: &str) -> Result<usize, Refusal> {
        Ok(self.kept(name)?.len())
    }

    fn keep(&self, name: &str, text: &str) -> Result<(), Refusal> {
        let last = self.kept(name)?.last().map_or(0, |(number, _)| *number);
        let folder = self.0.join(HISTORY).join(name);
        files::make_folder(&folder)?;
        durably(&folder.join(format!("{:06}", last + 1)), text.as_bytes())?;
        Ok(())
    }

    /// The kept texts of `name`, the oldest first.
    fn kept(&self, name: &str) -> Result<Vec<(u32, PathBuf)>, Refusal> {
        self.path(name)?;
        let Ok(entries) = fs::read_dir(self.0.join(HISTORY).join(name)) else {
            return Ok(Vec::new());
        };
        let number = |path: PathBuf| Some((path.file_name()?.to_str()?.parse().ok()?, path));
        let mut kept: Vec<(u32, PathBuf)> =
            entries.flatten().filter_map(|entry| number(entry.path())).collect();
        kept.sort();
        Ok(kept)
    }

    /// The names of files in `inside` (`""` for the folder itself) that end as one of `endings`
    /// says, in small letters; sorted as people count.
    pub(crate) fn files(&self, inside: &str, endings: &[&str]) -> Vec<String> {
        let folder = if inside.is_empty() { self.0.to_path_buf() } else { self.0.join(inside) };
        let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
        let wanted = |name: &String| {
            let small = name.to_lowercase();
            !small.starts_with('.') && endings.iter().any(|ending| small.ends_with(ending))
        };
        let mut names: Vec<String> = entries
            .flatten()
            .filter(|entry| entry.path().is_file())
            .filter_map(|entry| entry.file_name().into_string().ok())
            .filter(wanted)
            .collect();
        names.sort_by(|a, b| crate::mark::inputs::natural(a, b));
        names
    }

    /// The conventions of the course.
    pub(crate) fn conventions(&self) -> Vec<Listed> {
        self.listed(|table| table.contains_key("rules"))
    }

    /// The tests of the course.
    pub(crate) fn tests(&self) -> Vec<Listed> {
        self.listed(|table| table.contains_key("convention"))
    }

    /// The text files in the folder that `is` accepts. One that cannot be read as TOML is
    /// listed by what its text looks like, so that it can be opened and mended.
    fn listed(&self, is: impl Fn(&toml::Table) -> bool) -> Vec<Listed> {
        let title = |file: String| {
            let text = self.text(&file).ok()?.text;
            let table = text.parse::<toml::Table>().unwrap_or_else(|_| outline(&text));
            let title = table.get("title").and_then(toml::Value::as_str).map(str::to_owned);
            is(&table).then(|| Listed { title: title.unwrap_or_else(|| file.clone()), file })
        };
        self.files("", &[".toml"])
            .into_iter()
            .filter(|file| file != Settings::FILE)
            .filter_map(title)
            .collect()
    }

    pub(crate) fn settings(&self) -> Settings {
        Settings::of(self)
    }
}

/// The keys and tables that a text with faults begins its lines with.
fn outline(text: &str) -> toml::Table {
    let mut table = toml::Table::new();
    for line in text.lines() {
        let name = line.trim_start_matches('[').split([']', '=', ' ', '.']).next();
        if let Some(name) = name.filter(|name| !name.is_empty() && !name.starts_with('#')) {
            table.insert(name.to_owned(), toml::Value::Boolean(true));
        }
    }
    table
}

/// A text's mark: another text has another one.
pub(crate) fn version(text: &str) -> String {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// Writes a whole file that is there after a crash, or leaves the one before.
pub(crate) fn durably(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    // A name of its own, so that two who write the same file do not write into each other's.
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}-{number}.new", std::process::id()));
    let new = path.with_file_name(name);
    let written = fs::File::create(&new)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&new, path));
    written.map_err(|reason| {
        let _ = fs::remove_file(&new);
        Failure::unwritable(path, reason)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> (Folder, PathBuf) {
        let root = std::env::temp_dir().join(format!(
            "incisura-folder-{}-{:?}",
            std::process::id(),
            std::thread::current().id()
        ));
        let _ = fs::remove_dir_all(&root);
        (Folder::new(&root.join("course")).unwrap(), root)
    }

    #[test]
    fn names_stay_inside() {
        let (folder, root) = folder();
        fs::write(root.join("secret"), "x").unwrap();
        for name in [
            "",
            ".",
            "..",
            "../secret",
            "a/../../secret",
            "/etc/passwd",
            ".hidden",
            "a/.b",
            "C:\\x",
            "a\\b",
            "a\0b",
            "a\nb",
            "./a",
        ] {
            assert!(folder.path(name).is_err(), "{name:?}");
        }
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(root.join("secret"), folder.root().join("link")).unwrap();
            std::os::unix::fs::symlink(&root, folder.root().join("out")).unwrap();
            assert!(folder.path("link").is_err());
            assert!(folder.path("out/secret").is_err());
        }
        for name in ["rules.toml", "scans/a b.pdf", "Übung.toml"] {
            assert!(folder.path(name).is_ok(), "{name}");
        }
    }

    #[test]
    fn names_are_made_safe() {
        for (wanted, safe) in [
            ("../../x.pdf", "x.pdf"),
            ("C:\\Users\\a\\scan.pdf", "scan.pdf"),
            ("<script>.pdf", "_script_.pdf"),
            (".htaccess", "htaccess"),
            ("", "unnamed"),
            ("a\r\nb.pdf", "a__b.pdf"),
        ] {
            assert_eq!(Folder::safe_name(wanted), safe);
        }
        let long = Folder::safe_name(&format!("{}.pdf", "ä".repeat(300)));
        assert!(long.len() <= LONGEST_NAME && long.ends_with("ä.pdf"), "{long}");
    }

    #[test]
    fn what_was_saved_can_be_undone_step_by_step() {
        let (folder, _) = folder();
        let first = folder.save("a.toml", "one", None).unwrap();
        let second = folder.save("a.toml", "two", Some(&first)).unwrap();
        assert!(folder.save("a.toml", "lost", Some(&first)).is_err());
        folder.save("a.toml", "three", Some(&second)).unwrap();
        assert_eq!(folder.undoable("a.toml").unwrap(), 2);
        assert!(folder.undo("a.toml").unwrap());
        assert_eq!(folder.text("a.toml").unwrap().text, "two");
        assert!(folder.undo("a.toml").unwrap());
        assert!(!folder.undo("a.toml").unwrap());
        assert_eq!(folder.text("a.toml").unwrap().text, "one");
    }

    #[test]
    fn of_saves_at_the_same_time_each_sees_the_one_before() {
        const WRITERS: usize = 8;
        let (folder, _) = folder();
        let first = folder.save("a.toml", "one", None).unwrap();
        let kept = |seen: Option<&str>| {
            std::thread::scope(|scope| {
                let writers: Vec<_> = (0..WRITERS)
                    .map(|number| {
                        let (folder, text) = (&folder, format!("{number}{}", "x".repeat(99_999)));
                        scope.spawn(move || folder.save("a.toml", &text, seen).is_ok())
                    })
                    .collect();
                writers.into_iter().map(|one| one.join().unwrap()).filter(|kept| *kept).count()
            })
        };
        assert_eq!(kept(Some(&first)), 1, "the others did not see what it was by then");
        assert_eq!(folder.undoable("a.toml").unwrap(), 1);
        kept(None);
        for text in folder.earlier("a.toml").unwrap().iter().skip(1) {
            assert_eq!(text.len(), 100_000);
        }
        let left = fs::read_dir(folder.root()).unwrap().flatten();
        assert_eq!(left.filter(|one| one.path().is_file()).count(), 1, "nothing is left over");
    }

    #[test]
    fn conventions_and_tests_are_told_apart_even_with_faults() {
        let (folder, _) = folder();
        folder.save("rules.toml", "title = \"R\"\n[[rules]]\nid = \"a\"\n", None).unwrap();
        folder.save("broken.toml", "title = \"R\n[[rules]]\nid = ", None).unwrap();
        folder.save("test.toml", "title = \"T\"\nconvention = \"rules.toml\"\n", None).unwrap();
        let files = |all: Vec<Listed>| all.into_iter().map(|one| one.file).collect::<Vec<_>>();
        assert_eq!(files(folder.conventions()), ["broken.toml", "rules.toml"]);
        assert_eq!(files(folder.tests()), ["test.toml"]);
    }
}
