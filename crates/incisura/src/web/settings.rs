//! What holds for a whole course, in `course.toml`.

use serde::{Deserialize, Serialize};

use super::folder::Folder;
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
        let text = folder.text(Self::FILE).map(|text| text.text).unwrap_or_default();
        let mut settings: Self = toml::from_str(&text).unwrap_or_default();
        if settings.title.trim().is_empty() {
            let name = folder.root().file_name().unwrap_or_default();
            settings.title = name.to_string_lossy().into_owned();
        }
        settings
    }

    /// Keeps them in `folder`.
    pub(crate) fn save(&self, folder: &Folder) -> Result<(), Refusal> {
        let text = toml::to_string(self)
            .map_err(|error| Refusal::of_all(format!("the settings cannot be kept: {error}")))?;
        folder.save(Self::FILE, &text, None).map(drop)
    }
}
