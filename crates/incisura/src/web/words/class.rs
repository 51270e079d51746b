//! The room of the class.

use super::marking::{counted, number};

pub(crate) const TITLE: &str = "Class";
pub(crate) const SKIP: &str = "Skip to what was missed";
pub(crate) const EMPTY: &str = "Nothing has been marked for this test yet.";
pub(crate) const EMPTY_NEXT: &str = "Read and mark the class's drawings; then you see here what the class as a whole misunderstands.";
pub(crate) const TO_MARKING: &str = "To the marking";
pub(crate) const MISSED: &str = "What was missed most";
pub(crate) const NOTHING_MISSED: &str = "Nothing: every rule that is settled is met.";
pub(crate) const PICTURE: &str = "All drawings over the key";
pub(crate) const PICTURE_ABOUT: &str = "The drawings are thin and grey, the key is thick. Each drawing is moved so that its anchor, such as the R peak, lies on the key's.";
pub(crate) const LANDMARKS: &str = "Where the class put each landmark";
pub(crate) const LANDMARKS_ABOUT: &str = "One dot for each sheet: how much later than in the key, counted from the student's own anchor. The thick line is the middle half of the class, with the median; the shaded band is what the rule accepts.";
pub(crate) const POINTS: &str = "How much was earned";
pub(crate) const RULES: &str = "The rules one by one";
pub(crate) const RULES_ABOUT: &str = "Difficulty is the mean share of a rule's points: 1 where everyone earned them all. Discrimination is the correlation of that share with what was earned by all other rules: near 0 or below, the rule does not tell those who know the rest from those who do not.";
pub(crate) const RULE: &str = "Rule";
pub(crate) const SHEETS: &str = "Sheets";
pub(crate) const MET: &str = "Met";
pub(crate) const NOT_MET: &str = "Not met";
pub(crate) const OPEN: &str = "Open";
pub(crate) const DIFFICULTY: &str = "Difficulty";
pub(crate) const DISCRIMINATION: &str = "Discrimination";
pub(crate) const FORM: &str = "Form";
pub(crate) const PAGE: &str = "page";
pub(crate) const EXPORT: &str = "To keep";
pub(crate) const AS_PDF: &str = "Class picture (PDF)";
pub(crate) const AS_SVG: &str = "This picture (SVG)";
pub(crate) const AS_CSV: &str = "Rules and counts (CSV)";
pub(crate) const DOTS_SVG: &str = "These distributions (SVG)";
pub(crate) const CLOSE: &str = "Back to the whole class";
pub(crate) const CAUSE: &str = "Why it holds";
pub(crate) const EXAMPLES: &str = "For example";
pub(crate) const EXAMPLES_ABOUT: &str =
    "Drawings that miss it, without names; triangles point to where the landmarks were found.";
pub(crate) const NO_EXAMPLES: &str = "There is no picture to show.";
pub(crate) const TO_BOARD: &str = "Show this step on the board";
pub(crate) const MAKE_PRACTICE: &str = "Make a practice sheet";
pub(crate) const PRACTICE_ABOUT: &str = "The sheet has every trace printed but those that this rule is about, and is kept as a test of its own in the course's folder.";
pub(crate) const NO_PRACTICE: &str = "what this rule is about lies on no panel of the test";
pub(crate) const PRACTICE: &str = "Practice";

pub(crate) fn missed_of(missed: usize, of: usize) -> String {
    format!("missed by {missed} of {of}")
}

pub(crate) fn drawings(count: usize) -> String {
    counted(count, "drawing", "drawings")
}

/// How many miss a rule without a measurement, and why.
pub(crate) fn unmeasured(count: usize, why: &str) -> String {
    format!("{}: {why}", drawings(count))
}

/// How an example misses a rule.
pub(crate) fn off(mm: f64, way: &str) -> String {
    format!("{} mm {way}", number(mm.abs()))
}
