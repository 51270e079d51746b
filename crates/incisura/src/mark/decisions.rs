//! What a person decided, from a filled-in `review.csv`.

use std::collections::BTreeMap;
use std::path::Path;

use course::{By, Course, MarkingId, Outcome, Ruling, What};

use crate::failure::Failure;
use crate::mark::clock;
use crate::{files, progress, roster};

/// What a decision can be, for messages.
const WORDS: &str = "met, half, not met, a number of points, waive, or worth and a number";

/// A filled-in row.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    line: u64,
    /// The print; none where the file does not say.
    test: Option<String>,
    sheet: u32,
    rule: String,
    ruling: Ruling,
    why: String,
}

/// The filled-in rows of a file; everything that is wrong is told at once.
pub(crate) fn read(path: &Path) -> Result<Vec<Row>, Failure> {
    rows(&files::read(path)?).map_err(|what| Failure::file(path, what))
}

fn rows(text: &str) -> Result<Vec<Row>, String> {
    let mut reader = roster::table(text);
    let headers = reader.headers().map_err(|error| error.to_string())?.clone();
    let column = |name: &str| headers.iter().position(|header| header.to_lowercase() == name);
    let (Some(sheet), Some(rule), Some(decision)) =
        (column("sheet"), column("rule"), column("decision"))
    else {
        return Err(
            "the columns sheet, rule and decision are not all there; take a review.csv as the program wrote it and fill in “decision” and “why”".to_owned()
        );
    };
    let (why, test) = (column("why"), column("test"));
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let field = |column: usize| record.get(column).unwrap_or_default();
        let line = record.position().map_or(0, csv::Position::line);
        let typed = field(decision);
        if typed.is_empty() {
            continue;
        }
        let Ok(number) = field(sheet).parse() else {
            faults.push(format!("line {line}: “{}” is no number of a sheet", field(sheet)));
            continue;
        };
        let Some(ruling) = ruling(typed) else {
            faults.push(format!("line {line}: “{typed}” is no decision; it is {WORDS}"));
            continue;
        };
        let why = why.map(field).unwrap_or_default();
        if is_for_one(ruling) && why.is_empty() {
            faults.push(format!(
                "line {line}: “{typed}” needs a reason in the column “why”, as it treats one student otherwise than the rest"
            ));
            continue;
        }
        let why = if why.is_empty() { USUAL_REASON } else { why };
        rows.push(Row {
            line,
            test: test.map(field).filter(|test| !test.is_empty()).map(str::to_owned),
            sheet: number,
            rule: field(rule).to_owned(),
            ruling,
            why: why.to_owned(),
        });
    }
    if faults.is_empty() { Ok(rows) } else { Err(faults.join("\n")) }
}

/// Whether a file of questions has decisions in it.
pub(crate) fn is_filled_in(text: &str) -> bool {
    let mut reader = roster::table(text);
    let Ok(headers) = reader.headers().cloned() else { return false };
    let Some(column) = headers.iter().position(|header| header.to_lowercase() == "decision") else {
        return false;
    };
    reader.records().flatten().any(|row| row.get(column).is_some_and(|text| !text.is_empty()))
}

/// A decision as a person typed or chose it.
///
/// # Errors
/// In words, where it is none or lacks its reason, or gives more than `most` points.
pub(crate) fn decided(typed: &str, why: &str, most: f64) -> Result<Ruling, String> {
    let ruling = ruling(typed).ok_or_else(|| format!("“{typed}” is no decision; it is {WORDS}"))?;
    if is_for_one(ruling) && why.is_empty() {
        return Err(format!(
            "“{typed}” needs a reason, as it treats one student otherwise than the rest"
        ));
    }
    match ruling {
        Ruling::Points(points) if points > most => {
            Err(format!("{} that this is worth; {MORE}", too_many(points, most)))
        }
        _ => Ok(ruling),
    }
}

/// What to do where somebody is to have more points.
const MORE: &str = "decide first that it is worth more for this student";

fn too_many(points: f64, most: f64) -> String {
    format!("{points} points are more than the {most}")
}

