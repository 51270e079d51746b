//! What stands around every room.

pub(crate) const ROOMS: &str = "Rooms";
pub(crate) const INVENTED: &str = "invented";
pub(crate) const KEYS: &str = "Keys";
pub(crate) const LIGHT: &str = "Light";
pub(crate) const DARK: &str = "Dark";
pub(crate) const CLOSE: &str = "Close";
/// What a page says where its program is no longer there.
pub(crate) const SILENT: &str = "incisura does not answer; start it again and reload this page";
pub(crate) const FAULT: &str = "That did not work";
pub(crate) const TO_THE_COURSE: &str = "To the course";
pub(crate) const SKIP: &str = "Skip to the page";
pub(crate) const PLAINLY: &str =
    "For teaching. Not a medical device. Nothing leaves this computer.";
/// Keys that work everywhere.
pub(crate) const ALL_KEYS: &[(&str, &str)] =
    &[("?", "this list"), ("Alt + 1 … 9", "to the rooms, in their order")];
