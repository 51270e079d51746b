//! The room of the heart.

use heart::Rhythm;

pub(crate) const TITLE: &str = "Heart";
pub(crate) const SKIP: &str = "Skip to the figure";

pub(crate) const KEYS: &[(&str, &str)] = &[
    ("Space", "in the figure: the sweep line runs, or stands still"),
    ("← →", "in the figure: the sweep line moves by 10 ms"),
    ("Home, End", "in the figure: to the beginning or the end"),
];

// Which heart, and its sound.
pub(crate) const CONDITION: &str = "Condition";
pub(crate) const RHYTHM: &str = "Rhythm";
pub(crate) const BEATS: &str = "Beats";
pub(crate) const ENOUGH_BEATS: &str = "as needed";
pub(crate) const WHOLE_SCREEN: &str = "Whole screen";
pub(crate) const PLAY: &str = "Play heart sounds";
pub(crate) const STOP: &str = "Stop heart sounds";
pub(crate) const NO_SOUND: &str =
    "the sound cannot be played; check that this computer has a loudspeaker";
pub(crate) const DRAW: &str = "Draw";

pub(crate) fn rhythm(rhythm: Rhythm) -> &'static str {
    match rhythm {
        Rhythm::Sinus => "Sinus rhythm",
        Rhythm::RespiratorySinusArrhythmia => "Respiratory sinus arrhythmia",
        Rhythm::SecondDegreeTypeI => "AV block, second degree, type I",
        Rhythm::SecondDegreeTypeII => "AV block, second degree, type II",
        Rhythm::ThirdDegree => "AV block, third degree",
        Rhythm::AtrialFibrillation => "Atrial fibrillation",
        Rhythm::PrematureAtrial => "Premature atrial beat",
        Rhythm::PrematureVentricular => "Premature ventricular beat",
    }
}

// The figure, and what is told of it.
pub(crate) const FIGURE: &str = "Figure";
pub(crate) const IN_WORDS: &str = "The figure in words";
pub(crate) const USE: &str = "Use";
pub(crate) const TEACHING: &str = "teaching only";
pub(crate) const KEEP_AS: &str = "Keep this as";
/// Files to keep, each with what it is called.
pub(crate) const FILES: [(&str, &str); 7] = [
    ("figure.svg", "SVG"),
    ("figure.png", "PNG"),
    ("figure.pdf", "PDF"),
    ("cycle.json", "JSON"),
    ("traces.csv", "traces (CSV)"),
    ("marks.csv", "landmarks (CSV)"),
    ("sounds.wav", "sounds (WAV)"),
];
pub(crate) const FINDINGS: &str = "What it shows";
pub(crate) const NUMBERS: &str = "Numbers: ";

// The controls.
pub(crate) const CONTROLS: &str = "Controls";
pub(crate) const RATE_AND_CONDUCTION: &str = "Rate and conduction";
pub(crate) const PUMP_AND_VESSELS: &str = "Pump and vessels";
pub(crate) const VALVES: &str = "Valves";
pub(crate) const ALL_OTHERS: &str = "All other parameters";
pub(crate) const OTHERS: &str = "Other parameters";
pub(crate) const RESET: &str = "Back to the condition as it is";
/// What stands for a unit where a parameter has none.
pub(crate) const TIMES_NORMAL: &str = "× normal";
pub(crate) const PANELS: &str = "Panels";
pub(crate) const DRAWN_WITH: &str = "Drawn with";
pub(crate) const PART_LINES: &str = "Alignment lines";
pub(crate) const PART_PHASES: &str = "Phases";
pub(crate) const PART_BARS: &str = "Valve bars";
pub(crate) const PART_LABELS: &str = "Labels";
pub(crate) const PART_GRID: &str = "Grid";
pub(crate) const PART_LOOP: &str = "Pressure–volume loop";
pub(crate) const SCALE: &str = "Text and lines for";
pub(crate) const FOR_PRINT: &str = "Print";
pub(crate) const FOR_PROJECTOR: &str = "Projector";
pub(crate) const NO_SCALE: &str = "choose print or projector";

