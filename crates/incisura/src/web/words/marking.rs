//! The room of marking.

use std::fmt::Display;

pub(crate) const TITLE: &str = "Marking";
pub(crate) const SKIP: &str = "Skip to the drawings";
pub(crate) const TABLE_KEYS: &[(&str, &str)] = &[("R", "review what is open")];
pub(crate) const TEST: &str = "Test";
pub(crate) const SHOW: &str = "Show";
pub(crate) const NO_TEST: &str = "There is no test in this course yet.";
pub(crate) const MAKE_TEST: &str =
    "Make one in the room of sheets, print it, and come back with what the class drew.";
pub(crate) const TO_SHEETS: &str = "To the sheets";
pub(crate) const FAULTY: &str = "This test cannot be used as it is.";
pub(crate) const MEND: &str =
    "Mend it in the room of sheets, or its rules in the room of conventions.";

// Scans.
pub(crate) const SCANS: &str = "Scans";
pub(crate) const DROP: &str = "Drop scans here: PDF, JPEG, PNG or TIFF, in any order.";
pub(crate) const CHOOSE: &str = "Choose files";
pub(crate) const SENDING: &str = "Taking in";
pub(crate) const NO_SCANS: &str = "Nothing lies in this course's folder scans yet.";
pub(crate) const FILE: &str = "File";
pub(crate) const PAGES: &str = "Pages";
pub(crate) const STATE: &str = "State";
pub(crate) const FILES_IN_DETAIL: &str = "File by file";
pub(crate) const READ_AND_MARK: &str = "Read and mark";
pub(crate) const GO_ON: &str = "Go on reading";
pub(crate) const MARK_AGAIN: &str = "Mark again";
pub(crate) const STOPPABLE: &str = "What has been read is kept: if the program is stopped meanwhile, press the button again and it goes on where it was.";

pub(crate) const OTHER_TEST: &str = "of another test of this course";

pub(crate) fn files(count: usize) -> String {
    counted(count, "file", "files")
}

pub(crate) fn pages(count: usize) -> String {
    counted(count, "page", "pages")
}

