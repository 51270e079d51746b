//! What is told of a run.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use convention::Convention;

use crate::mark::class::Class;
use crate::mark::inputs::Inputs;
use crate::mark::reading::FIRST_COPY;
use crate::mark::results::{PageStatus, Status, rounded};
use crate::mark::sheets::Change;

/// Rules that are missed most, so many.
const MISSED: usize = 3;
/// What else lies in folders is named, so much of it.
const SHOWN: usize = 3;
/// Students that are named whose marks would change, at most.
const NAMED: usize = 20;

/// A whole run.
pub(crate) struct Told<'a> {
    pub(crate) class: &'a Class,
    pub(crate) inputs: &'a Inputs,
    pub(crate) convention: &'a Convention,
    pub(crate) changes: &'a [Change],
    pub(crate) accepted: bool,
    /// Decisions that were taken in.
    pub(crate) decided: Option<usize>,
    /// Questions that are open.
    pub(crate) questions: usize,
    /// Names of the files that were written.
    pub(crate) files: &'a [&'a str],
    pub(crate) folder: &'a Path,
    /// The command to type next, as far as the options.
    pub(crate) command: &'a str,
}

impl Told<'_> {
    pub(crate) fn text(&self) -> String {
        let mut text = format!("{}\n\n", self.class.title);
        self.pages(&mut text);
        self.sheets(&mut text);
        self.missed(&mut text);
        self.changed(&mut text);
        let _ = writeln!(text, "\nwritten to {}: {}", self.folder.display(), self.files.join(", "));
        self.next(&mut text);
        text
    }

    fn pages(&self, text: &mut String) {
        if self.inputs.files.is_empty() && self.inputs.ignored.is_empty() {
            return;
        }
        let count = |status| self.class.pages.iter().filter(|page| page.status == status).count();
        let (read, duplicates, unreadable) =
            (count(PageStatus::Read), count(PageStatus::Duplicate), count(PageStatus::Unreadable));
        let total = self.class.pages.len();
        let aside = match count(PageStatus::Aside) {
            0 => String::new(),
            aside => format!(", set aside {aside}"),
        };
        let _ = writeln!(
            text,
            "pages    {total:>5}   read {read}, duplicates {duplicates}, unreadable {unreadable}{aside}"
        );
        let ignored = &self.inputs.ignored;
        if !ignored.is_empty() {
            let mut names = ignored[..ignored.len().min(SHOWN)].join(", ");
            if ignored.len() > SHOWN {
                let _ = write!(names, " and {} more", ignored.len() - SHOWN);
            }
            let _ = writeln!(
                text,
                "  {} in the folders passed over: {names} (no PDF, JPEG, PNG or TIFF)",
                counted(ignored.len(), "other entry", "other entries")
            );
        }
        for page in self.class.pages.iter().filter(|page| page.status != PageStatus::Read) {
            let what = page.status.text();
            let reason = page.reason.as_deref().unwrap_or_default();
            let _ = writeln!(text, "  {what:<10}  {}, page {}: {reason}", page.file, page.page);
        }
    }

    fn sheets(&self, text: &mut String) {
        let all: Vec<_> = self.class.handed_in().collect();
        let count = |wanted| all.iter().filter(|(_, status)| *status == wanted).count();
        let _ = writeln!(
            text,
            "sheets   {:>5}   marked {}, with open questions {}, unreadable {}",
            all.len(),
            count(Status::Marked),
            count(Status::Review),
            count(Status::Unreadable)
        );
        let missing = self
            .class
            .records
            .iter()
            .filter(|record| record.student.is_some() && record.status().is_none())
            .count();
        if missing > 0 {
            let _ = writeln!(
                text,
                "  {} on the list handed in no sheet",
                counted(missing, "student", "students")
            );
        }
        let copies = all.iter().filter(|(record, _)| record.sheet >= FIRST_COPY).count();
        if copies > 0 {
            let _ = writeln!(
                text,
                "  {} of a master, whose number names nobody: numbered from {FIRST_COPY} in the order of reading; the name stands on the sheet",
                counted(copies, "copy", "copies")
            );
        }
        let unknown: BTreeSet<u32> = all
            .iter()
            .filter(|(record, _)| record.student.is_none() && record.sheet < FIRST_COPY)
            .map(|(record, _)| record.sheet)
            .collect();
        if !unknown.is_empty() {
            let _ = writeln!(
                text,
                "  nobody is known for sheet {}; --sheets sheets.csv says whose they are",
                ranges(&unknown)
            );
        }
        for (record, _) in &all {
            let reasons = record.missing_pages();
            if !reasons.is_empty() {
                let _ = writeln!(text, "  sheet {}: {}", record.sheet, reasons.join(", "));
            }
        }
        self.points(text);
    }

    fn points(&self, text: &mut String) {
        let marks = self.class.records.iter().filter_map(|record| record.marks());
        let points: Vec<[f64; 3]> =
            marks.map(|marks| [marks.points(), marks.max_points(), marks.open_points()]).collect();
        if points.is_empty() {
            return;
        }
        let mean = points.iter().map(|one| one[0]).sum::<f64>() / points.len() as f64;
        let least = points.iter().map(|one| one[0]).fold(f64::INFINITY, f64::min);
        let best = points.iter().map(|one| one[0]).fold(0.0, f64::max);
        let most = points.iter().map(|one| one[1]).fold(0.0, f64::max);
        let open: f64 = points.iter().map(|one| one[2]).sum();
        let _ = write!(
            text,
            "points           mean {:.1}, from {} to {}, of {}",
            mean,
            rounded(least),
            rounded(best),
            rounded(most)
        );
        let still = if open > 0.0 {
            format!("; {} more points are open in all", rounded(open))
        } else {
            String::new()
        };
        let _ = writeln!(text, "{still}");
    }

    fn missed(&self, text: &mut String) {
        let missed = self.class.missed();
        if missed.is_empty() {
            return;
        }
        let _ = writeln!(text, "\nmissed most");
        let width = missed.iter().take(MISSED).map(|(id, ..)| id.len()).max().unwrap_or(0);
        for (id, count, of) in missed.into_iter().take(MISSED) {
            let rule = self.convention.rules.iter().find(|rule| rule.id == id);
            let words = rule.map_or("", |rule| rule.text.as_str());
            let _ = writeln!(text, "  {count:>3} of {of:<3}  {id:<width$}  {words}");
        }
    }

    fn changed(&self, text: &mut String) {
        if self.changes.is_empty() {
            return;
        }
        let many = self.changes.len();
        let sheets = counted(many, "sheet", "sheets");
        if self.accepted {
            let _ = writeln!(text, "\nother marks than before, and accepted: {sheets}");
        } else {
            let _ =
                writeln!(text, "\nthe rules have changed; by them {sheets} would get other marks");
        }
        for change in self.changes.iter().take(NAMED) {
            let _ = writeln!(
                text,
                "  sheet {:<5}  {} → {}  ({})",
                change.sheet,
                said(change.before),
                said(change.after),
                change.rules.join(", ")
            );
        }
        if many > NAMED {
            let _ = writeln!(text, "  and {} more", many - NAMED);
        }
        if !self.accepted {
            let _ = writeln!(
                text,
                "  The earlier marks stand, here and in the files. To accept the new ones: {} --accept",
                self.command
            );
        }
    }

    fn next(&self, text: &mut String) {
        if let Some(decided) = self.decided {
            let _ =
                writeln!(text, "{} taken in", counted(decided, "new decision", "new decisions"));
        }
        if self.questions > 0 {
            let folder = self.folder.display();
            let _ = writeln!(
                text,
                "\n{} for you: look at the pictures in {folder}/review, fill in the column “decision” of {folder}/review.csv\n\
                 (met, half, not met, a number of points, waive, worth N), and run\n  {} --decisions {} --who \"Your name\"",
                counted(self.questions, "question", "questions"),
                self.command,
                quoted(&self.folder.join("review.csv").to_string_lossy())
            );
        }
    }
}