/// Between which values a parameter may lie.
pub(crate) fn range(low: f64, high: f64) -> String {
    format!("{low} to {high}")
}

pub(crate) fn no_number(typed: &str) -> String {
    format!("“{typed}” is not a number, like 60 or 0.8")
}

pub(crate) fn no_beats(most: i64) -> String {
    format!("give a whole number of beats from 1 to {most}")
}

pub(crate) fn no_landmark(asked: &str, near: Option<String>) -> String {
    let near = near.map(|near| format!("; did you mean “{near}”?")).unwrap_or_default();
    format!("there is no landmark or event “{asked}”{near}")
}

pub(crate) fn nothing_to_show(asked: &str, known: &[&str]) -> String {
    format!("there is no “{asked}” to show; known are {}", known.join(", "))
}

// The beat: schematic, sweep line, what is read off there.
pub(crate) const BEAT: &str = "The beat";
pub(crate) const SCHEMATIC: &str = "Schematic of the four chambers and four valves, unfolded, at the time of the sweep line. \
    The area of each chamber follows its computed volume.";
pub(crate) const RUN: &str = "Run";
pub(crate) const PAUSE: &str = "Pause";
pub(crate) const BACK: &str = "10 ms back";
pub(crate) const ON: &str = "10 ms on";
pub(crate) const TIME: &str = "Time in the figure";
pub(crate) const TIME_SHORT: &str = "Time";
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
/// What is left out of a valve's name where it is clear that it is one.
pub(crate) const VALVE: &str = " valve";
/// What is said at a step of the sweep line; the names in braces are filled in.
pub(crate) const SPOKEN: &str =
    "{time} ms. Phase: {phase}. Open valves: {open}. Pressures in mmHg: {pressures}.";
pub(crate) const CHAMBERS: [(&str, &str, &str); 4] = [
    ("ra", "RA", "right atrium"),
    ("rv", "RV", "right ventricle"),
    ("la", "LA", "left atrium"),
    ("lv", "LV", "left ventricle"),
];
pub(crate) const PRESSURES: &str = "Pressures at the sweep line";
pub(crate) const LEFT: &str = "left";
pub(crate) const RIGHT: &str = "right";
pub(crate) const ATRIUM: &str = "atrium";
pub(crate) const VENTRICLE: &str = "ventricle";
pub(crate) const ARTERY: &str = "artery";
pub(crate) const VENTRICLE_ML: &str = "ventricle, mL";
pub(crate) const AORTA: &str = "aorta";
/// What the vessels of the schematic are called, in two lines where they are.
pub(crate) const PULMONARY_ARTERY: [&str; 2] = ["pulm.", "artery"];
pub(crate) const VENAE_CAVAE: [&str; 2] = ["from", "body"];
pub(crate) const PULMONARY_VEINS: [&str; 2] = ["from", "lungs"];

// Two hearts.
pub(crate) const KEEP: &str = "Keep to compare";
pub(crate) const KEEP_AGAIN: &str = "Keep this one";
pub(crate) const FORGET: &str = "Stop comparing";
/// What the kept heart is called beside its traces.
pub(crate) const KEPT: &str = "kept";
pub(crate) const COMPARED: &str = "Compared with the heart that was kept";
pub(crate) const KEPT_COLUMN: &str = "kept";
pub(crate) const NOW_COLUMN: &str = "now";
pub(crate) const DIFFERENCE: &str = "difference";
pub(crate) const KEPT_DASHED: &str = "Kept (dashed)";

/// Something is wrong with the heart that was kept, not with the one that is changed.
pub(crate) fn of_kept(fault: &str) -> String {
    format!("the heart that was kept: {fault}")
}

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

pub(crate) fn sheet_unwritten(why: &str) -> String {
    format!("the test cannot be written: {why}")
}
