//! A heart from settings by name, as files write them.

use std::collections::BTreeMap;

use crate::{Heart, HeartError, Rhythm, condition};

impl Heart {
    /// A resting heart, or the `condition` among `names`, with the `rhythm` among them and its
    /// `numbers` set.
    ///
    /// # Errors
    /// [`HeartError`] where a name is not known or a number is out of range.
    pub fn of_settings<'a>(
        numbers: impl Iterator<Item = (&'a str, f64)>,
        names: &BTreeMap<&'a str, &'a str>,
    ) -> Result<Self, HeartError> {
        let mut heart = match names.get("condition") {
            Some(name) => condition(name)?.heart,
            None => Self::default(),
        };
        if let Some(name) = names.get("rhythm") {
            heart.rhythm = Rhythm::from_name(name)?;
        }
        for (name, value) in numbers {
            heart.parameters.set(name, value)?;
        }
        for name in names.keys().filter(|name| **name != "condition" && **name != "rhythm") {
            // A name where a number belongs is told as the heart tells it.
            heart.parameters.set(name, f64::NAN)?;
        }
        Ok(heart)
    }
}