/// A number with its noun.
pub(crate) fn counted(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

pub(crate) fn waiting(count: usize) -> String {
    let are = if count == 1 { "waits" } else { "wait" };
    format!("{} {are} to be read", pages(count))
}

pub(crate) fn read(count: usize) -> String {
    format!("{count} read")
}

pub(crate) fn duplicates(count: usize) -> String {
    counted(count, "duplicate", "duplicates")
}

pub(crate) fn aside(count: usize) -> String {
    format!("{count} {IS_ASIDE}")
}

pub(crate) fn unreadable(count: usize) -> String {
    format!("{count} unreadable")
}

pub(crate) fn others(count: usize) -> String {
    format!("{count} {OTHER_TEST}")
}

/// What is said of a page of a file.
pub(crate) fn on_page(file: &str, page: u32, what: &str) -> String {
    format!("{file}, page {page}: {what}")
}

/// What to do about a sheet of a test that is not known; what the command line says is in its own
/// terms.
pub(crate) const REMEDY: &str =
    "; if it is a sheet of this test, the test was changed since: undo that in the room of sheets";

pub(crate) fn no_kind(name: &str) -> String {
    format!("“{name}” was not taken in: its name does not end in .pdf, .jpg, .png or .tif")
}

pub(crate) fn too_many(most: usize) -> String {
    format!("there are {most} files in scans already; move those of earlier tests elsewhere")
}

pub(crate) fn broken_off(name: &str) -> String {
    format!("“{name}” was not taken in: sending it was broken off; send it again")
}

pub(crate) fn too_large(name: &str, most_mb: u64) -> String {
    format!(
        "“{name}” was not taken in: it is larger than {most_mb} MB; scan at 300 dpi in grey, or in several files"
    )
}

pub(crate) fn disk_full(name: &str) -> String {
    format!("“{name}” was not taken in: the disk is full; make room, and send it again")
}

pub(crate) fn not_kept(name: &str, reason: &dyn Display) -> String {
    format!("“{name}” was not taken in: it cannot be written to the course's folder ({reason})")
}

pub(crate) fn no_scan(name: &str, reason: &str) -> String {
    format!("“{name}” was not taken in: {reason}")
}

pub(crate) fn same(name: &str, same: &str) -> String {
    if name == same {
        format!("{name} is there already")
    } else {
        format!("{name} is there already, as {same}")
    }
}

pub(crate) fn taken(name: &str, kept: &str, count: u32) -> String {
    let count = pages(count as usize);
    if name == kept { format!("{kept}: {count}") } else { format!("{name}, as {kept}: {count}") }
}

// Work in the background.
pub(crate) const NOTHING_READ: &str =
    "none of the pages could be read as a sheet of this test; the list of files says why of each";
pub(crate) const NOTHING_MARKED: &str = "nothing was marked yet; read and mark the scans first";
pub(crate) const WORKING: &str = "Reading and marking";

pub(crate) fn marked(sheets: usize, changed: usize) -> String {
    let marked = format!("{} marked", counted(sheets, "sheet", "sheets"));
    if changed == 0 {
        return marked;
    }
    let others = counted(changed, "sheet", "sheets");
    format!("{marked}; the rules have changed and would give {others} other marks")
}

pub(crate) fn marked_but(sheets: usize, path: &str) -> String {
    format!(
        "{}; no files were written, as there are decisions in {path} that were not taken in: take them in with incisura mark --decisions, or move the file",
        marked(sheets, 0)
    )
}

// The table of drawings.
pub(crate) const DRAWINGS: &str = "Drawings";
pub(crate) const EMPTY: &str = "No drawing has been marked yet.";
pub(crate) const EMPTY_NEXT: &str = "Drop the scans of what the class drew, or put them into the folder scans, and press “Read and mark”.";
pub(crate) const STUDENT: &str = "Student";
pub(crate) const SHEET: &str = "Sheet";
pub(crate) const FORM: &str = "Form";
pub(crate) const STATUS: &str = "Status";
pub(crate) const POINTS: &str = "Points";
pub(crate) const OPEN: &str = "Open questions";
pub(crate) const REASONS: &str = "Remarks";
pub(crate) const SORT: &str = "Sort by";
pub(crate) const ALL: &str = "all";
pub(crate) const HIDE_NAMES: &str = "Hide names";
pub(crate) const NOBODY: &str = "not known";
pub(crate) const HIDDEN: &str = "hidden";
pub(crate) const NO_SHEET: &str = "no sheet";
pub(crate) const IN_REVIEW: &str = "questions open";
pub(crate) const MARKED: &str = "marked";
pub(crate) const UNREADABLE: &str = "unreadable";
pub(crate) const NONE_SUCH: &str = "No drawing is of this kind.";

pub(crate) fn of_points(points: f64, most: f64) -> String {
    format!("{} of {}", number(points), number(most))
}

pub(crate) fn still_open(points: f64) -> String {
    format!("{} still open", number(points))
}

/// Which of the beats on a drawing a number is from.
pub(crate) fn beat(beat: usize, of: usize) -> String {
    format!("beat {beat} of {of}")
}

/// To a hundredth, without needless noughts.
pub(crate) fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.replace('-', "−") }
}

pub(crate) fn review(open: usize) -> String {
    format!("Review {}", counted(open, "question", "questions"))
}

pub(crate) const REVIEW_DONE: &str = "Look through the answers";

// Files to keep.
pub(crate) const OUTPUTS: &str = "To keep";
pub(crate) const OUTPUTS_ABOUT: &str = "Made anew from what counts now, and kept in the course's folder as well. Points leave out what is still open.";
pub(crate) const WRITING: &str = "Writing";

/// What the files are, by their names.
pub(crate) fn output(name: &str) -> &'static str {
    match name {
        "gradebook.csv" => "Gradebook (CSV)",
        "feedback.pdf" => "Feedback to students (PDF)",
        "class.pdf" => "Class picture (PDF)",
        _ => "Everything, for scripts (JSON)",
    }
}

// Changed rules.
pub(crate) const CHANGED: &str =
    "The rules were changed since these marks were given. The marks stand until you accept others.";
