//! The room of the sheets: tests, their pages and prints, and the class list.

pub(crate) const TITLE: &str = "Sheets";
pub(crate) const SKIP: &str = "Skip to the tests";
pub(crate) const SKIP_TO_FORMS: &str = "Skip to the forms";
pub(crate) const ABOUT: &str = "A test says what is printed for students to draw on. From it come drawing sheets in parallel forms, their key and rubric, and what else you ask for.";
pub(crate) const TESTS: &str = "Tests";
pub(crate) const NONE: &str = "There is no test yet.";
pub(crate) const NONE_NEXT: &str = "Begin one below: give it a title and choose the convention by which it is drawn and marked. You see its pages at once, and nothing is printed until you say so.";
pub(crate) const NEW: &str = "New test";
pub(crate) const NEW_TITLE: &str = "Its title, which is printed";
pub(crate) const BEGIN: &str = "Begin it";
pub(crate) const CONVENTION: &str = "Convention";
pub(crate) const BY: &str = "by the rules of";
pub(crate) const OPEN: &str = "Open";
pub(crate) const COPY: &str = "Copy";
pub(crate) const COPY_INSTEAD: &str = "Copy it, and change the copy";
pub(crate) const COPY_NAME: &str = "The copy's title";
pub(crate) const REMOVE: &str = "Remove";
pub(crate) const HAS_FAULTS: &str = "has faults";
pub(crate) const PRINTED: &str = "printed";
pub(crate) const ALL: &str = "All tests";

pub(crate) const LOCKED: &str = "This test was printed. The code on each sheet belongs to this very text, and so does the list of who has which sheet.";
pub(crate) const LOCKED_NEXT: &str = "To print something else, copy it and change the copy. If you change this one, sheets that were printed keep the text that they were printed from, and new ones get other codes.";
pub(crate) const EDIT_ANYWAY: &str = "Change it nevertheless";
pub(crate) const CHANGED_SINCE: &str = "This was changed since sheets were printed from it. They keep the text that they were printed from.";
pub(crate) const REFUSED_PRINTED: &str = "this test was printed; copy it and change the copy, or say on its page that you want to change it nevertheless";

pub(crate) const T_TITLE: &str = "Title";
pub(crate) const T_COURSE: &str = "Course";
pub(crate) const INSTRUCTIONS: &str = "What students are told; the usual if empty";
pub(crate) const RULES: &str = "Rules and traces";
pub(crate) const TRACES: &str = "On the sheet";
pub(crate) const GIVEN: &str = "printed";
pub(crate) const ASKED: &str = "to be drawn";
pub(crate) const LEFT_OUT: &str = "left out";
pub(crate) const GIVEN_BY_FORM: &str =
    "Each form has other traces printed. Change which in the text.";
pub(crate) const SCAFFOLD: &str = "Help that is printed besides";
pub(crate) const DRAWN_FROM: &str = "The key draws";
pub(crate) const PAGE: &str = "Page";
pub(crate) const ADD_PAGE: &str = "Add a page";
pub(crate) const REMOVE_PAGE: &str = "Remove this page";
pub(crate) const PAPER_TITLE: &str = "Paper and time";
pub(crate) const PAPER: &str = "Paper";
pub(crate) const ORIENTATION: &str = "Long side";
pub(crate) const BEATS: &str = "Beats";
pub(crate) const SPELLING: &str = "On paper the electrocardiogram is called";
pub(crate) const SCALE: &str = "Millimetres a second";
pub(crate) const FORMS_TITLE: &str = "Forms and their hearts";
pub(crate) const FORMS: &str = "Parallel forms";
pub(crate) const SEED: &str = "Seed: another number, other values";
pub(crate) const CONDITION: &str = "Condition";
pub(crate) const RHYTHM: &str = "Rhythm";
pub(crate) const USUAL: &str = "as usual";
pub(crate) const RANGES: &str = "From form to form between these; one number for all forms";
pub(crate) const FROM: &str = "from";
pub(crate) const TO: &str = "to";
pub(crate) const MORE_HEART: &str = "Everything else about the heart";
pub(crate) const HANDOUTS: &str = "Handouts";
pub(crate) const WORD_LIST: &str = "The figure to label comes with its answers, shuffled";
pub(crate) const QUESTIONS: &str = "Questions on every form";
pub(crate) const EACH: &str = "Points each";
pub(crate) const STRIPS: &str = "ECG strips";
pub(crate) const ADD_STRIP: &str = "Add a strip";
pub(crate) const REMOVE_STRIP: &str = "Remove this strip";
pub(crate) const RATE: &str = "Beats a minute";

pub(crate) const BESIDE: &str = "Beside the test";
pub(crate) const PREVIEW: &str = "As it will be printed";
pub(crate) const DOCUMENT: &str = "Pages of";
pub(crate) const FORM: &str = "Form";
pub(crate) const ALL_FORMS: &str = "all";
pub(crate) const SIZE: &str = "Shown";
pub(crate) const WIDTH: &str = "fitted";
pub(crate) const TRUE_SIZE: &str = "at true size";
pub(crate) const IN_FORCE_SHOWN: &str =
    "The text has faults. These are the pages of the last one without.";
pub(crate) const NOTHING_YET: &str = "There is nothing to print yet: mend the faults first.";
pub(crate) const CANNOT_PRINT: &str = "It cannot be printed as it is:";