/// Points, the most of them, and how many are open.
fn said(points: [f64; 3]) -> String {
    let [points, most, open] = points.map(rounded);
    let open = if open > 0.0 { format!(" and {open} open") } else { String::new() };
    format!("{points} of {most}{open}")
}

/// A number with its noun.
fn counted(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

/// A word as it can be typed in a shell.
pub(crate) fn quoted(word: &str) -> String {
    let plain = |one: char| one.is_alphanumeric() || "/\\._-:".contains(one);
    if word.chars().all(plain) && !word.is_empty() {
        word.to_owned()
    } else {
        format!("\"{word}\"")
    }
}

/// Numbers in words, those that follow one another as “from–to”.
fn ranges(numbers: &BTreeSet<u32>) -> String {
    let numbers: Vec<u32> = numbers.iter().copied().collect();
    let said = numbers.chunk_by(|one, next| one + 1 == *next).map(|run| match run {
        [first, _, .., last] => format!("{first}–{last}"),
        few => few.iter().map(u32::to_string).collect::<Vec<_>>().join(", "),
    });
    said.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_follow_one_another_are_said_together() {
        let said = |numbers: &[u32]| ranges(&numbers.iter().copied().collect());
        assert_eq!(said(&[4]), "4");
        assert_eq!(said(&[1, 2, 5, 6, 7, 9]), "1, 2, 5–7, 9");
    }
}
