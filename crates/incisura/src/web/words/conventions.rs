//! The room of the conventions: reading, copying and editing rules.

pub(crate) const TITLE: &str = "Conventions";
pub(crate) const SKIP: &str = "Skip to the rules";
pub(crate) const ABOUT: &str = "A convention is the list of rules by which your class draws the cycle. Teachers differ in them, and so do textbooks; these are yours to change.";
pub(crate) const IN_COURSE: &str = "In this course";
pub(crate) const SHIPPED: &str = "That come with the program";
pub(crate) const SHIPPED_ABOUT: &str =
    "These stay as they are. Copy one into the course to change it.";
pub(crate) const NONE: &str = "This course has no convention of its own yet.";
pub(crate) const NONE_NEXT: &str = "Read those below, and copy the one that is nearest to how you teach. The copy is yours: change its rules and their words as you like.";
pub(crate) const SIMPLIFIES: &str = "What it simplifies";
pub(crate) const EDIT: &str = "Edit";
pub(crate) const READ: &str = "Read";
pub(crate) const COPY: &str = "Copy";
pub(crate) const COPY_INTO: &str = "Copy into the course";
pub(crate) const COPY_NAME: &str = "The copy is called";
pub(crate) const REMOVE: &str = "Remove";
pub(crate) const BOARD: &str = "Build it on the board";
pub(crate) const REMOVED: &str = "Removed";
pub(crate) const BRING_BACK: &str = "Bring back";
pub(crate) const HAS_FAULTS: &str = "has faults";
pub(crate) const ALL: &str = "All conventions";
pub(crate) const NO_SUCH: &str = "there is no such convention; choose one from the list";

pub(crate) const FORMS: &str = "Forms";
pub(crate) const TEXT: &str = "Text";
pub(crate) const AS: &str = "Edit as";
pub(crate) const UNDO: &str = "Undo";
pub(crate) const REDO: &str = "Redo";
pub(crate) const THE_TEXT: &str = "The convention as text";
pub(crate) const TEXT_HELP: &str =
    "Every line may be changed. Comments begin with #. Faults are told below with their line.";
pub(crate) const CANNOT_READ: &str = "The text cannot be read as it is, so that there are no forms to show. Mend the fault in the text; the last text without faults stays in force meanwhile.";
pub(crate) const IN_BRACES: &str = "The rules of this file are not written as [[rules]], each with its own lines, so that there are no forms for them. Change them in the text.";

pub(crate) const WHOLE: &str = "The convention as a whole";
pub(crate) const C_TITLE: &str = "Title";
pub(crate) const C_ABOUT: &str = "What it is for";
pub(crate) const C_SIMPLIFIES: &str =
    "What it simplifies, in a sentence that you can say to a class";
pub(crate) const PANELS: &str = "Panels, from top to bottom";
pub(crate) const NOT_DRAWN: &str = "not drawn";
pub(crate) const BARS: &str = "Valves below the panels";
pub(crate) const SCALE: &str = "Time scale on paper, mm a second";
pub(crate) const TOLERANCES: &str = "Tolerances";
pub(crate) const TOLERANCES_ALL: &str = "Tolerances of all rules that have none of their own";
pub(crate) const TOLERANCE_MM: &str = "on paper, mm";
pub(crate) const HALF_MM: &str = "half the points, mm";
pub(crate) const TOLERANCE_MS: &str = "in measured hearts, ms";
pub(crate) const TOLERANCE_PERCENT: &str = "heights there, % of the trace";
pub(crate) const MORE: &str = "Panels, valves, time scale, tolerances and marking";
pub(crate) const MARKING: &str = "Marking";
pub(crate) const REFERENCE_MISSING: &str =
    "A rule that measures by something the student did not draw";
/// What may become of such a rule, with the file's word for it.
pub(crate) const REFERENCES: [(&str, &str); 3] = [
    ("ask", "is asked about each time"),
    ("not_met", "is not met"),
    ("does_not_count", "does not count"),
];
pub(crate) const CAPS: &str =
    "Caps: what rules that share one earn together at most, by the cap's name";
pub(crate) const TIES: &str = "Other rules";
pub(crate) const DEPENDS_ON: &str =
    "Earns nothing unless these are met (short names of rules above, with commas)";
pub(crate) const CAP: &str = "Shares the cap called";

pub(crate) const RULES: &str = "Rules";
pub(crate) const ID: &str = "Short name";
pub(crate) const KIND: &str = "Kind";
pub(crate) const POINTS: &str = "Points";
pub(crate) const WHAT_STUDENTS_READ: &str = "What the student reads";
pub(crate) const CAUSE: &str = "Why it holds";
pub(crate) const LANDMARK: &str = "Landmark";
pub(crate) const RELATION: &str = "is";
pub(crate) const OF: &str = "this";
pub(crate) const AND: &str = "and this";
pub(crate) const LEAST: &str = "by at least";
pub(crate) const MOST: &str = "by at most";
pub(crate) const SHARE_LEAST: &str = "least share of the way";
pub(crate) const SHARE_MOST: &str = "most share of the way";
pub(crate) const UNIT: &str = "Unit";
pub(crate) const MM_ON_PAPER: &str = "mm on paper";
pub(crate) const AIM: &str = "the figure draws it at";
pub(crate) const CHANNEL: &str = "Trace";
pub(crate) const AT: &str = "at the time of";
pub(crate) const LEVEL: &str = "is at the level of";
pub(crate) const BASELINE: &str = "the baseline";
pub(crate) const FROM: &str = "From";
pub(crate) const TO: &str = "to";
pub(crate) const SHAPE: &str = "the trace is";
pub(crate) const LABEL: &str = "Words that are accepted, with commas between";
pub(crate) const ADD: &str = "Add a rule";
pub(crate) const ADD_AFTER: &str = "Add a rule after this";
pub(crate) const UP: &str = "Move up";
pub(crate) const DOWN: &str = "Move down";
pub(crate) const REMOVE_RULE: &str = "Remove this rule";
pub(crate) const EVENTS: &str = "Events, on no trace";
pub(crate) const FIRST_OF_PANELS: &str = "as the panels have it";