/// Whether a decision treats one student otherwise than the rest.
fn is_for_one(ruling: Ruling) -> bool {
    matches!(ruling, Ruling::Waived | Ruling::Reweighted(_))
}

/// What is kept as the reason where a person gave none.
pub(crate) const USUAL_REASON: &str = "judged on the drawing";

fn ruling(typed: &str) -> Option<Ruling> {
    let words = typed.to_lowercase().replace('_', " ");
    let words: Vec<&str> = words.split_whitespace().collect();
    let number = |word: &str| {
        let number = word.replace(',', ".").parse::<f64>().ok();
        number.filter(|number| number.is_finite() && *number >= 0.0)
    };
    match words[..] {
        ["met"] => Some(Ruling::Outcome(Outcome::Met)),
        ["half"] => Some(Ruling::Outcome(Outcome::Half)),
        ["not", "met"] => Some(Ruling::Outcome(Outcome::NotMet)),
        ["waive"] => Some(Ruling::Waived),
        ["worth", points] => number(points).map(Ruling::Reweighted),
        [points] => number(points).map(Ruling::Points),
        _ => None,
    }
}

/// What may be decided about: for each print the rules of each sheet, with what they are worth.
pub(crate) trait Askable {
    /// What a rule on a sheet is worth at most by what was decided so far; none where it is not
    /// asked there.
    fn max_points(&self, test: &str, sheet: u32, rule: &str) -> Option<f64>;
}

