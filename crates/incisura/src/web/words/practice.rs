//! The room of practice.

pub(crate) const TITLE: &str = "Practice";
pub(crate) const SKIP: &str = "Skip to the drawing";
pub(crate) const TEST: &str = "Test";
pub(crate) const HELP: &str = "Help";
pub(crate) const VARIANT: &str = "New variant";
pub(crate) const CHECK: &str = "Check";
pub(crate) const HEARING: &str = "Sound";
pub(crate) const HEAR: &str = "Hear this heart";
pub(crate) const HEARD: &str = "What is heard";
pub(crate) const SOUNDS: &str = "Heart sounds";
pub(crate) const SLOWLY: &str = "Four times slower";
pub(crate) const TOOLS: &str = "Tools";
pub(crate) const DRAW: &str = "Draw";
pub(crate) const ERASE: &str = "Erase";
pub(crate) const LINE: &str = "Line";
pub(crate) const MOVE: &str = "Move";
pub(crate) const POINTS: &str = "Points";
pub(crate) const UNDO: &str = "Undo";
pub(crate) const REDO: &str = "Redo";
pub(crate) const SMOOTH: &str = "Smooth";
pub(crate) const CLEAR: &str = "Clear";
pub(crate) const NEARER: &str = "Nearer";
pub(crate) const FARTHER: &str = "Farther";
pub(crate) const WHOLE: &str = "Whole page";
pub(crate) const STAGE: &str = "The page to draw on";
pub(crate) const FEEDBACK: &str = "Feedback";
pub(crate) const BUILD: &str = "Build along";
pub(crate) const QUESTIONS: &str = "Questions";
pub(crate) const PROGRESS: &str = "Progress";
pub(crate) const NOT_YET: &str = "Draw, then check. Every rule is judged as it is on paper, and you can check as often as you like.";
pub(crate) const NEXT_LEVEL: &str = "Go on with less help";
pub(crate) const BACK: &str = "Back";
pub(crate) const NEXT: &str = "Next";
pub(crate) const SHOW: &str = "Show it";
pub(crate) const WHY: &str = "Why?";
pub(crate) const ANSWER: &str = "Answer";
pub(crate) const KEEP: &str = "Keep my progress in this browser";
pub(crate) const EXPORT: &str = "Save as a file";
pub(crate) const FORGET: &str = "Forget it";
pub(crate) const PRIVATE: &str =
    "Nothing is kept unless you ask for it here, and then only in this browser.";
pub(crate) const ALIKE: &str = "Move it in every beat alike";
pub(crate) const POINTS_HOW: &str = "Choose a point. Arrow keys move it by a millimetre, with Shift by a fifth. The trace is drawn through the points.";
pub(crate) const PLACED: &str = "Points to place";
pub(crate) const GIVEN_MARKS: &str = "Given";
pub(crate) const EMPTY: &str = "There is no test in this course yet.";
pub(crate) const EMPTY_HOW: &str =
    "Make one in Sheets: what can be printed to draw on can be practised here.";
pub(crate) const BUSY: &str = "too much is being judged at once; try again in a moment";
pub(crate) const NO_SUCH_TEST: &str = "there is no test of this name in the course";

pub(crate) const NO_SUCH_PACKAGE: &str = "choose zip, scorm-1.2 or scorm-2004 as the package";
pub(crate) const AT_HOME: &str = "For home";
pub(crate) const AT_HOME_HOW: &str = "This test as a page in one file: it draws and judges on any phone or computer, without a network. For a learning-management system there are packages that report the best score.";
pub(crate) const ONE_FILE: &str = "Practice page";
/// What there is besides the page: how the address calls it, and how the room does.
pub(crate) const PACKAGES: [(&str, &str); 3] =
    [("zip", "ZIP"), ("scorm-1.2", "SCORM 1.2"), ("scorm-2004", "SCORM 2004")];
pub(crate) const NO_PAGES: &str = "This program was built without the practice core, so it makes no pages for home. The sources build it in with";
pub(crate) const RESULT_CODE: &str = "Result code";
pub(crate) const VERIFY: &str = "Does it fit?";

pub(crate) fn not_accepted(why: &dyn std::fmt::Display) -> String {
    format!("Not accepted: {why}.")
}

pub(crate) const NO_SCRIPT: &str = "This page needs JavaScript. If it was opened from a preview, save the file and open it in a browser.";
pub(crate) const SILENT_IN_FILE: &str = "The core of this page does not work here. Open the file in a browser of 2024 or later; if it was cut short, get it again.";
pub(crate) const NO_TEST: &str = "this test cannot be practised; ask your instructor";

/// Keys that do something here.
pub(crate) const KEYS: &[(&str, &str)] = &[
    ("Ctrl + Z, Ctrl + Y", "undo, redo"),
    ("c", "check the drawing"),
    ("d, e, l, m, p", "draw, erase, line, move, points"),
    ("+, −, 0", "nearer, farther, whole page"),
    ("arrows", "on the page: move it, or the line; on a point: move the point"),
    ("Enter, Delete", "on the page, with the line: put one there, take it away"),
];

/// What the modules say; `{}` is filled in by them.
pub(crate) const SAID: &[(&str, &str)] = &[
    ("met", "met"),
    ("not_met", "not met"),
    ("cannot_tell", "cannot tell"),
    ("given", "given"),
    ("unchecked", "Changed since it was checked."),
    ("drawn", "Drawn in {}."),
    ("erased", "Erased in {}."),
    ("undone", "Undone."),
    ("redone", "Redone."),
    ("line_at", "Line at {} ms."),
    ("line_gone", "Line taken away."),
    ("hint_line", "Hint: where?"),
    ("hint_cause", "Hint: why?"),
    ("hint_ghost", "Hint: show it"),
    ("hint_done", "Hide the hints"),
    ("all_met", "Everything is where it belongs. Well drawn."),
    ("points", "{} of {} points"),
    ("off_time", "{} mm ({} ms) {}"),
    ("off", "{} mm {}"),
    ("at_time", "{}: {} ms"),
    ("at_value", "{}: {} ms, {}"),
    ("step", "Step {} of {}: {}"),
    ("no_steps", "Nothing is to be built here."),
    ("question", "Question {} of {}"),
    ("no_questions", "The rules of this test leave nothing to ask."),
    ("right", "Right."),
    ("wrong", "Not quite."),
    ("earlier", "Earlier"),
    ("later", "Later"),
    ("silent", "There is no answer; reload this page."),
    ("stop", "Stop the sound"),
    ("as_tone", "Heart sounds, {} as a tone"),
    ("tries", "Tries: {}; best so far {}."),
    ("try", "{}: {} of {} rules met (level {})"),
    ("no_tries", "No try has been checked yet."),
    ("forgotten", "Forgotten."),
    ("fresh", "A new variant: {} beats a minute."),
    ("smoothed", "Smoothed."),
    ("beat", "{}, beat {}"),
];