pub(crate) const PRINT: &str = "Print it";
pub(crate) const FOR_CLASS: &str = "a named sheet for each student of the class list";
pub(crate) const NO_CLASS: &str = "There is no class list, so that one master of each form is printed, to be copied. Choose a class list on the page of all tests.";
pub(crate) const SPARE: &str = "Spare sheets without a name";
pub(crate) const EACH_PDF: &str = "besides, a PDF for each sheet";
pub(crate) const LARGE: &str = "in large print";
pub(crate) const MAKE: &str = "Make the PDFs";
pub(crate) const MAKING: &str = "The PDFs are being made.";
pub(crate) const MADE: &str =
    "The PDFs are made. Open one to print it: at full size, not fitted to the page.";
pub(crate) const FILES: &str = "Printed";
pub(crate) const MASTERS: &str = "Masters to be copied";
pub(crate) const NOT_PRINTED: &str = "Nothing is printed yet.";
pub(crate) const DOWNLOAD: &str = "keep a copy";
pub(crate) const NOW: &str = "of the test as it is now";
pub(crate) const BEFORE: &str = "of an earlier text";
pub(crate) const IN_LARGE: &str = "large print";
pub(crate) const PER_STUDENT: &str = "One PDF for each sheet";

pub(crate) const ROSTER: &str = "Class list";
pub(crate) const NO_ROSTER: &str = "There is no class list. Without one, a master of each form is printed, and students write their names.";
pub(crate) const CHOOSE: &str = "Choose a class list";
pub(crate) const DROP: &str = "or drop it here: a CSV file, as any spreadsheet or gradebook writes it, with a header line that has name, or first name and last name, and if you like id.";
pub(crate) const UNDERSTOOD: &str = "What was understood";
pub(crate) const HEADER: &str = "Column";
pub(crate) const TAKEN_FOR: &str = "is taken for";
pub(crate) const NOT_USED: &str = "not used";
pub(crate) const NAME: &str = "Name";
pub(crate) const FIRST_NAME: &str = "First name";
pub(crate) const LAST_NAME: &str = "Last name";
pub(crate) const ID: &str = "Id";
pub(crate) const LEFT_OUT_LINES: &str = "Lines that are left out";
pub(crate) const ALIKE: &str =
    "Nobody could tell these apart when marks are entered. Mend the list, and choose it again:";
pub(crate) const NO_LETTERS: &str =
    "Names with letters that cannot be printed; on their sheets the name line stays empty:";
pub(crate) const TAKE: &str = "Take this as the class list";
pub(crate) const LEAVE: &str = "Leave it";
pub(crate) const UNDO_ROSTER: &str = "Put the earlier list back";
pub(crate) const REMOVE_ROSTER: &str = "Remove the list";
pub(crate) const SEE_ROSTER: &str = "See it";
pub(crate) const UNREADABLE_ROSTER: &str = "The class list cannot be read: ";

/// Keys that do something here.
pub(crate) const KEYS: &[(&str, &str)] =
    &[("Ctrl + Z", "undo, when you are not typing in a field"), ("Ctrl + Shift + Z", "redo")];

pub(crate) fn scaffold(name: &str) -> &str {
    match name {
        "everything" => "everything is drawn",
        "lines" => "printed traces and alignment lines",
        "given" => "printed traces, baselines elsewhere",
        "baselines" => "baselines alone",
        "blank" => "nothing",
        other => other,
    }
}

pub(crate) fn paper(name: &str) -> &str {
    match name {
        "letter" => "Letter",
        "a4" => "A4",
        "landscape" => "across",
        "portrait" => "upright",
        other => other,
    }
}

pub(crate) fn drawn_from(name: &str) -> &str {
    match name {
        "rules" => "what the rules ask for",
        "heart" => "the computed heart as it is",
        other => other,
    }
}

pub(crate) fn handout(name: &str) -> &str {
    match name {
        "model_copy" => "model copy at true scale",
        "steps" => "step by step",
        "labelled" => "labelled figure",
        "cloze" => "figure to label, with key",
        "raised_line" => "raised lines and braille, for swell paper",
        other => other,
    }
}

pub(crate) fn question(name: &str) -> &str {
    match name {
        "order" => "put in order",
        "first" => "which comes first",
        "between" => "what comes between",
        "open" => "which valves are open",
        "calculate" => "calculate",
        "predict" => "predict a change",
        other => other,
    }
}

pub(crate) fn copy_of(title: &str) -> String {
    format!("{title} (copy)")
}

pub(crate) fn students(count: usize) -> String {
    if count == 1 { "1 student".to_owned() } else { format!("{count} students") }
}

pub(crate) fn sheets(count: usize) -> String {
    if count == 1 { "1 sheet".to_owned() } else { format!("{count} sheets") }
}

pub(crate) fn page_of(number: usize, count: usize, title: &str) -> String {
    let of = format!("Page {number} of {count}");
    if title.is_empty() { of } else { format!("{of}: {title}") }
}

pub(crate) fn line(line: u64, why: &str) -> String {
    format!("line {line}: {why}")
}

pub(crate) fn read_as(encoding: &str, separator: char, students: usize) -> String {
    let separator = match separator {
        '\t' => "tabulators",
        ';' => "semicolons",
        _ => "commas",
    };
    format!("{}, from a table with {separator}, read as {encoding}.", self::students(students))
}