pub(crate) const SEE_CHANGES: &str = "See whose marks would change";
pub(crate) const CHANGES: &str = "Whose marks the changed rules would change";
pub(crate) const CHANGES_ABOUT: &str = "Scans are not read again, and your decisions stay.";
pub(crate) const NO_CHANGES: &str = "The rules as they are now change nobody's marks.";
pub(crate) const BEFORE: &str = "Before";
pub(crate) const AFTER: &str = "After";
pub(crate) const DIFFERENCE: &str = "Difference";
pub(crate) const BY_RULES: &str = "By the rules";
pub(crate) const ACCEPT: &str = "Accept the new marks";
pub(crate) const LEAVE: &str = "Leave the marks as they are";
pub(crate) const ACCEPTED: &str = "accepted after looking at the list of changes";
pub(crate) const PROPOSAL_GONE: &str =
    "what was shown is no longer what would change; look at the list again";

// A drawing.
pub(crate) const NO_SUCH_SHEET: &str = "no such sheet was handed in";
pub(crate) const NOT_LAID_OUT: &str = "this print of the test cannot be laid out any more";
pub(crate) const SKIP_TO_RULES: &str = "Skip to the rules";
pub(crate) const BACK_TO_TABLE: &str = "All drawings";
pub(crate) const EARLIER: &str = "Previous drawing";
pub(crate) const LATER: &str = "Next drawing";
pub(crate) const LEGEND: &str = "Rings show what was found. Numbers are those of the list below: ticked where the rule is met, framed where it is not, with a question mark where it is for you to say. An arrow leads from where something was drawn to where it belongs.";
pub(crate) const RULES: &str = "Rule by rule";
pub(crate) const RULE: &str = "Rule";
pub(crate) const MEASURED: &str = "Measured";
pub(crate) const ASKED: &str = "Asked for";
pub(crate) const TOLERATED: &str = "Tolerated";
pub(crate) const OUTCOME: &str = "Outcome";
pub(crate) const SURE: &str = "Sure";
pub(crate) const TOTAL: &str = "Total";
pub(crate) const MET: &str = "met";
pub(crate) const NOT_MET: &str = "not met";
pub(crate) const HALF: &str = "half";
pub(crate) const TO_SAY: &str = "open";
pub(crate) const NOT_ASKED: &str = "not asked";
pub(crate) const NOT_COUNTED: &str = "does not count";
pub(crate) const BY_YOU: &str = "decided by a person";
pub(crate) const OVERRULE: &str = "Decide";
pub(crate) const DECISION: &str = "Decision";
pub(crate) const NUMBER: &str = "Points";
pub(crate) const REASON: &str = "Reason";
pub(crate) const KEEP: &str = "Keep";
pub(crate) const TAKE_BACK: &str = "Take back";
pub(crate) const HISTORY: &str = "What was decided";
pub(crate) const NO_HISTORY: &str = "Nobody has decided anything about this drawing.";
pub(crate) const WHEN: &str = "When";
pub(crate) const WHO: &str = "Who";
pub(crate) const WHAT: &str = "What";
pub(crate) const TAKEN_BACK: &str = "taken back";
pub(crate) const WHOSE: &str = "Whose sheet it is";
pub(crate) const GIVE: &str = "It is theirs";
pub(crate) const PAGE_FROM: &str = "Scanned from";
pub(crate) const OFF: &str = "off by";

/// What can be decided, and what it is called; `{}` asks for a number.
pub(crate) const DECISIONS: [(&str, &str); 6] = [
    ("met", "met"),
    ("half", "half"),
    ("not met", "not met"),
    ("points", "so many points"),
    ("waive", "does not count for this student"),
    ("worth", "is worth so many points for this student"),
];

pub(crate) fn sheet(number: u32) -> String {
    format!("Sheet {number}")
}

pub(crate) fn file_page(file: &str, page: u32) -> String {
    format!("{file}, page {page}")
}