/// Keeps the decisions of `rows`, all or none of which fit; gives how many are new. `usual` is
/// the print where a row does not say.
pub(crate) fn keep(
    rows: &[Row],
    path: &Path,
    who: &str,
    course: &Course,
    usual: &str,
    askable: &dyn Askable,
    seen: &dyn Fn(&str) -> Result<Option<MarkingId>, Failure>,
) -> Result<usize, Failure> {
    let print = |row: &Row| row.test.clone().unwrap_or_else(|| usual.to_owned());
    let what = |row: &Row| What::Rule { rule: row.rule.clone(), ruling: row.ruling };
    let is_known = |row: &Row| -> Result<bool, Failure> {
        let known = course.decisions(&print(row))?;
        Ok(known.iter().any(|one| one.sheet == row.sheet && one.what == what(row)))
    };
    let mut faults = Vec::new();
    // What earlier rows make of what a rule is worth, and where something else was decided.
    let mut worth = BTreeMap::new();
    let mut decided: BTreeMap<_, &Row> = BTreeMap::new();
    for row in rows {
        let of = (print(row), row.sheet, row.rule.as_str());
        let reweights = matches!(row.ruling, Ruling::Reweighted(_));
        if let Some(before) = decided.insert((of.clone(), reweights), row)
            && before.ruling != row.ruling
        {
            faults.push(format!(
                "line {}: “{}” on sheet {} is decided otherwise in line {}; keep one of the two",
                row.line, row.rule, row.sheet, before.line
            ));
        }
        let Some(most) = askable.max_points(&of.0, of.1, of.2) else {
            faults.push(format!(
                "line {}: sheet {} was not read, or “{}” is not asked on it",
                row.line, row.sheet, row.rule
            ));
            continue;
        };
        let most = worth.get(&of).copied().unwrap_or(most);
        match row.ruling {
            Ruling::Reweighted(points) => {
                worth.insert(of, points);
            }
            Ruling::Points(points) if points > most && !is_known(row)? => faults.push(format!(
                "line {}: {} that “{}” is worth; {MORE}",
                row.line,
                too_many(points, most),
                row.rule
            )),
            _ => {}
        }
    }
    if !faults.is_empty() {
        return Err(Failure::file(path, faults.join("\n")));
    }
    let new = |row: &Row| -> Result<bool, Failure> {
        if is_known(row)? {
            return Ok(false);
        }
        let (test, by) = (print(row), By::new(who, clock::now(), &row.why));
        course.decide(&test, row.sheet, &what(row), seen(&test)?, &by)?;
        Ok(true)
    };
    let kept = progress::counted("taking decisions in", rows, new)?;
    Ok(kept.into_iter().filter(|new| *new).count())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decisions_are_understood_as_people_type_them() {
        let met = Some(Ruling::Outcome(Outcome::Met));
        let not_met = Some(Ruling::Outcome(Outcome::NotMet));
        assert_eq!([ruling("met"), ruling(" Met ")], [met, met]);
        assert_eq!([ruling("not met"), ruling("NOT_MET")], [not_met, not_met]);
        assert_eq!(ruling("half"), Some(Ruling::Outcome(Outcome::Half)));
        assert_eq!([ruling("1.5"), ruling("1,5")], [Some(Ruling::Points(1.5)); 2]);
        assert_eq!(ruling("worth 3"), Some(Ruling::Reweighted(3.0)));
        assert_eq!(ruling("waive"), Some(Ruling::Waived));
        for none in ["yes", "-1", "worth", "worth -2", "met half", "nan", "inf"] {
            assert_eq!(ruling(none), None, "{none}");
        }
    }

    #[test]
    fn everything_wrong_is_told_with_its_line() {
        let text = "sheet,rule,decision,why\n1,a,met,\n2,a,,\n3,a,maybe,\nx,a,met,\n4,a,waive,\n";
        let wrong = rows(text).unwrap_err();
        for part in ["line 4: “maybe”", "line 5: “x”", "line 6: “waive” needs a reason"]
        {
            assert!(wrong.contains(part), "{wrong}");
        }
        assert_eq!(wrong.lines().count(), 3);
    }

    #[test]
    fn nobody_is_given_more_points_than_a_rule_is_worth_by_now() {
        struct Worth(f64);
        impl Askable for Worth {
            fn max_points(&self, _: &str, _: u32, rule: &str) -> Option<f64> {
                (rule == "a").then_some(self.0)
            }
        }
        let course = Course::in_memory().unwrap();
        let conventions = course::Json::parse("{}").unwrap();
        let (id, title, definition) = ("T".to_owned(), String::new(), String::new());
        let at = clock::now();
        course.add_test(&course::Test { id, title, definition, conventions }, &at).unwrap();
        let by = By::new("R. Amsel", &at, "as printed");
        let sheets = [1, 2].map(|sheet| course::Sheet { sheet, form: 'A', student: None });
        course.add_sheets("T", &sheets, &by).unwrap();
        let take = |text: &str, most: f64| {
            let rows = rows(&format!("sheet,rule,decision,why\n{text}")).unwrap();
            let none = |_: &str| Ok(None);
            keep(&rows, Path::new("review.csv"), "R. Amsel", &course, "T", &Worth(most), &none)
                .map_err(|failure| failure.to_string())
        };
        assert_eq!(take("1,a,2,\n", 2.0), Ok(1));
        // The same file again, after the rule came to be worth less, changes nothing.
        assert_eq!(take("1,a,2,\n", 1.0), Ok(0));
        for (rows, most) in [("2,a,2,\n", 1.0), ("2,a,worth 1,x\n2,a,2,\n", 2.0)] {
            let told = take(rows, most).unwrap_err();
            assert!(told.contains("2 points are more than the") && told.contains("worth more"));
        }
        let twice = take("2,a,waive,x\r\n2,a,2,\r\n", 2.0).unwrap_err();
        assert!(twice.contains("line 3: “a” on sheet 2 is decided otherwise in line 2"), "{twice}");
        assert_eq!(take("2,a,worth 3,x\n2,a,3,\n", 2.0), Ok(2));
        assert_eq!(course.decisions("T").unwrap().len(), 3);
    }

    #[test]
    fn rows_come_from_other_spreadsheets_too() {
        let text = "\u{feff}Sheet;Rule;Decision;Why\r\n12;a;1,5;near enough\r\n13;a;;\r\n";
        let rows = rows(text).unwrap();
        assert_eq!(rows.len(), 1);
        assert_eq!((rows[0].sheet, rows[0].ruling), (12, Ruling::Points(1.5)));
        assert_eq!(rows[0].why, "near enough");
        assert!(is_filled_in(text));
        assert!(!is_filled_in("sheet,rule,decision,why\n12,a,,\n"));
    }
}
