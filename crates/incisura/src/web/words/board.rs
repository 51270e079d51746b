//! The room of the board.

use convention::{Convention, Says, Step};
use cycle::Subject;

pub(crate) const TITLE: &str = "Board";
pub(crate) const SKIP: &str = "Skip to the step";
pub(crate) const SKIP_TO_CONVENTIONS: &str = "Skip to the conventions";
pub(crate) const INTRO: &str = "Build the figure of a convention before the class, one step at a time, by keyboard. \
    Everything is large enough for the last row.";
pub(crate) const CONVENTION: &str = "Convention";
pub(crate) const RATE: &str = "Heart rate, beats a minute";
pub(crate) const BEGIN: &str = "Begin the build";
pub(crate) const KEYS_TITLE: &str = "Keys on the board";
pub(crate) const NO_FIGURE: &str = "These rules make no figure yet";
pub(crate) const NOTHING_DRAWN: &str = "nothing in these rules can be drawn";
pub(crate) const MEND: &str = "Look at the rules under Conventions";
pub(crate) const STEPS: &str = "Steps";
pub(crate) const STAGE: &str = "The board";
pub(crate) const FIGURE: &str = "Figure so far";
pub(crate) const WHY: &str = "Why: ";
pub(crate) const JUMP: &str = "Step number, then Enter:";
pub(crate) const NO_STEP: &str = "there is no step";

/// The buttons: identifier, what it says, its key.
pub(crate) const BUTTONS: &[(&str, &str, &str)] = &[
    ("back", "Back", "←"),
    ("next", "Next", "→"),
    ("cause", "Cause", "C"),
    ("ask", "Ask first", "A"),
    ("labels", "Hide labels", "H"),
    ("ground", "White on black", "B"),
    ("list", "Steps", "L"),
    ("leave", "Leave", "Esc"),
    ("hide", "Hide buttons", "K"),
];
pub(crate) const SHOW_BUTTONS: &str = "Show buttons";

pub(crate) const KEYS: &[(&str, &str)] = &[
    ("→ Space PageDown", "next step; with “ask first”, the answer"),
    ("← PageUp", "back"),
    ("C", "the cause, shown or hidden"),
    ("A", "ask first: the question, then the step"),
    ("H", "labels hidden or shown"),
    ("B", "white on black, or black on white"),
    ("number, Enter", "to the step of that number"),
    ("L", "the list of steps"),
    ("Home, End", "the first step, the last"),
    ("K", "buttons hidden or shown"),
    ("Esc", "leave the board"),
];

/// Long names, and what stands for them on the board: about a large figure there is little room.
pub(crate) const SHORT: [(&str, &str); 7] = [
    ("the first heart sound", "S1"),
    ("the second heart sound", "S2"),
    ("the third heart sound", "S3"),
    ("the fourth heart sound", "S4"),
    ("the P wave", "P"),
    ("the QRS complex", "QRS"),
    ("the T wave", "T"),
];

pub(crate) fn no_rate(typed: &str) -> String {
    format!("“{typed}” is not a number, like 60 or 75")
}

/// Such as "Step 5 of 9".
pub(crate) fn step_of(number: usize, of: usize) -> String {
    format!("Step {number} of {of}")
}

pub(crate) fn no_such_rule(rule: &str) -> String {
    format!("No step of this build carries out a rule called “{rule}”; this is the first step.")
}

pub(crate) fn no_such_step(asked: &str, of: usize) -> String {
    format!("There is no step “{asked}”; the build has {of}. This is the first.")
}

/// What the class is asked before a step is shown: never what its answer is.
pub(crate) fn question(step: &Step, convention: &Convention, subject: &Subject) -> String {
    let title = &step.title;
    let of_kind = |is: fn(&Says) -> bool| {
        let mut rules = step.rules.iter().filter_map(|id| convention.rule(id));
        rules.any(|rule| is(&rule.says))
    };
    let channel = step.draw.first().and_then(|point| point.channel.as_deref());
    let channel = channel.and_then(|id| subject.channel(id));
    if channel.is_some_and(|kind| kind.id == subject.reference_channel) {
        let label = channel.map_or("", |kind| kind.label.as_str());
        return format!(
            "What comes next on the {label}, what does it look like, and why is it there?"
        );
    }
    if of_kind(|says| matches!(says, Says::Timing { .. })) {
        return match channel {
            Some(_) => format!("Where does the {title} go, and why?"),
            None => format!("When: “{title}”? And why then?"),
        };
    }
    if of_kind(|says| matches!(says, Says::Height { .. } | Says::Level { .. })) {
        return format!("How high is the {title}, and why?");
    }
    if of_kind(|says| matches!(says, Says::Shape { .. })) {
        return format!("How does the trace run to the {title}, and why?");
    }
    format!("What comes next, where, and why: the {title}?")
}