// Scans of a sheet.
pub(crate) const SCANS_OF_SHEET: &str = "Scans of this sheet";
pub(crate) const SCANNED_TWICE: &str =
    "A page was scanned more than once. Look at the pictures and say which of them counts.";
pub(crate) const COUNTS: &str = "counts";
pub(crate) const DUPLICATE: &str = "a duplicate, which does not count";
pub(crate) const IS_ASIDE: &str = "set aside";
pub(crate) const LET_COUNT: &str = "Let this one count";
pub(crate) const SET_ASIDE: &str = "Set aside";
pub(crate) const BRING_BACK: &str = "Bring back";
pub(crate) const WHY_COUNTS: &str = "the better scan";
pub(crate) const WHY_ASIDE: &str = "dropped by mistake";
pub(crate) const WHY_BACK: &str = "counts after all";
pub(crate) const UNDER_WAY: &str =
    "scans are being read and marked; wait until that is done, and say it again";

pub(crate) fn aside_by(who: &str, why: &str) -> String {
    format!("{IS_ASIDE} by {who}: {why}")
}

pub(crate) fn page(number: u32) -> String {
    format!("Page {number}")
}

// Who decides.
pub(crate) const YOUR_NAME: &str = "Your name";
pub(crate) const NAME_ASKED: &str =
    "Every decision is kept with who made it. Say once what you are called in this course.";
pub(crate) const NAME_NEEDED: &str = "say first who you are: every decision is kept with a name";
pub(crate) const BEGIN: &str = "Begin";
pub(crate) const NOTHING_TO_UNDO: &str = "there is no answer of yours to take back here";
pub(crate) const UNDONE: &str = "taken back";

// Review.
pub(crate) const REVIEW: &str = "Review";
pub(crate) const SKIP_TO_QUESTION: &str = "Skip to the question";
pub(crate) const NO_QUESTIONS: &str =
    "There is nothing for you to say: every rule could be measured.";
pub(crate) const QUESTIONS: &str = "Questions, rule by rule";
pub(crate) const NOT_SHOWN: &str = "There is no picture of this place: its page is missing.";
pub(crate) const WHOLE_PAGE: &str = "The whole page; the place is framed.";
pub(crate) const ANSWERED: &str = "Answered";
pub(crate) const SCRIPT_NEEDED: &str = "Review needs scripts, which this browser does not run.";

/// Answers and ways: the key, what it does, what the button says.
pub(crate) const ANSWERS: [(&str, &str, &str); 3] =
    [("m", "met", "Met"), ("h", "half", "Half"), ("n", "not met", "Not met")];
pub(crate) const KEYS: [(&str, &str); 10] = [
    ("M", "met"),
    ("H", "half of it is met"),
    ("N", "not met"),
    ("1 … 9", "so many points"),
    ("S", "skip: decide later"),
    ("U", "take back the last answer"),
    ("P", "the whole page, or the crop again"),
    ("→ ←", "next and previous question"),
    ("A", "labels: all that are not decided here are met"),
    ("F", "first question that is not decided"),
];
/// What the review's module says.
pub(crate) const SAID: [(&str, &str); 14] = [
    ("progress", "{at} of {all}"),
    ("answered", "{done} answered, {left} to go"),
    ("finished", "All questions are answered."),
    ("keeping", "keeping…"),
    ("kept", "kept"),
    ("proposal", "The program would say: {what}."),
    ("measured", "Measured {mm} mm; tolerated {tolerance} mm."),
    ("decided", "decided: {what}"),
    ("open", "open"),
    ("worth", "{points} points"),
    ("one", "1 point"),
    ("crop", "Part of a drawing with the place in question"),
    ("undone", "Taken back."),
    (
        "elsewhere",
        "Taken back. The question came up after this page was made: reload the page to see it.",
    ),
];
pub(crate) const SKIP_KEY: &str = "Skip";
pub(crate) const UNDO: &str = "Undo";
pub(crate) const REST: &str = "Whole page";
pub(crate) const PREVIOUS: &str = "Back";
pub(crate) const NEXT: &str = "Next";
pub(crate) const ALL_MET: &str = "All still open here are met";
pub(crate) const FIRST_OPEN: &str = "First open question";
