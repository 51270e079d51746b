//! The room of the heart.

pub(crate) const TITLE: &str = "Heart";

pub(crate) const KEYS: &[(&str, &str)] = &[
    ("Space", "in the figure: the sweep line runs, or stands still"),
    ("← →", "in the figure: the sweep line moves by 10 ms"),
    ("Home, End", "in the figure: to the beginning or the end"),
];

// The beat: schematic, sweep line, what is read off there.
pub(crate) const BEAT: &str = "The beat";
pub(crate) const SCHEMATIC: &str = "Schematic of the four chambers and four valves, unfolded, at the time of the sweep line. \
    The area of each chamber follows its computed volume.";
pub(crate) const RUN: &str = "Run";
pub(crate) const PAUSE: &str = "Pause";
pub(crate) const BACK: &str = "10 ms back";
pub(crate) const ON: &str = "10 ms on";
pub(crate) const TIME: &str = "Time in the figure";
pub(crate) const SPEED: &str = "Speed";
/// Speeds to choose from: times real time, and what is said of it.
pub(crate) const SPEEDS: &[(&str, &str)] = &[
    ("1", "real time"),
    ("0.5", "1/2, sounds slowed at the same pitch"),
    ("0.25", "1/4, silent"),
    ("0.125", "1/8, silent"),
];
pub(crate) const STILL: &str =
    "This computer asks for less motion, so nothing runs by itself. Step with ← and →.";
pub(crate) const PHASE: &str = "Phase";
pub(crate) const OPEN: &str = "Open valves";
pub(crate) const NONE_OPEN: &str = "none";
pub(crate) const NO_PHASE: &str = "–";
/// What is said at a step of the sweep line; the names in braces are filled in.
pub(crate) const SPOKEN: &str =
    "{time} ms. Phase: {phase}. Open valves: {open}. Pressures in mmHg: {pressures}.";
pub(crate) const CHAMBERS: [(&str, &str, &str); 4] = [
    ("ra", "RA", "right atrium"),
    ("rv", "RV", "right ventricle"),
    ("la", "LA", "left atrium"),
    ("lv", "LV", "left ventricle"),
];
pub(crate) const AORTA: &str = "aorta";
/// What the vessels of the schematic are called, in two lines where they are.
pub(crate) const PULMONARY_ARTERY: [&str; 2] = ["pulm.", "artery"];
pub(crate) const VENAE_CAVAE: [&str; 2] = ["from", "body"];
pub(crate) const PULMONARY_VEINS: [&str; 2] = ["from", "lungs"];

// Two hearts.
pub(crate) const KEEP: &str = "Keep to compare";
pub(crate) const KEEP_AGAIN: &str = "Keep this one instead";
pub(crate) const FORGET: &str = "Stop comparing";
/// What the kept heart is called beside its traces.
pub(crate) const KEPT: &str = "kept";
pub(crate) const COMPARED: &str = "Compared with the heart that was kept";
pub(crate) const KEPT_COLUMN: &str = "kept";
pub(crate) const NOW_COLUMN: &str = "now";
pub(crate) const DIFFERENCE: &str = "difference";
pub(crate) const KEPT_DASHED: &str = "Kept (dashed)";

/// The title of a figure of two hearts.
pub(crate) fn over(now: &str, kept: &str) -> String {
    format!("{now}; dashed, kept: {kept}")
}

// Alignment lines.
pub(crate) const LINES: &str = "Alignment lines through";
pub(crate) const LINES_HINT: &str =
    "A label in the figure that is clicked gets a line, or loses it.";
pub(crate) const EVENTS: &str = "Valves and other events";

// Into a sheet.
pub(crate) const INTO_SHEET: &str = "Into a sheet";
pub(crate) const SHEET_TITLE: &str = "The test is called";
pub(crate) const SHEET_CONVENTION: &str = "By the rules of";
pub(crate) const IN_COURSE: &str = "In this course";
pub(crate) const SHIPPED: &str = "With the program";
pub(crate) const SHEET_MAKE: &str = "Make the test";
pub(crate) const SHEET_LINK: &str = "See it under Sheets";
pub(crate) const SHEET_NO_TITLE: &str = "give the test a title of one to eighty letters";

/// The test that was made, and what its key draws.
pub(crate) fn sheet_made(file: &str, by_rules: bool) -> String {
    let key = if by_rules {
        "Its key is drawn by the rules, on this heart."
    } else {
        "This heart breaks some of the rules, so its key draws the heart as it is."
    };
    format!("Saved as “{file}” in the course folder. {key}")
}
