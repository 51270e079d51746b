//! What holds for a whole course, in `course.toml`.

use serde::{Deserialize, Serialize};

use super::folder::{Folder, version};
use super::refusal::Refusal;

/// How the electrocardiogram is abbreviated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Spelling {
    #[default]
    #[serde(rename = "ECG")]
    Ecg,
    #[serde(rename = "EKG")]
    Ekg,
}

impl Spelling {
    pub(crate) const ALL: [Self; 2] = [Self::Ecg, Self::Ekg];

    /// The word, as tests and settings have it.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Ecg => "ECG",
            Self::Ekg => "EKG",
        }
    }

    /// The word where it is not the one in which everything is written.
    pub(crate) fn other(self) -> Option<&'static str> {
        (self != Self::default()).then(|| self.word())
    }

    /// The same as subjects know it.
    pub(crate) fn known(self) -> Option<cycle::Spelling> {
        heart::subject().spelling(self.other()?)
    }
}

/// A course's settings.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Settings {
    /// What the course is called; the folder's name where this is empty.
    pub(crate) title: String,
    /// Whose decisions are kept.
    pub(crate) who: String,
    pub(crate) spelling: Spelling,
    /// Whether people and drawings were made up.
    pub(crate) invented: bool,
}

impl Settings {
    /// The settings' file in a course folder.
    pub(crate) const FILE: &str = "course.toml";

    /// The settings of the course in `folder`; the usual ones where there are none.
    pub(crate) fn of(folder: &Folder) -> Self {
        Self::seen(folder).0
    }

    /// The same, and the version of their text.
    pub(crate) fn seen(folder: &Folder) -> (Self, String) {
        let text = folder.text(Self::FILE).map(|text| text.text).unwrap_or_default();
        let mut settings: Self = toml::from_str(&text).unwrap_or_default();
        if settings.title.trim().is_empty() {
            let name = folder.root().file_name().unwrap_or_default();
            settings.title = name.to_string_lossy().into_owned();
        }
        (settings, version(&text))
    }

    /// Keeps them in `folder`, where they must still be of the version `seen`, if one is given.
    /// Gives the new version.
    pub(crate) fn save(&self, folder: &Folder, seen: Option<&str>) -> Result<String, Refusal> {
        let text = toml::to_string(self)
            .map_err(|error| Refusal::of_all(format!("the settings cannot be kept: {error}")))?;
        folder.save(Self::FILE, &text, seen)
    }
}