pub(crate) const CONSISTENCY: &str = "Do the rules agree?";
pub(crate) const ALL_HOLD: &str = "They can all hold.";
pub(crate) const CANNOT_HOLD: &str = "They cannot all hold.";
pub(crate) const LOOSEN: &str = "Drop or loosen any one of these:";
pub(crate) const HEIGHTS: &str = "These heights contradict one another:";
pub(crate) const NOT_ON_ECG: &str = "They agree, but not on the ECG of the heart chosen:";
pub(crate) const OUTSIDE: &str =
    "what has been measured. Simplifying is your right; it helps to say so to the class.";
pub(crate) const OUTSIDE_HERE: &str = "Outside the measured range.";
pub(crate) const FIGURE: &str = "Figure";
pub(crate) const COMPARISON: &str = "Compared";
pub(crate) const BUILD: &str = "Build";
pub(crate) const SHOW: &str = "Beside the rules";
pub(crate) const AGAINST: &str = "Heart compared with";
pub(crate) const NO_FIGURE: &str = "There is no figure: ";
pub(crate) const NO_FIGURE_YET: &str = "The figure comes back when the rules agree again.";
pub(crate) const IN_FORCE_SHOWN: &str =
    "The text has faults. What is shown here belongs to the last one without, which is in force.";
pub(crate) const NOTHING_IN_FORCE: &str =
    "The text has faults, so that there is nothing to show yet.";
pub(crate) const NO_BUILD: &str = "There is no build: ";
pub(crate) const COMPARED_CAPTION: &str =
    "Each rule beside the computed heart and what has been measured";
pub(crate) const RULE: &str = "Rule";
pub(crate) const COMPUTED: &str = "Computed heart";
pub(crate) const MEASURED: &str = "Published measurement";
pub(crate) const NOTHING_PUBLISHED: &str = "nothing found";
pub(crate) const DIFFERS: &str = "≠ differs";
pub(crate) const AGREES: &str = "= agrees";
pub(crate) const CANNOT_SAY: &str = "? cannot say";
pub(crate) const SOURCES: &str = "Sources";
pub(crate) const ADDED_UP: &str = "added up from several measurements";
pub(crate) const OUT_OF_STEP: &str = "the rule leaves this";

/// Keys that do something here.
pub(crate) const KEYS: &[(&str, &str)] = &[
    ("Ctrl + Z", "undo, when you are not typing in a field"),
    ("Ctrl + Shift + Z", "redo"),
    ("Alt + ↑ ↓", "move the rule in which you are"),
];

/// How a kind of rule is called.
pub(crate) fn kind(kind: &str) -> &str {
    match kind {
        "presence" => "it is there",
        "timing" => "when it is",
        "height" => "how high it is",
        "level" => "a trace is at a level",
        "shape" => "how a trace runs",
        "label" => "what is written there",
        other => other,
    }
}

/// How a relation is called.
pub(crate) fn relation(relation: &str) -> &str {
    match relation {
        "with" => "at the time of",
        "level_with" => "as high as",
        other => other,
    }
}

pub(crate) fn count(rules: usize, points: f64) -> String {
    let rules = if rules == 1 { "1 rule".to_owned() } else { format!("{rules} rules") };
    let points = if points == 1.0 { "1 point".to_owned() } else { format!("{points} points") };
    format!("{rules}, {points}")
}

/// The text of a new rule about a landmark.
pub(crate) fn new_rule(title: &str) -> String {
    if title.is_empty() {
        "Say here what is to be drawn.".to_owned()
    } else {
        format!("The {title} is drawn.")
    }
}

pub(crate) fn copy_of(title: &str) -> String {
    format!("{title} (copy)")
}

pub(crate) fn used_by(tests: &[String]) -> String {
    format!("used by {}", tests.join(", "))
}

pub(crate) fn outside(count: usize) -> String {
    if count == 1 { "1 rule leaves".to_owned() } else { format!("{count} rules leave") }
}

pub(crate) fn drawn_at(rates: &[u16], all: usize) -> String {
    let list = || rates.iter().map(u16::to_string).collect::<Vec<_>>().join(", ");
    match (rates.first(), rates.last()) {
        (Some(low), Some(high)) if rates.len() == all => {
            format!("A figure can be drawn at every rate from {low} to {high} a minute.")
        }
        (Some(_), Some(_)) => format!("A figure can only be drawn at {} beats a minute.", list()),
        _ => String::new(),
    }
}

pub(crate) fn count_points(points: f64) -> String {
    if points == 1.0 { "1 point".to_owned() } else { format!("{points} points") }
}

/// A rule in short: its name, kind and points.
pub(crate) fn about_rule(id: &str, kind: &str, points: &str) -> String {
    let points = if points == "1" { "1 point".to_owned() } else { format!("{points} points") };
    format!("{id} · {kind} · {points}")
}
